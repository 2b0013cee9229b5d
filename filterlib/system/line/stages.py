"""The stages of the filter, in their order from converter to load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field, field_validator

from filterlib.errors import QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Quantity
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value
from filterlib.parts.wire import WirePair
from filterlib.system.inside.ways import CHASSIS, Bond
from filterlib.system.keys import elsewhere
from filterlib.system.line.components import Branch, Component, Loop, capacitor, line_currents, resistor
from filterlib.system.line.couplings import loop_of
from filterlib.system.model import Count, Model, Name, Note, Validated
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default
from filterlib.system.state import State

# What couples a capacitor's loop and a choke beside it by M is M more, or less, in the loop, in the choke and in the wire that leads on,
# exactly; it is nothing beside the latter two.
FILTER_LOOP = default(
    4e-9, 1.5e-9, 7.5e-9,
    "pads, vias and tracks of a capacitor on a board, and 1 nH either way of the stray field of a choke beside it (common practice, no source)",
)  # fmt: skip
CHASSIS_LOOP = default(
    10e-9, 5e-9, 20e-9, "pads, vias and tracks to the way that both share (common practice, no source)"
)
CHASSIS_WAY = default(
    100e-9, 50e-9, 200e-9, "leads, tracks and a screw or tab that reach the chassis (common practice, no source)"
)

Line = Literal["plus", "return", "both"]
Imbalance = Annotated[Ranged, RangedQuantity("", "{owner} in one line over that in the other", low=-0.9, high=0.9)]
Way = Annotated[Ranged, RangedQuantity("H", "inductance by which {owner} reaches the chassis", low=0, high=1e-6)]


@dataclass
class Lines:
    """Where the two lines are while stages are added: the present node of each, and how to reach the next.

    ``last`` holds, for each line, the number of the last stage in it: its far node is the load's.
    """

    plus: str
    minus: str
    last: dict[str, int]
    ends: dict[str, str]

    def step(self, line: str, number: int) -> tuple[str, str]:
        """Nodes before and after the stage ``number`` in ``line`` ("plus" or "return"); moves on."""
        before = self.plus if line == "plus" else self.minus
        after = self.ends[line] if self.last[line] == number else f"stage{number}_{line}"
        if line == "plus":
            self.plus = after
        else:
            self.minus = after
        return before, after


class Stage(Model):
    """One stage: ``name`` is shown on the schematic and names its elements."""

    ELSEWHERE: ClassVar[Mapping[str, str]] = elsewhere.STAGE

    prefix: ClassVar[str] = "X"
    name: Name = ""
    note: Note = ""

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines in which the stage is in series."""
        return ()

    @property
    def reaches_chassis(self) -> bool:
        """True where the stage has a connection to the chassis."""
        return False

    @property
    def loop_inductance(self) -> tuple[Value, float] | None:
        """Of its loop from line to line [H], and the same at the low ends of its ranges; None of what has none."""
        return None

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Add the stage to the circuit at an operating point. Raises AssertionError in a kind that has none."""
        raise AssertionError(f"{type(self).__name__} has no circuit")

    def components(self, state: State) -> Iterator[Component]:
        """The parts as they are placed, at an operating point. Raises AssertionError in a kind that has none."""
        raise AssertionError(f"{type(self).__name__} has no parts")


class ShuntCapacitor(Stage):
    """One or more equal capacitors in parallel, from line to line."""

    prefix: ClassVar[str] = "C"
    kind: Literal["capacitor"]
    part: Capacitor
    count: Count = 1
    mounting_loop: Loop = FILTER_LOOP

    @property
    def loop_inductance(self) -> tuple[Value, float] | None:
        """Of its loop [H], and the same at the low ends of its ranges."""
        return loop_of(self.part, self.mounting_loop, self.count)

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Elements NAME and NAME.loop."""
        _add_capacitor(self, circuit, lines.plus, lines.minus, state)

    def components(self, state: State) -> Iterator[Component]:
        """One capacitor."""
        yield capacitor(self.name, self.name, self.part, self.count, state.bias(self.name))


