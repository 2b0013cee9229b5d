"""Points of a search over uncertain parameters: figures there, more points on from the best, and the intervals that all of them make."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from filterlib.analysis.uncertainty.moved_alone import Key, argmax, argmin
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.system.ranges.uncertain_parameter import Columns, UncertainParameter

MOVED, TO_AN_END = 0.4, 0.5  # share of the parameters that move there, and of these that go to an end of their range
NEAR = 0.25  # how far the others move, as a share of the range
NEARER, LAST = 0.8, 10  # what of that remains from each of so many equal parts of all rounds to the next
BEST = 2  # points near each end whose figures are confirmed
FITTED, NEARNESS = 60, 20.0  # best points that tell where a figure goes on to, and how many of them count most
STIFF = 1.0  # of that fit, in squares of moves: what moved little tells little
LIKELY, WHOLE = 0.6, 0.5  # share of the parameters worth most that are moved, and of these that go all the way
OTHERS = 0.1  # share of all parameters that are moved at random beside
GOOD = 20  # best points with which the very best is crossed
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


def gone_on(
    rng: np.random.Generator,
    metric: Metric[Key],
    uncertain_parameters: tuple[UncertainParameter, ...],
    shares: np.ndarray,
    values: Mapping[Key, np.ndarray],
    best: np.ndarray,
    rounds: tuple[int, int],
    *,
    beside: Mapping[Key, Interval] | None,
    along: int = 1,
    near: int = 4,
) -> tuple[np.ndarray, dict[Key, np.ndarray]]:
    """The points and figures so far, those at ``best``, and those of points that go on from the best ones, round by round ever less far.

    Where the intervals ``beside`` are known, of the same design at another operating point, their ends are looked at too, and there are
    ``rounds[1]`` in place of ``rounds[0]``. In each round and from each figure's least and greatest: ``along`` of them to where the points about it say that it goes on,
    ``near`` it so many, which cancellations ask for, and one between it and another good one.
    """
    first, count = (
        (np.concatenate([best, points_of(beside, uncertain_parameters)]), rounds[1]) if beside else (best, rounds[0])
    )
    shares, values = with_more(metric, uncertain_parameters, shares, values, first)
    for number in range(count):
        width = NEAR * NEARER ** (LAST * number / count)
        rows = [nearby(rng, shares, values, near, width)]
        for order, gains in _best_first(values):
            best = shares[order]
            rows += [_along(rng, best, gains, width, along), _crossed(rng, best)]
        shares, values = with_more(metric, uncertain_parameters, shares, values, np.concatenate(rows))
    return shares, values


def _best_first(values: Mapping[Key, np.ndarray]) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """For each point at which a figure is least or greatest: it and the `FITTED` next to it, and what they have less, below zero all.

    In logarithms where all are above zero.
    """
    begun = set[int]()
    for figure in values.values():
        for sign in (-1, 1):
            order = np.argsort(np.where(np.isfinite(figure), -sign * figure, np.inf), kind="stable")
            order = order[: min(FITTED, np.count_nonzero(np.isfinite(figure)))]
            if order.size and order[0] not in begun:
                begun.add(int(order[0]))
                best = figure[order]
                yield order, sign * (np.log(best / best[0]) if best.min() > 0 else best - best[0])


def _along(rng: np.random.Generator, near: np.ndarray, gains: np.ndarray, width: float, count: int) -> np.ndarray:
    """From the first of some points ``near`` each other ``count`` on, along a straight line through their figures.

    Each parameter is moved the likelier the more it is worth on that line as far as its range allows, and a few of the others
    by ``width``, at random.
    """
    moves, counts = near - near[0], 1 / (1 + np.arange(len(near)) / NEARNESS)
    slopes = np.linalg.solve((moves.T * counts) @ moves + STIFF * np.eye(moves.shape[1]), (moves.T * counts) @ gains)
    end = (slopes > 0).astype(float)
    worth, shape = slopes * (end - near[0]), (count, len(slopes))
    moved = rng.random(shape) < LIKELY * worth / (worth.max() or 1.0)
    far = np.where(rng.random(shape) < WHOLE, 1.0, rng.random(shape))
    rows = near[0] + moved * far * (end - near[0])
    strayed = np.clip(rows + width * rng.standard_normal(shape), 0, 1)
    return np.asarray(np.where(rng.random(shape) < OTHERS, strayed, rows))


def _crossed(rng: np.random.Generator, near: np.ndarray) -> np.ndarray:
    """One with half of its parameters as at the first of some points, half as at another of the best `GOOD`."""
    other = near[rng.integers(0, min(GOOD, len(near)))]
    return np.asarray(np.where(rng.random((1, len(other))) < 0.5, near[0], other))


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


def points_of(like: Mapping[Key, Interval], box: tuple[UncertainParameter, ...]) -> np.ndarray:
    """The nominal point, and those that make the ends of other intervals; what these do not have is nominal; (points, parameters)."""
    ends = [{}, *(values for one in like.values() for values in (one.at_low, one.at_high))]
    rows = [[at.get(one.key, one.nominal) for one in box] for at in ends]
    return np.array([[_share(p, v) for p, v in zip(box, row, strict=True)] for row in rows])


def _share(one: UncertainParameter, value: float) -> float:
    return float(one.share(float(np.clip(value, one.low, one.high))))
