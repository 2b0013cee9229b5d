"""The fields of any part with their units, whatever part it is: read from the marks in its class."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeGuard, get_args

import numpy as np

from filterlib.parts.base import Curve, Part, Quantity

WORDLESS = ("name", "kind", "note")  # said elsewhere


@dataclass(frozen=True)
class Field:
    """One field of a part: its ``name``, its ``value`` in SI, its ``unit`` (None: no quantity), and what it is.

    ``curve``: the value is points (x, ratio), x in ``unit``. ``stated``: False for a default.
    """

    name: str
    value: Any
    unit: str | None
    curve: bool
    stated: bool


def fields(part: Part) -> tuple[Field, ...]:
    """Every field that holds text, a number or points, in the order of the class, but for name, kind and note.

    >>> from filterlib.parts.wire import Lead
    >>> [(field.name, field.value, field.unit) for field in fields(Lead(length="100 mm", awg=24))]
    [('invented', False, None), ('length', 0.1, 'm'), ('tolerance', 0.0, ''), ('awg', 24, None)]
    """
    return tuple(_fields(part))


def _fields(part: Part) -> Iterator[Field]:
    for name, about in type(part).model_fields.items():
        value = getattr(part, name)
        if name in WORDLESS or not isinstance(value, str | bool | int | float | tuple | np.ndarray):
            continue  # nothing, or an object that has no words of its own, such as a fitted curve
        if isinstance(value, str) and not value:
            continue
        mark = next((one for one in (*about.metadata, *_marks(about.annotation)) if _is_mark(one)), None)
        unit = None if mark is None else mark.unit
        yield Field(name, value, unit, isinstance(mark, Curve), name in part.model_fields_set)


def _marks(annotation: object) -> Iterator[object]:
    """Marks anywhere inside an annotation, such as that of an optional quantity."""
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        yield from _marks(inner)


def _is_mark(one: object) -> TypeGuard[Quantity | Curve]:
    return isinstance(one, Quantity | Curve)
