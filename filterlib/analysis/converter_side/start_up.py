"""Starting into a capacitance: how long it takes within the converter's current limit, and the largest that comes up in time."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from filterlib.analysis.converter_side.converter_side_result import LargestCapacitance
from filterlib.analysis.described import Amperes, Volts
from filterlib.errors import QuantityError

Curve: TypeAlias = Callable[[np.ndarray], np.ndarray]
"""Current [A] of voltages (v,) [V]."""
_STEPS = 20001


def constant_power(power: float, begins: float) -> Curve:
    """A load that draws a constant power from the voltage ``begins`` on, and nothing below."""
    return lambda v: np.where(v >= begins, power / np.maximum(v, begins), 0.0)


def start_time(
    capacitance: float, voltage: Volts[float], limit: Curve | Amperes[float], drawn: Curve | Amperes[float] = 0.0
) -> float:
    """Time [s] until a capacitance [F] is at ``voltage`` [V]: the integral of C dv over what the limit leaves beside the load.

    Parameters: ``limit`` and ``drawn`` [A], numbers or functions of voltages (v,).
    Returns: seconds; inf where the load takes all of the limit somewhere on the way.
    Raises: QuantityError for a capacitance or voltage that is not positive.

    >>> round(start_time(30e-3, 28.0, 6.0, 2.0), 4)
    0.21
    """
    for name, value in (("capacitance", capacitance), ("voltage", voltage)):
        if not (np.isfinite(value) and value > 0):
            raise QuantityError("must be positive", name=name, value=value)
    return float(capacitance * _per_farad(voltage, limit, drawn))


def largest_capacitance(
    voltage: float, limit: Curve | float, *, soft_start: float, allowed: float, drawn: Curve | float = 0.0
) -> LargestCapacitance:
    """The largest capacitance that a converter starts into.

    Parameters: ``voltage`` [V]; ``limit`` and ``drawn`` [A], numbers or functions of voltages (v,); ``soft_start``: time of its ramp [s];
    ``allowed``: time until which it must be up [s], at least that of soft start.
    Returns: LargestCapacitance [F], 0 where the load alone holds it down.
    Raises: QuantityError for a time that is none.

    >>> found = largest_capacitance(28.0, 6.0, soft_start=20e-3, allowed=0.21, drawn=2.0)
    >>> round(found.within_limit, 6), round(found.in_time, 6)
    (0.002857, 0.03)
    """
    if not 0 < soft_start <= allowed:
        raise QuantityError("is above 0 and no longer than what is allowed", name="soft_start", value=soft_start)
    v = np.linspace(0, voltage, _STEPS)
    left = _of(limit, v) - _of(drawn, v)
    held = float(v[np.argmax(left <= 0)]) if np.any(left <= 0) else np.nan
    if not np.isnan(held):
        return LargestCapacitance(0.0, 0.0, held)
    return LargestCapacitance(
        float(left.min() * soft_start / voltage), allowed / _per_farad(voltage, limit, drawn), held
    )


def _of(current: Curve | float, v: np.ndarray) -> np.ndarray:
    return np.asarray(current(v) if callable(current) else np.full(len(v), float(current)), float)


def _per_farad(voltage: float, limit: Curve | float, drawn: Curve | float) -> float:
    v = np.linspace(0, voltage, _STEPS)
    left = _of(limit, v) - _of(drawn, v)
    return np.inf if np.any(left <= 0) else float(np.trapezoid(1 / left, v))
