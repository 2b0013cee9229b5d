"""What a number of a result is: its unit, its label and its key, said once at the field that holds it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Annotated, TypeAlias, TypeVar, get_type_hints

Held = TypeVar("Held")


@dataclass(frozen=True)
class Unit:
    """Annotation of a field, or of what a property returns, that holds numbers: a float, an array, or a mapping of them.

    ``peak_to_peak: Annotated[float, Unit("V", "peak to peak", "pp")]``, or `Volts[float]` where the name says it all.

    ``unit``: of the SI or a level; "" for a ratio; "{unit}" where the field ``unit`` of the same result says it; "own" where
    each number has that of what it stands for. ``label``: the head of a column, by default the field's name in words.
    ``key``: the end of its key in files for other programs, before the unit: "*" stands for the field's name, None for a
    number that is not in them. ``except_at``: units of single keys of a mapping. ``digits``: in which it is printed.
    """

    unit: str
    label: str = ""
    key: str | None = "*"
    except_at: Mapping[str, str] = field(default_factory=dict, compare=False)
    digits: int = 3

    def of(self, result: object, at: str = "") -> str:
        """The unit in one result, at one key of a mapping."""
        elsewhere = self.unit.startswith("{")
        return str(getattr(result, self.unit[1:-1])) if elsewhere else self.except_at.get(at, self.unit)


Ratio: TypeAlias = Annotated[Held, Unit("")]
Volts: TypeAlias = Annotated[Held, Unit("V")]
Amperes: TypeAlias = Annotated[Held, Unit("A")]
Watts: TypeAlias = Annotated[Held, Unit("W")]
Joules: TypeAlias = Annotated[Held, Unit("J")]
Ohms: TypeAlias = Annotated[Held, Unit("ohm")]
Farads: TypeAlias = Annotated[Held, Unit("F")]
Henries: TypeAlias = Annotated[Held, Unit("H")]
Hertz: TypeAlias = Annotated[Held, Unit("Hz")]
Seconds: TypeAlias = Annotated[Held, Unit("s")]
Kelvins: TypeAlias = Annotated[Held, Unit("K")]
Decibels: TypeAlias = Annotated[Held, Unit("dB")]
InUnit: TypeAlias = Annotated[Held, Unit("{unit}")]
"""In the unit that the field ``unit`` of the same result names."""


def described(result: object) -> Mapping[str, Unit]:
    """Every field and property that says its unit, by name, of a result or of a class of results.

    >>> from filterlib.analysis.ripple.ripple_result import Figure
    >>> described(Figure)["peak_to_peak"].unit, described(Figure)["peak_to_peak"].label
    ('V', 'peak to peak')
    """
    return _described(result if isinstance(result, type) else type(result))


@lru_cache(maxsize=256)
def _described(kind: type) -> Mapping[str, Unit]:
    hints = get_type_hints(kind, include_extras=True)
    for name in dir(kind):
        getter = getattr(getattr(kind, name), "fget", None)
        if getter is not None:
            hints[name] = get_type_hints(getter, include_extras=True).get("return")
    marks = {name: _mark(hint) for name, hint in hints.items()}
    return {name: mark for name, mark in marks.items() if mark is not None}


def _mark(hint: object) -> Unit | None:
    return next((one for one in getattr(hint, "__metadata__", ()) if isinstance(one, Unit)), None)


def label(result: object, name: str) -> str:
    """What a number is called, as the head of a column.

    >>> from filterlib.analysis.ripple.ripple_result import RippleResult
    >>> label(RippleResult, "trusted_to")
    'trusted to'
    """
    return described(result)[name].label or name.replace("_", " ")
