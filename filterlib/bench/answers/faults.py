"""Faults that people make on a board and at the bench: each as the design it makes, or what it makes of a reading."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from filterlib.bench.answers.answers_result import Fault
from filterlib.errors import FilterlibError
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.inside.ways import Bond
from filterlib.system.line.stages import ChokeStage, CommonModeStage, SeriesChoke, ShuntCapacitor
from filterlib.system.ranges.changes import changed, value
from filterlib.system.requirements import OperatingPoint

JOINT, LEADS, TENFOLD, GROUND = 1.0, "100 nH", 10.0, 0.5
"""Ohms of a poor joint, inductance of long leads, how wrong a value is, metres of a long ground lead: common practice, no source."""
_SIDE_BY_SIDE = "1 nH"
_NEVER = 1e3  # [A] at which a leakage through air saturates


def faults(design: Design) -> Iterator[Fault]:
    """Every fault that this design can have, the board as designed first."""
    yield Fault("as designed")
    for stage in design.filter:
        key = f"filter.{stage.name}"
        yield Fault("not connected" if not stage.lines else "shorted", stage.name, partial(_without, name=stage.name))
        if isinstance(stage, ShuntCapacitor):
            yield Fault("poor joint", stage.name, partial(_joint, key=f"{key}.esr"))
            yield Fault("long leads", stage.name, partial(changed, values={f"{key}.mounting_loop": LEADS}))
            yield from _values(stage.name, f"{key}.capacitance")
            yield from _other_side(design, stage.name)
        elif isinstance(stage, ChokeStage):
            yield from _values(stage.name, f"{key}.inductance")
        if isinstance(stage, CommonModeStage):
            yield Fault("winding reversed", stage.name, partial(_reversed, name=stage.name))
    for pair in design.all_couplings:
        side = partial(changed, values={f"coupling.{pair.name}": _SIDE_BY_SIDE})
        yield Fault("loops side by side", f"{pair.first} and {pair.second}", side)
    for load in design.loads:
        yield Fault("load off", load.name, partial(_load_off, name=load.name))
        if design.converter.bond is not None and load.bond is None:
            yield Fault("bonded twice", load.name, partial(_bonded, name=load.name))
    yield Fault("bursts", bursts=True)
    yield Fault("factor too high", factor=10.0)
    yield Fault("factor too low", factor=0.1)
    yield Fault("limit off", limit_off=True)
    yield Fault("limit on", limit_on=True)
    yield Fault("ground lead", lead=GROUND)
    if design.converter.common_mode is not None:
        yield Fault("clip", clipped=True)


def _values(name: str, key: str) -> Iterator[Fault]:
    for kind, factor in (("smaller value", 1 / TENFOLD), ("larger value", TENFOLD)):
        yield Fault(kind, name, partial(_times, key=key, factor=factor))  # type: ignore[arg-type]


def _times(design: Design, *, key: str, factor: float) -> Design:
    return changed(design, {key: np.max(value(design, key)) * factor})


def _joint(design: Design, *, key: str) -> Design:
    now = value(design, key)
    return changed(design, {key: JOINT + (0.0 if now is None else float(np.max(now)))})


def _without(design: Design, *, name: str) -> Design:
    kept = tuple(stage for stage in design.filter if stage.name != name)
    couplings = tuple(pair for pair in design.couplings if name not in (pair.first, pair.second))
    return design.replace(filter=kept, couplings=couplings)


def _other_side(design: Design, name: str) -> Iterator[Fault]:
    """The capacitor behind the next series stage, or before the one in front of it."""
    place = next(n for n, stage in enumerate(design.filter) if stage.name == name)
    series = [n for n, stage in enumerate(design.filter) if stage.lines]
    ahead, behind = [n for n in series if n < place], [n for n in series if n > place]
    if behind:
        yield Fault("wrong side", name, partial(_moved, name=name, to=behind[0]))
    elif ahead:
        yield Fault("wrong side", name, partial(_moved, name=name, to=ahead[-1]))


def _moved(design: Design, *, name: str, to: int) -> Design:
    stage = next(one for one in design.filter if one.name == name)
    rest = [one for one in design.filter if one.name != name]
    rest.insert(to, stage)
    return design.replace(filter=tuple(rest))


def _reversed(design: Design, *, name: str) -> Design:
    """Both windings aid each other: four times the inductance is in the way of the load's current, which saturates it; the leakage
    of both stays as it was."""
    stage = next(one for one in design.filter if one.name == name)
    part: CommonModeChoke = stage.part  # type: ignore[assignment]  # faults() asks this of no other
    aiding = DifferentialChoke(
        name=f"{part.name}, one winding reversed",
        inductance=4 * float(np.max(part.inductance)),
        rated_current=part.rated_current,
        dc_resistance=2 * float(np.max(part.dc_resistance)),
        saturation_current=float(np.max(part.saturation_current)) / 2,
    )
    leakage = aiding.replace(
        name=f"{part.name}, leakage", inductance=float(np.max(value(design, f"filter.{name}.loop_leakage"))),
        dc_resistance=1e-6, saturation_current=part.leakage_saturation_current or _NEVER,
    )  # fmt: skip
    instead = [
        SeriesChoke(kind="differential_choke", name=one, part=choke)
        for one, choke in ((name, aiding), (f"{name} leakage", leakage))
    ]
    stages = ([*instead] if one is stage else [one] for one in design.filter)
    return design.replace(filter=tuple(one for several in stages for one in several))


def _load_off(design: Design, *, name: str) -> Design:
    points = tuple(
        OperatingPoint(**{**point.model_dump(), "loads": {**point.loads, name: 0.0}})
        for point in design.operating_points
    )
    return design.replace(operating_points=points)


def _bonded(design: Design, *, name: str) -> Design:
    """With the return of a load bonded to the chassis too: a part of its current then comes back that way, and unbalances the choke."""
    loads = (load.model_copy(update={"bond": Bond()}) if load.name == name else load for load in design.loads)
    return design.replace(loads=tuple(loads))


def with_fault(design: Design, fault: Fault) -> Design | None:
    """The design with a fault; None where it makes none that can be solved."""
    try:
        return design if fault.change is None else fault.change(design)
    except FilterlibError:
        return None
