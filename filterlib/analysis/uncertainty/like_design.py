"""The ends of a changed design's figures, sought from those of the design as it was: at a look, or on from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filterlib.analysis.uncertainty.moved_alone import Key, alone, effects, together
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.analysis.uncertainty.points import NEAR, NEARER, Metric, intervals, measured, nearby, with_more
from filterlib.analysis.uncertainty.sampling import latin_hypercube
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE, UncertainParameter

CLOSER = 6  # points around each best one in a closer look
ENDS = (0.0, 1.0)  # shares of its range at which each uncertain parameter is moved alone
ROUNDS = 8  # of going on from the best points
ALONG = 6  # points from each best one and round
FITTED, NEARNESS = 60, 20.0  # best points that tell where a figure goes on to, and how many of them count most
STIFF = 1.0  # of that fit, in squares of moves: what moved little tells little
LIKELY, WHOLE = 0.6, 0.5  # share of the parameters worth most that are moved, and of these that go all the way
OTHERS = 0.1  # share of all parameters that are moved at random beside

Depth = Literal["first look", "closer look", "whole"]
Box = tuple[UncertainParameter, ...]
Real = NDArray[np.float64]


def at_ends(
    metric: Metric[Key],
    uncertain_parameters: tuple[UncertainParameter, ...],
    like: Mapping[Key, Interval],
    *,
    closer: bool = False,
    places: Sequence[int] | None = None,
    confirm: Metric[Key] | None = None,
) -> dict[Key, Interval]:
    """A first look at what `interval.search` would find: at the nominal values, and at those that make the ends of other intervals.

    ``like``: the intervals of a design that is like this one; what that one does not have is nominal. ``closer``: also with each
    uncertain parameter alone at its ends, all of them where each alone goes furthest, and around the best of these: some 150
    points where `interval.search` takes a thousand; ``places`` and ``confirm`` as there. The true interval is at least as wide as these. ``effects`` are those of ``like``.

    >>> box = (UncertainParameter("x", "x", "", 1.0, 0.0, 2.0, True, ""), UncertainParameter("y", "y", "", 3.0, 2.0, 4.0, True, ""))
    >>> other = Interval(0.0, 0.0, 1.0, {"x": 0.5}, {"x": 2.0, "z": 7.0}, {"x": (0.0, 1.0)})
    >>> found = at_ends(lambda values: {"sum": (values["x"] + values["y"])[:, 0]}, box, {"sum": other})["sum"]
    >>> found.low, found.nominal, found.high, found.at_high
    (3.5, 4.0, 5.0, {'x': 2.0, 'y': 3.0})
    """
    if not uncertain_parameters:
        return {}
    places = range(len(uncertain_parameters)) if places is None else places
    shares = _points_of(like, uncertain_parameters)
    if closer:
        shares = np.concatenate([alone(uncertain_parameters, ENDS, places), shares])
    values = measured(metric, uncertain_parameters, shares)
    if closer:
        best = together(shares, values, len(ENDS), places)
        shares, values = with_more(metric, uncertain_parameters, shares, values, best)
        near = nearby(np.random.default_rng(1), shares, values, CLOSER, NEAR)
        shares, values = with_more(metric, uncertain_parameters, shares, values, near)
    return intervals(uncertain_parameters, shares, values, confirm, {name: one.effects for name, one in like.items()})


def from_ends(
    variant: Design,
    metric: Metric[Key],
    uncertain_parameters: Box,
    places: Sequence[int] | None,
    confirm: Metric[Key] | None,
    *,
    like: Mapping[Key, Interval],
    draws: int,
    seed: int = 1,
) -> dict[Key, Interval]:
    """As `interval.search` of figures above zero, begun at the ends of a design that is like this one: in half the points, or less.

    Parameters: ``variant``: a design of one shape; ``metric``, ``places``, ``confirm`` as there; ``like``: the intervals of a design with the same
    converter, whose plausible combinations are taken again, what is not the converter's drawn evenly; ``draws``: how many, where it has none;
    ``seed`` of the random points. Where a figure goes on to from its best points, those nearest to them say (`_along`).
    """
    if not uncertain_parameters:
        return {}
    places, rng = range(len(uncertain_parameters)) if places is None else places, np.random.default_rng(seed)
    cube, weights, belief = _drawn_again(variant, uncertain_parameters, like, draws, rng)
    shares = np.concatenate([alone(uncertain_parameters, ENDS, places), _points_of(like, uncertain_parameters)])
    values = measured(metric, uncertain_parameters, shares)
    found = {name: effects(uncertain_parameters, v, len(ENDS), places) for name, v in values.items()}
    best = together(shares, values, len(ENDS), places)
    first = len(shares)
    shares, values = with_more(metric, uncertain_parameters, shares, values, cube)
    drawn = {one.key: one.at(cube[: len(weights), index]) for index, one in enumerate(uncertain_parameters)}
    plausible = {name: Plausible(v[first : first + len(weights)], weights, drawn, belief) for name, v in values.items()}
    shares, values = with_more(metric, uncertain_parameters, shares, values, best)
    for number in range(ROUNDS):
        further = _along(rng, shares, values, NEAR * NEARER**number)
        shares, values = with_more(metric, uncertain_parameters, shares, values, further)
    return intervals(uncertain_parameters, shares, values, confirm, found, plausible)


def _points_of(like: Mapping[Key, Interval], box: Box) -> Real:
    """The nominal point, and those that make the ends of other intervals; what these do not have is nominal; (points, parameters)."""
    ends = [{}, *(values for one in like.values() for values in (one.at_low, one.at_high))]
    rows = [[at.get(one.key, one.nominal) for one in box] for at in ends]
    return np.array([[_share(p, v) for p, v in zip(box, row, strict=True)] for row in rows])


def _share(one: UncertainParameter, value: float) -> float:
    return float(one.share(float(np.clip(value, one.low, one.high))))


def _drawn_again(
    variant: Design, box: Box, like: Mapping[Key, Interval], draws: int, rng: np.random.Generator
) -> tuple[Real, Real, float]:
    """The converters of another design's plausible combinations of this shape, the rest drawn evenly; their weights, and the belief."""
    cube = latin_hypercube(rng, draws, len(box))
    every = next((one.plausible for one in like.values() if one.plausible is not None), None)
    drawn = None if every is None else every.where(SHAPE, variant.converter.shape)
    if every is None or drawn is None:
        return cube, np.full(draws, float(every is None)), 1.0
    cube = latin_hypercube(rng, len(drawn.weights), len(box))
    for place, one in enumerate(box):
        if one.key.startswith("converter.") and one.key in drawn.values:
            cube[:, place] = np.clip(one.share(drawn.values[one.key]), 0, 1)
    several = len(np.unique(every.values[SHAPE])) > 1
    return cube, drawn.weights / (variant.converter.shape_share if several else 1.0), drawn.belief


