"""The ends of a changed design's figures, sought from those of the design as it was: at a look, or on from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filterlib.analysis.uncertainty.moved_alone import Key, alone, effects, together
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.analysis.uncertainty.points import (
    NEAR,
    Metric,
    gone_on,
    intervals,
    measured,
    nearby,
    points_of,
    with_more,
)
from filterlib.analysis.uncertainty.sampling import latin_hypercube
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE, UncertainParameter

CLOSER = 6  # points around each best one in a closer look
ENDS = (0.0, 1.0)  # shares of its range at which each uncertain parameter is moved alone
ROUNDS, ROUNDS_ON = 10, 6  # of going on from the best points; fewer where the ends at another operating point are known
ALONG, NEARBY = 3, 1  # points from each best one and round along a straight line, and near it

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
    shares = points_of(like, uncertain_parameters)
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
    beside: Mapping[Key, Interval] | None = None,
    seed: int = 1,
) -> dict[Key, Interval]:
    """As `interval.search`, begun at the ends of a design that is like this one: in half the points, or less.

    Parameters: ``variant``: a design of one shape; ``metric``, ``places``, ``confirm`` as there; ``like``: the intervals of a design with the same
    converter, whose plausible combinations are taken again, what is not the converter's drawn evenly; ``draws``: how many, where it has none;
    ``beside``: the intervals of this one at another operating point, whose ends are looked at too; ``seed`` of the random points.
    """
    if not uncertain_parameters:
        return {}
    places, rng = range(len(uncertain_parameters)) if places is None else places, np.random.default_rng(seed)
    cube, weights, belief = _drawn_again(variant, uncertain_parameters, like, draws, rng)
    shares = np.concatenate([alone(uncertain_parameters, ENDS, places), points_of(like, uncertain_parameters)])
    values = measured(metric, uncertain_parameters, shares)
    found = {name: effects(uncertain_parameters, v, len(ENDS), places) for name, v in values.items()}
    best = together(shares, values, len(ENDS), places)
    first = len(shares)
    shares, values = with_more(metric, uncertain_parameters, shares, values, cube)
    drawn = {one.key: one.at(cube[: len(weights), index]) for index, one in enumerate(uncertain_parameters)}
    plausible = {name: Plausible(v[first : first + len(weights)], weights, drawn, belief) for name, v in values.items()}
    rounds = ROUNDS, ROUNDS_ON
    shares, values = gone_on(
        rng, metric, uncertain_parameters, shares, values, best, rounds, beside=beside, along=ALONG, near=NEARBY
    )
    return intervals(uncertain_parameters, shares, values, confirm, found, plausible)


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
