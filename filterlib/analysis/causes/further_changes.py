"""Changes against what is no ripple: a voltage too low, a step too deep, a rating exceeded, an unstable circuit, a burst without charge."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, free_name, inserted
from filterlib.analysis.damping.ideal import textbook
from filterlib.analysis.hold_up.burst_bank import bank, bank_problems
from filterlib.analysis.judged import Clash
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.system.design import Design
from filterlib.system.line.stages import (
    AcrossLines,
    ChassisCapacitor,
    ChokeStage,
    CommonModeStage,
    Damping,
    ShuntCapacitor,
)
from filterlib.system.ranges.changes import changed
from filterlib.units import format_quantity

DAMPING = (
    2.0,
    20.0,
)  # least and greatest capacitance of a damping branch over that which it damps: common practice, no source
LEAST, USUAL = 1.0, 4.0  # of that ratio against what oscillates: common practice, no source


def further_changes(design: Design, bought: Mapping[str, Part], clash: Clash | None = None) -> Iterator[Candidate]:
    """Damping of what oscillates, thicker leads, stronger parts of the same kind, damping branches, and banks for bursts."""
    if clash is not None:
        yield from _against(design, bought, clash)
    yield from _thicker(design)
    yield from _stronger(design, bought)
    yield from _damping(design, bought)
    yield from _banks(design, bought)


def _thicker(design: Design) -> Iterator[Candidate]:
    """Leads of twice the copper."""
    for load in design.loads:
        pair = load.lead
        if pair is not None and not np.ndim(pair.diameter) and pair.spacing > 1.5 * pair.diameter:
            area = 2 * np.pi / 4 * float(pair.diameter) ** 2
            words = f"give {load.name}'s lead twice the copper, {area * 1e6:.3g} mm²"
            change = partial(_with_copper, load=load.name, area=float(f"{area:.3g}"))
            group = f"copper of {load.name}'s lead"
            yield Candidate(words, "thicker lead", group, 0, change, against=frozenset({"voltage", "drop"}))


def _with_copper(design: Design, *, load: str, area: float) -> Design:
    loads = (
        one.replace(lead=one.lead.replace(cross_section=area, awg=None)) if one.name == load and one.lead else one
        for one in design.loads
    )
    return design.replace(loads=tuple(loads))


def _stronger(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """Parts of the same kind and at least the same size that bear more current or voltage, or have less resistance."""
    for stage in design.filter:
        size = "inductance" if stage.lines else "capacitance"
        for name, part in bought.items():
            if part.kind != stage.part.kind or name == stage.part.name or part.measured:
                continue
            if np.max(getattr(part, size)) < np.max(getattr(stage.part, size)):
                continue
            against = {what for what, better in _better(stage.part, part).items() if better}
            if against:
                change = partial(changed, values={f"filter.{stage.name}.part": part})
                words = f"take {name} for {stage.name}"
                yield Candidate(words, "stronger part", f"part of {stage.name}", 0, change, against=frozenset(against))


def _better(old: Part, new: Part) -> dict[str, bool]:
    """What a part is better at."""
    ratings = ("rated_current", "saturation_current", "rated_voltage", "rated_ripple_current")
    stronger = any(_value(new, name) > _value(old, name) for name in ratings if _value(old, name))
    less = 0 < _value(new, "dc_resistance") < _value(old, "dc_resistance")
    return {"rating": stronger, "voltage": less, "drop": less}


def _value(part: Part, name: str) -> float:
    value = getattr(part, name, None)
    return 0.0 if value is None else float(np.min(value))


def _damping(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """A resistor in series with a capacitor beside each capacitor that stands behind a choke."""
    chokes: list[ChokeStage] = []
    for number, stage in enumerate(design.filter):
        if isinstance(stage, ChokeStage):
            chokes.append(stage)
        elif isinstance(stage, ShuntCapacitor) and chokes:
            behind = design.filter[number + 1].name if number + 1 < len(design.filter) else ""
            for name, part in _capacitors(bought):
                ratio = float(np.max(part.capacitance)) / capacitance(stage)
                if (
                    DAMPING[0] <= ratio <= DAMPING[1]
                    and _value(part, "rated_voltage") > 1.2 * design.converter.output_voltage
                ):
                    ohms = damping_resistance(inductance(chokes[-1]), capacitance(stage), ratio)
                    yield _branch(design, name, part, stage.name, behind, ohms)


def _against(design: Design, bought: Mapping[str, Part], clash: Clash) -> Iterator[Candidate]:
    """A damping branch for the oscillation of a clash, across the capacitor that takes part in it; the usual size first.

    Its inductance follows from capacitance and frequency, whatever it is made of: a choke, leads, a slow loop of the converter.
    """
    place = _place(clash)
    if place is None:
        return
    farads, damped, behind = place
    henries = 1 / ((2 * np.pi * clash.frequency) ** 2 * farads)
    sized = [(float(np.max(part.capacitance)) / farads, name, part) for name, part in _capacitors(bought)]
    enough = [one for one in sized if LEAST <= one[0] <= DAMPING[1]]
    for ratio, name, part in sorted(enough, key=lambda one: abs(np.log(one[0] / USUAL))):
        if _value(part, "rated_voltage") > 1.2 * design.converter.output_voltage:
            yield _branch(design, name, part, damped, behind, damping_resistance(henries, farads, ratio))


def _capacitors(bought: Mapping[str, Part]) -> Iterator[tuple[str, Capacitor]]:
    return ((name, part) for name, part in bought.items() if isinstance(part, Capacitor))


def _place(clash: Clash) -> tuple[float, str, str] | None:
    """Capacitance [F] that oscillates, what it is, and the stage before which a branch across it goes; None where it is a stray."""
    design, name = clash.solution.design, clash.resonance.capacitive.split(".")[0]
    stages = [stage.name for stage in design.filter]
    if name == "converter":
        return float(np.max(design.converter.output_capacitance.value)), "the converter", stages[0] if stages else ""
    if name in stages:
        stage, behind = design.filter[stages.index(name)], [*stages, ""][stages.index(name) + 1]
        return (capacitance(stage), name, behind) if isinstance(stage, AcrossLines | ChassisCapacitor) else None
    load = next((one for one in design.loads if one.name == name and one.input_capacitor), None)
    if load is None or load.input_capacitor is None:
        return None
    return float(np.max(load.input_capacitor.part.capacitance) * load.input_capacitor.count), f"{name}'s input", ""


def _banks(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """The banks that are proposed for bursts, of parts that need no others in series, across the load's end of the filter."""
    if any(bank_problems(design)):
        return
    for result in bank(design):
        for one in result.banks:
            if one.string.cells == 1 and one.part in bought:
                stage = ShuntCapacitor(
                    kind="capacitor", name=free_name(design, "C"), part=bought[one.part], count=one.count
                )
                words = f"fit {one.words} across the load's end, as a bank for the bursts of {result.load}"
                change = partial(inserted, stage=stage, before="")
                yield Candidate(words, "bank", "bank", one.parts, change, against=frozenset({"bursts"}))


