"""The conducted emission that a design asks for, at all its operating points."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionResult, EmissionTest, Extent, emission_tests
from filterlib.analysis.emission.estimate import Mask, estimates
from filterlib.analysis.stability.stability import stability
from filterlib.analysis.stability.stability_result import Stability
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.solution import Solution

Progress = Callable[[float], None]


def emissions_of(
    design: Design,
    solutions: Iterable[Solution],
    *,
    like: Mapping[str, tuple[EmissionResult, ...]] | None = None,
    asked: bool = False,
    masks: Mapping[str, Mask] | None = None,
    drawn: Mapping[str, Plausible] | None = None,
    progress: Progress | None = None,
) -> dict[str, tuple[EmissionResult, ...]]:
    """By operating point the estimate of every test that the design asks for.

    The range is sought at all of them at once, each design that is tried being solved at every point. ``like``: the estimates
    of a design that is like this one, by point: tests are then read at the values which make the ends of those; ``asked``: tests
    that no requirement asks for are left out; ``masks``, ``drawn``: see `estimates`.
    """
    solutions, tests = tuple(solutions), emission_tests(design)
    by_point: dict[str, list[EmissionResult]] = {solution.point: [] for solution in solutions}
    for number, test in enumerate(tests):
        if asked and not _required(test, design):
            continue
        ends = None if like is None else {(at, *k): v for at, of in like.items() for k, v in of[number].extents.items()}

        def tell(share: float, number: int = number) -> None:
            if progress is not None:
                progress((number + share) / len(tests))

        points = [(solution, stability(solution)) for solution in solutions]
        for result in _at_points(test, points, tell, ends, masks, drawn):
            by_point[result.point].append(result)
    return {point: tuple(results) for point, results in by_point.items()}


def _required(test: EmissionTest, design: Design) -> bool:
    """Whether a requirement asks for the test."""
    asked = [one for one in design.requirements if isinstance(one, EmissionRequirement)]
    return any(one.side == test.side and one.at == test.network for one in asked)


def _at_points(
    test: EmissionTest,
    points: list[tuple[Solution, Stability]],
    tell: Progress,
    intervals: Mapping[tuple[str, str, str], Extent] | None,
    masks: Mapping[str, Mask] | None,
    drawn: Mapping[str, Plausible] | None,
) -> Iterator[EmissionResult]:
    steady = [solution for solution, verdict in points if verdict.stable]
    sought = True if intervals is None else intervals
    yield from estimates(steady, test, interval=sought, masks=masks, drawn=drawn, progress=tell)
    for solution, verdict in points:
        if not verdict.stable:
            yield EmissionResult(solution.point, test, reason=verdict)


def nearest(result: EmissionResult) -> float:
    """The least nominal margin [dB]; without a limit in reach, the highest line's level below nothing [-dBµV]."""
    if result.margins:
        return min(margin.margin for margin in result.margins)
    return -max((float(np.max(level, initial=-np.inf)) for level in result.levels.values()), default=-np.inf)