def _imbalance_default(data: Validated) -> Ranged:
    spread = min(float(np.max(getattr(data.get("part"), "tolerance", 0.2))), 0.9)
    return default(0.0, -spread, spread, "of one lot: they differ by the tolerance of one (common practice, no source)")


def _way_default(data: Validated) -> Ranged:
    """Of each capacitor: all of the way to the chassis, or to the bond that both share."""
    return CHASSIS_WAY if data.get("bond") is None else CHASSIS_LOOP


class ChassisCapacitor(Stage):
    """A capacitor from one line, or from each, to the chassis; ``bond``: the way that both share, from their midpoint."""

    prefix: ClassVar[str] = "Y"
    kind: Literal["capacitor_to_chassis"]
    part: Capacitor
    line: Line = "both"
    count: Count = 1
    bond: Bond | None = None
    mounting_loop: Way = Field(default_factory=_way_default)
    imbalance: Imbalance = Field(default_factory=_imbalance_default)

    @field_validator("bond")
    @classmethod
    def _leads_to_the_chassis(cls, bond: Bond | None) -> Bond | None:
        if bond is not None and bond.capacitance is not None:
            why = "the way that both capacitors share is a strap or a screw; leave this out"
            raise QuantityError(why, name="capacitance", value=bond.capacitance)
        return bond

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """The imbalance where there is one part alone, and an assumed one where nothing drives the chassis."""
        return () if self.line == "both" and (driven or self.imbalance.stated) else ("imbalance",)

    @property
    def reaches_chassis(self) -> bool:
        """Always."""
        return True

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Elements NAME.plus and NAME.return; ``imbalance`` is how much larger the plus line's capacitance is."""
        far = CHASSIS if self.bond is None else f"{self.name}:bond"
        half = self.imbalance.value / 2
        for line, node, share in (("plus", lines.plus, 1 + half), ("return", lines.minus, 1 - half)):
            if self.line in (line, "both"):
                unequal = self.part.replace(capacitance=self.part.capacitance * share)
                _add_capacitor(self, circuit, node, far, state, part=unequal, suffix=f".{line}")
        if self.bond is not None:
            self.bond.add(circuit, f"{self.name}.bond", far)

    def components(self, state: State) -> Iterator[Component]:
        """A capacitor for each line, and the bond's resistance."""
        for line in ("plus", "return") if self.line == "both" else (self.line,):
            name = f"{self.name}.{line}"
            yield capacitor(name, f"{self.name}, {line} line", self.part, self.count, state.bias(name))
        if self.bond is not None:
            yield resistor(f"{self.name}.bond.resistance", f"{self.name}, bond")


