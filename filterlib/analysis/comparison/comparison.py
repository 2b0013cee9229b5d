"""Two designs side by side: what differs, what each leaves at the loads that both have, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.causes.reasons import ReasonsResult, reasons
from filterlib.analysis.comparison.differences import Difference, differences
from filterlib.analysis.described import Unit
from filterlib.analysis.review import PointResult, ReviewResult, review
from filterlib.analysis.stability.stability import Stability
from filterlib.errors import FilterlibError
from filterlib.system.design import Design

LABELS = ("A", "B")
REVIEWS = 0.85  # share of the time
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Left:
    """What one design leaves at one load, at one operating point.

    Peak to peak, in 20 MHz and in full bandwidth: ``ripple``, ``spike`` behind the filter, ``ripple_before``,
    ``spike_before`` with the filter taken away; ``ripple_low`` ... ``spike_high``: the interval over the uncertainty,
    ``ripple_probable_low`` ... the probable one. NaN where
    the circuit is unstable, and ``reason`` then says so.
    """

    point: str
    ripple: Annotated[float, Unit("V", "with filter", "20MHz_pp")] = np.nan
    ripple_before: Annotated[float, Unit("V", "20 MHz, without filter", "20MHz_before_pp")] = np.nan
    ripple_low: Annotated[float, Unit("V", key="20MHz_pp_low")] = np.nan
    ripple_high: Annotated[float, Unit("V", key="20MHz_pp_high")] = np.nan
    spike: Annotated[float, Unit("V", "with filter", "full_pp")] = np.nan
    spike_before: Annotated[float, Unit("V", "full bandwidth, without filter", "full_before_pp")] = np.nan
    spike_low: Annotated[float, Unit("V", key="full_pp_low")] = np.nan
    spike_high: Annotated[float, Unit("V", key="full_pp_high")] = np.nan
    ripple_probable_low: Annotated[float, Unit("V", key="20MHz_pp_probable_low")] = np.nan
    ripple_probable_high: Annotated[float, Unit("V", key="20MHz_pp_probable_high")] = np.nan
    spike_probable_low: Annotated[float, Unit("V", key="full_pp_probable_low")] = np.nan
    spike_probable_high: Annotated[float, Unit("V", key="full_pp_probable_high")] = np.nan
    reason: Stability | None = None

    @property
    def ripple_ratio(self) -> Annotated[float, Unit("", "before over after", "20MHz_before_over_after_ratio")]:
        """Ripple without the filter over that with it, in 20 MHz."""
        return self.ripple_before / self.ripple if self.ripple else np.nan

    @property
    def spike_ratio(self) -> Annotated[float, Unit("", "before over after", "full_before_over_after_ratio")]:
        """The same in full bandwidth."""
        return self.spike_before / self.spike if self.spike else np.nan


@dataclass(frozen=True)
class LoadComparison:
    """One load that both designs have: what is left in each, and why; ``first`` and ``second`` are of the two designs."""

    load: str
    first: Left
    second: Left
    first_reasons: ReasonsResult
    second_reasons: ReasonsResult

    @property
    def lefts(self) -> tuple[Left, Left]:
        """Of both designs."""
        return self.first, self.second

    @property
    def reasons(self) -> tuple[ReasonsResult, ReasonsResult]:
        """Of both designs."""
        return self.first_reasons, self.second_reasons


@dataclass(frozen=True)
class ComparisonResult:
    """Two reviewed designs, "A" and "B", side by side.

    ``reviews`` of both; ``differences`` between their files; ``loads`` that both have, by name; ``only``: loads that one of
    them has alone, by label. ``exit_code``: 0 where both reviews have 0, else 1.
    """

    reviews: tuple[ReviewResult, ReviewResult]
    differences: tuple[Difference, ...]
    loads: tuple[LoadComparison, ...]
    only: tuple[tuple[str, str], ...]

    @property
    def designs(self) -> tuple[Design, Design]:
        """Both designs."""
        return self.reviews[0].design, self.reviews[1].design

    @property
    def exit_code(self) -> int:
        """As of a review: the worse of the two."""
        return max(one.exit_code for one in self.reviews)


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
