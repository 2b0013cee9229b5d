"""A part as it is placed: its branches of the circuit, its direct current and bias, and what a reader calls it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from filterlib.parts.base import Part
from filterlib.parts.values import Value
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default
from filterlib.system.state import State

MOUNTING_LOOP = default(
    4e-9, 2.5e-9, 6.5e-9, "pads, vias and tracks of a capacitor on a board (common practice, no source)"
)
Loop = Annotated[Ranged, RangedQuantity("H", "mounting loop of {owner}", low=0, high=1e-6)]


@dataclass(frozen=True)
class Branch:
    """One element of the circuit that carries current: name, winding, direct current [A], resistance to it [ohm]."""

    element: str
    winding: int = 1
    direct: Value = 0.0
    ohms: Value = 0.0


@dataclass(frozen=True)
class Component:
    """One part as it is placed.

    ``name``: as its element; ``stage``: name of its stage, "" of a load's capacitor; ``label``: as a reader knows it; ``part``: its type
    says what it is, None of a resistor; ``count`` alike in parallel, among which current and heat are
    shared; ``branches``; ``bias`` [V] of a capacitor; ``beside`` a part of the line: its voltage is that part's.
    """

    name: str
    label: str
    part: Part | None
    branches: tuple[Branch, ...]
    count: int = 1
    bias: Value = 0.0
    stage: str = ""
    beside: bool = False


def capacitor(name: str, label: str, part: Part, count: int, bias: Value) -> Component:
    """A placed capacitor: its one branch carries no direct current."""
    return Component(name, label, part, (Branch(name),), count, bias)


def resistor(name: str, label: str) -> Component:
    """A placed resistor."""
    return Component(name, label, None, (Branch(name),))


def line_currents(state: State, name: str, lines: int) -> tuple[Value, Value]:
    """Direct currents [A] of a stage's lines, each towards the load."""
    balanced, whole = state.current(name), state.unbalance(name)
    return (balanced + whole / 2, whole / 2 - balanced) if lines == 2 else (balanced, balanced)
