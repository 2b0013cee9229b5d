"""Two reviewed designs side by side: what differs, what each leaves at the loads that both have, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.comparison.differences import Difference
from filterlib.analysis.described import Unit
from filterlib.analysis.review_result import ReasonsResult, ReviewResult
from filterlib.analysis.stability.stability_result import Stability
from filterlib.system.design import Design

LABELS = ("A", "B")


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
