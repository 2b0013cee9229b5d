"""Numbers for other programs: results under the keys and units of their fields, as JSON without NaN and infinity."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any, TypeAlias

import numpy as np

from filterlib.analysis.described import described

Section: TypeAlias = dict[str, Any]
NO_DRAWS = "no plausible cases are drawn, or too few agree with the readings"
NOT_COMPUTED = "not computed"
_AS_THEY_ARE: Mapping[str, str] = {}


def numbers(
    result: object,
    why: str = NOT_COMPUTED,
    *,
    start: str = "",
    names: Mapping[str, str] = _AS_THEY_ARE,
    whys: Mapping[str, str] = _AS_THEY_ARE,
) -> Section:
    """Every number of a result, one a key: START_NAME_KEY_UNIT, where NAME is that of a number in a mapping.

    ``why`` a number may be missing, and ``whys`` by field: it is null then, with that under KEY_reason ("": nothing there).
    ``names``: how a name in a mapping is written in keys.
    """
    section: Section = {}
    for field, key, value in _entries(result, start, names):
        if not isinstance(value, np.ndarray):
            put(section, key, value, whys.get(field, why))
    return section


def arrays(result: object, names: Mapping[str, str] = _AS_THEY_ARE) -> Section:
    """Every array of a result, alike; of complex ones the sizes."""
    entries = ((key, value) for _, key, value in _entries(result, "", names) if isinstance(value, np.ndarray))
    return {key: numbers_or_null(np.abs(value) if np.iscomplexobj(value) else value) for key, value in entries}


def _entries(result: object, start: str, names: Mapping[str, str]) -> Iterator[tuple[str, str, Any]]:
    """Field, key and value of everything that a result describes."""
    for field, mark in described(result).items():
        if mark.key is None:
            continue
        values = getattr(result, field)
        for at, value in values.items() if isinstance(values, Mapping) else [("", values)]:
            place, *rest = at if isinstance(at, tuple) else (at,)
            unit = mark.of(result, place).replace("/", "_per_")
            words = (start, names.get(place, place), *rest, mark.key.replace("*", field), unit)
            yield field, "_".join(word for word in words if word), value


def put(section: Section, key: str, value: float | None, reason: str) -> None:
    """A number under its key; null, with ``reason`` under KEY_reason, for what is not a finite number."""
    section[key] = number_or_null(value)
    if reason == NOT_COMPUTED and value is not None and math.isinf(value):
        reason = "without limit"
    if section[key] is None and reason:
        section[f"{key}_reason"] = reason


def texts(result: object, *names: str) -> Section:
    """Fields of a result that hold words, or what is no number, under their own names."""
    return {name: getattr(result, name) for name in names}


def number_or_null(value: float | None) -> float | None:
    """Seven digits, more than any part is known to; None for what is not a finite number."""
    return float(f"{value:.7g}") if value is not None and math.isfinite(value) else None


def numbers_or_null(values: np.ndarray) -> list[float | None]:
    """Of a whole array."""
    return [number_or_null(value) for value in values.tolist()]


def json_text(contents: Mapping[str, object]) -> str:
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


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return number_or_null(value) if isinstance(value, float) else value
