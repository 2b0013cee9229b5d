"""A design: converter, filter, loads, operating points and requirements; and the circuit that they make."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.network.circuit import Circuit
from filterlib.parts.base import Quantity
from filterlib.system.converter import CHASSIS, PLUS, RETURN, Converter
from filterlib.system.load import Load
from filterlib.system.model import Model
from filterlib.system.ranged import Ranged, RangedQuantity, default
from filterlib.system.requirements import Name, OperatingPoint, Requirement
from filterlib.system.stages import AnyStage, Damping, ShuntCapacitor, add_filter
from filterlib.system.state import State

INSULATION = 10e6  # [ohm] chassis to the load's return, so that no node hangs on capacitors alone; an assumption
COUPLING = 0.3e-9  # [H] between the loops of neighbouring capacitors, 0 to 1 nH: common practice, no source
_RESERVED = ("converter", "load", "chassis", "probe", "link", "regulated", "ripple", "common_mode", "insulation")
_LOAD_END = ("load_plus", "0")


class Coupling(Model):
    """Mutual inductance between the loops of two capacitors of the filter, by name."""

    first: str
    second: str
    mutual: Annotated[Ranged, RangedQuantity("H", low=0, high=1e-7)]


class Design(Model):
    """Everything that a review needs, frozen; `replace` makes another one.

    Fields: ``format`` (1), ``name``, ``note``, ``converter``, ``filter`` (stages from converter to load), ``loads``,
    ``operating_points``, ``requirements``, ``couplings`` (stated ones), ``tables`` (paths of part tables that were read).
    """

    format: Literal[1] = 1
    name: str
    note: str = ""
    converter: Converter
    filter: tuple[AnyStage, ...] = ()
    loads: Annotated[tuple[Load, ...], Field(alias="load", min_length=1)]
    operating_points: tuple[OperatingPoint, ...] = Field((OperatingPoint(),), alias="operating_point", min_length=1)
    requirements: tuple[Requirement, ...] = Field((), alias="requirement")
    couplings: tuple[Coupling, ...] = Field((), alias="coupling")
    insulation: Annotated[Any, Quantity("ohm", low=1e3, high=1e15)] = INSULATION
    tables: tuple[str, ...] = ()

    model_config = Model.model_config | {"populate_by_name": True}

    @model_validator(mode="before")
    @classmethod
    def _name_stages(cls, raw: Any) -> Any:
        if not isinstance(raw, Mapping) or not isinstance(raw.get("filter"), list):
            return raw
        return {**raw, "filter": list(_named(raw["filter"]))}

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        problems = [*self._name_problems(), *self._reference_problems()]
        if problems:
            raise InputError(problems)
        return self

    def _name_problems(self) -> Iterator[Problem]:
        names = [*((f"filter[{n}].name", s.name) for n, s in enumerate(self.filter, 1))]
        names += [(f"load[{n}].name", load.name) for n, load in enumerate(self.loads, 1)]
        seen = Counter(name for _, name in names)
        for key, name in names:
            if seen[name] > 1:
                yield Problem("", key, name, "this name stands more than once among the filter's stages and the loads")
            if name in _RESERVED:
                yield Problem(
                    "", key, name, f"this name is taken by the circuit itself; others that are: {', '.join(_RESERVED)}"
                )
        points = Counter(point.name for point in self.operating_points)
        for number, point in enumerate(self.operating_points, 1):
            if points[point.name] > 1:
                yield Problem("", f"operating_point[{number}].name", point.name, "this name stands more than once")

    def _reference_problems(self) -> Iterator[Problem]:
        loads = [load.name for load in self.loads]
        for number, wanted in enumerate(self.requirements, 1):
            if wanted.load not in loads:
                yield Problem(
                    "", f"requirement[{number}].load", wanted.load, f"no such load; {did_you_mean(wanted.load, loads)}"
                )
        for number, point in enumerate(self.operating_points, 1):
            for name in point.loads:
                if name not in loads:
                    yield Problem(
                        "", f"operating_point[{number}].loads", name, f"no such load; {did_you_mean(name, loads)}"
                    )
        loops = {stage.name: _loop(stage) for stage in self.filter if isinstance(stage, ShuntCapacitor | Damping)}
        for number, coupling in enumerate(self.couplings, 1):
            unknown = [name for name in (coupling.first, coupling.second) if name not in loops]
            for name in unknown:
                why = f"no such capacitor in the filter; {did_you_mean(name, loops)}"
                yield Problem("", f"coupling[{number}]", name, why)
            if not unknown and coupling.first == coupling.second:
                yield Problem("", f"coupling[{number}].second", coupling.second, "a loop does not couple to itself")
            elif not unknown and coupling.mutual.high**2 > np.min(loops[coupling.first]) * np.min(
                loops[coupling.second]
            ):
                why = "more than the geometric mean of the two loops' inductances: no such coupling exists"
                yield Problem("", f"coupling[{number}].mutual", coupling.mutual.high, why)

    @property
    def chassis(self) -> bool:
        """True where something reaches the chassis."""
        return (
            self.converter.reaches_chassis
            or any(stage.reaches_chassis for stage in self.filter)
            or any(load.bond is not None for load in self.loads)
        )

    @property
    def all_couplings(self) -> tuple[Coupling, ...]:
        """Stated couplings, and defaults between the loops of neighbouring capacitors that state none."""
        stated = {frozenset((c.first, c.second)) for c in self.couplings}
        held = [stage for stage in self.filter if isinstance(stage, ShuntCapacitor | Damping)]
        found = list(self.couplings)
        for one, two in pairwise(held):
            if frozenset((one.name, two.name)) in stated:
                continue
            most = 0.9 * float(np.sqrt(np.min(_loop(one)) * np.min(_loop(two))))
            if most > 0:
                mutual = default(
                    min(COUPLING, most / 2),
                    0.0,
                    min(1e-9, most),
                    "loops of neighbouring capacitors (common practice, no source)",
                )
                found.append(Coupling(first=one.name, second=two.name, mutual=mutual))
        return tuple(found)

    def named_load(self, name: str) -> Load:
        """The load of that name. Raises FilterlibError with the nearest one."""
        return _by_name(self.loads, name, "load")

    def point(self, name: str) -> OperatingPoint:
        """The operating point of that name. Raises FilterlibError with the nearest one."""
        return _by_name(self.operating_points, name, "operating point")

    def circuit(self, operating: State | str | None = None) -> Circuit:
        """The linear circuit at an operating point: a `State`, a point's name, or None for the first point.

        Sources: "regulated" and "ripple" [V], "common_mode" [V] where there is one, "NAME.current" [A] of each load.
        """
        return self.build(self.state(operating))

    def state(self, operating: State | str | None = None) -> State:
        """The DC state of an operating point: a `State` as it is, a point's name, or None for the first point."""
        from filterlib.system.dc import solve  # it builds this design's circuit

        if isinstance(operating, State):
            return operating
        return solve(self, self.operating_points[0] if operating is None else self.point(operating))

    def build(
        self, state: State, *, filtered: bool = True, converter: bool = True, open_load: str = "", dc: bool = False
    ) -> Circuit:
        """The circuit in other arrangements: without the filter, without the converter, with one load's input taken off.

        ``dc`` leaves the loads' conductances out: their currents come from the sources "NAME.current" alone.
        """
        circuit = Circuit()
        if converter:
            self.converter.add(circuit)
        add_filter(circuit, self.filter if filtered else (), (PLUS, RETURN), _LOAD_END, state)
        for load in self.loads:
            load.add(circuit, state, at_point=not dc and load.name != open_load)
        if filtered:
            self._couple(circuit)
        names = {node for element in circuit.elements for node in element.nodes}
        if CHASSIS in names:
            circuit.resistor("insulation", CHASSIS, "0", self.insulation)
        return circuit

    def _couple(self, circuit: Circuit) -> None:
        loops = {stage.name: _loop(stage) for stage in self.filter if isinstance(stage, ShuntCapacitor | Damping)}
        for coupling in self.all_couplings:
            one, two = coupling.first, coupling.second
            k = coupling.mutual.value / np.sqrt(loops[one] * loops[two])
            circuit.couple(f"{one}~{two}", f"{one}.loop", f"{two}.loop", k)


