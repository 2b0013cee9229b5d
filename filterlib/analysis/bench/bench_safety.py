"""What to do before anything is measured: the safety steps of a bench, with the numbers of the design."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from filterlib.analysis.stress.stored_energy import Bleeder, Store
from filterlib.system.chassis import HAZARDOUS
from filterlib.system.design import Design
from filterlib.units import format_quantity

EFFICIENCY = (
    0.85  # of a converter that states none, so that its supply current is not underrated: common practice, no source
)
FUSE_MARGIN = 1.25  # of a fuse above the largest steady current: common practice, no source
FUSES = (
    1,
    2,
    3,
    5,
    7.5,
    10,
    15,
    20,
    25,
    30,
    40,
    50,
    60,
    80,
    100,
)  # [A] ratings that are sold: common practice, no source


@dataclass(frozen=True)
class SafetyStep:
    """One thing to do or to leave, in the order in which it is done: ``title`` in a few words, and the ``text``."""

    title: str
    text: str


def highest_voltage(design: Design) -> float:
    """Highest DC voltage [V] that the file names: output, input, and the input of every operating point."""
    inputs = [design.converter.input_voltage, *(point.input_voltage for point in design.operating_points)]
    return max([design.converter.output_voltage, *(volts for volts in inputs if volts is not None)])


def supply_current(design: Design) -> float | None:
    """Largest steady current [A] from the supply: full load at the lowest input voltage; None where no input is stated.

    The converter's efficiency is taken as `EFFICIENCY`. Source: conservation of energy.
    """
    inputs = [design.converter.input_voltage, *(point.input_voltage for point in design.operating_points)]
    stated = [volts for volts in inputs if volts is not None]
    most = max(point.scale(load.name) for point in design.operating_points for load in design.loads)
    power = design.full_current * max(1.0, most) * design.converter.output_voltage
    return power / EFFICIENCY / min(stated) if stated else None


def fuse_rating(current: float) -> float | None:
    """The next fuse [A] above `FUSE_MARGIN` times a steady ``current`` [A]; None beyond the list.

    >>> fuse_rating(5.1), fuse_rating(81.0)
    (7.5, None)
    """
    return next((float(rating) for rating in FUSES if rating >= FUSE_MARGIN * current), None)


def safety_steps(design: Design, held: tuple[Store, ...], chosen: Bleeder) -> tuple[SafetyStep, ...]:
    """Every step, in order."""
    steps = [
        _people(design),
        _supply(design),
        _discharge(held, chosen, design),
        *_oscilloscope(design),
        *_chassis(design),
        SafetyStep(
            "First power",
            "Without the filter first, from a supply with a current limit where there is one, loads off; then loads on, "
            "then off again before anything is moved. Stand aside of electrolytic capacitors at first power, polarity "
            "checked twice, eyes protected.",
        ),
    ]
    return tuple(steps)


def _people(design: Design) -> SafetyStep:
    volts = highest_voltage(design)
    shown = format_quantity(volts, "V")
    if volts > HAZARDOUS:
        words = (
            f"{shown} DC is above 60 V: a touch can kill. A licensed person decides and does it, not alone, with insulated "
            "tools, barriers and a way to switch off at hand; probes, leads and their category rated above it."
        )
    else:
        words = (
            f"The highest voltage here, {shown} DC, is below 60 V: a shock is unlikely with dry, unhurt skin, burns and arcs "
            "are not. Wet places lower that limit."
        )
    return SafetyStep(
        "Who, and by which rules", f"Local codes and a licensed practitioner come before this sheet. {words}"
    )


def _supply(design: Design) -> SafetyStep:
    current = supply_current(design)
    if current is None:
        rating = "No input voltage is stated, so no current can be given: choose the fuse by the wire and the load."
    else:
        fuse = fuse_rating(current)
        shown = format_quantity(current, "A")
        size = f"at least {fuse:g} A" if fuse else f"above {FUSE_MARGIN:g} times that"
        rating = (
            f"At full load about {shown} flow from it (efficiency taken as {100 * EFFICIENCY:.0f} %): a fuse of {size}, and of no more "
            "than the thinnest wire behind it carries."
        )
    return SafetyStep(
        "Battery or supply: short circuits and arcs",
        "A battery feeds a short circuit with hundreds of amperes. Fuse at its positive terminal, for direct current of "
        f"that voltage and the battery's short-circuit current. {rating} Rings and watch off, insulated tools, the other "
        "terminal covered; connect the battery last and take it off first. Never pull a plug that carries current: direct "
        "current keeps its arc; switch the load off first.",
    )


def _discharge(held: tuple[Store, ...], chosen: Bleeder, design: Design) -> SafetyStep:
    energy = format_quantity(sum(store.energy for store in held), "J")
    ohms, volts = format_quantity(chosen.resistance, "ohm"), format_quantity(chosen.voltage, "V")
    whole = format_quantity(sum(store.capacitance for store in held), "F")
    inputs = design.converter.input_voltage
    front = f", at up to {format_quantity(inputs, 'V')}" if inputs else ""
    return SafetyStep(
        "Discharge before touching, each time",
        f"Up to {energy} stay in {whole} at {volts}. Switch off, then hold {ohms} "
        f"({format_quantity(chosen.power_rating, 'W')}, {format_quantity(chosen.voltage_rating, 'V')} or more, insulated) across "
        f"the output: below {format_quantity(chosen.safe, 'V')} after {format_quantity(chosen.time, 's', 2)} (R C ln(V0/V)), "
        f"from {format_quantity(chosen.start_power, 'W', 2)} at first. Then measure: the voltage may come back, and what stands "
        f"inside converter and loads is not all in the file, the capacitors at the converter's input{front}, for one.",
    )


def _oscilloscope(design: Design) -> Iterator[SafetyStep]:
    volts = format_quantity(highest_voltage(design), "V")
    yield SafetyStep(
        "The oscilloscope's earth is a bond",
        "The clip of a probe is the oscilloscope's metal and protective earth, the clips of all its probes are one: a clip on "
        "the plus line shorts the output through the mains earth, and two clips on two returns bridge the return line "
        f"between them. {_isolation(design)} Never take the oscilloscope's protective earth away; take a differential probe, "
        f"two tips subtracted, or an instrument made for floating inputs. Probe and input are rated above {volts}.",
    )
    if design.chassis:
        yield SafetyStep(
            "Something reaches the chassis here",
            "An earthed clip is then one more way for common-mode current, past the filter: what it reads is another circuit. "
            "Measure at the loads with a differential probe, and look at the tip on its own clip first.",
        )


def _isolation(design: Design) -> str:
    if design.converter.isolated:
        return (
            "The converter is isolated: one clip on a return earths the output. Make sure that nothing else does and that its "
            "insulation is meant for that."
        )
    return (
        "The converter is not isolated: its return is the supply's negative pole. A clip there is allowed only where that "
        "pole may be earthed; where the positive pole is earthed, or another charger or computer earths another point, the "
        "clip is a short circuit."
    )


def _chassis(design: Design) -> Iterator[SafetyStep]:
    if any(stage.kind == "capacitor_to_chassis" for stage in design.filter):
        yield SafetyStep(
            "Capacitors to the chassis",
            "They carry leakage current to earth, and keep their own charge against it: connect the earth first and take it "
            "off last. On a hazardous voltage they are of a safety class (Y, IEC 60384-14).",
        )
