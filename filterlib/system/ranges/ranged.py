"""A value with what is known of it: stated exactly, stated with its spread, or left to a default with a range."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from pydantic import Field, GetCoreSchemaHandler
from pydantic_core import core_schema

from filterlib.errors import QuantityError, did_you_mean
from filterlib.parts.values import Value
from filterlib.units import format_quantity, quantity

ENDS = ("value", "low", "high")  # of a range
OPPOSITE = {"value": "value", "low": "high", "high": "low"}  # of what is worst at its other end
DIGITS = 12  # of the ends of a range that follows its value: no rounding of a computer in what a person reads


@dataclass(frozen=True)
class Ranged:
    """A value that may be uncertain.

    ``value`` [unit of the field]: the nominal value, a float, or an array (designs, 1) where one object is many
    designs. ``low``, ``high``: the range, equal to the value where it is known exactly. ``stated`` is False for a
    default, and ``why`` then says where the default comes from. ``moved_from``: what the nominal value was before it was
    moved within the range, so that all readings agree.
    """

    value: Value
    low: float
    high: float
    stated: bool = True
    why: str = ""
    moved_from: float | None = None

    @property
    def known(self) -> bool:
        """True where the range is a single value."""
        return self.low == self.high

    def at(self, value: Value) -> Ranged:
        """The same quantity with another nominal value (a float, or an array (designs, 1))."""
        return replace(self, value=value)

    def scaled(self, value: float) -> Ranged:
        """Another nominal value, stated, whose range is as wide in ratio; as round as a person would write it.

        >>> Ranged(6e-3, 3.6e-3, 8.4e-3).scaled(7e-3)
        Ranged(value=0.007, low=0.0042, high=0.0098, stated=True, why='', moved_from=None)
        """
        below, above = (float(end / self.value) - 1 for end in (self.low, self.high))
        ends = sorted((value + abs(value) * below, value + abs(value) * above))
        low, high = (float(f"{end:.{DIGITS}g}") for end in ends)
        return replace(self, value=value, low=min(low, value), high=max(high, value), stated=True, why="")

    def moved(self, value: float) -> Ranged:
        """With another nominal value, which it takes so that all readings agree."""
        return replace(self, value=value, moved_from=float(np.max(self.value)))


def default(value: float, low: float, high: float, why: str) -> Ranged:
    """A value that the design file left open, with its plausible range."""
    return Ranged(value, low, high, stated=False, why=why)


def usual(value: float, low: float, high: float, why: str) -> Ranged:
    """A field's default by common practice; a new one for each model."""
    return Field(default_factory=lambda: default(value, low, high, f"{why} (common practice, no source)"))


class RangedQuantity:
    """Annotation of a pydantic field that holds a `Ranged`: ``Annotated[Ranged, RangedQuantity("F", "capacitance", low=...)]``.

    ``label`` says what is uncertain; "{owner}" in it becomes the name of the stage, load or pair that it belongs to.
    Accepts "22 µF", "22 µF ± 20 %" (also "+-" and "+/-"; percent of the value), a bare number in SI, or a table
    {value, low, high} of which value may be left out (then the geometric mean of a range above zero, else its middle).
    """

    def __init__(
        self,
        unit: str,
        label: str = "",
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
    ) -> None:
        self.unit, self.label, self.low, self.high, self.above = unit, label, low, high, above

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic reads the field."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def parse(self, raw: object) -> Ranged:
        """Read one field; raises QuantityError with what is wrong and what would be right."""
        if isinstance(raw, Ranged):
            return raw
        if isinstance(raw, dict):
            return self._from_table(raw)
        text = raw.replace("+-", "±").replace("+/-", "±") if isinstance(raw, str) else ""
        if "±" in text:
            return self._from_spread(*text.split("±", 1))
        value = self._read(raw)
        return Ranged(value, value, value)

    def _read(self, raw: object, key: str | None = None) -> float:
        return quantity(raw, self.unit, low=self.low, high=self.high, above=self.above, name=key)

    def _from_spread(self, nominal: str, spread: str) -> Ranged:
        value, spread = self._read(nominal.strip()), spread.strip()
        try:
            relative = spread.endswith("%")
            size = quantity(spread, "%", low=0, below=1) if relative else quantity(spread, self.unit, low=0)
        except QuantityError as error:
            raise QuantityError(f"behind ±: {error.why}") from None
        try:
            half = abs(value) * size if relative else size
            low, high = (self._read(float(f"{end:.{DIGITS}g}")) for end in (value - half, value + half))
            return Ranged(value, min(low, value), max(high, value))
        except QuantityError as error:
            why = error.why.split(";")[0]  # not whether a prefix was forgotten: the number is ours
            raise QuantityError(f"the range reaches too far: {why}") from None

    def _from_table(self, table: Mapping[str, object]) -> Ranged:
        for key in table:
            if key not in ENDS:
                raise QuantityError(f"unknown key; {did_you_mean(key, ENDS)}", name=key, value=table[key])
        for key in ("low", "high"):
            if key not in table:
                raise QuantityError("missing: a range needs low and high", name=key)
        low, high = self._read(table["low"], "low"), self._read(table["high"], "high")
        if low > high:
            why = f"must not be below low, {format_quantity(low, self.unit)}"
            raise QuantityError(why, name="high", value=table["high"])
        value = self._read(table["value"], "value") if "value" in table else _middle(low, high)
        if not low <= value <= high:
            between = f"{format_quantity(low, self.unit)} and {format_quantity(high, self.unit)}"
            raise QuantityError(f"must be between low and high, {between}", name="value", value=table["value"])
        return Ranged(value, low, high)


def _middle(low: float, high: float) -> float:
    """The geometric mean of a range above zero, else the middle."""
    return min(max(math.sqrt(low * high), low), high) if low > 0 else (low + high) / 2
