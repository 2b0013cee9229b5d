"""Changes that may help a filter: of parts in a table, and of where and how things are placed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Literal, TypeGuard

import numpy as np

from filterlib.analysis.causes.causes_result import Refusal
from filterlib.analysis.causes.parasitics import at_the_ends
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.line.conductors import CLASSES
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AnyStage, ChassisCapacitor, CommonModeStage, SeriesChoke, ShuntCapacitor
from filterlib.system.ranges.changes import changed
from filterlib.system.ranges.ranged import RangedQuantity
from filterlib.units import format_quantity

SHORT_LOOP = 1e-9  # [H] of a capacitor on wide pads with vias beside them: common practice, no source
SHORT_WAY = "10 nH ± 50 %"  # of a Y capacitor beside the screw or tab to the chassis: common practice, no source
STRAP = 20e-9  # [H] of a short strap to the chassis: common practice, no source
TURNED = 0.1  # share of the coupling of two loops that is left at right angles: common practice, no source
INSULATED = 1.6  # times a conductor's diameter: centre to centre of two insulated wires that touch; no source
SMALLEST_SHUNT = 0.3e-6  # [F] below which a capacitor across the lines is no mitigation against ripple: no source
LARGEST_Y = 100e-9  # [F] above which nobody puts a capacitor from a line to the chassis: common practice, no source
Change = Callable[[Design], Design]


@dataclass(frozen=True)
class Candidate:
    """A change to try.

    ``name``: the change in words, as an instruction; ``kind``; ``group``: two of one group exclude each other; ``parts``:
    how many parts it adds; ``refused``: the rule that forbids it before it is tried, or None; ``narrows``: key of the uncertain
    parameter whose range it makes narrow, or ""; ``against``: what beside ripple it is for: "voltage", "drop", "step", "rating",
    "unstable", "emission", "bursts".
    """

    name: str
    kind: str
    group: str
    parts: int
    change: Change
    refused: Refusal | None = None
    narrows: str = ""
    against: frozenset[str] = frozenset()


def applied(design: Design, change: Iterable[Candidate]) -> Design:
    """The design with every part of a change. Raises FilterlibError where it cannot be."""
    for one in change:
        design = one.change(design)
    return design


def candidates(design: Design, load: str, parts: Mapping[str, Part]) -> tuple[Candidate, ...]:
    """Every change worth a try for one load, in the order of their names, whatever the order of the parts.

    Parameters: ``design``; ``load``: name of the load; ``parts``: by name, those that may be bought.
    Raises FilterlibError for an unknown load.
    """
    bought = {name: parts[name] for name in sorted(parts)}
    wanted = design.named_load(load)
    listed = [
        *_mounting(design),
        *_placing(design),
        *_capacitors(design, bought),
        *_chokes(design, bought),
        *_to_chassis(design, bought),
        *_bonds(design, wanted),
        *_leads(wanted),
    ]
    return tuple(sorted({one.name: one for one in listed}.values(), key=lambda one: one.name))


def _mounting(design: Design) -> Iterator[Candidate]:
    for stage in at_the_ends(design):
        loop = getattr(stage, "mounting_loop", None)
        if loop is None or np.ndim(loop.value):
            continue
        to_chassis = isinstance(stage, ChassisCapacitor)
        short = SHORT_WAY if to_chassis else format_quantity(SHORT_LOOP, "H")
        if loop.value > RangedQuantity("H").parse(short).value:
            words = f"mount {stage.name} with a {'way to the chassis' if to_chassis else 'loop'} of {short}"
            change = partial(changed, values={f"filter.{stage.name}.mounting_loop": short})
            yield Candidate(words, "mounting loop", f"loop of {stage.name}", 0, change)


def _placing(design: Design) -> Iterator[Candidate]:
    """Capacitors turned or moved, so that their loops couple less."""
    names = {stage.name for stage in at_the_ends(design)}
    for pair in design.all_couplings:
        if names.isdisjoint((pair.first, pair.second)):
            continue
        key, ends = (
            f"coupling.{pair.name}",
            {"low": pair.mutual.low, "value": np.max(pair.mutual.value), "high": pair.mutual.high},
        )
        turned = {name: format_quantity(TURNED * float(end), "H", 3) for name, end in ends.items()}
        most = turned["high"]
        words = (
            f"turn {pair.second}, or move it away, so that its loop and that of {pair.first} couple by at most {most}"
        )
        if np.any(pair.mutual.value):
            yield Candidate(
                words, "placing", f"place of {pair.second}", 0, partial(changed, values={key: turned}), narrows=key
            )


def _capacitors(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """A second one, a film beside a ceramic, and a capacitor with ESR across the load's end as damping."""
    for stage in at_the_ends(design):
        if isinstance(stage, ShuntCapacitor):
            change = partial(changed, values={f"filter.{stage.name}.count": stage.count + 1})
            yield Candidate(f"fit one more {stage.part.name or 'of the same'} beside {stage.name}", "one more",
                            f"count of {stage.name}", 1, change)  # fmt: skip
    for name, part in bought.items():
        if not isinstance(part, Capacitor) or np.max(part.capacitance) < SMALLEST_SHUNT:
            continue
        if part.electrolytic:
            stage = ShuntCapacitor(kind="capacitor", name=free_name(design, "Cd"), part=part)
            words = f"fit {name} across the load's end as damping"
            yield Candidate(words, "damping", "damping", 1, partial(inserted, stage=stage, before=""))
        elif part.kind == "film":
            for neighbour in at_the_ends(design):
                if isinstance(neighbour, ShuntCapacitor) and neighbour.part.kind.startswith("ceramic"):
                    stage = ShuntCapacitor(kind="capacitor", name=free_name(design, "Cf"), part=part)
                    words = f"fit {name} beside {neighbour.name}"
                    change = partial(inserted, stage=stage, before=neighbour.name)
                    yield Candidate(words, "film beside ceramic", "film", 1, change)


