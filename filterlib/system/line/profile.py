"""When a load draws its full power: bursts of a length, each period, and how far the voltage may sag meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from filterlib.errors import Problem, QuantityError
from filterlib.parts.base import Quantity
from filterlib.system.model import Given, Model
from filterlib.units import quantity

__all__ = ["Profile"]


class Profile(Model):
    """A load that draws its full power in bursts of ``burst`` [s] each ``period`` [s], and the share ``idle`` between them.

    ``lowest_voltage`` [V] is what it needs at its terminals.

    >>> Profile(idle="15 %", burst="40 ms", period="2 s", lowest_voltage="22 V").burst
    0.04
    """

    idle: Annotated[float, Quantity("", low=0, high=1, plausible=(1e-9, 1))] = 0.0
    burst: Annotated[float, Quantity("s", low=1e-6, high=1e5)]
    period: Annotated[float, Quantity("s", low=1e-5, high=1e7)]
    lowest_voltage: Annotated[float, Quantity("V", above=0, high=1000)]

    @property
    def mean(self) -> float:
        """Share of the full draw that the load takes on average.

        >>> Profile(idle="10 %", burst="1 s", period="10 s", lowest_voltage="22 V").mean     # by hand: 0.1 + 0.9 / 10
        0.19
        """
        return self.idle + (1 - self.idle) * self.burst / self.period

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        burst, period = (_seconds(fields.get(key)) for key in ("burst", "period"))
        if burst is not None and period is not None and burst >= period:
            yield Problem("", "burst", fields["burst"], f"a burst is shorter than its period, {period:g} s")


def _seconds(given: object) -> float | None:
    """A time as it is read, or None for what is refused elsewhere."""
    try:
        return quantity(given, "s")
    except QuantityError:
        return None
