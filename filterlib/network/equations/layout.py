"""The equations of a structure: which coefficient is where, written once for all circuits that differ in values alone.

Sparse tableau: the unknowns are the node voltages and the current of every element. A node's row says that the currents
which leave it sum to nothing; an element's row is its own law (v - R i = 0, i - s C v = 0, v - s L i = 0 ...). No value
is ever added to another while the equations are written, so that values of any spread go in without rounding: 1 uohm
next to 1 Mohm costs nothing until the elimination mixes them.

Source: sparse tableau, G. D. Hachtel, R. K. Brayton and F. G. Gustavson, IEEE Trans. Circuit Theory 18 (1971) p. 101
(from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple, TypeAlias

from filterlib.network.counts import COUNTS
from filterlib.network.equations.pattern import ONE, Branch, Groups, Pattern, Term
from filterlib.network.netlist import Element, Netlist, Structure

_ADDABLE = ("resistor", "inductor", "capacitor", "immittance")  # in series: impedances that add
Names: TypeAlias = tuple[str, ...]


class Chain(NamedTuple):
    """Elements in series from node ``a`` to node ``b``, each with +1 where its first node is on the side of ``a``."""

    parts: tuple[tuple[Element, int], ...]
    a: str
    b: str

    @property
    def turned(self) -> Chain:
        return Chain(tuple((element, -sign) for element, sign in reversed(self.parts)), self.b, self.a)


def chains(elements: list[Element], kept: set[str]) -> list[Chain]:
    """Elements whose impedances can be added, joined where a node holds two of them and nothing else."""
    chains = [Chain(((element, 1),), *element.nodes) for element in elements]
    at: dict[str, list[Chain]] = {}
    for chain in chains:
        for node in (chain.a, chain.b):
            at.setdefault(node, []).append(chain)
    for node, old in at.items():
        if node in kept or len(old) != 2:
            continue
        first, second = old[0] if old[0].b == node else old[0].turned, old[1] if old[1].a == node else old[1].turned
        if first.a != second.b:
            joined = Chain(first.parts + second.parts, first.a, second.b)
            for end in (joined.a, joined.b):
                at[end][:] = [joined if any(chain is o for o in old) else chain for chain in at[end]]
            chains = [chain for chain in chains if not any(chain is o for o in old)] + [joined]
    return chains


class Number(NamedTuple):
    """A coefficient that is the number of an element, times s to the power of ``growth``."""

    growth: int
    name: str


class Coupling(NamedTuple):
    """A coefficient of coupled inductors: of a group, its winding in row ``row``, what that has of winding ``column``."""

    growth: int
    group: int
    row: int
    column: int


class InSeries(NamedTuple):
    """One of the two coefficients of elements in series, that at ``place``."""

    names: Names
    place: int


class OfPair(NamedTuple):
    """One of the coefficients of a coupled pair, that at ``place``."""

    name: str
    place: int


Origin: TypeAlias = Number | Coupling | InSeries | OfPair


@dataclass(frozen=True, eq=False)
class Layout:
    """The equations of one structure.

    Attributes: ``pattern`` (which symbol is where); ``nodes`` (names, reference left out: the first unknowns); ``origins`` (of
    each symbol but the first, which is 1: where its value comes from); ``currents`` (unknown and sign by element and winding).
    """

    pattern: Pattern
    nodes: Names
    origins: tuple[Origin, ...]
    currents: dict[tuple[str, int], tuple[int, int]]


def layout_of(structure: Structure, asked: Iterable[str], reference: str, groups: Groups) -> Layout:
    """The equations of a structure that `filterlib.network.checks.check` has passed.

    Elements in series become one branch where nobody asks for the node between them: ``asked`` names the nodes that
    stay. ``groups``: of coupled inductors, which winding's row holds which others (`inductors.shapes`).
    """
    return _written(structure, frozenset(asked) & _bare(structure).between, reference, groups)


@lru_cache(maxsize=256)
def _written(structure: Structure, kept: frozenset[str], reference: str, groups: Groups) -> Layout:
    """The same, where ``kept`` are those of the nodes between elements in series that stay."""
    COUNTS.equations += 1
    netlist, alone, others, _ = _bare(structure)
    joined = chains(alone, {node for e in others for node in e.nodes} | {reference, *kept})
    gone = {n for chain in joined for e, _ in chain.parts for n in e.nodes if n not in (chain.a, chain.b)}
    nodes = tuple(node for node in netlist.nodes if node != reference and node not in gone)
    return _Writer(netlist, nodes).finish(joined, others, groups)


class _Bare(NamedTuple):
    """What a structure consists of: elements that can be added in series, all others, and nodes ``between`` two of the first kind alone."""

    netlist: Netlist
    alone: list[Element]
    others: list[Element]
    between: frozenset[str]


@lru_cache(maxsize=256)
def _bare(structure: Structure) -> _Bare:
    COUNTS.structures += 1
    netlist = Netlist(structure)
    alone = [e for e in netlist.elements if e.kind in _ADDABLE and e.name not in netlist.coupled]
    others = [e for e in netlist.branches if e not in alone]
    touching = Counter(node for e in alone for node in e.nodes)
    elsewhere = {node for e in others for node in e.nodes}
    return _Bare(netlist, alone, others, frozenset(n for n, k in touching.items() if k == 2 and n not in elsewhere))


def forget() -> None:
    """Drop what was written: the next circuits are written anew, as in a fresh process."""
    _written.cache_clear()
    _bare.cache_clear()


class _Writer:
    """Collects branches, terms and symbols, element by element."""

    def __init__(self, netlist: Netlist, nodes: Names) -> None:
        self.netlist, self.nodes = netlist, nodes
        self.index = {node: i for i, node in enumerate(nodes)}
        self.branches: list[Branch] = []
        self.terms: list[Term] = []
        self.origins: list[Origin] = []
        self.currents: dict[tuple[str, int], tuple[int, int]] = {}

    def finish(self, chains: list[Chain], others: list[Element], groups: Groups) -> Layout:
        for chain in chains:
            if len(chain.parts) > 1:
                self._chain(chain)
        for element in [chain.parts[0][0] for chain in chains if len(chain.parts) == 1] + others:
            getattr(self, f"_{element.kind}")(element)
        for number in range(len(groups)):
            self._write_group(groups, number)
        pattern = Pattern(len(self.nodes), tuple(self.branches), tuple(self.terms))
        return Layout(pattern, self.nodes, tuple(self.origins), self.currents)

    def _symbol(self, origin: Origin) -> int:
        self.origins.append(origin)
        return len(self.origins)

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
        self._z(element, self._symbol(Number(0, element.name)))

    def _inductor(self, element: Element) -> None:
        if element.name in self.netlist.coupled:
            self._branch(element.name, element.nodes, "z", ONE)  # its row is written with its group
        else:
            self._z(element, self._symbol(Number(1, element.name)))

    def _capacitor(self, element: Element) -> None:
        self._y(element, self._symbol(Number(1, element.name)))

    def _conductance(self, element: Element) -> None:
        self._y(element, self._symbol(Number(0, element.name)))

    def _voltage_source(self, element: Element) -> None:
        row = self._branch(element.name, element.nodes, "v", ONE)
        self._voltage(row, row - len(self.nodes), 1, ONE)

    def _current_source(self, element: Element) -> None:
        row = self._branch(element.name, element.nodes, "j", ONE)
        self.terms.append(Term(row, row, 1, ONE))

    def _immittance(self, element: Element) -> None:
        self._chain(Chain(((element, 1),), *element.nodes))

    def _chain(self, chain: Chain) -> None:
        names = tuple(e.name for e, _ in chain.parts)
        before, symbol = (self._symbol(InSeries(names, place)) for place in (0, 1))
        row = self._branch(" + ".join(names), (chain.a, chain.b), "z", symbol, before)
        self.currents |= {(element.name, 1): (row, sign) for element, sign in chain.parts}
        self._voltage(row, row - len(self.nodes), 1, before)
        self.terms.append(Term(row, row, -1, symbol))

    def _coupled(self, element: Element) -> None:
        p1, p2, z11, z12, z21, z22, rest = (self._symbol(OfPair(element.name, i)) for i in range(7))
        first = self._branch(element.name, element.nodes[:2], "z", z11, p1)
        second = self._branch(element.name, element.nodes[2:], "z", rest, p2, winding=2)
        self._voltage(first, first - len(self.nodes), 1, p1)
        self._voltage(second, second - len(self.nodes), 1, p2)
        matrix = (first, first, z11), (first, second, z12), (second, first, z21), (second, second, z22)
        self.terms += [Term(row, column, -1, symbol) for row, column, symbol in matrix]

    def _write_group(self, groups: Groups, number: int) -> None:
        """Rows of inductors that are coupled, each winding's with its own voltage and current on the diagonal."""
        offset, group = len(self.nodes), groups[number]
        rows = [self.currents[name, 1][0] - offset for name in group.names]
        for i, (branch, (voltages, henries)) in enumerate(zip(rows, group.windings, strict=True)):
            row = offset + branch
            for j in voltages:
                self._voltage(row, rows[j], 1, self._symbol(Coupling(0, number, i, j)))
            self._voltage(row, branch, 1, ONE)
            for j in henries:
                symbol = self._symbol(Coupling(1, number, i, j))
                self.terms.append(Term(row, offset + rows[j], -1, symbol))
                if rows[j] == branch:
                    self.branches[branch] = replace(self.branches[branch], symbol=symbol)
