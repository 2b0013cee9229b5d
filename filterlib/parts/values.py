"""What a value is, whatever has it: one number, or one for each of many designs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.errors import QuantityError

ROOM = 293.15  # K, the temperature at which parts are stated

Value: TypeAlias = float | NDArray[np.float64]  # one number, or an array (designs, 1): one for each toleranced design
Values: TypeAlias = Mapping[str, Value]  # of uncertain parameters, by key
Points: TypeAlias = tuple[tuple[float, float], ...]
Stated: TypeAlias = Mapping[str, Any]
"""Fields of a part or of a table in a file, by name: text, numbers, lists, tables."""


@dataclass(frozen=True)
class Usual:
    """What parts of a kind usually have, where a file states nothing: ``value`` and its range [unit of the field], and why."""

    value: Value
    low: float
    high: float
    why: str


def angular(frequencies: ArrayLike) -> NDArray[np.complex128]:
    """j 2 pi f [rad/s] of frequencies [Hz], shape (f,). Raises QuantityError where one is negative or not finite."""
    f = np.atleast_1d(np.asarray(frequencies, dtype=float))
    if not np.all(np.isfinite(f) & (f >= 0)):
        raise QuantityError("frequencies must be finite and not negative", name="frequencies", value=f)
    return 2j * np.pi * f
