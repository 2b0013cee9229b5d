"""A table as text: its heads and rows, and cells of the described numbers of results."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from filterlib.analysis.described import described, label
from filterlib.words.quantities import capital, number, share

INTERVAL = "Range (uncertain parameters)"
RANGE = "Range"  # the same in tables as wide as the paper
Row = tuple[str, ...]
T = TypeVar("T")
Column: TypeAlias = tuple[str, Callable[[T], str]]
"""The head of a column, and its text for one result."""


@dataclass(frozen=True)
class Table:
    """A caption, the heads of the columns, and rows whose first cell heads the row."""

    caption: str
    head: Row
    rows: tuple[Row, ...]


def table(caption: str, results: Iterable[T], *columns: Column[T]) -> Table:
    """One result a row, each column with its head.

    >>> table("Two", [1.0, 2.0], ("Volts", lambda v: number(v, "V")), ("Amperes", lambda v: number(v / 8, "A")))
    Table(caption='Two', head=('Volts', 'Amperes'), rows=(('1 V', '125 mA'), ('2 V', '250 mA')))
    """
    rows = tuple(tuple(cell(one) for _, cell in columns) for one in results)
    return Table(caption, tuple(head for head, _ in columns), rows)


def column(kind: type[T], name: str) -> Column[T]:
    """A described number: its label, and its value with its unit."""
    return capital(label(kind, name)), lambda one: cells(one, name)[0]


def heads(kind: type, *names: str) -> Row:
    """The labels of described numbers."""
    return tuple(capital(label(kind, name)) for name in names)


def cells(result: object, *names: str, at: str = "") -> Row:
    """Described numbers with their units, ratios in percent; ``at``: which, where they are mappings."""
    return tuple(_cell(result, name, at) for name in names)


def _cell(result: object, name: str, at: str) -> str:
    mark, value = described(result)[name], getattr(result, name)
    unit, value = mark.of(result, at), value.get(at) if at else value
    return number(value, unit, mark.digits) if unit else share(value)
