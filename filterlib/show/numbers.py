"""Numbers for other programs: the text of a JSON file, without NaN and infinity."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

Section = dict[str, Any]


def json_text(contents: Mapping[str, Any]) -> str:
    """JSON of nested mappings, sequences and arrays: seven digits, null for what is not a finite number.

    >>> print(json_text({"level_V": np.array([0.1 + 0.2, np.nan])}), end="")
    {
     "level_V": [
      0.3,
      null
     ]
    }
    """
    return json.dumps(_plain(contents), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, float):
        return float(f"{value:.7g}") if math.isfinite(value) else None
    return value


def put(section: Section, key: str, value: float | None, reason: str) -> None:
    """A number under its key; null, with ``reason`` under KEY_reason, for what is not a finite number."""
    section[key] = number_or_null(value)
    if section[key] is None:
        section[f"{key}_reason"] = reason


def number_or_null(value: float | None) -> float | None:
    """Seven digits, more than any part is known to; None for what is not a finite number."""
    return float(f"{value:.7g}") if value is not None and math.isfinite(value) else None


def numbers_or_null(values: np.ndarray) -> list[float | None]:
    """Of a whole array."""
    return [number_or_null(value) for value in values.tolist()]
