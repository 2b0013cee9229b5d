"""What the load would see if one parasitic of one part were not there: every one in turn, and all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias, TypeGuard, TypeVar

import numpy as np

from filterlib.parts.base import Part
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.line.couplings import Coupling
from filterlib.system.line.load import InputCapacitor, Load
from filterlib.system.line.stages import AcrossLines, AnyStage, ChassisCapacitor, ChokeStage, SeriesChoke, WireStage
from filterlib.system.model import Model, read

Fitted = TypeVar("Fitted", bound=Model)
Imperfection: TypeAlias = tuple[str, str, Callable[[Any], dict[str, object]]]
"""Words, element, and the changes of a stage that take it away."""
ENDS = 8  # stages at either end of a longer filter that are looked at one by one: those between repeat them
_NO_LIMIT = 1e3  # [A] at which an ideal core saturates: the greatest value a part may state


@dataclass(frozen=True)
class Ideal:
    """A design in which one parasitic is gone."""

    name: str
    what: str
    element: str
    design: Design


def at_the_ends(design: Design) -> tuple[AnyStage, ...]:
    """The stages that are looked at one by one: all, or of more than twice `ENDS` those nearest to the converter and to the loads.

    Each costs a solution of the whole filter: of all of them, that would be its length squared.
    """
    stages = design.filter
    return stages if len(stages) <= 2 * ENDS else (*stages[:ENDS], *stages[-ENDS:])


def ideals(design: Design) -> tuple[Ideal, ...]:
    """The design with each parasitic gone, one at a time, in the order of the filter (see `at_the_ends`); then of the loads."""
    listed = [*_of_stages(design), *_of_loads(design)]
    if any(np.any(one.mutual.value) for one in design.all_couplings):
        listed.append(Ideal("capacitors", "coupling of the loops", "", _uncoupled(design)))
    return tuple(listed)


def all_ideal(design: Design) -> Design:
    """The design with every parasitic of `ideals` gone at once."""
    stages = tuple(_whole(stage) for stage in design.filter if not isinstance(stage, WireStage))
    if design.driven:
        stages = tuple(_halved(stage) if _in_one_line(stage) else stage for stage in stages)
    loads = tuple(_ideal_load(load) for load in design.loads)
    return design.replace(filter=stages, loads=loads, couplings=())


def _whole(stage: Fitted) -> Fitted:
    for _, _, changes in _of_part(stage):
        stage = stage.replace(**changes(stage))
    return stage


def _ideal_load(load: Load) -> Load:
    if load.input_capacitor is not None:
        load = load.replace(input_capacitor=_whole(load.input_capacitor))
    return load if load.lead is None else load.replace(lead=None)


def _of_stages(design: Design) -> Iterator[Ideal]:
    names = {stage.name for stage in at_the_ends(design)}
    for at, stage in enumerate(design.filter):
        if stage.name not in names:
            continue
        if isinstance(stage, WireStage):
            rest = design.filter[:at] + design.filter[at + 1 :]
            yield Ideal(stage.name, "inductance and resistance", stage.name, design.replace(filter=rest))
        for what, element, changes in _of_part(stage):
            stages = (*design.filter[:at], stage.replace(**changes(stage)), *design.filter[at + 1 :])
            couplings = _others(design, stage.name) if element.endswith(".loop") else design.couplings
            yield Ideal(stage.name, what, element, design.replace(filter=stages, couplings=couplings))
        if design.driven and _in_one_line(stage):
            stages = (*design.filter[:at], _halved(stage), *design.filter[at + 1 :])
            yield Ideal(stage.name, "standing in one line alone", stage.name, design.replace(filter=stages))


def _in_one_line(stage: AnyStage) -> TypeGuard[SeriesChoke]:
    return isinstance(stage, SeriesChoke) and stage.line != "both" and not stage.part.measured


def _halved(stage: SeriesChoke) -> SeriesChoke:
    """Half of a choke in each line, the same between the lines and alike in both."""
    factors = {"inductance": 0.5, "dc_resistance": 0.5, "parallel_resistance": 0.5, "winding_capacitance": 2.0}
    values = {name: getattr(stage.part, name) for name in factors}
    halves = {name: factors[name] * value for name, value in values.items() if value is not None}
    return stage.replace(line="both", imbalance=0.0, part=stage.part.replace(**halves))


def _others(design: Design, name: str) -> tuple[Coupling, ...]:
    """Stated couplings that a changed loop of that capacitor leaves possible: its own are left to the default."""
    return tuple(one for one in design.couplings if name not in (one.first, one.second))


def _of_loads(design: Design) -> Iterator[Ideal]:
    for load in design.loads:
        with_load = partial(_with_load, design)
        if load.input_capacitor is not None:
            capacitor = load.input_capacitor
            for what, element, changes in _of_part(capacitor, name=f"{load.name}.capacitor"):
                fitted = capacitor.replace(**changes(capacitor))
                yield Ideal(f"{load.name}'s input", what, element, with_load(load.replace(input_capacitor=fitted)))
        if load.lead is not None:
            words = "inductance and resistance of the lead"
            yield Ideal(load.name, words, f"{load.name}.lead", with_load(load.replace(lead=None)))
            if np.any(load.lead.imbalance):
                even = load.replace(lead=load.lead.replace(imbalance=0.0))
                yield Ideal(load.name, "imbalance of the lead", f"{load.name}.lead", with_load(even))


def _with_load(design: Design, changed: Load) -> Design:
    return design.replace(loads=tuple(changed if one.name == changed.name else one for one in design.loads))


def _uncoupled(design: Design) -> Design:
    """Every coupling at zero, those by default too."""
    return design.replace(couplings=tuple(one.replace(mutual=0.0) for one in design.all_couplings))


def _of_part(stage: Model, *, name: str = "") -> Iterator[Imperfection]:
    """Imperfections of a stage's part: words, element, and the changes of the stage that take it away."""
    name = name or read(stage, "name") or ""
    if isinstance(stage, AcrossLines | ChassisCapacitor | InputCapacitor):
        yield from _of_capacitor(stage, name)
    elif isinstance(stage, ChokeStage):
        yield from _of_choke(stage.part, name)
    imbalance = getattr(stage, "imbalance", None)
    if imbalance is not None and np.any(imbalance.value):
        yield "imbalance", name, lambda at: {"imbalance": 0.0}


