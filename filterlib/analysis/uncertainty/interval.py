"""How far a figure may lie from its nominal value: found by search over the uncertainty, and not only at the corners."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from filterlib.analysis.uncertainty.moved_alone import Key, alone, effects, nominal, together
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.analysis.uncertainty.points import Metric, gone_on, intervals, measured
from filterlib.analysis.uncertainty.sampling import drawn_by, latin_hypercube
from filterlib.parts.values import Value
from filterlib.system.design import Design, with_values
from filterlib.system.ranges.uncertain_parameter import SHAPE, Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.sources.scales import FEW
from filterlib.system.sources.source_spectra import harmonic_count

GRID = (0.0, 0.25, 0.5, 0.75, 1.0)  # shares of its range at which each uncertain parameter is moved alone
SPREAD = 128  # points spread evenly over the whole box
CORNERS = 32
ROUNDS, ROUNDS_ON = 11, 7  # of going on from the best points; fewer where the ends at another operating point are known
MORE = 3  # times as many combinations are weighed by the readings as are solved, unless weighing is cheap
CHUNK = 128  # designs solved at a time, so that memory stays bounded
POINTS = 2**18  # harmonics of all designs of a search that are solved at a time: the same
Measure = Callable[[Design, Columns], Mapping[Key, Value]]
Lead = Callable[[Design, tuple[UncertainParameter, ...]], Sequence[int]]
Progress = Callable[[float], None]
Seek = Callable[
    [Design, Metric[Key], tuple[UncertainParameter, ...], Sequence[int] | None, Metric[Key] | None],
    "dict[Key, Interval]",
]
"""From a design of one shape, its rough figures, its box, the places of what is moved alone, and its exact figures."""


def shapes(design: Design) -> tuple[Design, ...]:
    """The design, or one of each shape where the converter's is not stated."""
    if design.converter.shape is not None:
        return (design,)
    converters = (design.converter.model_copy(update={"shape": shape}) for shape in ("triangle", "pulse"))
    return tuple(design.model_copy(update={"converter": converter}) for converter in converters)


def over_shapes(
    design: Design,
    measure: Measure[Key],
    *,
    confirm: Measure[Key] | None = None,
    more: Callable[[Design], Iterable[UncertainParameter]] = lambda _: (),
    lead: Lead | None = None,
    seek: Seek[Key] | None = None,
    draws: int = SPREAD,
    likely: Measure[str] | None = None,
    weighed: int = MORE,
    beside: Mapping[Key, Interval] | None = None,
    progress: Progress | None = None,
) -> dict[Key, Interval]:
    """The interval of every figure over the design's uncertain parameters, and over shapes that are not stated.

    Parameters: ``measure``: takes one design that holds many as arrays, and the values that made it {key: array (designs, 1)},
    gives {figure: array (designs,) or (designs, 1), or one number}; ``confirm``: the same, exactly, of the points that come
    out nearest to the ends, where ``measure`` is rough; ``more``: uncertain parameters beside those of a design; ``lead``: from a design and its uncertain
    parameters to the places of those that are moved alone; ``seek``: what
    seeks the ends in place of `search`, as where another design is known that is like this one; ``draws``: points that are spread evenly over the ranges; ``likely``: as ``measure``, the logarithm of how likely the readings
    are, under any key, where they say more than a contradiction; ``beside``: see `search`; ``progress``: called with the share of the search that is done.
    """
    variants = shapes(design)
    intervals: dict[Key, Interval] = {}
    for number, variant in enumerate(variants):
        tell = None if progress is None else lambda share, n=number: progress((n + share) / len(variants))
        box = (*uncertain_parameters(variant), *more(variant))
        metric = in_chunks(variant, measure, tell)
        exact = None if confirm is None else in_chunks(variant, confirm, size=FEW)
        places = None if lead is None else lead(variant, box)
        found = (
            search(
                metric,
                box,
                places=places,
                confirm=exact,
                draws=draws,
                likely=None if likely is None else in_chunks(variant, likely),
                weighed=weighed,
                beside=beside,
            )
            if seek is None
            else seek(variant, metric, box, places, exact)
        )
        for key, interval in found.items():
            interval = _of_shape(interval, variant, len(variants))
            intervals[key] = _wider(intervals[key], interval) if key in intervals else interval
    return intervals


def _of_shape(interval: Interval, variant: Design, of: int) -> Interval:
    """With the shape among what was drawn, one ``of`` several: then as plausible as it is."""
    drawn = interval.plausible
    if drawn is None:
        return interval
    values = {**drawn.values, SHAPE: np.full(len(drawn.weights), variant.converter.shape)}
    share = variant.converter.shape_share if of > 1 else 1.0
    return replace(interval, plausible=replace(drawn.times(share), values=values))


def _wider(one: Interval, two: Interval) -> Interval:
    """Both shapes' intervals together; the shape counts as an uncertain parameter, from one nominal figure to the other."""
    low, high = (one if one.low <= two.low else two), (one if one.high >= two.high else two)
    shape = min(one.nominal, two.nominal), max(one.nominal, two.nominal)
    effects = {**one.effects, SHAPE: shape}
    both = one.plausible.beside(two.plausible) if one.plausible and two.plausible else None
    return Interval(one.nominal, low.low, high.high, low.at_low, high.at_high, effects, plausible=both)


