"""Points of a search over uncertain parameters: figures there, more points near the best, and the intervals that all of them make."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from filterlib.analysis.uncertainty.moved_alone import Key, argmax, argmin
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.system.ranges.uncertain_parameter import Columns, UncertainParameter

MOVED, TO_AN_END = 0.4, 0.5  # share of the parameters that move there, and of these that go to an end of their range
NEAR, NEARER = 0.25, 0.8  # how far the others move, as a share of the range; and what of it is left in the next round
BEST = 2  # points near each end whose figures are confirmed
Metric = Callable[[Columns], Mapping[Key, np.ndarray]]


def intervals(
    uncertain_parameters: tuple[UncertainParameter, ...],
    shares: np.ndarray,
    values: Mapping[Key, np.ndarray],
    confirm: Metric[Key] | None,
    effects: Mapping[Key, Mapping[str, tuple[float, float]]],
    plausible: Mapping[Key, Plausible] | None = None,
) -> dict[Key, Interval]:
    """Of each figure between the ends of the points that were tried, confirmed where they are rough."""
    if confirm is not None:
        shares, values = _confirmed(confirm, uncertain_parameters, shares, values)
    drawn = plausible or {}
    return {
        name: replace(interval_of(uncertain_parameters, shares, v, effects.get(name, {})), plausible=drawn.get(name))
        for name, v in values.items()
    }


def _confirmed(
    confirm: Metric[Key],
    uncertain_parameters: tuple[UncertainParameter, ...],
    shares: np.ndarray,
    values: Mapping[Key, np.ndarray],
) -> tuple[np.ndarray, dict[Key, np.ndarray]]:
    """The nominal point and those nearest to each end, with their exact figures."""
    order = [np.argsort(np.where(np.isfinite(v), v, np.inf), kind="stable") for v in values.values()]
    known = [np.count_nonzero(np.isfinite(v)) for v in values.values()]
    near = [
        row
        for rows, count in zip(order, known, strict=True)
        for row in (*rows[:BEST], *rows[max(count - BEST, 0) : count])
    ]
    shares = shares[[0, *dict.fromkeys(near)]]
    return shares, measured(confirm, uncertain_parameters, shares)


def with_more(
    metric: Metric[Key],
    uncertain_parameters: tuple[UncertainParameter, ...],
    shares: np.ndarray,
    values: Mapping[Key, np.ndarray],
    rows: np.ndarray,
) -> tuple[np.ndarray, dict[Key, np.ndarray]]:
    """The points and figures so far, and those of further points."""
    more = measured(metric, uncertain_parameters, rows)
    return np.concatenate([shares, rows]), {name: np.concatenate([v, more[name]]) for name, v in values.items()}


def nearby(
    rng: np.random.Generator, shares: np.ndarray, values: Mapping[Key, np.ndarray], count: int, width: float
) -> np.ndarray:
    """Points near each figure's best ones, ``count`` each: some parameters moved, to an end or by ``width``.

    Where all moved at once, next to none of the points would come out better: a narrow resonance needs most of them as they are.
    """
    best = sorted({pick(v) for v in values.values() for pick in (argmin, argmax)})
    centres = np.repeat(shares[best], count, axis=0)
    moved, to_an_end = rng.random(centres.shape) < MOVED, rng.random(centres.shape) < TO_AN_END
    ends = rng.integers(0, 2, centres.shape)
    by_width = np.clip(centres + width * rng.standard_normal(centres.shape), 0, 1)
    return np.where(moved, np.where(to_an_end, ends, by_width), centres)


def measured(
    metric: Metric[Key], uncertain_parameters: tuple[UncertainParameter, ...], shares: np.ndarray
) -> dict[Key, np.ndarray]:
    """The figures (points,) at points (points, parameters) in shares of the ranges."""
    values = {parameter.key: parameter.at(shares[:, [index]]) for index, parameter in enumerate(uncertain_parameters)}
    return {name: np.asarray(figure, float) for name, figure in metric(values).items()}


def interval_of(
    uncertain_parameters: tuple[UncertainParameter, ...],
    shares: np.ndarray,
    values: np.ndarray,
    effects: Mapping[str, tuple[float, float]],
) -> Interval:
    """The interval of one figure from its ``values`` (points,), the nominal one first, at the points ``shares``."""
    low, high = argmin(values), argmax(values)

    def at(row: int) -> dict[str, float]:
        return {
            parameter.key: float(parameter.at(share))
            for parameter, share in zip(uncertain_parameters, shares[row], strict=True)
        }

    return Interval(float(values[0]), float(values[low]), float(values[high]), at(low), at(high), effects)
