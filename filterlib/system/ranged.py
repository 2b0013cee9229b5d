"""A value with what is known of it: stated exactly, stated with its spread, or left to a default with a range."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from pydantic import GetCoreSchemaHandler
from pydantic_core import core_schema

from filterlib.errors import QuantityError, did_you_mean
from filterlib.units import quantity

_KEYS = ("value", "low", "high")


@dataclass(frozen=True)
class Ranged:
    """A value that may be uncertain.

    ``value`` [unit of the field]: the nominal value, a float, or an array (designs, 1) where one object stands for many
    designs. ``low``, ``high``: the range, equal to the value where it is known exactly. ``stated`` is False for a
    default, and ``why`` then says where the default comes from.
    """

    value: Any
    low: float
    high: float
    stated: bool = True
    why: str = ""

    @property
    def known(self) -> bool:
        """True where the range is a single value."""
        return self.low == self.high

    def at(self, value: Any) -> Ranged:
        """The same quantity with another nominal value (a float, or an array (designs, 1))."""
        return replace(self, value=value)


def default(value: float, low: float, high: float, why: str) -> Ranged:
    """A value that the design file left open, with the range in which it plausibly lies."""
    return Ranged(value, low, high, stated=False, why=why)


class RangedQuantity:
    """Annotation of a pydantic field that holds a `Ranged`: ``Annotated[Ranged, RangedQuantity("F", low=...)]``.

    Accepts "22 µF", "22 µF ± 20 %" (also "+-"), a bare number in SI, or a table {value, low, high} of which value may be
    left out (then the geometric mean of a range above zero, else its middle).
    """

    def __init__(self, unit: str, **limits: float) -> None:
        self.unit, self.limits = unit, limits

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic reads the field."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def parse(self, given: Any) -> Ranged:
        """Read one field; raises QuantityError with what is wrong and what would be right."""
        if isinstance(given, Ranged):
            return given
        if isinstance(given, dict):
            return self._from_table(given)
        text = given.replace("+-", "±").replace("+/-", "±") if isinstance(given, str) else None
        if text and "±" in text:
            return self._from_spread(text)
        value = self._read(given)
        return Ranged(value, value, value)

    def _read(self, given: Any) -> float:
        return quantity(given, self.unit, **self.limits)

    def _from_spread(self, text: str) -> Ranged:
        nominal, _, spread = (part.strip() for part in text.partition("±"))
        value = self._read(nominal)
        if spread.endswith("%"):
            half = abs(value) * quantity(spread, "%", low=0, below=1)
        else:
            half = quantity(spread, self.unit, low=0)
        return Ranged(value, self._read(value - half), self._read(value + half))

    def _from_table(self, table: dict[str, Any]) -> Ranged:
        for key in table:
            if key not in _KEYS:
                raise QuantityError(f'unknown key "{key}" in a range: {did_you_mean(key, _KEYS)}', value=table)
        missing = [key for key in ("low", "high") if key not in table]
        if missing:
            raise QuantityError(f'a range needs "low" and "high"; missing: {", ".join(missing)}', value=table)
        low, high = self._read(table["low"]), self._read(table["high"])
        middle = float(np.sqrt(low * high)) if low > 0 else (low + high) / 2
        value = self._read(table["value"]) if "value" in table else middle
        if not low <= value <= high:
            raise QuantityError(f"a range needs low <= value <= high, not {low:g}, {value:g}, {high:g}", value=table)
        return Ranged(value, low, high)
