"""Two designs side by side: what differs, what each leaves at the loads that both have, and why."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.comparison.comparison_result import LABELS, ComparisonResult, Left, LoadComparison
from filterlib.analysis.comparison.differences import differences
from filterlib.analysis.review import review
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.errors import FilterlibError
from filterlib.system.design import Design

REVIEWS = 0.85  # share of the time
Progress = Callable[[float, str], None]


def compare(first: Design, second: Design, *, progress: Progress | None = None) -> ComparisonResult:
    """Compare two designs: the same filter on two converters, two filters on one, or whatever differs.

    Parameters: ``first``, ``second``: designs with at least one load of the same name; ``progress``: called with the share done
    (0 to 1) and what is being done.
    Returns: ComparisonResult, in SI units.
    Raises: FilterlibError where no load has the same name in both, where different designs have the same title, and as `review`.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> other = filterlib.changed(design.replace(name="Longer leads"), {"converter.lead_inductance": 100e-9})
    >>> filterlib.compare(design, other).exit_code
    0
    """
    shared = _shared(first, second)
    differing = differences(first, second)
    if differing and first.name == second.name:
        raise FilterlibError(
            f'name: both designs are called "{first.name}" and are not the same: give one of them another name'
        )
    tell = progress or (lambda share, text: None)
    reviews = (_reviewed(first, 0, tell), _reviewed(second, 1, tell))
    points = _points(*reviews)
    loads = []
    for number, load in enumerate(shared):
        tell(REVIEWS + (1 - REVIEWS) * number / len(shared), f"reasons at {load}")
        loads.append(_load(load, points))
    return ComparisonResult(
        reviews=reviews,
        differences=differing,
        loads=tuple(loads),
        only=tuple(
            (label, load.name)
            for label, design in zip(LABELS, (first, second), strict=True)
            for load in design.loads
            if load.name not in shared
        ),
    )


def _shared(first: Design, second: Design) -> list[str]:
    names = [[load.name for load in design.loads] for design in (first, second)]
    shared = [name for name in names[0] if name in names[1]]
    if not shared:
        has = " and ".join(
            f"{design.name} has {', '.join(n)}" for design, n in zip((first, second), names, strict=True)
        )
        raise FilterlibError(
            f"load: no load has the same name in both designs ({has}); name the load to be compared alike"
        )
    return shared


def _reviewed(design: Design, number: int, tell: Progress) -> ReviewResult:
    def part(share: float, text: str) -> None:
        tell(REVIEWS * (number + share) / 2, f"{LABELS[number]}, {text}")

    try:
        return review(design, progress=part)
    except FilterlibError as error:
        raise FilterlibError(f"{LABELS[number]}, {design.name}: {error}") from error


def _points(first: ReviewResult, second: ReviewResult) -> tuple[tuple[PointResult, PointResult], ...]:
    """Operating points of the same name in both; where there are none, the first of each."""
    named = {point.operating.point: point for point in second.points}
    shared = ((one, named[one.operating.point]) for one in first.points if one.operating.point in named)
    return tuple(shared) or ((first.points[0], second.points[0]),)


def _load(load: str, points: tuple[tuple[PointResult, PointResult], ...]) -> LoadComparison:
    """At the operating point at which most is left in one of the two; an unstable one comes before all."""

    def most(pair: tuple[PointResult, PointResult]) -> float:
        return max(float(np.nan_to_num(_left(one, load).ripple, nan=np.inf)) for one in pair)

    pair = max(points, key=most)
    first, second = (reasons(point.solution, load, pairs=0) for point in pair)
    return LoadComparison(load, _left(pair[0], load), _left(pair[1], load), first, second)


def _left(point: PointResult, load: str) -> Left:
    name, result = point.operating.point, point.ripple
    if result.reason is not None:
        return Left(name, reason=result.reason)
    (narrow, narrow_before), (wide, wide_before) = (
        (result.figures[load, label], result.figures[f"{load}_before", label]) for label in ("20MHz", "full")
    )
    return Left(
        name, narrow.peak_to_peak, narrow_before.peak_to_peak, narrow.low, narrow.high,
        wide.peak_to_peak, wide_before.peak_to_peak, wide.low, wide.high,
        narrow.probable_low, narrow.probable_high, wide.probable_low, wide.probable_high,
    )  # fmt: skip
