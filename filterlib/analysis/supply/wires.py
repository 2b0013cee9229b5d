"""What a wire may carry and what a fuse does, from published tables: the rule and its source beside each."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.parts.wire import awg_diameter, resistance_per_metre

__all__ = ["AMPACITY", "FUSES", "ampacity", "gauge_name", "least_gauge", "opens_within"]
AMPACITY: Mapping[int, float] = {
    18: 20, 16: 25, 14: 35, 12: 45, 10: 60, 8: 80, 6: 120, 4: 160, 2: 210, 1: 245, 0: 285, -1: 330, -3: 445,
}  # fmt: skip
"""[A] of one conductor by its gauge (0 is 1/0, -1 is 2/0), insulation for 105 C, outside engine spaces: ABYC E-11, a dealer's table."""
INSIDE = 0.85  # of it inside an engine space: the same table, to 1 A
AMPACITY_SOURCE = "ABYC E-11, 105 °C insulation, one conductor (a dealer's table)"
FUSES: Mapping[str, tuple[tuple[float, float, float], ...]] = {
    "blade": ((1.1, 3.6e5, math.inf), (1.35, 0.75, 600), (2.0, 0.15, 5), (3.5, 0.04, 0.5), (6.0, 0.02, 0.1)),
    "ul_248_14": ((1.0, math.inf, math.inf), (1.35, 0.0, 3600), (2.0, 0.0, 120)),
    "time_lag": ((2.1, 0.0, 120), (2.75, 0.6, 10), (4.0, 0.15, 3), (10.0, 0.02, 0.3)),
}
"""Multiple of the rated current, least and longest time to open [s]: ISO 8820-3 (from memory), UL 248-14 (a maker's catalogue; 240 s
at 200 % from 35 A to 60 A), IEC 60127-2 time lag (from memory)."""
FUSE_SOURCES = {
    "blade": "ISO 8820-3 (from memory)",
    "ul_248_14": "UL 248-14 (a maker's catalogue)",
    "time_lag": "IEC 60127-2, time lag (from memory)",
}


def ampacity(area: float, *, hot: bool = False) -> float:
    """Current [A] that a conductor of ``area`` [m2] may carry, that of the next smaller gauge of the table; ``hot``: in an engine space.

    Below the smallest gauge it falls with the area, which is on the safe side of no table.

    >>> round(ampacity(2.09e-6)), round(ampacity(2.09e-6, hot=True))
    (35, 30)
    """
    fitting = [amps for gauge, amps in AMPACITY.items() if _area(gauge) <= area * 1.01]
    if not fitting:
        return (INSIDE if hot else 1.0) * AMPACITY[18] * area / _area(18)
    return float(round(INSIDE * max(fitting))) if hot else max(fitting)


def least_gauge(current: float, length: float, drop: float, *, hot: bool = False) -> int | None:
    """The thinnest gauge of the table that carries ``current`` [A] over ``length`` [m] one way and loses at most ``drop`` [V]; None beyond it.

    Raises FilterlibError for what is not above zero.
    """
    if not (current > 0 and length > 0 and drop > 0):
        raise FilterlibError(f"{current:g} A over {length:g} m with {drop:g} V: all above zero is right")
    for gauge in AMPACITY:
        lost = 2 * length * float(resistance_per_metre(_area(gauge))) * current
        if lost <= drop and ampacity(_area(gauge), hot=hot) >= current:
            return gauge
    return None


def gauge_name(gauge: int) -> str:
    """ "AWG 14", "AWG 2/0".

    >>> gauge_name(-1)
    'AWG 2/0'
    """
    return f"AWG {gauge}" if gauge > 0 else f"AWG {1 - gauge}/0"


def opens_within(kind: str, multiple: float, rated: float) -> tuple[float, float]:
    """Least and longest time [s] in which a fuse opens at a ``multiple`` of its ``rated`` current [A].

    Between the points of its standard by the last one below: the least time is that of the next point, the longest that of the last.
    Infinite where the standard says that it carries.

    >>> opens_within("blade", 2.0, 10.0), opens_within("ul_248_14", 2.0, 40.0)
    ((0.15, 5), (0.0, 240))
    """
    points = [
        (at, least, 240.0 if (kind, at) == ("ul_248_14", 2.0) and rated > 30 else most)
        for at, least, most in FUSES[kind]
    ]
    below = [most for at, _, most in points if at <= multiple * (1 + 1e-9)]
    above = [least for at, least, _ in points if at >= multiple * (1 - 1e-9)]
    longest = below[-1] if below else math.inf
    longest = int(longest) if math.isfinite(longest) and longest == int(longest) else longest
    return (above[0] if above else 0.0), longest


def _area(gauge: int) -> float:
    return float(np.pi / 4 * awg_diameter(gauge) ** 2)
