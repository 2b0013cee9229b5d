"""Arithmetic written down once and run often: a list of steps on variables that are numbers or whole arrays.

A `Tape` computes on names instead of numbers: a product with 1 costs nothing, what was written before is not written
again, and what leads to no answer is dropped. What it finishes is a `Program`.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Sequence
from copy import copy
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeAlias

import numpy as np

Part: TypeAlias = tuple[float, int]  # a factor, and the variable that it multiplies; variable 0 is the number 1
Number: TypeAlias = float | complex | np.ndarray
ZERO: Part = (0.0, 0)

_Operation: TypeAlias = Callable[..., Any]


class _Line(NamedTuple):
    """A variable: an operation on one or two others (the second -1), a symbol's value, or a number."""

    operation: _Operation | None
    first: int = -1
    second: int = -1
    number: float = 0.0


@dataclass(frozen=True, eq=False)
class Program:
    """Steps on registers, each of which is used again as soon as what it holds is not needed any more.

    Attributes: ``start`` (the registers before the first step), ``loads`` (which register takes which symbol's value),
    ``steps`` (operation, where its result goes, its operands; the second is -1 where there is none), ``answers`` (a
    factor and a register each), ``good`` (the register that says where every check held).
    """

    start: tuple[float, ...]
    loads: tuple[tuple[int, int], ...]
    steps: tuple[tuple[_Operation, int, int, int], ...]
    answers: tuple[tuple[float, int], ...]
    good: int

    def run(self, values: Sequence[float | np.ndarray]) -> tuple[list[Number], np.ndarray | bool]:
        """The answers for the symbols' values, and where they are good.

        Raises
        ------
        ZeroDivisionError
            Where a plain number that is divided by is zero.
        """
        registers: list[Any] = list(self.start)
        for register, symbol in self.loads:
            registers[register] = values[symbol]
        for operation, result, first, second in self.steps:
            if second < 0:
                registers[result] = operation(registers[first])
            else:
                registers[result] = operation(registers[first], registers[second])
        answers = [registers[at] if factor == 1 else factor * registers[at] for factor, at in self.answers]
        return answers, registers[self.good]


@dataclass(eq=False)
class Tape:
    """Lines that are being written. Each method gives the part that holds its result."""

    lines: list[_Line] = field(default_factory=lambda: [_Line(None, number=1.0)])
    known: dict[tuple[object, ...], int] = field(default_factory=dict)
    good: int = 0

    def copy(self) -> Tape:
        """Another tape that begins with the same lines."""
        return Tape(copy(self.lines), copy(self.known), self.good)

    def symbol(self, index: int) -> int:
        """The variable that takes the value of a symbol."""
        return self._line(("symbol", index), _Line(None, first=index))

    def number(self, value: float) -> int:
        return 0 if value == 1 else self._line(("number", value), _Line(None, number=value))

    def product(self, a: Part, b: Part) -> Part:
        if not a[1] or not b[1]:
            return a[0] * b[0], a[1] or b[1]
        return a[0] * b[0], self._step(operator.mul, min(a[1], b[1]), max(a[1], b[1]))

    def sum(self, a: Part, b: Part) -> Part:
        if not a[0]:
            return b
        if not b[0]:
            return a
        if a[1] == b[1]:
            return a[0] + b[0], a[1]
        if (a[0] < 0, a[1]) > (b[0] < 0, b[1]):
            a, b = b, a
        sign = -1.0 if a[0] < 0 else 1.0
        operation = operator.add if b[0] * sign > 0 else operator.sub
        return sign, self._step(operation, self._magnitude(a), self._magnitude(b))

    def difference(self, a: Part, b: Part) -> Part:
        return self.sum(a, (-b[0], b[1]))

    def inverse(self, a: Part) -> Part:
        return (1 / a[0], self._step(operator.truediv, 0, a[1])) if a[1] else (1 / a[0], 0)

    def absolute(self, a: Part) -> Part:
        return (abs(a[0]), self._step(abs, a[1])) if a[1] else (abs(a[0]), 0)

    def check(self, value: Part, limit: Part) -> None:
        """Note that the answers are good only where one part is not above another."""
        good = self._step(operator.le, self._magnitude(value), self._magnitude(limit))
        self.good = self._step(operator.and_, self.good, good) if self.good else good

    def finish(self, answers: Sequence[Part]) -> Program:
        """What the answers and the checks need, with a register for each variable as long as it lives."""
        parts = [(part[0], part[1]) if part[0] else (1.0, self.number(0.0)) for part in answers]
        last = self._last_uses((*(at for _, at in parts), self.good))
        registers: dict[int, int] = {-1: -1}
        start: list[float] = []
        free: list[int] = []
        loads, steps = [], []
        for variable, (operation, first, second, number) in enumerate(self.lines):
            if not last[variable]:
                continue
            if operation is None or not free:
                registers[variable] = len(start)
                start.append(number)
            else:
                registers[variable] = free.pop()
            if operation is not None:
                steps.append((operation, registers[variable], registers[first], registers[second]))
                if last[first] == variable:
                    free.append(registers[first])
                if second >= 0 and second != first and last[second] == variable:
                    free.append(registers[second])
            elif first >= 0:
                loads.append((registers[variable], first))
        kept = tuple((factor, registers[at]) for factor, at in parts)
        return Program(tuple(start), tuple(loads), tuple(steps), kept, registers[self.good])

    def _last_uses(self, kept: Iterable[int]) -> list[int]:
        """For each variable the last one that is made of it; 0 where it is not needed."""
        last = [0] * len(self.lines)
        for variable in kept:
            last[variable] = len(self.lines)
        for variable in range(len(self.lines) - 1, 0, -1):
            operation, first, second, _ = self.lines[variable]
            if last[variable] and operation is not None:
                last[first] = last[first] or variable
                if second >= 0:
                    last[second] = last[second] or variable
        return last

    def _magnitude(self, a: Part) -> int:
        """The variable of a part without its sign."""
        size = abs(a[0])
        if not a[1]:
            return self.number(size)
        return a[1] if size == 1 else self._step(operator.mul, self.number(size), a[1])

    def _step(self, operation: _Operation, first: int, second: int = -1) -> int:
        key = operation, first, second
        variable = self.known.get(key)
        return self._line(key, _Line(*key)) if variable is None else variable

    def _line(self, key: tuple[object, ...], line: _Line) -> int:
        variable = self.known.setdefault(key, len(self.lines))
        if variable == len(self.lines):
            self.lines.append(line)
        return variable
