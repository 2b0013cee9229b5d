"""What a value is, whatever has it: one number, or one for each of many designs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

ROOM = 293.15  # K, the temperature at which parts are stated

Value: TypeAlias = float | NDArray[np.float64]  # one number, or an array (designs, 1): one for each toleranced design
Values: TypeAlias = Mapping[str, Value]  # of uncertain parameters, by key
Points: TypeAlias = tuple[tuple[float, float], ...]
