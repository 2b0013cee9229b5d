"""Which operating point to look at first."""

from __future__ import annotations

import math

from filterlib.analysis.review import PointResult, ReviewResult


def decisive_point(result: ReviewResult, load: str | None = None) -> PointResult:
    """The operating point to look at first: where a ripple requirement (of that load) has the least margin.

    An unstable point comes before all where no load is named; with a load, a point that has a ripple is preferred.
    """
    unstable = [point for point in result.points if not point.operating.stable]
    if unstable and load is None:
        return unstable[0]
    ripples = ("ripple", "spike")
    judged = [v for v in result.verdicts if v.kind in ripples and load in (None, v.load) and math.isfinite(v.margin)]
    steady = [point for point in result.points if point.operating.stable]
    named = {point.operating.point: point for point in steady}
    for verdict in sorted(judged, key=lambda verdict: verdict.margin):
        if verdict.point in named:
            return named[verdict.point]
    return (steady or result.points)[0]
