"""Ratings that direct current or voltage alone exceeds: known from the operating point, before any ripple."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import InUnit
from filterlib.analysis.stress.stress_check import Rating
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value
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
