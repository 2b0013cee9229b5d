"""What the operating point alone says of parts: ratings that direct current or voltage exceeds, and where a model is no longer good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import InUnit
from filterlib.analysis.stability.stability_result import PartNote
from filterlib.analysis.stress.stress_check import Rating
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value
from filterlib.parts.wound import SATURATION_VALID
from filterlib.system.design import Design
from filterlib.system.line.components import Component
from filterlib.system.solution import Solution
from filterlib.system.state import State


@dataclass(frozen=True)
class Overload:
    """A rating that direct current or voltage exceeds: the ``component``, its ``rating``, ``value`` against ``limit``."""

    component: Component
    rating: Rating
    value: InUnit[float]
    limit: InUnit[float]
    unit: str

    @property
    def what(self) -> tuple[str, str, str]:
        """Component, part and rating: alike for a part in two designs."""
        part = self.component.part
        return self.component.name, part.name if part is not None else "", self.rating


def overloads(solution: Solution) -> tuple[Overload, ...]:
    """Chokes and capacitors that direct current or voltage alone takes beyond what they are rated for, at one point."""
    return tuple(overload for component in solution.components for overload in _overloads(component, solution.state))


def _overloads(component: Component, state: State) -> Iterator[Overload]:
    part, balanced = component.part, abs(float(np.max(state.current(component.stage))))
    if isinstance(part, DifferentialChoke):
        balanced = abs(float(np.max(component.branches[0].direct)))
        yield from _over(component, "saturation current", balanced, part.saturation_current, "A")
    if isinstance(part, CommonModeChoke):
        unbalance = abs(float(np.max(state.unbalance(component.stage))))
        yield from _over(component, "unbalance", unbalance, part.saturation_current, "A")
    if isinstance(part, DifferentialChoke | CommonModeChoke):
        yield from _over(component, "rated current", balanced, part.rated_current, "A")
    if isinstance(part, Capacitor) and component.stage:
        yield from _over(component, "usable voltage", float(np.max(component.bias)), part.usable_voltage, "V")


def _over(component: Component, rating: Rating, value: float, limit: Value | None, unit: str) -> Iterator[Overload]:
    if limit is not None and value > np.min(limit):
        yield Overload(component, rating, value, float(np.min(limit)), unit)


def part_notes(design: Design, state: State) -> Iterator[PartNote]:
    for stage in design.filter:
        part, name = stage.part, stage.name
        bias = max((float(v) for key, v in state.biases.items() if key.split(".")[0] == name), default=None)
        if bias is not None and isinstance(part, Capacitor):
            yield from _capacitor_notes(part, name, bias, state)
        amps, limit = abs(float(state.current(name))), getattr(part, "rated_current", None)
        if stage.lines and limit is not None and amps > limit:
            yield PartNote("overcurrent", name, amps, float(np.min(limit)))
        if name in state.unbalances and isinstance(part, CommonModeChoke):
            yield from _unbalance_notes(part, name, state)
        yield from _saturation_notes(part, name, state)


def beyond_saturation(solution: Solution) -> bool:
    """Whether any core is so deep in saturation that its model is no longer good."""
    return any(
        found for stage in solution.design.filter for found in _saturation_notes(stage.part, stage.name, solution.state)
    )


def _saturation_notes(part: Part, name: str, state: State) -> Iterator[PartNote]:
    """A core so deep in saturation that its model is no longer good: see `SATURATION_VALID`."""
    pairs: list[tuple[Value, Value | None]]
    if isinstance(part, CommonModeChoke):
        pairs = [(state.unbalances.get(name, 0.0), part.saturation_current)]
        pairs.append((state.current(name), part.leakage_saturation_current))
    else:
        pairs = [(state.current(name), getattr(part, "saturation_current", None))]
    for amps, limit in pairs:
        if limit is not None and abs(float(amps)) > SATURATION_VALID * float(np.min(limit)):
            yield PartNote("beyond saturation", name, abs(float(amps)), float(np.min(limit)))


def _unbalance_notes(part: CommonModeChoke, name: str, state: State) -> Iterator[PartNote]:
    """Return current past a choke's second winding, and what it leaves of the core's inductance."""
    unbalance, most = abs(float(state.unbalance(name))), float(part.saturation_current)
    if unbalance > 0.2 * most:
        left = float(part.magnetising_at(unbalance, state.current(name), state.temperature))
        full = float(part.magnetising_at(temperature=state.temperature))
        yield PartNote("unbalance", name, unbalance, most, left=left, full=full)


def _capacitor_notes(part: Capacitor, name: str, bias: float, state: State) -> Iterator[PartNote]:
    if bias > part.rated_voltage:
        yield PartNote("overvoltage", name, bias, float(part.rated_voltage), "V")
    if part.bias_curve_missing:
        yield PartNote("no bias curve", name, bias, unit="V")
    elif part.beyond_curve(bias, state.temperature):
        yield PartNote("beyond curve", name, bias, unit="V")
