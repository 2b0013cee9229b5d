"""Limits of an axis by rule, so that a picture moves its axes seldom and by steps that people know."""

from __future__ import annotations

import math

Pair = tuple[float, float]
ROOM = 0.3  # share of a linear axis that its curves have to fill before it is drawn closer
SPARE = 2  # decades of a logarithmic axis that have to be empty before it is drawn closer
FLAT = 1e-9  # of its size: what a constant curve is spread to
STEPS = 4  # least steps of a linear axis


def limits(low: float, high: float, old: Pair | None = None, *, log: bool = False) -> Pair:
    """Limits that hold ``low`` to ``high``: whole decades, or whole steps of 1, 2 or 5 times a power of ten.

    ``old`` is kept while it holds the data without being much too wide.

    >>> limits(-0.7, 3.1), limits(-0.7, 3.1, (-5.0, 5.0)), limits(3e-3, 20.0, log=True)
    ((-1.0, 3.5), (-5.0, 5.0), (0.001, 100.0))
    """
    wanted = _decades(low, high) if log else _stepped(low, high)
    if old is None or not old[0] <= low <= high <= old[1]:
        return wanted
    if log:
        spare = math.log10(old[1] / old[0]) - math.log10(wanted[1] / wanted[0])
        return old if spare < SPARE - 1e-6 else wanted
    return old if wanted[1] - wanted[0] > ROOM * (old[1] - old[0]) else wanted


def _decades(low: float, high: float) -> Pair:
    bottom, top = math.floor(math.log10(low) + FLAT), math.ceil(math.log10(high) - FLAT)
    return 10.0**bottom, 10.0 ** max(top, bottom + 1)


def _stepped(low: float, high: float) -> Pair:
    size = max(abs(low), abs(high))
    span = max(high - low, FLAT * size) or 1.0
    step = step_for(span / STEPS)
    if step < 1e-12 * size:  # steps below the last digit
        step = size
    return math.floor(low / step + FLAT) * step, max(
        math.ceil(high / step - FLAT), math.floor(low / step + FLAT) + 1
    ) * step


def step_for(size: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is not above ``size``.

    >>> step_for(3.9), step_for(0.5), step_for(0.0199)
    (2.0, 0.5, 0.01)
    """
    power = 10.0 ** math.floor(math.log10(size) + FLAT)
    return max(m * power for m in (1.0, 2.0, 5.0) if m * power <= size * (1 + FLAT))
