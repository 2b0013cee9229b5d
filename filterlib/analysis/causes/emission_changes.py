"""Changes against conducted emission, and which of all changes lower the line that decides."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from filterlib.analysis.causes.candidates import SMALLEST_SHUNT, STRAP, Candidate, free_name, inserted, is_y
from filterlib.analysis.emission.one_line import OneLine
from filterlib.analysis.stress.overloads import overloads
from filterlib.errors import FilterlibError
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.components import MOUNTING_LOOP
from filterlib.system.line.stages import ChassisCapacitor, CommonModeStage, ShuntCapacitor, WireStage
from filterlib.system.ranges.changes import changed
from filterlib.system.ranges.ranged import Ranged
from filterlib.system.solution import Solution, solve_all, solve_several
from filterlib.units import format_quantity

NOTABLE = 1.0  # [dB] by which a change has to lower the line to be worth a judgement: no source
ALIKE, BEST = 2, 6  # of one kind, and of all, that are judged at most
ROOM = 1.2  # times the current or voltage that a part has to bear at least: common practice, no source


def emission_changes(design: Design, side: str, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """Y capacitors larger, doubled or moved, chokes and capacitors more, shorter wires and bonds; and parts at the input."""
    yield from _y_capacitors(design, bought)
    yield from _common_mode(design, bought)
    yield from _across(design, bought)
    yield from _shorter(design)
    if side == "input":
        yield from _at_the_input(design, bought)


def lowering(line: OneLine, candidates: Sequence[Candidate]) -> list[Candidate]:
    """Those that lower the line by more than `NOTABLE`, the one that lowers it most first; a few of each kind.

    Each says that it is against emission.
    """
    tried = [(one, design) for one in candidates if (design := _with(line.solution.design, one)) is not None]
    there = line.solution.design.operating_points
    at_points = [solve_several([design for _, design in tried], one.name) for one in there]
    known = [{one.what for one in overloads(at)} for at in solve_all(line.solution.design)]
    number = [one.name for one in there].index(line.solution.point)
    fit = [
        (one, at[number])
        for (one, _), at in zip(tried, zip(*at_points, strict=True), strict=True)
        if all(map(_holds, at, known))
    ]
    falls = line.lowered([at for _, at in fit])
    ranked = sorted((-fall, one.name, one) for fall, (one, _) in zip(falls, fit, strict=True) if fall > NOTABLE)
    kinds = [one.kind for *_, one in ranked]
    few = [one for n, (*_, one) in enumerate(ranked) if kinds[:n].count(one.kind) < ALIKE][:BEST]
    return [replace(one, against=one.against | {"emission"}) for one in few]


def _with(design: Design, candidate: Candidate) -> Design | None:
    try:
        return None if candidate.refused else candidate.change(design)
    except FilterlibError:
        return None


def _holds(solution: Solution | FilterlibError, known: set[tuple[str, str, str]]) -> bool:
    """Whether direct current and voltage exceed no rating that is not exceeded already."""
    return isinstance(solution, Solution) and all(one.what in known for one in overloads(solution))


def _y_capacitors(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """Those that are there: one more beside each, a larger one, or the same at the filter's other end."""
    first = next((stage.name for stage in design.filter if stage.lines), "")
    names = [stage.name for stage in design.filter]
    for stage in design.filter:
        if not isinstance(stage, ChassisCapacitor):
            continue
        more = partial(changed, values={f"filter.{stage.name}.count": stage.count + 1})
        each = 2 if stage.line == "both" else 1
        yield Candidate(
            f"fit a second Y capacitor beside each of {stage.name}",
            "Y capacitors",
            f"count of {stage.name}",
            each,
            more,
        )
        for name, part in bought.items():
            if is_y(part) and np.max(part.capacitance) > np.max(stage.part.capacitance):
                change = partial(changed, values={f"filter.{stage.name}.part": part})
                yield Candidate(f"take {name} for {stage.name}", "Y capacitors", f"part of {stage.name}", 0, change)
        after_choke = bool(first) and names.index(stage.name) > names.index(first)
        if first:
            where, before = (f"before {first}", first) if after_choke else ("to the load's end", "")
            change = partial(_moved, stage=stage, before=before)
            yield Candidate(f"move {stage.name} {where}", "place of Y capacitors", f"place of {stage.name}", 0, change)


def _moved(design: Design, *, stage: ChassisCapacitor, before: str) -> Design:
    rest = design.replace(filter=tuple(one for one in design.filter if one.name != stage.name))
    return inserted(rest, stage=stage, before=before)