class Damping(Stage):
    """A resistor in series with a capacitor, from line to line: damps without carrying the load's current."""

    prefix: ClassVar[str] = "D"
    kind: Literal["damping"]
    part: Capacitor
    resistance: Annotated[Value, Quantity("ohm", low=0, high=1e6)]
    count: Count = 1
    mounting_loop: Loop = FILTER_LOOP

    @property
    def loop_inductance(self) -> tuple[Value, float] | None:
        """Of its loop [H], and the same at the low ends of its ranges."""
        return loop_of(self.part, self.mounting_loop, self.count)

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Elements NAME.resistor, NAME and NAME.loop."""
        circuit.resistor(f"{self.name}.resistor", lines.plus, f"{self.name}:r", self.resistance)
        _add_capacitor(self, circuit, f"{self.name}:r", lines.minus, state)

    def components(self, state: State) -> Iterator[Component]:
        """The capacitor and the resistor."""
        yield capacitor(self.name, self.name, self.part, self.count, state.bias(self.name))
        yield resistor(f"{self.name}.resistor", f"{self.name}, resistor")


class ChokeDamping(Model):
    """A resistor across a choke, in series with a second choke where ``part`` names one.

    By itself it keeps a small choke from resonating with what is behind it; with a second choke it leaves the first one's
    inductance at high frequency in parallel with the second's.
    """

    resistance: Annotated[Value, Quantity("ohm", above=0, high=1e6)]
    part: DifferentialChoke | None = None

    def direct(self, choke: DifferentialChoke, current: Value, temperature: Value) -> Value:
        """Direct current [A] beside a choke that carries ``current``: as the resistances share it."""
        return current * choke.resistance_at(temperature) / (self.resistance + self._winding(temperature))

    def _winding(self, temperature: Value) -> Value:
        return 0.0 if self.part is None else self.part.resistance_at(temperature)

    def add(self, circuit: Wiring, name: str, a: str, b: str, *, current: Value, temperature: Value) -> None:
        """Elements NAME.resistor and NAME.damping; ``current``: direct [A], beside the choke."""
        middle = b if self.part is None else f"{name}:r"
        circuit.resistor(f"{name}.resistor", a, middle, self.resistance)
        if self.part is not None:
            self.part.add(circuit, f"{name}.damping", middle, b, current=current, temperature=temperature)

    def components(self, name: str, label: str, current: Value, temperature: Value) -> Iterator[Component]:
        """The resistor and the second choke."""
        branch = Branch(f"{name}.resistor", 1, current, self.resistance)
        yield Component(branch.element, f"{label}, resistor", None, (branch,), beside=True)
        if self.part is not None:
            winding = Branch(f"{name}.damping", 1, current, self._winding(temperature))
            yield Component(winding.element, f"{label}, second choke", self.part, (winding,), beside=True)


class SeriesChoke(Stage):
    """A differential choke in one line, or one in each, the plus line's larger by ``imbalance``; ``damping`` across each."""

    prefix: ClassVar[str] = "L"
    kind: Literal["differential_choke"]
    part: DifferentialChoke
    line: Line = "plus"
    imbalance: Imbalance = Field(default_factory=_imbalance_default)
    damping: ChokeDamping | None = None

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """The imbalance where there is one part alone, and an assumed one where nothing drives the chassis."""
        return () if self.line == "both" and (driven or self.imbalance.stated) else ("imbalance",)

    @property
    def lines(self) -> tuple[str, ...]:
        """One line or both."""
        return ("plus", "return") if self.line == "both" else (self.line,)

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Element NAME, or NAME.plus and NAME.return; and those of `ChokeDamping` beside each."""
        current, temperature = state.current(self.name), state.temperature
        for line in self.lines:
            name = self.name if self.line != "both" else f"{self.name}.{line}"
            a, b = lines.step(line, number)
            part = self.part_in(line)
            part.add(circuit, name, a, b, current=current, temperature=temperature)
            if self.damping is not None:
                beside = self.damping.direct(part, current, temperature)
                self.damping.add(circuit, name, a, b, current=beside, temperature=temperature)

    def components(self, state: State) -> Iterator[Component]:
        """A choke for each line that has one, and its damping."""
        ohms, single = self.part.resistance_at(state.temperature), len(self.lines) == 1
        for line, current in zip(self.lines, line_currents(state, self.name, len(self.lines)), strict=False):
            name, label = (self.name, self.name) if single else (f"{self.name}.{line}", f"{self.name}, {line} line")
            yield Component(name, label, self.part_in(line), (Branch(name, 1, current, ohms),))
            if self.damping is not None:
                beside = self.damping.direct(self.part_in(line), current, state.temperature)
                yield from self.damping.components(name, label, beside, state.temperature)

    def part_in(self, line: str) -> DifferentialChoke:
        """The choke in one of the lines, "plus" or "return"."""
        if self.line != "both":
            return self.part
        half = self.imbalance.value / 2 * (1 if line == "plus" else -1)
        return self.part.replace(inductance=self.part.inductance * (1 + half))


class CommonModeStage(Stage):
    """A common-mode choke: one winding in each line."""

    prefix: ClassVar[str] = "L"
    kind: Literal["common_mode_choke"]
    part: CommonModeChoke

    @property
    def lines(self) -> tuple[str, ...]:
        """Both."""
        return ("plus", "return")

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Elements NAME (two windings) and its capacitances."""
        first, second = lines.step("plus", number), lines.step("return", number)
        self.part.add(
            circuit, self.name, first, second,
            current=state.current(self.name), unbalance=state.unbalance(self.name), temperature=state.temperature,
        )  # fmt: skip

    def components(self, state: State) -> Iterator[Component]:
        """The choke with its two windings."""
        ohms = self.part.resistance_at(state.temperature)
        first, second = line_currents(state, self.name, 2)
        windings = Branch(self.name, 1, first, ohms), Branch(self.name, 2, second, ohms)
        yield Component(self.name, self.name, self.part, windings)


