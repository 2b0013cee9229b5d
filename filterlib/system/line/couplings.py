"""The mutual inductances between the loops of the filter's capacitors: those that are stated, and the neighbours'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Annotated, Protocol

import numpy as np

from filterlib.network.wiring import Wiring
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.values import Value
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

USUAL, MOST = 0.125e-9, 1e-9
"""[H] between the loops of neighbouring capacitors: of a square centimetre each (common practice, no source), side by side at 2 and at 1 cm, mu0 A**2 /
(4 pi d**3) (dipoles, any textbook). With the cube of a distance it is spread in ratios: few boards have half the most."""
MOST_COUPLED = (
    0.98  # where a loop is small and what couples it is large, which no board has: common practice, no source
)
SHARE = 0.45  # of what a loop has left for both its neighbours: so that no set of defaults is an impossible one
_SOURCE = (
    "loops of neighbouring capacitors, a square centimetre each, 2 cm apart; 0 to 1 nH (common practice, no source)"
)
MUTUAL = RangedQuantity("H", "coupling of the loops of {owner}", low=0, high=1e-7)


class Coupling(Model):
    """Mutual inductance [H] between the loops of two capacitors of the filter, by name."""

    first: str
    second: str
    mutual: Annotated[Ranged, MUTUAL]

    @property
    def name(self) -> str:
        """Of the pair, as in keys."""
        return f"{self.first}-{self.second}"


class Looped(Protocol):
    """A stage of the filter, as far as loops couple."""

    @property
    def name(self) -> str:
        """As in the design file."""

    @property
    def loop_inductance(self) -> tuple[Value, float] | None:
        """Of its loop from line to line [H], and the same at the low ends of its ranges; None of what has none."""


def loop_of(part: Capacitor, mounting_loop: Ranged, count: int) -> tuple[Value, float]:
    """Inductance [H] of the loop of ``count`` equal capacitors, part and mounting, and the same at the low ends of both ranges."""
    least = np.min(part.esl * (1 - part.esl_tolerance))
    whole: Value = (part.esl + mounting_loop.value) / count
    return whole, float(least + mounting_loop.low) / count


def loops(stages: Sequence[Looped]) -> dict[str, Value]:
    """Inductance [H] of every loop that can couple, by the name of its stage, in the filter's order."""
    return {stage.name: stage.loop_inductance[0] for stage in stages if stage.loop_inductance is not None}


def with_neighbours(stated: Sequence[Coupling], stages: Sequence[Looped]) -> tuple[Coupling, ...]:
    """The stated couplings, and a default with its range for neighbouring capacitors of which none is stated."""
    smallest = {one.name: one.loop_inductance[1] for one in stages if one.loop_inductance is not None}
    return (*stated, *_neighbours(stated, loops(stages), smallest))


def _neighbours(
    stated: Sequence[Coupling], inductances: dict[str, Value], smallest: dict[str, float]
) -> Iterator[Coupling]:
    nominal = {name: float(np.min(loop)) for name, loop in inductances.items()}
    spare = dict.fromkeys(nominal, 1.0)
    for one in stated:
        k = one.mutual.high / np.sqrt(nominal[one.first] * nominal[one.second]) if one.mutual.high else 0.0
        spare[one.first], spare[one.second] = spare[one.first] - k, spare[one.second] - k
    pairs = {frozenset((one.first, one.second)) for one in stated}
    for first, second in pairwise(smallest):
        left = SHARE * min(spare[first], spare[second]) * float(np.sqrt(smallest[first] * smallest[second]))
        if frozenset((first, second)) not in pairs and left > 0:
            mutual = default(min(USUAL, left / 2), 0.0, min(MOST, left), _SOURCE)
            yield Coupling(first=first, second=second, mutual=mutual)


def possible(couplings: Sequence[Coupling], inductances: dict[str, Value]) -> bool:
    """True where the loops could store no negative energy, all mutual inductances at the top of their range."""
    names = list(inductances)
    matrix = np.diag([float(np.min(loop)) for loop in inductances.values()])
    for one in couplings:
        place = names.index(one.first), names.index(one.second)
        matrix[place] = matrix[place[::-1]] = one.mutual.high
    scale = np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))
    levels = np.linalg.eigvalsh(np.divide(matrix, scale, out=np.zeros_like(matrix), where=scale > 0))
    return bool(levels[0] > -1e-9 and np.all(matrix <= scale * (1 + 1e-9)))


def couple(circuit: Wiring, couplings: Sequence[Coupling], stages: Sequence[Looped]) -> None:
    """Couple the inductors NAME.loop of the circuit."""
    inductances = loops(stages)
    for one in couplings:
        if np.any(one.mutual.value):
            k = np.minimum(one.mutual.value / np.sqrt(inductances[one.first] * inductances[one.second]), MOST_COUPLED)
            circuit.couple(f"{one.first}~{one.second}", f"{one.first}.loop", f"{one.second}.loop", k)
