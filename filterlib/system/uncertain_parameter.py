"""One value that is not known exactly, and how its range is walked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class UncertainParameter:
    """One value that may lie elsewhere: ``key`` in the design file, ``low`` to ``high`` in ``unit``.

    ``logarithmic`` says how the range is walked; ``stated`` is False for a default, whose origin is ``why``.
    """

    key: str
    label: str
    unit: str
    nominal: float
    low: float
    high: float
    stated: bool
    why: str

    @property
    def logarithmic(self) -> bool:
        """True where the range is walked in ratios."""
        return self.low > 0 and self.high > 2 * self.low

    def at(self, share: Any) -> Any:
        """The value at a share 0 .. 1 of the range (an array gives an array)."""
        if self.logarithmic:
            return self.low * (self.high / self.low) ** share
        return self.low + (self.high - self.low) * share

    def share(self, value: float) -> float:
        """The share of the range at which a value lies: the other way round."""
        if self.logarithmic:
            return float(np.log(value / self.low) / np.log(self.high / self.low))
        return (value - self.low) / (self.high - self.low)