def _along(rng: np.random.Generator, shares: Real, values: Mapping[Key, Real], width: float) -> Real:
    """Points on from each figure's best ones, `ALONG` each, to where the `FITTED` best say that it goes on.

    A straight line is laid through the logarithms of their figures; each parameter is moved the likelier the more it is worth on
    that line as far as its range allows, and a few of the others by ``width``, at random.
    """
    rows, begun = [], set[int]()
    for figure in values.values():
        for sign in (-1, 1):
            order = np.argsort(np.where(np.isfinite(figure), -sign * figure, np.inf), kind="stable")
            near = order[: min(FITTED, np.count_nonzero(np.isfinite(figure)))]
            if not near.size or near[0] in begun:
                continue
            begun.add(int(near[0]))
            rows.append(_on_from(rng, shares[near], sign * np.log(figure[near] / figure[near[0]]), width))
    return np.concatenate(rows) if rows else shares[:0]


def _on_from(rng: np.random.Generator, near: Real, gains: Real, width: float) -> Real:
    """From the first of some points ``near`` each other, by what the others ``gains`` over it, below zero all."""
    moves, counts = near - near[0], 1 / (1 + np.arange(len(near)) / NEARNESS)
    slopes = np.linalg.solve((moves.T * counts) @ moves + STIFF * np.eye(moves.shape[1]), (moves.T * counts) @ gains)
    end = (slopes > 0).astype(float)
    worth = slopes * (end - near[0])
    shape = ALONG, len(worth)
    moved = rng.random(shape) < LIKELY * worth / (worth.max() or 1.0)
    far = np.where(rng.random(shape) < WHOLE, 1.0, rng.random(shape))
    rows = near[0] + moved * far * (end - near[0])
    strayed = np.clip(rows + width * rng.standard_normal(shape), 0, 1)
    return np.asarray(np.where(rng.random(shape) < OTHERS, strayed, rows))
