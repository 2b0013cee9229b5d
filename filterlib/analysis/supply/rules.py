"""One figure against one rule: met, undecided over the range, or not met. The plug, its fixes and the battery's side are judged here alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import InUnit, Unit

__all__ = ["Check", "check", "worst"]
Answer = Literal["met", "undecided", "not met", "no limit"]
_ORDER = ("no limit", "met", "undecided", "not met")


@dataclass(frozen=True)
class Check:
    """A figure of the input line: ``part`` and ``what`` in words; ``value`` with ``low`` and ``high`` over what is not known.

    ``limit``, NaN where nothing is stated; ``at_least``: the value must not fall below it; ``rule``: what binds; ``source``: whose that is.
    """

    name: str
    part: str
    what: str
    unit: str
    value: Annotated[float, Unit("{unit}", key="")]
    low: InUnit[float]
    high: InUnit[float]
    limit: InUnit[float]
    rule: str
    source: str
    at_least: bool = False

    @property
    def verdict(self) -> Answer:
        """Against the limit, over the whole range."""
        if np.isnan(self.limit):
            return "no limit"
        best, worst = (self.high, self.low) if self.at_least else (self.low, self.high)
        sign = -1 if self.at_least else 1
        if sign * worst <= sign * self.limit:
            return "met"
        return "undecided" if sign * best <= sign * self.limit else "not met"

    @property
    def margin(self) -> Annotated[float, Unit("", key="*_ratio")]:
        """Limit over the worst value less 1; the other way round for "at least"."""
        over, under = (self.low, self.limit) if self.at_least else (self.limit, self.high)
        ratio = over / under if under else np.inf
        return ratio - 1


def check(
    name: str, part: str, what: str, unit: str, values: Iterable[float], limit: float | None, rule: str, source: str, *,
    at_least: bool = False,
) -> Check:  # fmt: skip
    """A check of ``values``, the nominal one first; ``limit`` None where nothing is stated.

    >>> check("fuse", "fuse", "steady current", "A", (4.0, 3.5, 6.0), 5.0, "75 %", "hand").verdict
    'undecided'
    """
    every = tuple(map(float, values))
    bound = np.nan if limit is None else float(limit)
    return Check(name, part, what, unit, every[0], min(every), max(every), bound, rule, source, at_least)


def worst(checks: Iterable[Check]) -> Check | None:
    """The check that decides: the worst verdict, and of these the one with the least margin; None where there is none."""
    return max(
        checks, key=lambda one: (_ORDER.index(one.verdict), -np.nan_to_num(one.margin, nan=np.inf)), default=None
    )
