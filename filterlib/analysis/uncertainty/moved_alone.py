"""Each uncertain parameter moved alone; of very many, those that move a figure most, and the others with all of them only."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from filterlib.system.ranges.uncertain_parameter import UncertainParameter

MOST = 64  # uncertain parameters of one search that are moved alone
Key = TypeVar("Key", bound=Hashable)  # of a figure
Box: TypeAlias = Sequence[UncertainParameter]
Real: TypeAlias = NDArray[np.float64]
Sizes: TypeAlias = Callable[[Mapping[str, Real]], Real]
"""From {key: array (designs, 1)} to the logarithms (designs, figures) of what the parameters move, roughly."""


def leading(box: Box, sizes: Sizes) -> tuple[int, ...]:
    """Which of a box are moved alone, in its order: all, or of more than `MOST` the converter's, and those that move the sizes most.

    >>> box = [UncertainParameter(f"filter.C{n}.esr", "", "ohm", 1.0, 1.0, 1.1 + 0.01 * n, True, "") for n in range(MOST + 2)]
    >>> leading(box, lambda values: np.log(sum(values.values())))[:2], leading(box[:3], None)
    ((2, 3), (0, 1, 2))
    """
    if len(box) <= MOST:
        return tuple(range(len(box)))
    inside = [place for place, one in enumerate(box) if one.key.startswith("converter.")]
    others = [place for place in range(len(box)) if place not in inside]
    rows = alone(box, (0.0, 1.0), others)
    found = sizes({one.key: one.at(rows[:, [place]]) for place, one in enumerate(box)})
    moved = np.abs(found[1:] - found[0]).reshape(len(others), -1).max(axis=1)
    first = np.argsort(-np.nan_to_num(moved, nan=np.inf), kind="stable")[: max(0, MOST - len(inside))]
    return tuple(sorted([*inside, *(others[at] for at in first)]))


def nominal(box: Box) -> Real:
    """The shares (parameters,) of the nominal values."""
    return np.array([one.share(one.nominal) for one in box])


def alone(box: Box, grid: Sequence[float], places: Sequence[int]) -> Real:
    """The nominal point, then each of the parameters at ``places`` alone at the shares of a grid: (points, parameters)."""
    rows = np.repeat(nominal(box)[None], 1 + len(places) * len(grid), axis=0)
    for number, place in enumerate(places):
        rows[1 + number * len(grid) : 1 + (number + 1) * len(grid), place] = grid
    return rows


def together(shares: Real, values: Mapping[Key, Real], grid: int, places: Sequence[int]) -> Real:
    """For each figure, every one of these where it alone makes it least, and greatest: most figures are monotonic.

    ``shares`` and ``values`` begin with `alone` over a grid of that many.
    """
    rows = []
    for figure in values.values():
        moved = figure[1 : 1 + len(places) * grid].reshape(-1, grid)
        for pick in (argmin, argmax):
            row = shares[0].copy()
            for number, place in enumerate(places):
                row[place] = shares[1 + number * grid + pick(moved[number]), place]
            rows.append(row)
    return np.unique(np.array(rows), axis=0)


def effects(box: Box, values: Real, grid: int, places: Sequence[int]) -> dict[str, tuple[float, float]]:
    """By key, the least and greatest figure while that one alone moves, of values that begin with `alone`; NaN where there is none."""
    found = {}
    for number, place in enumerate(places):
        moved = np.append(values[1 + number * grid : 1 + (number + 1) * grid], values[0])
        moved = moved[np.isfinite(moved)]
        found[box[place].key] = (float(moved.min()), float(moved.max())) if moved.size else (np.nan, np.nan)
    return found


def argmin(values: Real) -> int:
    """The first place of the least number, NaN and infinities left out."""
    return int(np.argmin(np.where(np.isfinite(values), values, np.inf)))


def argmax(values: Real) -> int:
    """The first place of the greatest number, NaN and infinities left out."""
    return int(np.argmax(np.where(np.isfinite(values), values, -np.inf)))
