"""What to do before anything is measured: the safety steps of a bench, with the numbers of the design."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from filterlib.analysis.bench.bench_safety import FUSE_MARGIN
from filterlib.analysis.bench.bench_sheet import BenchSheet
from filterlib.system.design import Design
from filterlib.system.inside.ways import HAZARDOUS
from filterlib.units import format_quantity
from filterlib.words.quantities import share, stress_number


@dataclass(frozen=True)
class SafetyStep:
    """One thing to do or to leave, in the order in which it is done: ``title`` in a few words, and the ``text``."""

    title: str
    text: str


def safety_steps(sheet: BenchSheet) -> tuple[SafetyStep, ...]:
    """Every step, in order."""
    design = sheet.design
    return (
        _people(sheet),
        _supply(sheet),
        _discharge(sheet),
        *_oscilloscope(sheet),
        *_chassis(design),
        SafetyStep(
            "First power",
            "Power it without the filter first, loads off, from a supply with a current limit if you have one. Then switch the "
            "loads on, and off again before you move anything. Check polarity twice, protect your eyes, and keep away from "
            "electrolytic capacitors.",
        ),
    )


def _people(sheet: BenchSheet) -> SafetyStep:
    volts = sheet.supply.voltage
    shown = stress_number(volts, "V", HAZARDOUS)
    if volts > HAZARDOUS:
        words = (
            f"{shown} DC is above 60 V: a touch can kill. A licensed person decides and does it, not alone, with insulated "
            "tools, barriers and a way to switch off at hand; probes, leads and their category rated above it."
        )
    else:
        words = (
            f"The highest voltage here, {shown} DC, is not above 60 V: a shock is unlikely with dry, unhurt skin, burns and arcs "
            "are not. Wet places lower that limit."
        )
    return SafetyStep(
        "Who, and by which rules", f"Local codes and a licensed practitioner come before this sheet. {words}"
    )


def _supply(sheet: BenchSheet) -> SafetyStep:
    current, fuse = sheet.supply.current, sheet.supply.fuse
    if current is None:
        rating = "No input voltage is stated, so no current can be given: choose the fuse by the wire and the load."
    else:
        shown = format_quantity(current, "A")
        size = f"at least {fuse:g} A" if fuse else f"above {FUSE_MARGIN:g} times that"
        rating = (
            f"At full load about {shown} flows from it ({_efficiency(sheet.design)}): a fuse of {size}, and of no more "
            "than the thinnest wire behind it can carry."
        )
    return SafetyStep(
        "Battery or supply: short circuits and arcs",
        f"A battery feeds a short circuit with hundreds of amperes. {_fused_pole(sheet.design)}, for direct current of "
        f"that voltage and the battery's short-circuit current. {rating} Rings and watch off, insulated tools, the other "
        "terminal covered; connect the battery last and take it off first. Never pull a plug that carries current: direct "
        "current keeps its arc; switch the load off first.",
    )


def _efficiency(design: Design) -> str:
    one = design.converter.efficiency
    return f"efficiency {share(float(one.value))}, {'as stated' if one.stated else 'assumed'}"


def _fused_pole(design: Design) -> str:
    """Where the fuse is: in the pole that is not earthed, or it would not end a fault to earth."""
    supply = design.converter.supply
    earthed = None if supply is None else supply.earthed_pole
    if earthed == "neither":
        return "Neither pole is earthed here: fuse both poles at the battery"
    if earthed is not None:
        other = "negative" if earthed == "positive" else "positive"
        return f"Fuse at its {other} terminal, because the {earthed} pole is earthed here"
    return "Fuse at the terminal of the pole that is not earthed (the positive one where the negative pole is earthed; both where neither is)"


def _discharge(sheet: BenchSheet) -> SafetyStep:
    chosen = sheet.bleeder
    energy = format_quantity(sum(store.energy for store in sheet.stores), "J")
    ohms, volts = format_quantity(chosen.resistance, "ohm"), format_quantity(chosen.voltage, "V")
    whole = format_quantity(sum(store.capacitance for store in sheet.stores), "F")
    inputs = sheet.design.converter.input_voltage
    front = f", at up to {format_quantity(inputs, 'V')}" if inputs else ""
    return SafetyStep(
        "Discharge before touching, each time",
        f"Up to {energy} stay in {whole} at {volts}. Switch off, then hold {ohms} "
        f"({format_quantity(chosen.power_rating, 'W')}, {format_quantity(chosen.voltage_rating, 'V')} or more, insulated) across "
        f"the output: below {format_quantity(chosen.safe, 'V')} after {format_quantity(chosen.time, 's', 2)} (R C ln(V0/V)), "
        f"from {format_quantity(chosen.start_power, 'W', 2)} at first. Then measure: the voltage may rise again, and the file does not "
        f"list everything inside converter and loads, such as the capacitors at the converter's input{front}.",
    )


def _oscilloscope(sheet: BenchSheet) -> Iterator[SafetyStep]:
    design, volts = sheet.design, format_quantity(sheet.supply.voltage, "V")
    yield SafetyStep(
        "The oscilloscope's earth is a bond",
        "The clips of all probes are connected to each other, to the oscilloscope's case and to protective earth: a clip on "
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
    if design.chassis_capacitors:
        yield SafetyStep(
            "Capacitors to the chassis",
            "They carry leakage current to earth, and keep their own charge against it: connect the earth first and take it "
            "off last. On a hazardous voltage they are of a safety class (Y, IEC 60384-14).",
        )
