"""What to measure of a design on the bench, where, how, and which value to expect with its band."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from filterlib.analysis.bench.bench_safety import SafetyStep, safety_steps
from filterlib.analysis.bench.second_reading import SecondReading, second_reading
from filterlib.analysis.review import PointResult, ReviewResult
from filterlib.analysis.ripple.ripple import TERMINALS, ripple
from filterlib.analysis.ripple.spectra import Band, as_measured, bands
from filterlib.analysis.stress.stored_energy import Bleeder, Store, bleeder, stores
from filterlib.parts.base import shown
from filterlib.system.changes import with_clip
from filterlib.system.clip import MEASURED, OWN_CLIP
from filterlib.system.converter import Arrangement
from filterlib.system.design import Design
from filterlib.system.requirements import DropRequirement, RippleRequirement, SpikeRequirement, VoltageRequirement
from filterlib.system.solution import solve
from filterlib.system.uncertain_parameters import uncertain_parameters, with_values
from filterlib.units import format_quantity, format_temperature

AGREES = 0.1  # share by which the first reading may differ from the file before the file is wrong: common practice, no source
FILLED = 6.0  # of the eight divisions of a screen, that a reading should fill at most: common practice, no source
QUIET = 10.0  # the tip on its own clip should read less than this share of the reading: common practice, no source
SHORT = "tip and ring of the probe straight across the two nodes, without a clip lead (15 cm of it are some 150 nH)"


@dataclass(frozen=True)
class ProbePoint:
    """Where a probe goes: ``label`` as on the circuit diagram, ``place`` as in results, and the two nodes in words."""

    label: str
    place: str
    tip: str
    other: str


@dataclass(frozen=True)
class Check:
    """One reading.

    ``what`` in words, at ``probe`` (labels of `ProbePoint`) and the operating ``point``; expected ``value`` with ``low`` and
    ``high`` [unit], NaN where nothing is expected; ``limit_low``, ``limit`` of a requirement (NaN: none), ``requirement`` in
    words; ``scale``: full screen to choose, per division [V], NaN at DC; ``note``.
    """

    what: str
    probe: str
    point: str
    value: float
    low: float
    high: float
    unit: str = "V"
    limit_low: float = np.nan
    limit: float = np.nan
    requirement: str = ""
    scale: float = np.nan
    note: str = ""


@dataclass(frozen=True)
class Station:
    """Readings that are taken in one arrangement: ``title``, ``how`` to set up, sentence by sentence, and the checks."""

    title: str
    how: tuple[str, ...]
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class Narrowing:
    """A measurement that would narrow the band: ``share`` of its width (in decibels) that hangs on ``labels``."""

    measurement: str
    share: float
    labels: tuple[str, ...]


@dataclass(frozen=True)
class BenchSheet:
    """The sheet for the bench.

    ``safety``: what comes first; ``stores`` and ``bleeder``: its numbers. ``probes``; ``stations`` in the order in which they
    are measured; ``narrowing``, the greatest first; ``test``: the reading with a test capacitor, None where the band does
    not hang on the converter's inside. ``uncovered``: requirements that no reading here decides; ``remarks``.
    """

    design: Design
    safety: tuple[SafetyStep, ...]
    stores: tuple[Store, ...]
    bleeder: Bleeder
    probes: tuple[ProbePoint, ...]
    stations: tuple[Station, ...]
    narrowing: tuple[Narrowing, ...]
    test: SecondReading | None
    uncovered: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every reading, in order."""
        return tuple(check for station in self.stations for check in station.checks)


def bench_sheet(result: ReviewResult, *, progress: Callable[[float, str], None] | None = None) -> BenchSheet:
    """The sheet of a reviewed design.

    Parameters: ``result``; ``progress``: called with the share done (0 to 1) and what is being done.
    Returns: `BenchSheet`. Where an operating point is unstable it has DC readings alone, and a remark says so.
    """
    design = result.design
    held = stores(design)
    chosen = bleeder(held)
    probes = tuple(_probes(design))
    if progress is not None:
        progress(0.0, "what a test capacitor would read")
    narrowing = _narrowing(result)
    test = second_reading(design) if any("capacitor" in one.measurement for one in narrowing) else None
    stations = tuple(_stations(result, {probe.place: probe.label for probe in probes}, test))
    covered = {check.requirement for station in stations for check in station.checks}
    return BenchSheet(
        design=design,
        safety=safety_steps(design, held, chosen),
        stores=held,
        bleeder=chosen,
        probes=probes,
        stations=stations,
        narrowing=narrowing,
        test=test,
        uncovered=tuple(wanted.words for wanted in design.requirements if wanted.words not in covered),
        remarks=tuple(_remarks(result)),
    )