def _of_capacitor(stage: AcrossLines | ChassisCapacitor | InputCapacitor, name: str) -> Iterator[Imperfection]:
    part = stage.part
    if not part.measured and (np.any(part.esr) or np.any(part.loss_angle)):
        yield "ESR", name, lambda at: {"part": at.part.replace(esr=0.0, loss_angle=0.0)}
    if not part.measured and np.any(part.esl):
        yield "ESL", f"{name}.loop", lambda at: {"part": at.part.replace(esl=0.0)}
    if np.any(stage.mounting_loop.value):
        yield "mounting loop", f"{name}.loop", lambda at: {"mounting_loop": 0.0}
    if part.bias_curve is not None:
        yield "loss of capacitance under bias", name, lambda at: {"part": at.part.replace(bias_curve=None)}


_SATURATION = {"saturation_current": _NO_LIMIT}


def _of_choke(part: DifferentialChoke | CommonModeChoke, name: str) -> Iterator[Imperfection]:
    common = isinstance(part, CommonModeChoke)
    if part.measured:
        return
    if np.any(read(part, "winding_capacitance")) or getattr(part, "self_resonance", None) or _between(part):
        strays = {"winding_capacitance": 0.0} | (
            {"interwinding_capacitance": 0.0} if common else {"self_resonance": None}
        )
        yield "winding capacitance", f"{name}.cw1" if common else name, lambda at: {"part": at.part.replace(**strays)}
    limits = _SATURATION | ({"leakage_saturation_current": None} if common else {})
    yield "saturation", name, lambda at: {"part": at.part.replace(**limits)}
    uneven = ("imbalance", "leakage_imbalance", "capacitance_imbalance")
    if common and any(np.any(getattr(part, field)) for field in uneven):
        yield "imbalance", name, lambda at: {"part": at.part.replace(**dict.fromkeys(uneven, 0.0))}


def _between(part: Part) -> bool:
    return bool(np.any(getattr(part, "interwinding_capacitance", 0.0)))
