"""What the converter may deliver: rated output current and power, and their derating over temperature."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from filterlib.errors import Problem
from filterlib.parts.base import Curve, Quantity, on_curve
from filterlib.parts.values import Points
from filterlib.system.model import Given, Model


class ConverterRating(Model):
    """Rated ``output_current`` [A] and ``output_power`` [W]; ``derating``: [[temperature, share], ...] of both.

    Between the points of the derating the share follows a smooth curve, beyond them it stays at the last one.

    >>> ConverterRating(output_current="5 A", derating=[["50 °C", 1.0], ["70 °C", 0.5]]).share(333.15)   # hand: 60 °C
    0.75
    """

    output_current: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    output_power: Annotated[float, Quantity("W", above=0, high=1e6)] | None = None
    derating: Annotated[Points, Curve("K", low=200, high=500, zero=True)] | None = None

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if fields.get("output_current") is None and fields.get("output_power") is None:
            yield Problem("", "output_current", None, "missing: a rating states output_current, output_power, or both")

    def share(self, temperature: float) -> float:
        """The share of the rating that is left at an ambient ``temperature`` [K]."""
        return float(on_curve(self.derating, temperature)) if self.derating else 1.0

    def too_hot(self, temperature: float) -> bool:
        """Whether the derating ends below that ambient ``temperature`` [K], so that its last share is used."""
        return self.derating is not None and temperature > self.derating[-1][0]