def _common_mode(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """A common-mode choke more at either end of the filter."""
    ends = {"at the load's end": ""} | (
        {f"before {design.filter[0].name}": design.filter[0].name} if design.filter else {}
    )
    for name, part in bought.items():
        if not isinstance(part, CommonModeChoke):
            continue
        if np.min(part.rated_current or np.inf) < ROOM * design.full_current:
            continue
        for where, before in ends.items():
            stage = CommonModeStage(kind="common_mode_choke", name=free_name(design, "L"), part=part)
            change = partial(inserted, stage=stage, before=before)
            yield Candidate(f"fit {name} in both lines {where}", "common-mode choke", "common-mode choke", 1, change)


def _across(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """A film or ceramic capacitor across the lines, at the filter's end."""
    for name, part in bought.items():
        if isinstance(part, Capacitor) and (part.kind == "film" or part.kind.startswith("ceramic")):
            fits = np.max(part.capacitance) >= SMALLEST_SHUNT
            if fits and np.min(part.rated_voltage) > ROOM * design.converter.output_voltage:
                stage = ShuntCapacitor(kind="capacitor", name=free_name(design, "C"), part=part)
                change = partial(inserted, stage=stage, before="")
                yield Candidate(
                    f"fit {name} across the lines at the load's end", "X capacitor", "X capacitor", 1, change
                )


def _shorter(design: Design) -> Iterator[Candidate]:
    """Half of each wire of the filter; straps instead of long bonds of the converter and of Y capacitors."""
    for stage in design.filter:
        if isinstance(stage, WireStage) and not np.ndim(stage.part.length):
            half = float(stage.part.length) / 2
            words = f"shorten {stage.name} to {format_quantity(half, 'm')}"
            change = partial(changed, values={f"filter.{stage.name}.length": half})
            yield Candidate(words, "shorter wire", f"length of {stage.name}", 0, change)
        bond = getattr(stage, "bond", None)
        if bond is not None and np.max(bond.inductance) > STRAP:
            words = f"bond {stage.name} to the chassis by a strap of {format_quantity(STRAP, 'H')}"
            change = partial(changed, values={f"filter.{stage.name}.bond.inductance": STRAP})
            yield Candidate(words, "bond", f"bond of {stage.name}", 0, change)
    bond = design.converter.bond
    if bond is not None and bond.capacitance is None and np.max(bond.inductance) > STRAP:
        words = f"bond the converter's return to the chassis by a strap of {format_quantity(STRAP, 'H')}"
        change = partial(changed, values={"converter.bond.inductance": STRAP})
        yield Candidate(words, "bond", "bond of the converter", 0, change)


def _at_the_input(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """A capacitor across the input, or a choke in its line: as the model of the input has them, without their own losses."""
    volts = design.converter.input_voltage
    if volts is None:
        return
    drawn = design.converter.output_voltage * design.full_current / (float(design.converter.efficiency.value) * volts)
    for name, part in bought.items():
        if isinstance(part, DifferentialChoke) and not part.measured:
            if min(np.min(part.rated_current or np.inf), np.min(part.saturation_current)) > ROOM * drawn:
                change = partial(_with_input_choke, part=part)
                yield Candidate(f"fit {name} in the converter's input line", "input choke", "input choke", 1, change)
        elif isinstance(part, Capacitor) and not part.measured:
            fits = np.max(part.capacitance) >= SMALLEST_SHUNT and np.min(part.rated_voltage) > ROOM * volts
            if fits:
                change = partial(_with_input_capacitor, part=part)
                yield Candidate(
                    f"fit {name} across the converter's input", "input capacitor", "input capacitor", 1, change
                )


def _with_input_choke(design: Design, *, part: DifferentialChoke) -> Design:
    held = design.input_side or InputSide()
    more = float(np.max(part.inductance))
    return design.replace(input_side=held.replace(lead_inductance=_shifted(held.lead_inductance, more)))


def _with_input_capacitor(design: Design, *, part: Capacitor) -> Design:
    """In parallel with the input's own: capacitances add, both inductances share the current, and the ESR is that at the switching frequency."""
    held, bias = design.input_side or InputSide(), design.converter.input_voltage or 0.0
    frequency = design.converter.switching_frequency
    other = complex(np.ravel(part.impedance([frequency], bias=bias))[0])

    def resistance(esr: float) -> float:
        own = esr + 1 / (2j * np.pi * frequency * float(np.max(held.capacitance.value)))
        return float(np.real(own * other / (own + other)))

    capacitance = _shifted(held.capacitance, float(np.max(part.capacitance_at(bias))))
    esl = _beside(held.esl, float(np.max(part.esl)) + float(MOUNTING_LOOP.value))
    ends = [resistance(esr) for esr in (float(np.max(held.esr.value)), held.esr.low, held.esr.high)]
    esr = Ranged(ends[0], min(ends), max(ends))
    return design.replace(input_side=held.replace(capacitance=capacitance, esr=esr, esl=esl))


def _shifted(value: Ranged, more: float) -> Ranged:
    return Ranged(float(np.max(value.value)) + more, value.low + more, value.high + more)


def _beside(value: Ranged, other: float) -> Ranged:
    def both(one: float) -> float:
        return one * other / (one + other) if one + other else 0.0

    return Ranged(both(float(np.max(value.value))), both(value.low), both(value.high))
