"""A list of updates as Python source: one line an update, made once for a circuit's pattern and kept.

Values that depend on neither frequency nor design stay plain numbers until the elimination mixes them, an entry of 1
costs nothing, and what nobody asks for is not computed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from filterlib.network.tableau import ONE, Term

Columns = tuple[tuple[tuple[int, float], ...], ...]  # right-hand sides, each as pairs of a row and its value
Plan = Callable[[list[Any], float], tuple[list[list[Any]], Any]]

_COST = (0.02, 0.5, 0.5, 1.0)  # of one update, by what the operands vary along: nothing, frequency, design, both
_DIVISION = 5.0


class _Part(NamedTuple):
    """``factor`` times the variable ``name`` ("" is 1), which varies along ``axes`` (bit 0 frequency, bit 1 design)."""

    factor: float
    name: str = ""
    axes: int = 0


@lru_cache(maxsize=512)
def make_plan(
    size: int, terms: tuple[Term, ...], pivots: tuple[int, ...], sorts: tuple[int, ...], right: Columns, wanted: tuple[int, ...]
) -> Plan:
    """Compile the elimination of a pattern.

    Parameters
    ----------
    size, terms : the equations, as in `filterlib.network.tableau.Tableau`
    pivots : the column of each row's pivot
    sorts : per symbol -2 (zero), -1 (one), or along what it varies (bit 0 frequency, bit 1 design)
    right : the right-hand sides
    wanted : the unknowns to return

    Returns
    -------
    function of the symbols' values and the limit of the backward error, which gives [[x of wanted] of right] and where
    the limit is kept
    """
    writer = _Writer(size, terms, sorts, right)
    writer.eliminate(pivots)
    source = writer.source(wanted)
    space: dict[str, Any] = {"absolute": np.absolute, "reciprocal": np.reciprocal, "isfinite": np.isfinite}
    exec(compile(source, "<plan>", "exec"), space)
    return space["run"]


class _Writer:
    """Eliminates on names instead of numbers, and writes down each step."""

    def __init__(self, size: int, terms: tuple[Term, ...], sorts: tuple[int, ...], right: Columns) -> None:
        self.size, self.right = size, right
        self.lines: list[str] = []
        self.count = 0
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
        for index, column_terms in enumerate(right):
            for at, value in column_terms:
                self.rows[at][size + index] = _Part(value)
        self.used = sorted({t.symbol for t in terms if sorts[t.symbol] > -1})
        self.altered: set[int] = set()
        self.steps: list[tuple[int, int, dict[int, _Part], _Part]] = []

    # ---- arithmetic on names --------------------------------------------------------------------------------------

    def _new(self, expression: str, axes: int, factor: float = 1.0) -> _Part:
        self.count += 1
        self.lines.append(f"t{self.count} = {expression}")
        return _Part(factor, f"t{self.count}", axes)

    def _product(self, a: _Part, b: _Part) -> _Part:
        if not a.name or not b.name:
            return _Part(a.factor * b.factor, a.name or b.name, a.axes | b.axes)
        return self._new(f"{a.name} * {b.name}", a.axes | b.axes, a.factor * b.factor)

    def _sum(self, a: _Part | None, b: _Part) -> _Part:
        if a is None:
            return b
        if a.name == b.name:
            return _Part(a.factor + b.factor, a.name, a.axes)
        if a.factor < 0 < b.factor:
            a, b = b, a
        sign = -1.0 if a.factor < 0 else 1.0
        return self._new(_written(a, sign) + (" + " if b.factor * sign > 0 else " - ") + _written(b), a.axes | b.axes, sign)

    def _inverse(self, a: _Part) -> _Part:
        if not a.name:
            return _Part(1 / a.factor)
        return self._new(f"reciprocal({a.name})" if a.axes else f"1 / {a.name}", a.axes, 1 / a.factor)

    @staticmethod
    def _put(row: dict[int, _Part], column: int, part: _Part) -> None:
        if part.factor == 0:
            row.pop(column, None)
        else:
            row[column] = part

    # ---- elimination ----------------------------------------------------------------------------------------------

    def eliminate(self, pivots: tuple[int, ...]) -> None:
        """Take the pivots in the order of least work."""
        left = dict(enumerate(pivots))
        while left:
            below = self._below(left)
            costs = {row: self._cost(row, column, below) for row, column in left.items() if column in self.rows[row]}
            if not costs:
                raise ZeroDivisionError("every pivot that is left has cancelled")
            row = min(costs, key=costs.__getitem__)
            self._pivot(row, left.pop(row), below)

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
        inverse = self._inverse(self.rows[row][column])
        if len(across) <= len(others) + 1:
            across = {key: self._product(part, inverse) for key, part in across.items()}
            inverse = _Part(1.0)
        self.steps.append((row, column, across, inverse))
        for other in others:
            factor = self._product(self.rows[other].pop(column), inverse)
            self.altered.add(other)
            for key, part in across.items():
                change = self._product(factor, part)
                self._put(self.rows[other], key, self._sum(self.rows[other].get(key), change._replace(factor=-change.factor)))

    # ---- what comes out -------------------------------------------------------------------------------------------

    def source(self, wanted: tuple[int, ...]) -> str:
        """The whole function: elimination, back substitution of what is needed, guard."""
        checked = [row for row in range(self.size) if row in self.altered]
        needed = set(wanted) | {column for row in checked for column, _ in self.terms[row]}
        for _, column, across, _ in self.steps:  # what a row needs was made the pivot after it
            if column in needed:
                needed.update(key for key in across if key < self.size)
        answers = [self._back(needed, self.size + index) for index in range(len(self.right))]
        for index, x in enumerate(answers):
            self._guard(checked, x, dict(self.right[index]))
        names = ", ".join("[" + ", ".join(_written(x[column], 0) for column in wanted) + "]" for x in answers)
        head = [f"v{symbol} = v[{symbol}]" for symbol in self.used]
        body = [*head, "good = True", *self.lines, f"return [{names}], good"]
        return "def run(v, limit):\n" + "".join(f"    {line}\n" for line in body)

    def _back(self, needed: set[int], right: int) -> dict[int, _Part]:
        """Names of the unknowns for one right-hand side."""
        x: dict[int, _Part] = {}
        for _, column, across, inverse in reversed(self.steps):
            if column not in needed:
                continue
            total = across.get(right)
            for key, part in across.items():
                if key < self.size and x[key].factor:
                    change = self._product(part, x[key])
                    total = self._sum(total, change._replace(factor=-change.factor))
            x[column] = _Part(0.0) if total is None else self._product(total, inverse)
        return x

    def _guard(self, checked: list[int], x: dict[int, _Part], right: dict[int, float]) -> None:
        """Compare the backward error of the altered rows with the limit."""
        sizes: dict[str, _Part] = {}
        for row in checked:
            residual, scale = (_Part(-right[row]), _Part(abs(right[row]))) if row in right else (None, None)
            for column, part in self.terms[row]:
                if x[column].factor:
                    residual = self._sum(residual, self._product(part, x[column]))
                    scale = self._sum(scale, self._product(self._size(part, sizes), self._size(x[column], sizes)))
            if residual is not None and scale is not None and residual.name:
                bound = f"limit * {_written(scale, 0)}"
                size = f"absolute({residual.name})" if residual.axes else f"abs({residual.name})"
                self.lines.append(f"good &= {_written(_Part(abs(residual.factor), size), 0)} <= {bound}")

    def _size(self, part: _Part, known: dict[str, _Part]) -> _Part:
        if part.name and part.name not in known:
            known[part.name] = self._new(f"absolute({part.name})" if part.axes else f"abs({part.name})", part.axes)
        return _Part(abs(part.factor), known[part.name].name if part.name else "", part.axes)


def _written(part: _Part, sign: float = 1.0) -> str:
    """Source text of a part; its size only where ``sign`` is not 0, since the caller writes the sign."""
    factor = abs(part.factor) if sign else part.factor
    if not part.name:
        return repr(float(factor))
    return part.name if factor == 1 else f"{float(factor)!r} * {part.name}" if factor != -1 else f"-{part.name}"


__all__ = ["ONE", "Columns", "Plan", "make_plan"]
