"""Impedances that follow a power of frequency, and the ladder of first-order branches that approximates one in time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from filterlib.parts.values import Value

LADDER_BAND = (1e3, 1e8)  # Hz, where the ladder of a lossy part approximates its exact impedance
LADDER_ERROR = 0.02  # largest |ladder / exact - 1| within that band
_RATES = 2 * np.pi * np.geomspace(LADDER_BAND[0] / 10**0.5, LADDER_BAND[1] * 10**0.5, 8)  # 1/s
_STEP = float(np.log(_RATES[1] / _RATES[0]))


class Branches(NamedTuple):
    """s**-order is about ``slow``/s + sum(``weights``[k] / (s + ``rates``[k])) + ``fast``; every number is >= 0."""

    slow: Value
    weights: tuple[Value, ...]
    rates: tuple[float, ...]
    fast: Value


def branches(order: Value) -> Branches:
    """First-order branches that approximate s**-order over `LADDER_BAND`, for 0 <= order <= 1 (float or (designs, 1)).

    The integral s**-a = sin(pi a)/pi * integral of x**-a / (s + x) dx from 0 to infinity, by the trapezoidal rule in
    ln x, which converges exponentially; the two infinite tails are summed in closed form, the slow one as if s were
    large against its rates and the fast one as if s were small. No weight is negative, so any network that realises
    the branches with resistors and one kind of store is passive at every frequency. The error is below 2 % of the
    modulus over the band at any order, and smaller the nearer the order is to 0 or 1, where the branches are exact.

    Source: the rule: L. N. Trefethen and J. A. C. Weideman, "The Exponentially Convergent Trapezoidal Rule", SIAM
    Review 56 (2014) 385-458 (from memory); the integral is in every table of them.

    >>> slow, weights, rates, fast = branches(0.98)
    >>> s = 2j * np.pi * 1e6
    >>> ladder = slow / s + sum(w / (s + x) for w, x in zip(weights, rates)) + fast
    >>> bool(abs(ladder / s**-0.98 - 1) < 1e-3)
    True
    """
    rest = 1 - order
    scale = np.sin(np.pi * np.minimum(order, rest)) / np.pi * _STEP
    slow = _tail(scale, rest) * _RATES[0] ** rest
    fast = _tail(scale, order) * _RATES[-1] ** -order
    return Branches(slow, tuple(scale * rate**rest for rate in _RATES), tuple(_RATES.tolist()), fast)


def _tail(scale: Value, power: Value) -> Value:
    """scale * sum over k >= 1 of exp(-k h power); its limit 1 where the power, and the scale with it, is zero."""
    safe = np.where(power > 0, power, 1.0)
    tail = np.where(power > 0, scale / np.expm1(_STEP * safe), 1.0)
    return tail if tail.ndim else float(tail)


def power_law(s: NDArray[np.complex128], order: Value) -> NDArray[np.complex128]:
    """s**order, and 0 where s is 0, whatever the order."""
    return np.where(s == 0, 0.0, np.where(s == 0, 1.0, s) ** order)
