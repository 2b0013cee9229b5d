"""The structure of a circuit's equations: which symbol is where, and the tree of the lowest impedances.

The tree takes the elements by rising impedance and skips each that closes a loop (Kruskal). An element of the tree then
has an impedance below, and one outside it an admittance below, those that it is added to. So the row of a tree element
gives the voltage of the tree's outer node, that node's row the tree element's current, and the row of any other element
its current: one pivot a row, fixed before any elimination, and as well scaled as the circuit allows.

Source: minimum spanning tree, J. B. Kruskal, Proc. Am. Math. Soc. 7 (1956) p. 48 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, MutableMapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple, Protocol, TypeAlias, TypeVar

import numpy as np

ONE = 0  # the symbol whose value is 1
OPEN = 1e300  # in place of an infinite impedance [ohm]
Sum: TypeAlias = tuple[tuple[int, float], ...]  # unknowns, or rows, and what each is multiplied with
Columns: TypeAlias = tuple[Sum, ...]  # right-hand sides, each as pairs of a row and its value
Values: TypeAlias = Sequence[float | np.ndarray]  # by symbol: numbers, or arrays (f,), (designs, 1) or (designs, f)
Node = TypeVar("Node")


@dataclass(frozen=True)
class Branch:
    """One current: of which element, between which unknowns (-1: the reference), and what orders it in the tree.

    ``form``: "z" (v = symbol * i), "y" (i = symbol * v), "v" and "j" (sources). ``other``: the symbol
    before v in an immittance (1, or 0 where it is open).
    """

    name: str = field(compare=False)
    a: int
    b: int
    form: str
    symbol: int
    other: int = ONE


class Term(NamedTuple):
    """``sign`` times the value of ``symbol`` at (row, column); several terms there add.

    ``branch``: in the law of an element, the branch whose voltage the term is an end of; -1 of a current.
    """

    row: int
    column: int
    sign: int
    symbol: int
    branch: int = -1


@dataclass(frozen=True)
class Pattern:
    """Equations without values. Circuits of one structure share it, whatever the names and values of their elements.

    Attributes: ``count`` (of nodes, the reference left out: the first unknowns); ``branches`` (the currents, the other
    unknowns, in order); ``terms``.
    """

    count: int
    branches: tuple[Branch, ...]
    terms: tuple[Term, ...]

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.count, self.branches, self.terms))

    @property
    def size(self) -> int:
        return self.count + len(self.branches)

    def tree(self, order: Iterable[int]) -> tuple[int, ...]:
        """The column in which each row has its pivot, for branches in an ``order`` of rising impedance."""
        count = self.count
        pivots = [-1] * count + list(range(count, self.size))
        neighbours: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]  # the reference, -1, is the last
        group = {node: node for node in range(-1, count)}
        for index in order:
            a, b = self.branches[index].a, self.branches[index].b
            if join(group, a, b):
                neighbours[a].append((b, index))
                neighbours[b].append((a, index))
        reached, visited = [count], {-1, count}
        while reached:
            for node, index in neighbours[reached.pop()]:
                if node not in visited:
                    visited.add(node)
                    reached.append(node)
                    pivots[count + index], pivots[node] = node, count + index
        return tuple(pivots)

    def weights(self, values: Values, count: int) -> np.ndarray:
        """Impedances of the branches at ``count`` points [ohm]: what orders the tree.

        ``values``: per symbol a number or an array (count,). A voltage source counts as -1, a current source as inf.
        """
        weights = np.empty((count, len(self.branches)))
        for index, branch in enumerate(self.branches):
            size, other = np.abs(values[branch.symbol]), np.abs(values[branch.other])
            if branch.form in "vj":
                weights[:, index] = -1.0 if branch.form == "v" else np.inf
            elif branch.form == "z":
                weights[:, index] = np.where(other > 0, size, OPEN)
            else:
                weights[:, index] = np.where(size > 1 / OPEN, 1 / np.maximum(size, 1 / OPEN), OPEN)
        return weights


class Group(NamedTuple):
    """Inductors that couple, without values: their names, and of each winding which others its law holds, by place."""

    names: tuple[str, ...]
    windings: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]


Groups: TypeAlias = tuple[Group, ...]


def root(group: MutableMapping[Node, Node], node: Node) -> Node:
    """The node that represents the group of a node."""
    while group[node] != node:
        group[node] = node = group[group[node]]
    return node


def join(group: MutableMapping[Node, Node], a: Node, b: Node) -> bool:
    """Join the groups of two nodes; False where they were one already."""
    first, second = root(group, a), root(group, b)
    group[first] = second
    return first != second


class Equations(Protocol):
    """A pattern with its values, for one or several designs: what is asked of a circuit by whoever solves it."""

    @property
    def pattern(self) -> Pattern:
        """Which symbol is where."""

    @property
    def designs(self) -> int | None:
        """How many designs they stand for, None of one."""

    @property
    def divisible(self) -> bool:
        """Whether some of the designs can be taken."""

    def part(self, chosen: slice) -> Equations:
        """The same for some of the designs."""

    def values(self, frequencies: np.ndarray, s: np.ndarray) -> Values:
        """The value of every symbol at frequencies."""

    def of_design(self, design: int) -> tuple[list[float], list[bool]]:
        """The symbols' values of one design, without s, and which of them grow with it."""