def _loop(stage: Any) -> Any:
    """Inductance [H] of a capacitor stage's loop: part and mounting, shared among equal ones."""
    return (stage.part.esl + stage.mounting_loop) / stage.count


def _by_name(items: Any, name: str, what: str) -> Any:
    for item in items:
        if item.name == name:
            return item
    raise FilterlibError(f'no {what} "{name}"; {did_you_mean(name, [item.name for item in items])}')


def _named(stages: list[Any]) -> Iterator[Any]:
    """Raw stages, each without a name given the next free one of its kind: C1, C2, L1 ..."""
    from filterlib.system.stages import KINDS

    taken = {stage["name"] for stage in stages if isinstance(stage, Mapping) and isinstance(stage.get("name"), str)}
    counts: Counter[str] = Counter()
    for stage in stages:
        kind = (
            KINDS.get(stage.get("kind")) if isinstance(stage, Mapping) and isinstance(stage.get("kind"), str) else None
        )
        if kind is None or "name" in stage:
            yield stage
            continue
        counts[kind.prefix] += 1
        while f"{kind.prefix}{counts[kind.prefix]}" in taken:
            counts[kind.prefix] += 1
        yield {**stage, "name": f"{kind.prefix}{counts[kind.prefix]}"}


__all__ = ["Coupling", "Design", "Name"]