class WireStage(Stage):
    """A pair of wires or tracks."""

    prefix: ClassVar[str] = "W"
    kind: Literal["wire"]
    part: WirePair

    @property
    def lines(self) -> tuple[str, ...]:
        """Both."""
        return ("plus", "return")

    @property
    def reaches_chassis(self) -> bool:
        """True where the pair runs over the chassis."""
        return self.part.reaches_chassis

    def add(self, circuit: Wiring, lines: Lines, number: int, state: State) -> None:
        """Elements NAME.r1, NAME.r2, NAME.l1, NAME.l2, and capacitances to the chassis where there are any."""
        self.part.add(
            circuit, self.name, lines.step("plus", number), lines.step("return", number), temperature=state.temperature
        )

    def components(self, state: State) -> Iterator[Component]:
        """The pair, one branch a conductor."""
        ohms, longer = self.part.resistance(state.temperature), self.part.imbalance / 2
        first, second = line_currents(state, self.name, 2)
        wires = (
            Branch(f"{self.name}.r1", 1, first, (1 + longer) * ohms),
            Branch(f"{self.name}.r2", 1, second, (1 - longer) * ohms),
        )
        yield Component(self.name, self.name, self.part, wires)


AnyStage = Annotated[
    ShuntCapacitor | ChassisCapacitor | Damping | SeriesChoke | CommonModeStage | WireStage, Field(discriminator="kind")
]
AcrossLines = ShuntCapacitor | Damping
"""Capacitors from line to line."""
ChokeStage = SeriesChoke | CommonModeStage
KINDS: dict[str, type[Stage]] = {
    "capacitor": ShuntCapacitor,
    "capacitor_to_chassis": ChassisCapacitor,
    "damping": Damping,
    "differential_choke": SeriesChoke,
    "common_mode_choke": CommonModeStage,
    "wire": WireStage,
}


def _add_capacitor(
    stage: ShuntCapacitor | ChassisCapacitor | Damping,
    circuit: Wiring,
    a: str,
    b: str,
    state: State,
    *,
    part: Capacitor | None = None,
    suffix: str = "",
) -> None:
    name = f"{stage.name}{suffix}"
    (part or stage.part).aged(state.age, state.temperature).add(
        circuit, name, a, b,
        bias=state.bias(name), temperature=state.temperature, mounting_loop=stage.mounting_loop.value, count=stage.count,
    )  # fmt: skip


def add_filter(
    circuit: Wiring, stages: Sequence[Stage], start: tuple[str, str], end: tuple[str, str], state: State
) -> None:
    """Add every stage between the nodes ``start`` (plus, return) and ``end``; a line without one becomes a short."""
    last = {"plus": 0, "return": 0}
    for number, stage in enumerate(stages, 1):
        last.update(dict.fromkeys(stage.lines, number))
    lines = Lines(*start, last, {"plus": end[0], "return": end[1]})
    for index, line in enumerate(("plus", "return")):
        if not last[line]:
            circuit.resistor(f"link.{line}", start[index], end[index], 0.0)
    for number, stage in enumerate(stages, 1):
        stage.add(circuit, lines, number, state)
