"""A list of updates as Python source: one line an update, made once for a circuit's pattern and kept.

Values that depend on neither frequency nor design stay plain numbers until the elimination mixes them, an entry of 1
costs nothing, and what nobody asks for is not computed.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from filterlib.network.pattern import Columns, Term

Plan = Callable[[list[Any], float], tuple[list[list[Any]], Any]]

_COST = (0.02, 0.5, 0.5, 1.0)  # of one update, by what the operands vary along: nothing, frequency, design, both
_DIVISION = 5.0


class _Part(NamedTuple):
    """``factor`` times the variable ``name`` ("" is 1), which varies along ``axes`` (bit 0 frequency, bit 1 design)."""

    factor: float
    name: str = ""
    axes: int = 0


class _Line(NamedTuple):
    """One line of source, and the variables that it uses."""

    text: str
    operands: set[str]


class _Step(NamedTuple):
    """One pivot: the row times ``scale`` is ``across`` and the pivot, whose inverse is ``inverse``; ``factors`` is what
    the other rows lost of it."""

    row: int
    column: int
    scale: _Part
    across: dict[int, _Part]
    inverse: _Part
    factors: dict[int, _Part]


@lru_cache(maxsize=512)
def make_plan(
    size: int,
    terms: tuple[Term, ...],
    pivots: tuple[int, ...],
    sorts: tuple[int, ...],
    right: Columns,
    wanted: tuple[int, ...],
    refined: bool = False,
) -> Plan:
    """Compile the elimination of a pattern.

    Parameters
    ----------
    size, terms : the equations, as in `filterlib.network.pattern.Pattern`
    pivots : the column of each row's pivot
    sorts : per symbol -2 (zero), -1 (one), or along what it varies (bit 0 frequency, bit 1 design)
    right : the right-hand sides
    wanted : the unknowns to return
    refined : whether the residuals are fed back once, for twice the work

    Returns
    -------
    function of the symbols' values and the limit of the backward error, which gives [[x of wanted] of right] and where
    the limit is kept
    """
    writer = _Writer(size, terms, sorts)
    if not writer.eliminate(pivots):
        return _no_plan
    source = writer.source(right, wanted, refined)
    space: dict[str, Any] = {"absolute": np.absolute, "reciprocal": np.reciprocal}
    exec(compile(source, "<plan>", "exec"), space)
    return space["run"]


def _no_plan(values: list[Any], limit: float) -> Any:
    """For a pattern that plain numbers make singular, such as two shorts in parallel."""
    raise ZeroDivisionError("the pattern is singular")


class _Writer:
    """Eliminates on names instead of numbers, and writes down each step."""

    def __init__(self, size: int, terms: tuple[Term, ...], sorts: tuple[int, ...]) -> None:
        self.size = size
        self.lines: list[_Line] = []
        self.known: dict[str, str] = {}
        self.terms: list[list[tuple[int, _Part]]] = [[] for _ in range(size)]
        for term in terms:
            if sorts[term.symbol] > -2:
                one = sorts[term.symbol] == -1
                part = _Part(term.sign, "" if one else f"v{term.symbol}", 0 if one else sorts[term.symbol])
                self.terms[term.row].append((term.column, part))
        self.rows: list[dict[int, _Part]] = []
        for entries in self.terms:
            row: dict[int, _Part] = {}
            for column, part in entries:
                self._put(row, column, self._sum(row.get(column), part))
            self.rows.append(row)
        self.used = sorted({t.symbol for t in terms if sorts[t.symbol] > -1})
        self.altered: set[int] = set()
        self.steps: list[_Step] = []

    # ---- arithmetic on names --------------------------------------------------------------------------------------

    def _new(self, expression: str, axes: int, factor: float, *operands: _Part) -> _Part:
        """The part that an expression gives: a new line, unless it was written before."""
        if expression not in self.known:
            self.known[expression] = f"t{len(self.known) + 1}"
            self.lines.append(_Line(f"{self.known[expression]} = {expression}", _names(operands)))
        return _Part(factor, self.known[expression], axes)

    def _product(self, a: _Part, b: _Part) -> _Part:
        if not a.name or not b.name:
            return _Part(a.factor * b.factor, a.name or b.name, a.axes | b.axes)
        first, second = sorted((a.name, b.name))
        return self._new(f"{first} * {second}", a.axes | b.axes, a.factor * b.factor, a, b)

    def _sum(self, a: _Part | None, b: _Part) -> _Part:
        if a is None or not a.factor:
            return b
        if not b.factor:
            return a
        if a.name == b.name:
            return _Part(a.factor + b.factor, a.name, a.axes)
        a, b = sorted((a, b), key=lambda part: (part.factor < 0, part.name))
        sign = -1.0 if a.factor < 0 else 1.0
        between = " + " if b.factor * sign > 0 else " - "
        return self._new(_size(a) + between + _size(b), a.axes | b.axes, sign, a, b)

    def _inverse(self, a: _Part) -> _Part:
        if not a.name:
            return _Part(1 / a.factor)
        return self._new(f"reciprocal({a.name})" if a.axes else f"1 / {a.name}", a.axes, 1 / a.factor, a)

    def _absolute(self, a: _Part) -> _Part:
        if not a.name:
            return _Part(abs(a.factor))
        return self._new(f"absolute({a.name})" if a.axes else f"abs({a.name})", a.axes, abs(a.factor), a)

    @staticmethod
    def _put(row: dict[int, _Part], column: int, part: _Part) -> None:
        if part.factor == 0:
            row.pop(column, None)
        else:
            row[column] = part

    # ---- elimination ----------------------------------------------------------------------------------------------

    def eliminate(self, pivots: tuple[int, ...]) -> bool:
        """Take the pivots in the order of least work; False where those that are left have cancelled."""
        left = dict(enumerate(pivots))
        while left:
            below = self._below(left)
            costs = {row: self._cost(row, column, below) for row, column in left.items() if column in self.rows[row]}
            if not costs:
                return False
            row = min(costs, key=costs.__getitem__)
            self._pivot(row, left.pop(row), below)
        return True

    def _below(self, left: dict[int, int]) -> dict[int, list[int]]:
        """The rows that are left, by the columns that they hold."""
        below: dict[int, list[int]] = {}
        for row in left:
            for column in self.rows[row]:
                below.setdefault(column, []).append(row)
        return below

    def _cost(self, row: int, column: int, below: dict[int, list[int]]) -> float:
        pivot = self.rows[row][column]
        across = [part for key, part in self.rows[row].items() if key != column]
        cost = _DIVISION * _COST[pivot.axes] if pivot.name else 0.0
        for other in below[column]:
            if other != row:
                axes = self.rows[other][column].axes | pivot.axes
                named = bool(self.rows[other][column].name or pivot.name)
                cost += sum(_COST[axes | part.axes] * (1 + (named and bool(part.name))) for part in across)
        return cost + 1e-3 * len(across) * len(below[column])

    def _pivot(self, row: int, column: int, below: dict[int, list[int]]) -> None:
        """Clear a column with a row, scaled to a pivot of 1 where that is less work."""
        across = {key: part for key, part in self.rows[row].items() if key != column}
        others = [other for other in below[column] if other != row]
        scale, inverse = _Part(1.0), self._inverse(self.rows[row][column])
        if len(across) <= len(others):
            across = {key: self._product(part, inverse) for key, part in across.items()}
            scale, inverse = inverse, scale
        factors = {other: self._product(self.rows[other].pop(column), inverse) for other in others}
        self.steps.append(_Step(row, column, scale, across, inverse, factors))
        self.altered.update(others)
        for other, factor in factors.items():
            for key, part in across.items():
                change = _minus(self._product(factor, part))
                self._put(self.rows[other], key, self._sum(self.rows[other].get(key), change))

    # ---- what comes out -------------------------------------------------------------------------------------------

    def source(self, right: Columns, wanted: tuple[int, ...], refined: bool) -> str:
        """The whole function: elimination, back substitution of what is needed, guard."""
        checked = range(self.size) if refined else sorted(self.altered)  # the others hold by construction
        needed = set(wanted) | {column for row in checked for column, _ in self.terms[row]}
        for step in self.steps:  # what a row needs was made the pivot after it
            if step.column in needed:
                needed.update(step.across)
        answers = []
        for column in right:
            b = {row: _Part(value) for row, value in column}
            x = self._solve(b, needed)
            if refined:
                left = {row: _minus(self._residual(row, x, b)[0]) for row in checked}
                change = self._solve(left, needed)
                x = {key: self._sum(part, change[key]) for key, part in x.items()}
            for row in checked:
                self._guard(row, x, b)
            answers.append(x)
        names = ", ".join("[" + ", ".join(_signed(x[column]) for column in wanted) + "]" for x in answers)
        head = [f"v{symbol} = v[{symbol}]" for symbol in self.used]
        body = [*head, "good = True", *_freed(self.lines, _names(x[c] for x in answers for c in wanted))]
        return "def run(v, limit):\n" + "".join(f"    {line}\n" for line in body) + f"    return [{names}], good\n"

    def _solve(self, right: dict[int, _Part], needed: set[int]) -> dict[int, _Part]:
        """The unknowns that are needed for one right-hand side."""
        b, x = dict(right), dict[int, _Part]()
        for step in self.steps:
            if step.row in b and b[step.row].factor:
                b[step.row] = self._product(b[step.row], step.scale)
                for other, factor in step.factors.items():
                    b[other] = self._sum(b.get(other), _minus(self._product(factor, b[step.row])))
        for step in reversed(self.steps):
            if step.column in needed:
                total = b.get(step.row, _Part(0.0))
                for key, part in step.across.items():
                    total = self._sum(total, _minus(self._product(part, x[key])))
                x[step.column] = self._product(total, step.inverse)
        return x

    def _residual(
        self, row: int, x: dict[int, _Part], right: dict[int, _Part]
    ) -> tuple[_Part, dict[_Part, list[_Part]]]:
        """A x - b of a row, and its terms by symbol: those of one symbol share a product."""
        groups: dict[_Part, list[_Part]] = {}
        for column, part in self.terms[row]:
            if x[column].factor:
                groups.setdefault(part._replace(factor=1.0), []).append(self._product(_Part(part.factor), x[column]))
        residual = _minus(right.get(row, _Part(0.0)))
        for symbol, parts in groups.items():
            residual = self._sum(residual, self._product(symbol, functools.reduce(self._sum, parts)))
        return residual, groups

    def _guard(self, row: int, x: dict[int, _Part], right: dict[int, _Part]) -> None:
        """Compare the backward error of a row with the limit.

        The costliest term is left out of the scale: where the row holds, it is not above the sum of the others, so the
        scale is at least half of what it would be.
        """
        residual, groups = self._residual(row, x, right)
        if not residual.name or not residual.factor:
            return
        scale = self._absolute(right.get(row, _Part(0.0)))
        costliest = max(groups, key=lambda part: (len(groups[part]) == 1) * (bool(part.name) + part.axes))
        for symbol, parts in groups.items():
            if symbol != costliest or len(parts) > 1:
                size = functools.reduce(self._sum, [self._absolute(part) for part in parts])
                scale = self._sum(scale, self._product(self._absolute(symbol), size))
        found = self._absolute(residual)
        self.lines.append(
            _Line(f"good = good & ({_signed(found)} <= limit * {_signed(scale)})", _names((found, scale)))
        )


def _minus(part: _Part) -> _Part:
    return part._replace(factor=-part.factor)


def _names(parts: Iterable[_Part]) -> set[str]:
    return {part.name for part in parts}


def _signed(part: _Part) -> str:
    return ("-" if part.factor < 0 else "") + _size(part)


def _size(part: _Part) -> str:
    """Source text of a part without its sign."""
    factor = abs(part.factor)
    if not part.name:
        return repr(factor)
    return part.name if factor == 1 else f"{factor!r} * {part.name}"


def _freed(lines: list[_Line], kept: set[str]) -> list[str]:
    """The lines, each followed by the release of what it uses last, so that the arrays stay few and in the cache."""
    text: list[str] = []
    later = {*kept, ""}
    for line in reversed(lines):
        last = sorted(line.operands - later)
        later |= line.operands
        text.append(line.text + (f"; del {', '.join(last)}" if last else ""))
    return text[::-1]