def _probes(design: Design) -> Iterator[ProbePoint]:
    yield ProbePoint("P1", TERMINALS, "plus terminal of the converter", "return terminal of the converter")
    for number, load in enumerate(design.loads, start=2):
        at = f"input of {load.name}" + (", behind its lead" if load.lead is not None else "")
        yield ProbePoint(f"P{number}", load.name, f"plus, {at}", f"return, {at}")


def _stations(result: ReviewResult, labels: Mapping[str, str], test: SecondReading | None) -> Iterator[Station]:
    design = result.design
    yield from _first(design)
    if test is not None:
        yield _with_capacitor(design, test)
    yield Station("Direct voltages, filter in place", _DC, tuple(_direct(result, labels)))
    stable = [point for point in result.points if point.ripple.reason is None]
    for point in stable:
        how = tuple(_how(design)) if point is stable[0] else ("As before.",)
        checks = tuple(_ripples(design, point, labels))
        yield Station(f"Ripple at {point.operating.point}", (*how, _state(design, point)), checks)
    if stable:
        yield Station("The tip on its own clip", _CLIP, tuple(_clips(design, stable[0], labels)))
    steps = tuple(_steps(result, labels))
    if steps:
        yield Station("Steps of a load's current", _STEP, steps)


_DC = (
    "Voltmeter at the probe points, loads as stated at the operating point, after they have settled.",
    "The drop is the voltage at P1 with all loads off, less that at the load: it does not hang on the meter's own error.",
)
_CLIP = (
    "Same arrangement in full bandwidth, the tip moved to the clip's own point.",
    "What shows now is no voltage between the two points: common-mode current through the clip, or a field in the loop. "
    "Only what lies well above it is a reading.",
)
_STEP = (
    "An electronic load, or a switched resistor, beside the load; DC coupling with offset, or AC coupling that is slower than "
    "the settling by ten.",
)


def _arranged(seen: Arrangement, design: Design) -> Iterator[str]:
    """The stated arrangement of a figure of the converter, sentence by sentence."""
    current = design.full_current if seen.load_current is None else seen.load_current
    volts = design.converter.output_voltage
    if current > 0:
        ohms, watts = format_quantity(volts / current, "ohm"), format_quantity(volts * current, "W")
        yield f"The filter and the loads off, {format_quantity(current, 'A')} drawn: a resistor of {ohms} for {watts}, which gets hot."
    else:
        yield "The filter and the loads off, nothing drawn."
    yield f"{_width(seen.bandwidth, seen.order)}, AC coupling."
    for fixture in seen.capacitors:
        size, esr, esl = (
            shown(v, unit) for v, unit in ((fixture.capacitance, "F"), (fixture.esr, "ohm"), (fixture.esl, "H"))
        )
        yield f"{size} across the probe ({esr}, {esl} with its leads)."
    lead = seen.lead_inductance
    yield f"A lead of {shown(lead, 'H')} to the probe." if lead else f"Lead: {SHORT}."


def _width(bandwidth: float | None, order: int) -> str:
    if bandwidth is None:
        return "Full bandwidth, 200 MHz or more"
    words = {1: "first order, a single pole", 2: "second order"}.get(order, f"order {order}")
    return f"Bandwidth limit {format_quantity(bandwidth, 'Hz')} ({words})"


def _first(design: Design) -> Iterator[Station]:
    """The converter alone, as its figures were read: the first check, since all the rest is built on it."""
    read = as_measured(design)
    for name, words in (("ripple", "ripple"), ("spike", "ripple with its spikes")):
        seen = getattr(design.converter, name)
        if seen is None:
            continue
        value = float(np.max(read[name]))
        note = (
            f"A reading that differs by more than {100 * AGREES:.0f} % is another converter than the file's: put it into the file "
            f"(converter.{name}.peak_to_peak) and print this sheet again."
        )
        check = _scaled(Check(words, "P1", "no filter", value, value * (1 - AGREES), value * (1 + AGREES), note=note))
        title = "First check: the converter without filter" + (", its spikes" if name == "spike" else "")
        yield Station(title, tuple(_arranged(seen, design)), (check,))