def _chokes(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """Another common-mode choke with more leakage, or more inductance where it matters; a differential choke more."""
    in_series = [stage for stage in design.filter if stage.lines]
    for stage in at_the_ends(design):
        if isinstance(stage, CommonModeStage):
            yield from _other_chokes(design, stage, bought)
    before = in_series[0].name if in_series else (design.filter[-1].name if design.filter else "")
    for name, part in bought.items():
        if isinstance(part, DifferentialChoke) and not part.measured:
            stage = SeriesChoke(kind="differential_choke", name=free_name(design, "Ld"), part=part)
            where = f"in the plus line before {before}" if before else "in the plus line"
            change = partial(inserted, stage=stage, before=before)
            yield Candidate(f"fit {name} {where}", "differential choke", "differential choke", 1, change)


def _other_chokes(design: Design, stage: CommonModeStage, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    for name, part in bought.items():
        if not isinstance(part, CommonModeChoke) or name == stage.part.name:
            continue
        leaks = np.max(part.leakage_per_winding) > np.max(stage.part.leakage_per_winding)
        if leaks or (design.driven and np.max(part.inductance) > np.max(stage.part.inductance)):
            change = partial(changed, values={f"filter.{stage.name}.part": part})
            yield Candidate(f"take {name} for {stage.name}", "another choke", f"part of {stage.name}", 0, change)


def _to_chassis(design: Design, bought: Mapping[str, Part]) -> Iterator[Candidate]:
    """Y capacitors at the load's end and at the converter's; a line of refusal where there is no chassis."""
    if not design.has_chassis:
        refusal = Refusal("no chassis")
        yield Candidate("fit Y capacitors to the chassis", "Y capacitors", "Y", 2, lambda at: at, refusal)
        return
    if not design.driven:
        return
    first = next((stage.name for stage in design.filter if stage.lines), "")
    for name, part in bought.items():
        if not is_y(part):
            continue
        ends = {"at the load's end": ""} | ({f"before {first}": first} if first else {})
        for where, before in ends.items():
            yield to_chassis(f"fit {name} from each line to the chassis {where}", part, before=before)


def is_y(part: Part) -> TypeGuard[Capacitor]:
    """True for what may go from a line to the chassis."""
    return isinstance(part, Capacitor) and part.safety_class in CLASSES and bool(np.max(part.capacitance) <= LARGEST_Y)


def to_chassis(
    words: str, part: Capacitor, *, line: Literal["both", "plus", "return"] = "both", before: str = ""
) -> Candidate:
    """A Y capacitor from one line or from each to the chassis, before a stage by its name or at the load's end ("")."""
    stage = ChassisCapacitor(kind="capacitor_to_chassis", name="Y1", part=part, line=line, mounting_loop=SHORT_WAY)
    count = 2 if line == "both" else 1
    return Candidate(words, "Y capacitors", "Y", count, partial(inserted, stage=stage, before=before))


def _bonds(design: Design, load: Load) -> Iterator[Candidate]:
    if not (design.driven and design.has_chassis):
        return
    key, group = f"load.{load.name}.bond", f"bond of {load.name}"
    bond = {"inductance": STRAP}
    if load.bond is None:
        words = f"bond {load.name}'s return to the chassis by a short strap"
        yield Candidate(words, "bond", group, 1, partial(_bonded, load=load.name, bond=bond))
        return
    yield Candidate(f"remove {load.name}'s bond to the chassis", "bond", group, 0, partial(changed, values={key: None}))
    if load.bond.capacitance is None and np.max(load.bond.inductance) > STRAP:
        words = f"move {load.name}'s bond to where a strap of {format_quantity(STRAP, 'H')} reaches the chassis"
        change = partial(changed, values={f"{key}.inductance": STRAP})
        yield Candidate(words, "bond", group, 0, change)


def _bonded(design: Design, *, load: str, bond: Mapping[str, float]) -> Design:
    loads = tuple(one.replace(bond=dict(bond)) if one.name == load else one for one in design.loads)
    return design.replace(loads=loads)


def _leads(load: Load) -> Iterator[Candidate]:
    pair = load.lead
    if pair is None or np.ndim(pair.length) or np.ndim(pair.diameter):
        return
    half = float(pair.length) / 2
    if half >= max(5 * pair.diameter, pair.spacing, pair.height or 0.0):
        words = f"shorten {load.name}'s lead to {format_quantity(half, 'm')}"
        change = partial(changed, values={f"load.{load.name}.lead.length": half})
        group = f"length of {load.name}'s lead"
        yield Candidate(words, "lead", group, 0, change, against=frozenset({"voltage", "drop", "ripple", "spike"}))
    close = INSULATED * float(pair.diameter)
    if close < 0.95 * pair.spacing:
        words = f"twist {load.name}'s lead"
        change = partial(changed, values={f"load.{load.name}.lead.spacing": close})
        yield Candidate(words, "lead", f"spacing of {load.name}'s lead", 0, change)


def inserted(design: Design, *, stage: AnyStage, before: str) -> Design:
    """A stage more, before the one that is named, or at the end; renamed where its name is taken."""
    names = [one.name for one in design.filter]
    at = names.index(before) if before in names else len(names)
    stage = stage.replace(name=free_name(design, stage.name.rstrip("0123456789")))
    return design.replace(filter=(*design.filter[:at], stage, *design.filter[at:]))


def free_name(design: Design, start: str) -> str:
    """A name that no stage has."""
    names = {one.name for one in design.filter} | {one.name for one in design.loads}
    number = next(n for n in range(1, len(names) + 2) if f"{start}{n}" not in names)
    return f"{start}{number}"
