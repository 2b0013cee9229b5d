"""What to measure so that an interval narrows, in words."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from filterlib.analysis.ripple.ripple_result import measurement
from filterlib.analysis.uncertainty.measurement_result import (
    INSIDE,
    LEAST,
    AddedCapacitor,
    Measurement,
    MeasurementValues,
)
from filterlib.bench.inside import InsideFit
from filterlib.bench.readings import VALUES
from filterlib.system.inside.bank import BankConverter
from filterlib.words.quantities import interval_text, number, runs

_MEASUREMENTS = {
    "second reading": "the ripple once more, with a capacitor across the terminals, best the filter's own first one",
    "second reading, harmonics": "the ripple once more, with a capacitor across the terminals (best the filter's own first one), at several harmonics",
    "second reading, above 1 MHz": "the ripple once more, with a capacitor across the terminals (best the filter's own first one), at harmonics above 1 MHz",
    "test capacitor": "the test capacitor of the second recording on an impedance bridge: C and ESR at the switching frequency, ESL at its resonance",
    "two recordings": "both recordings once more, longer and with the screen filled",
    "duty cycle": "the switching node's duty cycle with a scope, or the input voltage",
    "rise time": "the rise time at the switching node, in full bandwidth",
    "fall time": "the fall time at the switching node, in full bandwidth",
    "shape": "which kind of converter it is: step-down (triangle) or step-up and flyback (pulse)",
    "spike": "the ring at the terminals in full bandwidth, with the shortest probe connection",
    "scope's limit": "the order of the scope's limit: in its manual, or from how much of a sine of twice its frequency it shows",
    "ring": "the ring at the switching node, in full bandwidth, with the shortest probe connection",
    "input cable": "the current in the input cable with a current probe around all its conductors",
    "own clip": "with the scope's tip on its own clip at the terminals, and again with the bond to the chassis changed",
    "light load": "the terminals at this light load: whether the converter bursts, and the ripple then",
    "idle and full load": "the terminals' voltage idle and at full load",
    "load step": "the terminals' voltage after a load step",
    "load's lead": "the current in the load's lead with a current probe around both conductors",
    "clip's lead": "with the scope's tip on its own clip, its lead longer and shorter",
    "capacitor moved": "the spike with the second capacitor turned or moved",
    "inside": "the ripple once more, with a capacitor across the terminals, best the filter's own first one",
    "common mode": (
        "with the scope's tip on its own clip at the terminals, and again with the bond to the chassis changed (a differential reading "
        "does not show common mode)"
    ),
    "switching node": "the switching node in full bandwidth: its duty cycle and edges",
    "output": "the terminals' voltage idle, at full load, and after a load step",
}
_PART = "part "
_INSIDE = {"capacitance": "capacitance", "esr": "ESR", "inductance": "inductance"}


def measurement_words(name: str) -> str:
    """A measurement by its name; "" for none."""
    if name.startswith(_PART):
        return f"{name.removeprefix(_PART)} itself on an impedance bridge"
    return _MEASUREMENTS.get(name, "")


def what_to_measure(one: Measurement) -> str:
    """Of a measurement whose value is known."""
    return measurement_words(one.name) or measurement_words(measurement(one.keys[0]))


def interval_now(values: MeasurementValues) -> str:
    """The interval as it is."""
    return _interval(values.low, values.high)


def measurement_sentences(values: MeasurementValues) -> Iterator[str]:
    """For each measurement that narrows the interval what it leaves, or that nothing is open."""
    if not values.measurements:
        yield "Nothing that moves the figure is unknown."
    for one in values.measurements:
        if one.narrows >= LEAST:
            yield (
                f"Measure {what_to_measure(one)}. It leaves {_interval(one.low, one.high)}: the interval is {100 * one.narrows:.0f} % "
                "narrower."
            ) + (f" {capacitor_sentence(values.capacitor)}" if one.name == INSIDE and values.capacitor else "")


def useless_sentence(values: MeasurementValues, deciding: Collection[str] = ()) -> str:
    """What would hardly narrow it, but for what settles a ``deciding`` parameter; "" where everything does."""
    useless = (one for one in values.measurements if one.narrows < LEAST and not {*one.keys} & {*deciding})
    lost = [what_to_measure(one).split(":")[0].split(" (")[0] for one in useless]
    return f"Measuring these would hardly narrow this interval: {'; '.join(lost)}." if lost else ""


def _interval(low: float, high: float) -> str:
    return interval_text(low, high, "V") + (f" (a factor of {high / low:.3g})" if low > 0 else "")


def capacitor_sentence(capacitor: AddedCapacitor) -> str:
    """Which capacitor to put across the terminals, and what it shows."""
    return " ".join(_capacitor(capacitor))


def _capacitor(capacitor: AddedCapacitor) -> Iterator[str]:
    size = number(capacitor.capacitance, "F")
    size = f"{capacitor.name} itself ({size})" if capacitor.name else size
    if capacitor.orders:
        several = len(capacitor.orders) > 1
        which = f"harmonic{'s' * several} {runs(capacitor.orders)} show{'s' * (not several)} what is inside"
        yield f"With {size}, as it is at this voltage, across the terminals, {which};"
    else:
        yield f"No one value suits the whole range of what may be inside; begin with {size}, as it is at this voltage:"
    yield f"the reading of {number(capacitor.bare, 'V')} becomes {number(capacitor.loaded, 'V')}"
    if capacitor.high > capacitor.low:
        yield f"if all is as assumed, and {interval_text(capacitor.low, capacitor.high, 'V')} over the uncertainty."
    else:
        yield "by what is known."
    if math.isfinite(capacitor.too_small):
        yield (
            f"{number(capacitor.too_small, 'F')} would move the first harmonic by {100 * capacitor.too_small_moves:.1f} % only: it is too "
            "small."
        )


def inside_sentences(inside: InsideFit) -> Iterator[str]:
    """What two recordings say of a converter's inside."""
    for name, unit in VALUES.items():
        one, label = getattr(inside, name), _INSIDE[name]
        if name in inside.undecided:
            yield f"the data do not determine the {label} inside"
        else:
            ends = interval_text(one.low, one.high, unit)
            yield f"{label} inside: {number(one.value, unit)}, standard uncertainty {number(one.uncertainty, unit)}; {ends}"
    first, last = (number(float(f), "Hz") for f in (inside.frequencies[0], inside.frequencies[-1]))
    fit = f"chi-square {inside.chi_square:.0f} of {inside.degrees}"
    yield f"{inside.orders.size} harmonics above the noise, {first} to {last}; {fit}"
    if inside.misfit:
        far = ", ".join(map(str, inside.disagreeing[:6])) or "none alone"
        yield f"one capacitor describes the inside to {inside.misfit:.1%}; far outside their noise: harmonics {far}"
    yield "the inductance is ESL and lead together, which no reading at the terminals separates"


def bank_sentence(converter: BankConverter) -> str:
    """What two recordings say of several capacitors inside, which one capacitor with ESR and inductance does not describe."""
    whole, esr = converter.output_capacitance, converter.output_esr
    return (
        f"Inside the converter, from two recordings: {converter.bank.branches} unequal branches side by side, "
        f"{number(float(whole.value), 'F')} together ({interval_text(whole.low, whole.high, 'F')}), "
        f"{number(float(esr.value), 'ohm')} of resistance at the strongest harmonic"
    )