def _branch(design: Design, name: str, part: Capacitor, damped: str, behind: str, ohms: float) -> Candidate:
    value = format_quantity(float(f"{ohms:.2g}"), "ohm", 2)
    stage = Damping(kind="damping", name=free_name(design, "D"), part=part, resistance=float(f"{ohms:.2g}"))
    words = f"fit {name} in series with a resistor of {value} beside {damped}, as damping"
    change = partial(inserted, stage=stage, before=behind)
    return Candidate(
        words, "damping branch", f"damping of {damped}", 2, change, against=frozenset({"unstable", "step"})
    )


def damping_resistance(inductance: float, capacitance: float, ratio: float) -> float:
    """Resistance [ohm] that damps L and C most by a series branch of R and ``ratio`` times C across C.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed. (2001), section 10.4.1, from memory.

    >>> round(damping_resistance(10e-6, 1e-6, 4.0), 2)
    1.94
    """
    return float(np.sqrt(inductance / capacitance) * textbook("R-C across C", ratio)[0])


def capacitance(stage: AcrossLines | ChassisCapacitor) -> float:
    """Of a stage of capacitors, at no bias [F]."""
    return float(np.max(stage.part.capacitance) * stage.count)


def inductance(stage: ChokeStage) -> float:
    """Of differential chokes, both where there is one in each line, or what leaks of a common-mode one [H]."""
    each = stage.part.leakage_per_winding if isinstance(stage, CommonModeStage) else stage.part.inductance
    return float(np.max(len(stage.lines) * each))
