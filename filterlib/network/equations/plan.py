"""The elimination of a pattern, planned once: which pivot comes when, and what every row loses to it.

A plan serves every circuit of the same structure, whatever its values, and writes one program for each set of sources.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

from filterlib.network.counts import COUNTS
from filterlib.network.equations.pattern import Columns, Pattern
from filterlib.network.equations.tape import ZERO, Part, Program, Tape

Known: TypeAlias = tuple[float | None, ...]
LIMIT = 5e-14  # componentwise backward error that a point may have
_DIVISION = 5  # costs as much as so many products or sums


class _Step(NamedTuple):
    """One pivot: the row times ``scale`` is ``across`` and the pivot, whose inverse is ``inverse``; ``factors`` is what
    the other rows lost of it."""

    row: int
    column: int
    scale: Part
    across: dict[int, Part]
    inverse: Part
    factors: dict[int, Part]


class Plan:
    """Eliminates on names instead of numbers, and writes down each step.

    Parameters
    ----------
    tree : the column of each row's pivot
    known : per symbol 0 or 1 where it is always that, None where it may be anything

    Attributes: ``tree`` and ``known``, as given; ``singular``: whether plain numbers alone leave no pivot, as two shorts in parallel
    do; ``failed``: at how many points the guard did not hold, as whoever runs it counts them.
    """

    def __init__(self, pattern: Pattern, tree: tuple[int, ...], known: Known) -> None:
        COUNTS.plans += 1
        self.size, self.tree, self.known, self.failed = pattern.size, tree, known, 0
        self._tape = Tape()
        self._terms: list[list[tuple[int, Part]]] = [[] for _ in range(self.size)]
        for term in pattern.terms:
            if known[term.symbol] != 0:
                variable = 0 if known[term.symbol] == 1 else self._tape.symbol(term.symbol)
                self._terms[term.row].append((term.column, (float(term.sign), variable)))
        self._rows: list[dict[int, Part]] = [{} for _ in range(self.size)]
        for row, entries in zip(self._rows, self._terms, strict=True):
            for column, part in entries:
                self._add(row, column, part)
        self._altered: set[int] = set()
        self._steps: list[_Step] = []
        self._programs: dict[tuple[Columns, tuple[int, ...], bool, float | None], Program] = {}
        self.singular = not self._eliminate(tree)

    def program(
        self, right: Columns, wanted: tuple[int, ...], refined: bool = False, limit: float | None = LIMIT
    ) -> Program:
        """The wanted unknowns for all right-hand sides, one after the other.

        Parameters
        ----------
        refined : whether the residuals are fed back once, for twice the work
        limit : of the backward error; None leaves the checks out, which are more than half of the work
        """
        key = right, wanted, refined, limit
        if key not in self._programs:
            COUNTS.programs += 1
            self._programs[key] = self._written(right, wanted, refined, limit)
        return self._programs[key]

    # ---- elimination ----------------------------------------------------------------------------------------------

    def _add(self, row: dict[int, Part], column: int, part: Part) -> None:
        total = self._tape.sum(row.get(column, ZERO), part)
        if total[0]:
            row[column] = total
        else:
            row.pop(column, None)

    def _eliminate(self, tree: tuple[int, ...]) -> bool:
        """Take the pivots in the order of least work; False where those that are left have cancelled."""
        holders: dict[int, set[int]] = {column: set() for column in range(self.size)}
        for row, entries in enumerate(self._rows):
            for column in entries:
                holders[column].add(row)
        owner = {column: row for row, column in enumerate(tree)}
        left, costs = set(range(self.size)), dict[int, float]()
        stale = set(left)
        while left:
            for row in stale & left:
                costs.pop(row, None)
                if tree[row] in self._rows[row]:
                    costs[row] = self._cost(row, tree[row], holders)
            if not costs:
                return False
            row = min(costs, key=lambda one: (costs[one], one))
            stale = {*holders[tree[row]], *(owner[column] for column in self._rows[row])}
            self._pivot(row, tree[row], holders)
            left.remove(row)
            del costs[row]
        return True

    def _cost(self, row: int, column: int, holders: dict[int, set[int]]) -> float:
        """Products, sums and a division that a pivot takes; a factor of plain numbers costs no product."""
        entries = self._rows[row]
        others = [self._rows[other][column][1] for other in holders[column] if other != row]
        named = sum(variable > 0 for key, (_, variable) in entries.items() if key != column)
        scaled = len(others) if entries[column][1] else sum(variable > 0 for variable in others)
        updates = (len(entries) - 1) * len(others)
        return updates + named * scaled + _DIVISION * (entries[column][1] > 0) + 1e-3 * len(entries)

    def _pivot(self, row: int, column: int, holders: dict[int, set[int]]) -> None:
        """Clear a column with a row, scaled to a pivot of 1 where that is less work."""
        tape, rows = self._tape, self._rows
        across = {key: part for key, part in rows[row].items() if key != column}
        others = sorted(holders[column] - {row})
        scale, inverse = (1.0, 0), tape.inverse(rows[row][column])
        if len(across) <= len(others):
            across = {key: tape.product(part, inverse) for key, part in across.items()}
            scale, inverse = inverse, scale
        factors = {other: tape.product(rows[other].pop(column), inverse) for other in others}
        self._steps.append(_Step(row, column, scale, across, inverse, factors))
        self._altered.update(others)
        for key in across:
            holders[key].discard(row)
        holders[column] = set()
        for other, factor in factors.items():
            for key, part in across.items():
                change = tape.product(factor, part)
                self._add(rows[other], key, (-change[0], change[1]))
                (holders[key].add if key in rows[other] else holders[key].discard)(other)

    # ---- what comes out -------------------------------------------------------------------------------------------

    def _written(self, right: Columns, wanted: tuple[int, ...], refined: bool, limit: float | None) -> Program:
        """Elimination, back substitution, guard."""
        tape = self._tape.copy()
        if self.singular:
            tape.check((1.0, 0), ZERO)
            return tape.finish([ZERO] * (len(right) * len(wanted)))
        checked = range(self.size) if refined else sorted(self._altered)  # the others hold by construction
        answers: list[Part] = []
        for column in right:
            b = {row: (value, 0) for row, value in column}
            x = self._solve(tape, b)
            if refined:
                left = {row: self._residual(tape, row, x, b)[0] for row in sorted(self._altered)}
                change = self._solve(tape, {row: (-part[0], part[1]) for row, part in left.items()})
                x = {key: tape.sum(part, change[key]) for key, part in x.items()}
            if limit is not None:
                for row in checked:
                    self._guard(tape, row, x, b, limit)
            answers += [x[at] for at in wanted]
        return tape.finish(answers)

    def _solve(self, tape: Tape, right: dict[int, Part]) -> dict[int, Part]:
        """The unknowns for one right-hand side."""
        b, x = dict(right), dict[int, Part]()
        for step in self._steps:
            if step.row in b and b[step.row][0]:
                b[step.row] = tape.product(b[step.row], step.scale)
                for other, factor in step.factors.items():
                    b[other] = tape.difference(b.get(other, ZERO), tape.product(factor, b[step.row]))
        for step in reversed(self._steps):
            total = b.get(step.row, ZERO)
            for key, part in step.across.items():
                total = tape.difference(total, tape.product(part, x[key]))
            x[step.column] = tape.product(total, step.inverse)
        return x

    def _residual(
        self, tape: Tape, row: int, x: dict[int, Part], right: dict[int, Part]
    ) -> tuple[Part, dict[int, list[Part]]]:
        """A x - b of a row, and its terms by symbol: those of one symbol share a product."""
        groups: dict[int, list[Part]] = {}
        for column, (sign, variable) in self._terms[row]:
            if x[column][0]:
                groups.setdefault(variable, []).append((sign * x[column][0], x[column][1]))
        value = right.get(row, ZERO)
        residual = (-value[0], value[1])
        for variable, parts in groups.items():
            residual = tape.sum(residual, tape.product((1.0, variable), _total(tape, parts)))
        return residual, groups

    def _guard(self, tape: Tape, row: int, x: dict[int, Part], right: dict[int, Part], limit: float) -> None:
        """Compare the backward error of a row with the limit.

        The costliest term is left out of the scale: where the row holds, it is not above the sum of the others, so the
        scale is at least half of what it would be.
        """
        residual, groups = self._residual(tape, row, x, right)
        if not residual[1] or not residual[0]:
            return
        scale = tape.absolute(right.get(row, ZERO))
        costliest = max(groups, key=lambda v: (len(groups[v]) == 1) * (1 + (v > 0)))
        for variable, parts in groups.items():
            if variable != costliest or len(parts) > 1:
                size = _total(tape, [tape.absolute(part) for part in parts])
                scale = tape.sum(scale, tape.product(tape.absolute((1.0, variable)), size))
        tape.check(tape.absolute(residual), (limit * scale[0], scale[1]))


def _total(tape: Tape, parts: list[Part]) -> Part:
    total = ZERO
    for part in parts:
        total = tape.sum(total, part)
    return total