def _with_capacitor(design: Design, test: SecondReading) -> Station:
    seen = design.converter.ripple
    size, inner = format_quantity(test.capacitance, "F"), format_quantity(test.inner_impedance, "ohm")
    how = (
        *_arranged(seen, design),
        f"Across the terminals, as close as can be: {size} (film or ceramic well above its bias loss, its value, ESR and "
        f"inductance measured before), {format_quantity(test.impedance, 'ohm')} at the switching frequency beside about {inner} inside.",
    )
    words = "ripple with the test capacitor"
    note = "Keep the recording as a file: with and without the capacitor it tells what lies inside."
    return Station(
        "The converter without filter, once more with a test capacitor",
        how,
        (_scaled(Check(words, "P1", "no filter", test.value, test.low, test.high, note=note)),),
    )


def _direct(result: ReviewResult, labels: Mapping[str, str]) -> Iterator[Check]:
    design = result.design
    for point in result.points:
        state, name = point.operating, point.operating.point
        for place, label in labels.items():
            value = state.terminal_voltage if place == TERMINALS else state.load_voltages[place]
            low, high = _direct_band(design, name, place, value)
            for wanted in _wanted(design, VoltageRequirement, place) or [None]:
                limits = (
                    {}
                    if wanted is None
                    else {"limit_low": wanted.low, "limit": wanted.high, "requirement": wanted.words}
                )
                yield Check(_direct_words(place), label, name, value, low, high, **limits)
            for wanted in _wanted(design, DropRequirement, place):
                regulated = design.converter.output_voltage
                ends = regulated - high, regulated - low
                yield Check(
                    f"drop to {place}",
                    label,
                    name,
                    regulated - value,
                    *ends,
                    limit=wanted.limit,
                    requirement=wanted.words,
                )


def _direct_words(place: str) -> str:
    return "voltage at the terminals" if place == TERMINALS else f"voltage at {place}"


def _direct_band(design: Design, point: str, place: str, value: float) -> tuple[float, float]:
    """Over the range of the output resistance, which alone moves the direct voltages."""
    for one in uncertain_parameters(design):
        if one.key == "converter.output_resistance":
            state = with_values(design, {one.key: np.array([[one.low], [one.high]])}).state(point)
            ends = np.ravel(state.terminal_voltage if place == TERMINALS else state.load_voltages[place])
            return min(value, float(ends.min())), max(value, float(ends.max()))
    return value, value


def _wanted(design: Design, kind: Any, place: str) -> list[Any]:
    return [wanted for wanted in design.requirements if isinstance(wanted, kind) and wanted.load == place]


def _state(design: Design, point: PointResult) -> str:
    """What the operating point means, as something to set."""
    found = point.operating
    drawn = ", ".join(f"{name} {format_quantity(amps, 'A')}" for name, amps in found.load_currents.items())
    supply = design.point(found.point).input_voltage or design.converter.input_voltage
    fed = "" if supply is None else f", input {format_quantity(supply, 'V')}"
    return (
        f"{found.point[:1].upper()}{found.point[1:]}: {drawn}; parts at {format_temperature(found.temperature)}{fed}."
    )


def _how(design: Design) -> Iterator[str]:
    yield f"Filter in place, loads as stated at the operating point. Lead: {SHORT}."
    yield "AC coupling; at the loads no capacitor across the probe: it would be a part of the filter."
    order = design.converter.ripple.order
    yield f"{_width(20e6, order)} unless the line says another band; a limit of another order reads spikes differently."
    yield "Read the largest of many periods; where noise hides the reading, the mean of periods, aligned."


def _ripples(design: Design, point: PointResult, labels: Mapping[str, str]) -> Iterator[Check]:
    for place, label in labels.items():
        for band in bands(design):
            figure = point.ripple.figures.get((place, band.label))
            if figure is None:
                continue
            value, known = figure.peak_to_peak, np.isfinite(figure.low)
            wanted = _strictest(design, place, band.label)
            limits = {} if wanted is None else {"limit": wanted.limit, "requirement": wanted.words}
            where = "at the terminals" if place == TERMINALS else f"at {place}"
            yield _scaled(
                Check(
                    f"ripple {where} {band.words}",
                    label,
                    point.operating.point,
                    value,
                    figure.low if known else value,
                    figure.high if known else value,
                    note=_ripple_note(point, place, band),
                    **limits,
                )
            )