def in_chunks(
    design: Design, measure: Measure[Key], progress: Progress | None = None, size: int | None = None
) -> Metric[Key]:
    """``measure`` of a design's variants, ``size`` at a time: takes {key: array (designs, 1)}, gives {figure: (designs,)}.

    Unless ``size`` is stated, as many as `POINTS` harmonics are.
    """
    done, size = [0], size or max(1, POINTS // harmonic_count(design.converter))

    def metric(values: Columns) -> dict[Key, np.ndarray]:
        parts = []
        for chunk in chunks(values, size):
            count = len(next(iter(chunk.values())))
            figures = measure(with_values(design, chunk), chunk)
            parts.append({key: np.broadcast_to(np.ravel(figure), (count,)) for key, figure in figures.items()})
            done[0] += count
            if progress is not None:
                progress(done[0] / (done[0] + 256))
        return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}

    return metric


def chunks(values: Columns, size: int = CHUNK) -> Iterator[Columns]:
    """The values (designs, 1) of many designs in even parts of ``size`` designs at most.

    >>> [len(part["x"]) for part in chunks({"x": np.zeros((130, 1))})]
    [65, 65]
    """
    count = len(next(iter(values.values())))
    parts = -(-count // size)
    for number in range(parts):
        rows = slice(count * number // parts, count * (number + 1) // parts)
        yield {key: value[rows] for key, value in values.items()}


def search(
    metric: Metric[Key],
    uncertain_parameters: tuple[UncertainParameter, ...],
    *,
    places: Sequence[int] | None = None,
    confirm: Metric[Key] | None = None,
    draws: int = SPREAD,
    likely: Metric[str] | None = None,
    weighed: int = MORE,
    beside: Mapping[Key, Interval] | None = None,
    seed: int = 1,
) -> dict[Key, Interval]:
    """The interval of every figure that ``metric`` gives, over the box of the uncertain parameters' ranges.

    Parameters: ``metric``: takes {key: array (designs, 1)}, gives {figure: array (designs,)}, NaN where that combination
    contradicts what was stated; ``uncertain_parameters``; ``places`` of those that are moved alone, None for all; ``confirm``: as ``metric``, where that is rough: then the nominal
    figure and the ends are its answers; ``draws``: points of the hypercube, the plausible combinations; ``likely``: the logarithm of how
    likely the readings are: the plausible combinations are drawn by it then, beside some of the hypercube; ``beside``: intervals of the
    same design at another operating point, whose ends are looked at too; ``seed`` of the random points.
    Returns: {figure: `Interval`}; without uncertain parameters an empty dict.
    The box is walked with each uncertain parameter alone, in a Latin hypercube and random corners, with every one
    where it alone goes furthest, then on from the best points found, see `gone_on`; a resonance that is narrow against that spacing can
    still be missed, so the true interval is at least this wide.
    """
    if not uncertain_parameters:
        return {}
    places = range(len(uncertain_parameters)) if places is None else places
    rng = np.random.default_rng(seed)
    cube, weights, belief = latin_hypercube(rng, draws, len(uncertain_parameters)), np.ones(draws), 1.0
    if likely is not None:
        cube, weights, belief = _likely_first(likely, uncertain_parameters, cube, rng, weighed)
    shares = np.concatenate(
        [
            alone(uncertain_parameters, GRID, places),
            cube,
            rng.integers(0, 2, (CORNERS, len(uncertain_parameters))),
        ]
    )
    values = measured(metric, uncertain_parameters, shares)
    found = {name: effects(uncertain_parameters, v, len(GRID), places) for name, v in values.items()}
    drawn = slice(1 + len(places) * len(GRID), None)
    points = {one.key: one.at(cube[: len(weights), index]) for index, one in enumerate(uncertain_parameters)}
    plausible = {name: Plausible(v[drawn][: len(weights)], weights, points, belief) for name, v in values.items()}
    best = together(shares, values, len(GRID), places)
    rounds = ROUNDS, ROUNDS_ON
    shares, values = gone_on(rng, metric, uncertain_parameters, shares, values, best, rounds, beside=beside)
    return intervals(uncertain_parameters, shares, values, confirm, found, plausible)


def _likely_first(
    likely: Metric[str],
    uncertain_parameters: tuple[UncertainParameter, ...],
    cube: np.ndarray,
    rng: np.random.Generator,
    weighed: int,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Points drawn by the readings, then as many even ones as are left; the weights of the first, and the belief in the readings.

    ``weighed`` times as many are weighed first, by the converter alone: see `drawn_by`.
    """
    inside = [one.key.startswith("converter.") for one in uncertain_parameters]
    start = np.where(inside, nominal(uncertain_parameters), np.nan)
    even = latin_hypercube(rng, weighed * len(cube), len(start))

    def weigh(shares: np.ndarray) -> np.ndarray:
        return next(iter(measured(likely, uncertain_parameters, shares).values()))

    points, weights, belief = drawn_by(weigh, even, rng, len(cube), start)
    if not len(points):
        return cube, np.zeros(len(cube)), belief
    return np.concatenate([points, cube[len(points) :]]), weights, belief
