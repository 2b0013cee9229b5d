"""The mutual inductances between the loops of the filter's capacitors: those that are stated, and the neighbours'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Annotated

import numpy as np

from filterlib.network.wiring import Wiring
from filterlib.parts.values import Value
from filterlib.system.line.stages import Damping, ShuntCapacitor
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

USUAL, MOST = 0.3e-9, 1e-9  # [H] between the loops of neighbouring capacitors: common practice, no source
MOST_COUPLED = (
    0.98  # where a loop is small and what couples it is large, which no board has: common practice, no source
)
SHARE = 0.45  # of what a loop has left for both its neighbours: so that no set of defaults is an impossible one
_SOURCE = "loops of neighbouring capacitors, 0 to 1 nH (common practice, no source)"
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


def loop_inductance(stage: ShuntCapacitor | Damping) -> Value:
    """Inductance [H] of a capacitor stage's loop: part and mounting, shared among equal ones."""
    return (stage.part.esl + stage.mounting_loop.value) / stage.count


def _least_loop(stage: ShuntCapacitor | Damping) -> float:
    """The same at the low ends of both ranges."""
    esl = np.min(stage.part.esl * (1 - stage.part.esl_tolerance))
    return float(esl + stage.mounting_loop.low) / stage.count


def loops(stages: Sequence[object]) -> dict[str, Value]:
    """Inductance [H] of every loop that can couple, by the name of its stage, in the filter's order."""
    return {stage.name: loop_inductance(stage) for stage in stages if isinstance(stage, ShuntCapacitor | Damping)}


def with_neighbours(stated: Sequence[Coupling], stages: Sequence[object]) -> tuple[Coupling, ...]:
    """The stated couplings, and a default with its range for neighbouring capacitors of which none is stated."""
    smallest = {one.name: _least_loop(one) for one in stages if isinstance(one, ShuntCapacitor | Damping)}
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


def couple(circuit: Wiring, couplings: Sequence[Coupling], stages: Sequence[object]) -> None:
    """Couple the inductors NAME.loop of the circuit."""
    inductances = loops(stages)
    for one in couplings:
        if np.any(one.mutual.value):
            k = np.minimum(one.mutual.value / np.sqrt(inductances[one.first] * inductances[one.second]), MOST_COUPLED)
            circuit.couple(f"{one.first}~{one.second}", f"{one.first}.loop", f"{one.second}.loop", k)