def _ripple_note(point: PointResult, place: str, band: Band) -> str:
    absent = point.ripple.absent.get((place, band.label))
    if absent:
        return absent
    return "order of magnitude: leads and layout decide" if (band.bandwidth or np.inf) > point.ripple.trusted_to else ""


def _strictest(design: Design, place: str, label: str) -> Any:
    found = [
        wanted
        for wanted in design.requirements
        if isinstance(wanted, RippleRequirement | SpikeRequirement) and wanted.load == place and wanted.label == label
    ]
    return min(found, key=lambda wanted: wanted.limit, default=None)


def _clips(design: Design, point: PointResult, labels: Mapping[str, str]) -> Iterator[Check]:
    """What the clip alone shows: to stay below a share of the reading; with a chassis, what an earthed clip would show."""
    for place, label in labels.items():
        true = point.ripple.figures[place, "full"].peak_to_peak
        value, note = np.nan, ""
        if design.chassis:
            value, read = _earthed(design, place, point.operating.point)
            note = (
                f"expected with an earthed oscilloscope, which would read {format_quantity(read, 'V')} here instead of "
                f"{format_quantity(true, 'V')}; a differential probe shows next to nothing"
            )
        where = "at the terminals" if place == TERMINALS else f"at {place}"
        words = f"tip on its own clip {where}"
        yield _scaled(Check(words, label, point.operating.point, value, 0.0, true / QUIET, note=note))


def _earthed(design: Design, place: str, point: str) -> tuple[float, float]:
    """Peak to peak [V] in full bandwidth with an earthed clip at a place: of the tip on it, and of the tip in place."""
    clipped = with_clip(design, place)
    figures = ripple(solve(clipped, point), interval=False).figures
    return figures[OWN_CLIP, "full"].peak_to_peak, figures[MEASURED, "full"].peak_to_peak


def _steps(result: ReviewResult, labels: Mapping[str, str]) -> Iterator[Check]:
    for verdict, wanted in zip(result.verdicts, result.design.requirements, strict=True):
        if wanted.kind == "step" and verdict.verdict != "not known":
            what = f"largest deviation at {wanted.load} after a step of {format_quantity(wanted.current, 'A')}"
            rise = f"current rises with a time constant of {format_quantity(wanted.rise_time, 's')}"
            ends = verdict.value, verdict.low, verdict.high
            check = Check(what, labels[wanted.load], verdict.point, *ends, note=rise)
            yield replace(_scaled(check), limit=verdict.limit, requirement=wanted.words)


def _scaled(check: Check) -> Check:
    """With the vertical scale: the next of 1, 2, 5 that holds the largest expected value on the screen."""
    return replace(check, scale=per_division(max(check.high, check.value) if np.isfinite(check.value) else check.high))


def per_division(largest: float) -> float:
    """Volts a division, of the steps 1, 2, 5, at which ``largest`` [V] fills `FILLED` divisions at most.

    >>> per_division(4.6e-3), per_division(1.6)
    (0.001, 0.5)
    """
    least = largest / FILLED
    decade = 10.0 ** np.floor(np.log10(least))
    return float(f"{next(step * decade for step in (1, 2, 5, 10) if step * decade >= least * (1 - 1e-9)):.1g}")


def _narrowing(result: ReviewResult) -> tuple[Narrowing, ...]:
    """Unknowns of the decisive point, gathered by the measurement that settles them."""
    stable = [point for point in result.points if point.ripple.uncertain_parameters]
    gathered: dict[str, list[Any]] = {}
    for unknown in stable[0].ripple.uncertain_parameters if stable else ():
        if unknown.measurement:
            gathered.setdefault(unknown.measurement, []).append(unknown)
    found = (
        Narrowing(words, sum(one.share for one in several), tuple(one.label for one in several))
        for words, several in gathered.items()
    )
    return tuple(sorted(found, key=lambda one: -one.share))


def _remarks(result: ReviewResult) -> Iterator[str]:
    for point in result.points:
        if point.ripple.reason is not None:
            yield f"At {point.operating.point} no steady ripple is expected: {point.ripple.reason}"
    if not result.design.filter:
        yield "The design has no filter: readings with and without it are the same"
    yield from result.trust
