"""One figure against its limit: met, undecided over the range, or not met; ratings and rules are judged alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import InUnit, Unit

Answer = Literal["met", "undecided", "not met", "no limit", "not known"]


@dataclass(frozen=True)
class AgainstLimit:
    """A figure, how far it may lie from its nominal value, and what it must not go beyond.

    ``name``: short and unique; ``part`` and ``what`` in words; ``value`` with ``low`` and ``high`` over the uncertainty, NaN where it is not
    known; ``limit``, NaN where there is none; ``at_least``: True where the value must not fall below it.

    >>> AgainstLimit("C1", "C1", "ripple current", "A", 4.0, 3.5, 6.0, 5.0, at_least=False).verdict
    'undecided'
    """

    name: str
    part: str
    what: str
    unit: str
    value: Annotated[float, Unit("{unit}", key="")]
    low: InUnit[float]
    high: InUnit[float]
    limit: InUnit[float]
    at_least: bool

    @property
    def verdict(self) -> Answer:
        """Over the whole range."""
        worst, best, sign = (self.low, self.high, -1) if self.at_least else (self.high, self.low, 1)
        if np.isnan(worst):
            return "not known"
        if np.isnan(self.limit):
            return "no limit"
        if sign * worst <= sign * self.limit:
            return "met"
        return "undecided" if sign * best <= sign * self.limit else "not met"

    @property
    def margin(self) -> Annotated[float, Unit("", key="*_ratio")]:
        """Limit over the worst value less 1; the other way round for "at least"."""
        over, under = (self.low, self.limit) if self.at_least else (self.limit, self.high)
        return over / under - 1 if under else np.inf
