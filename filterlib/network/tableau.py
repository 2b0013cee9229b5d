"""The equations of a circuit, G + sC, and the tree of its lowest impedances.

Sparse tableau: the unknowns are the node voltages and the current of every element. A node's row says that the currents
which leave it sum to nothing; an element's row is its own law (v - R i = 0, i - s C v = 0, v - s L i = 0 ...). No value
is ever added to another while the equations are written, so that values of any spread go in without rounding: 1 uohm
beside 1 Mohm costs nothing until the elimination mixes them.

The tree takes the elements by rising impedance and skips each that closes a loop (Kruskal). An element of the tree then
has an impedance below, and one outside it an admittance below, those that it is added to. So the row of a tree element
gives the voltage of the tree's outer node, that node's row the tree element's current, and the row of any other element
its current: one pivot a row, fixed before any elimination, and as well scaled as the circuit allows.

Source: sparse tableau, G. D. Hachtel, R. K. Brayton and F. G. Gustavson, IEEE Trans. Circuit Theory 18 (1971) p. 101;
minimum spanning tree, J. B. Kruskal, Proc. Am. Math. Soc. 7 (1956) p. 48 (both from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from filterlib.network.checks import join
from filterlib.network.circuit import REFERENCE, Circuit, Element, designs_of
from filterlib.network.inductors import coupled_inductors, factor
from filterlib.network.series import Chain, Series, Windings, part_of
from filterlib.network.series import chains as chains_of

ONE = 0  # the symbol whose value is 1
OPEN = 1e300  # stands for an infinite impedance [ohm]
_ADDABLE = ("resistor", "inductor", "capacitor", "immittance")  # in series: impedances that add


class Branch(NamedTuple):
    """One current: of which element, between which unknowns (-1: the reference), and what orders it in the tree.

    ``form``: "z" (v = symbol * i), "y" (i = symbol * v), "v" and "j" (sources). ``other``: the symbol that stands
    before v in an immittance (1, or 0 where it is open).
    """

    name: str
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


@dataclass(frozen=True, eq=False)
class Tableau:
    """The equations of one circuit.

    Attributes: ``nodes`` (names, reference left out: the first unknowns); ``branches`` (the currents, the other
    unknowns, in order); ``terms``; ``symbols`` (per symbol how it grows with s, 0 or 1, and its value; or `Series` or
    `Windings`, and which of its values); ``currents`` (unknown and sign by element and winding); ``designs``;
    ``plans`` (of the elimination, kept with the equations).
    """

    nodes: tuple[str, ...]
    branches: tuple[Branch, ...]
    terms: tuple[Term, ...]
    symbols: tuple[Any, ...]
    currents: dict[tuple[str, int], tuple[int, int]]
    designs: int | None
    plans: dict[Any, Any] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.nodes) + len(self.branches)

    def node(self, name: str) -> int | None:
        """Row and column of a node; None for the reference."""
        return self.nodes.index(name) if name in self.nodes else None

    @property
    def divisible(self) -> bool:
        """Whether it stands for many designs of which some can be taken: no callable holds an array of them."""
        growths = [growth for growth, _ in self.symbols if not isinstance(growth, int)]
        return self.designs is not None and all(designs_of(e) is None for growth in growths for e in growth.callables)

    def part(self, chosen: slice) -> Tableau:
        """The same equations for some of the designs, with the same plans."""
        growths = {id(growth): growth for growth, _ in self.symbols if isinstance(growth, Series)}
        cut = {key: growth.part(chosen) for key, growth in growths.items()}
        symbols = tuple((cut.get(id(growth), growth), part_of(value, chosen)) for growth, value in self.symbols)
        return replace(self, symbols=symbols, designs=len(range(self.designs or 0)[chosen]))

    def values(self, frequencies: np.ndarray, s: np.ndarray) -> list[Any]:
        """The value of every symbol: a number, or an array (f,), (designs, 1) or (designs, f)."""
        known: dict[int, list[Any]] = {}
        values: list[Any] = []
        for growth, value in self.symbols:
            if isinstance(growth, int):
                values.append(value * s if growth else value)
            else:
                if id(growth) not in known:
                    known[id(growth)] = growth.values(frequencies, s, self.designs)
                values.append(known[id(growth)][value])
        return values

    def tree(self, order: Iterable[int]) -> tuple[int, ...]:
        """The column in which each row has its pivot, for branches in an ``order`` of rising impedance."""
        count = len(self.nodes)
        pivots = [-1] * count + list(range(count, self.size))
        beside: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]  # the reference, -1, is the last
        group = {node: node for node in range(-1, count)}
        for index in order:
            a, b = self.branches[index].a, self.branches[index].b
            if join(group, a, b):
                beside[a].append((b, index))
                beside[b].append((a, index))
        reached, seen = [count], {-1, count}
        while reached:
            for node, index in beside[reached.pop()]:
                if node not in seen:
                    seen.add(node)
                    reached.append(node)
                    pivots[count + index], pivots[node] = node, count + index
        return tuple(pivots)

    def weights(self, values: list[Any], count: int) -> np.ndarray:
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


def build(circuit: Circuit, reference: str = REFERENCE, keep: Iterable[str] | None = None) -> Tableau:
    """Write the equations of a circuit that `filterlib.network.circuit.check` has passed.

    Elements in series become one branch where nobody asks for the node between them: ``keep`` names the nodes that
    stay, by default all.
    """
    coupled = {name for e in circuit.elements if e.kind == "couple" for name in e.nodes}
    alone = [e for e in circuit.elements if e.kind in _ADDABLE and e.name not in coupled]
    others = [e for e in circuit.elements if e.kind != "couple" and (e.kind not in _ADDABLE or e.name in coupled)]
    held = {node for e in others for node in e.nodes} | {reference, *(circuit.nodes if keep is None else keep)}
    chains = chains_of(alone, held)
    gone = {n for chain in chains for e, _ in chain.parts for n in e.nodes if n not in (chain.a, chain.b)}
    nodes = tuple(node for node in circuit.nodes if node != reference and node not in gone)
    return _Writer(circuit, nodes).finish(chains, others)


class _Writer:
    """Collects branches, terms and symbols, element by element."""

    def __init__(self, circuit: Circuit, nodes: tuple[str, ...]) -> None:
        self.circuit, self.nodes = circuit, nodes
        self.index = {node: i for i, node in enumerate(nodes)}
        self.branches: list[Branch] = []
        self.terms: list[Term] = []
        self.symbols: list[Any] = [(0, 1.0)]
        self.currents: dict[tuple[str, int], tuple[int, int]] = {}

    def finish(self, chains: list[Chain], others: list[Element]) -> Tableau:
        for chain in chains:
            if len(chain.parts) > 1:
                self._chain(chain)
        for element in [chain.parts[0][0] for chain in chains if len(chain.parts) == 1] + others:
            getattr(self, f"_{element.kind}")(element)
        for group in coupled_inductors(self.circuit):
            self._write_group(group)
        parts = tuple(self.branches), tuple(self.terms), tuple(self.symbols)
        return Tableau(self.nodes, *parts, self.currents, self.circuit.designs)

    def _symbol(self, growth: Any, value: Any) -> int:
        self.symbols.append((growth, value))
        return len(self.symbols) - 1

    def _branch(
        self, name: str, nodes: Sequence[str], form: str, symbol: int, other: int = ONE, winding: int = 1
    ) -> int:
        """Add a current, with its two terms in the nodes' rows; the row of its element."""
        a, b = (self.index.get(node, -1) for node in nodes)
        row = len(self.nodes) + len(self.branches)
        self.branches.append(Branch(name, a, b, form, symbol, other))
        self.currents[name, winding] = (row, 1)
        self.terms += [Term(node, row, sign, ONE) for node, sign in ((a, 1), (b, -1)) if node >= 0]
        return row

    def _voltage(self, row: int, index: int, sign: int, symbol: int) -> None:
        """Add the voltage across a branch, times a symbol, to a row."""
        ends = (self.branches[index].a, 1), (self.branches[index].b, -1)
        self.terms += [Term(row, node, s * sign, symbol, index) for node, s in ends if node >= 0]

    def _z(self, element: Element, symbol: int) -> None:
        row = self._branch(element.name, element.nodes, "z", symbol)
        self._voltage(row, row - len(self.nodes), 1, ONE)
        self.terms.append(Term(row, row, -1, symbol))

    def _y(self, element: Element, symbol: int) -> None:
        row = self._branch(element.name, element.nodes, "y", symbol)
        self._voltage(row, row - len(self.nodes), -1, symbol)
        self.terms.append(Term(row, row, 1, ONE))

    def _resistor(self, element: Element) -> None:
        self._z(element, self._symbol(0, element.value))

    def _inductor(self, element: Element) -> None:
        if any(e.kind == "couple" and element.name in e.nodes for e in self.circuit.elements):
            self._branch(element.name, element.nodes, "z", ONE)  # its row is written with its group
        else:
            self._z(element, self._symbol(1, element.value))

    def _capacitor(self, element: Element) -> None:
        self._y(element, self._symbol(1, element.value))

    def _conductance(self, element: Element) -> None:
        self._y(element, self._symbol(0, element.value))

    def _voltage_source(self, element: Element) -> None:
        row = self._branch(element.name, element.nodes, "v", ONE)
        self._voltage(row, row - len(self.nodes), 1, ONE)

    def _current_source(self, element: Element) -> None:
        row = self._branch(element.name, element.nodes, "j", ONE)
        self.terms.append(Term(row, row, 1, ONE))

    def _immittance(self, element: Element) -> None:
        self._chain(Chain(((element, 1),), *element.nodes))

    def _chain(self, chain: Chain) -> None:
        series = Series(chain)
        before, symbol = self._symbol(series, 0), self._symbol(series, 1)
        row = self._branch(" + ".join(e.name for e, _ in chain.parts), (chain.a, chain.b), "z", symbol, before)
        self.currents |= {(element.name, 1): (row, sign) for element, sign in chain.parts}
        self._voltage(row, row - len(self.nodes), 1, before)
        self.terms.append(Term(row, row, -1, symbol))

    def _coupled(self, element: Element) -> None:
        windings = Windings(element)
        p1, p2, z11, z12, z21, z22, rest = (self._symbol(windings, i) for i in range(7))
        first = self._branch(element.name, element.nodes[:2], "z", z11, p1)
        second = self._branch(element.name, element.nodes[2:], "z", rest, p2, winding=2)
        self._voltage(first, first - len(self.nodes), 1, p1)
        self._voltage(second, second - len(self.nodes), 1, p2)
        matrix = (first, first, z11), (first, second, z12), (second, first, z21), (second, second, z22)
        self.terms += [Term(row, column, -1, symbol) for row, column, symbol in matrix]

    def _write_group(self, group: list[str]) -> None:
        """Rows of inductors that are coupled: (1/U) v = s D U^T i of L = U D U^T, so that k = 1 leaves an exact 0."""
        rows = [next(i for i, b in enumerate(self.branches) if b.name == name) for name in group]
        lower, inverse, diagonal = factor(self.circuit, group)
        offset = len(self.nodes)
        for k, branch in enumerate(rows):
            row = offset + branch
            for j in range(k):
                self._voltage(row, rows[j], 1, self._symbol(0, inverse[k][j]))
            self._voltage(row, branch, 1, ONE)
            for j in range(k, len(rows)):
                symbol = self._symbol(1, diagonal[k] if j == k else diagonal[k] * lower[j][k])
                self.terms.append(Term(row, offset + rows[j], -1, symbol))
                if j == k:
                    self.branches[branch] = self.branches[branch]._replace(symbol=symbol)
