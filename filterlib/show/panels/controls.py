"""What can be moved on a panel, as data: sliders and choices, checked when they are built."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias, TypeVar

from filterlib.errors import FilterlibError, QuantityError, did_you_mean
from filterlib.parts.tables import standard_tables
from filterlib.preferred import nearest_preferred
from filterlib.units import format_quantity, format_temperature, quantity

P = TypeVar("P")
Scale = Literal["log", "linear"]
Stated: TypeAlias = Any  # a number in SI, or text such as "4.7 µF"; a number once the slider is built
LINEAR = ("V", "K", "%", "")  # units whose sliders move in equal differences; all others in equal ratios
DIGITS = 3  # of a slider's values: what one reads is what is computed


@dataclass(frozen=True)
class Control:
    """A slider.

    ``name``: key of what it changes, such as "filter.C1.capacitance"; ``label``: its accessible name; ``unit``; ``low``,
    ``high``, ``start``: numbers in SI or text; ``start`` None: what the panel's design has; ``scale``: "log" or "linear", by
    the unit where None; ``steps`` from end to end; ``group``: the heading above it; ``more``: folded away at first;
    ``stops``: values that are positions exactly.

    Raises
    ------
    QuantityError
        Where the range is none, the start lies outside it, or two neighbouring positions are the same value.

    Examples
    --------
    >>> control = Control("C", "capacitance", "F", "1 µF", "100 µF", "10 µF", steps=4)
    >>> control.values
    (1e-06, 3.16e-06, 1e-05, 3.16e-05, 0.0001)
    """

    name: str
    label: str
    unit: str
    low: Stated
    high: Stated
    start: Stated = None
    scale: Scale | None = None
    steps: int = field(default=100, kw_only=True)
    group: str = field(default="", kw_only=True)
    more: bool = field(default=False, kw_only=True)
    stops: tuple[Stated, ...] = field(default=(), kw_only=True)
    values: tuple[float, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        for name in ("low", "high", "start"):
            value = getattr(self, name)
            if name != "start" or value is not None:
                self._put(name, quantity(value, self.unit, name=f"slider {self.label}, {name}"))
        self._put("stops", tuple(quantity(one, self.unit, name=f"slider {self.label}, stop") for one in self.stops))
        self._put("scale", self.scale or ("linear" if self.unit in LINEAR else "log"))
        self._refuse()
        self._put("values", self._grid())
        if len(set(self.values)) < len(self.values):
            raise self._error(
                "steps", self.steps, f"neighbouring positions are the same value to {DIGITS} digits; fewer steps"
            )

    def _refuse(self) -> None:
        if self.scale not in ("log", "linear"):
            raise self._error("scale", self.scale, 'is "log" or "linear"')
        if not isinstance(self.steps, int) or self.steps < 1:
            raise self._error("steps", self.steps, "a slider needs at least one step")
        if not self.low < self.high:
            raise self._error("high", self.high, f"must lie above low, {self.text(self.low)}: every step would be zero")
        if self.scale == "log" and self.low <= 0:
            raise self._error("low", self.low, "a slider in ratios begins above zero")
        if self.start is not None and not self.low <= self.start <= self.high:
            raise self._error(
                "start", self.start, f"outside its range, {self.text(self.low)} to {self.text(self.high)}"
            )

    def _error(self, name: str, value: object, why: str) -> QuantityError:
        shown = self.text(value) if isinstance(value, float) else value
        return QuantityError(f"{shown}: {why}", name=f"slider {self.label}, {name}", value=value)

    def _put(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _grid(self) -> tuple[float, ...]:
        """Rounded values from end to end; the one nearest to a stop, or to the start, is that value itself."""
        shares = [step / self.steps for step in range(self.steps + 1)]
        if self.scale == "log":
            exact = [self.low * (self.high / self.low) ** share for share in shares]
        else:
            exact = [self.low + (self.high - self.low) * share for share in shares]
        rounded = [self.low, *(self._rounded(one) for one in exact[1:-1]), self.high]
        for stop in (*self.stops, self.start):
            if stop is not None:
                rounded[min(range(len(exact)), key=lambda at: self._distance(exact[at], stop))] = stop
        return tuple(rounded)

    def _rounded(self, value: float) -> float:
        if self.scale == "log":
            return float(f"{value:.{DIGITS - 1}e}")
        digits = DIGITS - 1 - math.floor(math.log10((self.high - self.low) / self.steps))
        return round(value, digits)

    def _distance(self, one: float, two: float) -> float:
        return abs(math.log(one / two)) if self.scale == "log" else abs(one - two)

    def place(self, value: float) -> int:
        """The position nearest to a value; the end for one beyond it."""
        inside = min(max(value, self.low), self.high)
        above = max(bisect_left(self.values, inside), 1)
        return min((above - 1, above), key=lambda at: self._distance(self.values[at], inside))

    def text(self, value: float) -> str:
        """A value with its unit, as it is written next to the slider."""
        return format_temperature(value) if self.unit == "K" else format_quantity(value, self.unit, DIGITS)

    def snapped(self, value: float, series: str) -> float:
        """The value of a series of preferred numbers nearest to a value, within the range."""
        nearest = nearest_preferred(value, series)
        if not self.low <= nearest <= self.high:
            raise QuantityError(
                f"{self.text(nearest)}: the nearest value of {series} lies outside the slider", name=self.label
            )
        return nearest


@dataclass(frozen=True)
class Choice:
    """A choice: ``options`` by their words, of which ``start`` is chosen first (None: what the
    panel's design has, else the first).

    ``name``: key of what it changes, such as "filter.C1.part". A slider whose name is a value of every option, such as
    "filter.C1.capacitance", follows the choice, and loosens it when it is moved.
    """

    name: str
    label: str
    options: Mapping[str, object]
    start: str | None = None
    group: str = field(default="", kw_only=True)
    more: bool = field(default=False, kw_only=True)

    def __post_init__(self) -> None:
        if not self.options:
            raise FilterlibError(f"choice {self.label}: needs at least one option")
        if self.start is not None and self.start not in self.options:
            raise FilterlibError(
                f'choice {self.label}: no option "{self.start}"; {did_you_mean(str(self.start), self.options)}'
            )

    @property
    def words(self) -> tuple[str, ...]:
        """The options, in order."""
        return tuple(self.options)

    def governs(self, control: Control) -> bool:
        """True where a slider changes a value that every option has."""
        inner = self._inner(control.name)
        return bool(inner) and all(_reached(one, inner) is not None for one in self.options.values())

    def of(self, slider: str, word: str) -> float:
        """The value that an option has for a slider that it governs."""
        return float(_reached(self.options[word], self._inner(slider)))

    def _inner(self, slider: str) -> str:
        """What a slider changes, as seen from an option; "" where that is nothing of an option."""
        start = self.name.removesuffix("part").rstrip(".") + "."
        return slider.removeprefix(start) if slider.startswith(start) else ""


def _reached(option: object, names: str) -> Any:
    """A value of an option, or of something within it; None where there is none."""
    for name in names.split("."):
        option = getattr(option, name, None)
    return getattr(option, "value", option)


def parts(kind: type[P]) -> dict[str, P]:
    """Every part of a kind in the library's tables, by name: the options of a `Choice`.

    >>> from filterlib.parts.capacitor import Capacitor
    >>> "film-1u0-63V" in parts(Capacitor)
    True
    """
    return {part.name: part for table in standard_tables() for part in table.values() if isinstance(part, kind)}


def in_front(controls: Sequence[Control | Choice], large: Sequence[str]) -> list[Control | Choice]:
    """Those named ``large``, in that order and without a heading, then the others, folded away.

    >>> width, height = Control("w", "width", "m", 1, 9), Control("h", "height", "m", 1, 9, group="size")
    >>> [(one.name, one.group, one.more) for one in in_front([width, height], ["h"])]
    [('h', '', False), ('w', '', True)]
    """
    front = sorted((one for one in controls if one.name in large), key=lambda one: large.index(one.name))
    rest = [replace(one, more=True) for one in controls if one.name not in large]
    return [*(replace(one, group="") for one in front), *rest]
