"""The equations of a circuit, G + sC.

Sparse tableau: the unknowns are the node voltages and the current of every element. A node's row says that the currents
which leave it sum to nothing; an element's row is its own law (v - R i = 0, i - s C v = 0, v - s L i = 0 ...). No value
is ever added to another while the equations are written, so that values of any spread go in without rounding: 1 uohm
next to 1 Mohm costs nothing until the elimination mixes them.

Source: sparse tableau, G. D. Hachtel, R. K. Brayton and F. G. Gustavson, IEEE Trans. Circuit Theory 18 (1971) p. 101
(from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from filterlib.errors import CircuitError, did_you_mean
from filterlib.network.counts import COUNTS
from filterlib.network.equations.inductors import coupled_inductors, laws
from filterlib.network.equations.pattern import ONE, Branch, Pattern, Sum, Term
from filterlib.network.equations.series import Chain, Series, Windings, part_of
from filterlib.network.equations.series import chains as chains_of
from filterlib.network.netlist import REFERENCE, Current, Element, Netlist, Output, Value

_ADDABLE = ("resistor", "inductor", "capacitor", "immittance")  # in series: impedances that add


class Symbol(NamedTuple):
    """A coefficient: ``value`` times s to the power of ``growth`` (0 or 1), or the one at ``place`` of those that a part gives."""

    growth: int | Series | Windings
    value: Value = 0.0
    place: int = 0


@dataclass(frozen=True, eq=False)
class Tableau:
    """The equations of one circuit.

    Attributes: ``netlist``; ``pattern`` (which symbol is where); ``nodes`` (names, reference left out: the first
    unknowns); ``symbols``; ``currents`` (unknown and sign by element and winding); ``designs``.
    """

    netlist: Netlist
    pattern: Pattern
    nodes: tuple[str, ...]
    symbols: tuple[Symbol, ...]
    currents: dict[tuple[str, int], tuple[int, int]]
    designs: int | None

    @property
    def divisible(self) -> bool:
        """Whether it stands for many designs of which some can be taken: no callable holds an array of them."""
        growths = [symbol.growth for symbol in self.symbols if not isinstance(symbol.growth, int)]
        return self.designs is not None and all(e.designs is None for growth in growths for e in growth.callables)

    def part(self, chosen: slice) -> Tableau:
        """The same equations for some of the designs."""
        cut = {s.growth: s.growth.part(chosen) for s in self.symbols if isinstance(s.growth, Series)}
        symbols = tuple(
            Symbol(cut[s.growth] if isinstance(s.growth, Series) else s.growth, part_of(s.value, chosen), s.place)
            for s in self.symbols
        )
        return replace(self, symbols=symbols, designs=len(range(self.designs or 0)[chosen]))

    def values(self, frequencies: np.ndarray, s: np.ndarray) -> list[Value]:
        """The value of every symbol: a number, or an array (f,), (designs, 1) or (designs, f)."""
        known: dict[Series | Windings, list[Value]] = {}
        values: list[Value] = []
        for growth, value, place in self.symbols:
            if isinstance(growth, int):
                values.append(value * s if growth else value)
            else:
                if growth not in known:
                    known[growth] = growth.values(frequencies, s, self.designs)
                values.append(known[growth][place])
        return values

    # ---- what it answers ------------------------------------------------------------------------------------------

    def of_design(self, design: int) -> tuple[list[float], list[bool]]:
        """The symbols' values of one design, without s, and which of them grow with it."""
        values = [s.value[design, 0] if isinstance(s.value, np.ndarray) else s.value for s in self.symbols]
        return list(map(float, values)), [bool(s.growth) for s in self.symbols]

    def node(self, name: str) -> int | None:
        """Row and column of a node; None for the reference.

        Raises
        ------
        CircuitError
            Where the circuit has no such node.
        """
        if not isinstance(name, str) or name not in self.netlist.nodes:
            raise CircuitError(f'unknown node "{name}": {did_you_mean(str(name), self.netlist.nodes)}')
        return self.nodes.index(name) if name in self.nodes else None

    def source(self, name: str) -> Sum:
        """The right-hand side of one unit of a source.

        Raises
        ------
        CircuitError
            Where no source has that name.
        """
        element = self.netlist.find(name, "source")
        if not element.kind.endswith("_source"):
            hint = did_you_mean(name, self.netlist.sources)
            raise CircuitError(f'unknown source "{name}": it is a {element.kind}; {hint}')
        return ((self.currents[name, 1][0], 1.0 if element.kind == "voltage_source" else -1.0),)

    def output(self, output: Output) -> Sum:
        """The unknowns that make up an output, with their signs.

        Raises
        ------
        CircuitError
            For an unknown node or element, a current that does not exist, or what is no output at all.
        """
        if isinstance(output, Current):
            return (self._current(output),)
        pair = output if isinstance(output, tuple) else (output, REFERENCE)
        if len(pair) != 2:
            raise CircuitError(f"an output is a node, a pair of nodes or a Current, not {output!r}")
        ends = [(self.node(node), sign) for node, sign in zip(pair, (1.0, -1.0), strict=True)]
        if pair[0] == pair[1]:
            return ()
        return tuple((at, sign) for at, sign in ends if at is not None)

    def _current(self, output: Current) -> tuple[int, float]:
        element = self.netlist.find(output.name)
        if output.winding == 2 and f"{output.name}/2" in self.netlist.by_name:
            return self.currents[f"{output.name}/2", 1]
        if element.kind == "couple" or output.winding not in ((1, 2) if element.kind == "coupled" else (1,)):
            raise CircuitError(f"{output.name}: a {element.kind} has no current of winding {output.winding}")
        return self.currents[output.name, output.winding]


def build(netlist: Netlist, reference: str = REFERENCE, keep: Iterable[str] | None = None) -> Tableau:
    """Write the equations of a circuit that `filterlib.network.checks.check` has passed.

    Elements in series become one branch where nobody asks for the node between them: ``keep`` names the nodes that
    stay, by default all.

    Raises
    ------
    CircuitError
        For couplings that cannot all be true at once, or arrays of different lengths.
    """
    alone = [e for e in netlist.elements if e.kind in _ADDABLE and e.name not in netlist.coupled]
    others = [e for e in netlist.branches if e.kind not in _ADDABLE or e.name in netlist.coupled]
    kept = {node for e in others for node in e.nodes} | {reference, *(netlist.nodes if keep is None else keep)}
    chains = chains_of(alone, kept)
    gone = {n for chain in chains for e, _ in chain.parts for n in e.nodes if n not in (chain.a, chain.b)}
    nodes = tuple(node for node in netlist.nodes if node != reference and node not in gone)
    COUNTS.equations += 1
    return _Writer(netlist, nodes).finish(chains, others)


class _Writer:
    """Collects branches, terms and symbols, element by element."""

    def __init__(self, netlist: Netlist, nodes: tuple[str, ...]) -> None:
        self.netlist, self.nodes = netlist, nodes
        self.index = {node: i for i, node in enumerate(nodes)}
        self.branches: list[Branch] = []
        self.terms: list[Term] = []
        self.symbols = [Symbol(0, 1.0)]
        self.currents: dict[tuple[str, int], tuple[int, int]] = {}

    def finish(self, chains: list[Chain], others: list[Element]) -> Tableau:
        for chain in chains:
            if len(chain.parts) > 1:
                self._chain(chain)
        for element in [chain.parts[0][0] for chain in chains if len(chain.parts) == 1] + others:
            getattr(self, f"_{element.kind}")(element)
        for group in coupled_inductors(self.netlist):
            self._write_group(group)
        pattern = Pattern(len(self.nodes), tuple(self.branches), tuple(self.terms))
        symbols = tuple(self.symbols)
        return Tableau(self.netlist, pattern, self.nodes, symbols, self.currents, self.netlist.designs)

    def _symbol(self, growth: int | Series | Windings, value: Value = 0.0, place: int = 0) -> int:
        self.symbols.append(Symbol(growth, value, place))
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
        self._z(element, self._symbol(0, element.number))

    def _inductor(self, element: Element) -> None:
        if element.name in self.netlist.coupled:
            self._branch(element.name, element.nodes, "z", ONE)  # its row is written with its group
        else:
            self._z(element, self._symbol(1, element.number))

    def _capacitor(self, element: Element) -> None:
        self._y(element, self._symbol(1, element.number))

    def _conductance(self, element: Element) -> None:
        self._y(element, self._symbol(0, element.number))

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
        before, symbol = self._symbol(series, place=0), self._symbol(series, place=1)
        row = self._branch(" + ".join(e.name for e, _ in chain.parts), (chain.a, chain.b), "z", symbol, before)
        self.currents |= {(element.name, 1): (row, sign) for element, sign in chain.parts}
        self._voltage(row, row - len(self.nodes), 1, before)
        self.terms.append(Term(row, row, -1, symbol))

    def _coupled(self, element: Element) -> None:
        windings = Windings(element)
        p1, p2, z11, z12, z21, z22, rest = (self._symbol(windings, place=i) for i in range(7))
        first = self._branch(element.name, element.nodes[:2], "z", z11, p1)
        second = self._branch(element.name, element.nodes[2:], "z", rest, p2, winding=2)
        self._voltage(first, first - len(self.nodes), 1, p1)
        self._voltage(second, second - len(self.nodes), 1, p2)
        matrix = (first, first, z11), (first, second, z12), (second, first, z21), (second, second, z22)
        self.terms += [Term(row, column, -1, symbol) for row, column, symbol in matrix]

    def _write_group(self, group: list[str]) -> None:
        """Rows of inductors that are coupled, each winding's with its own voltage and current on the diagonal."""
        offset = len(self.nodes)
        rows = [self.currents[name, 1][0] - offset for name in group]
        for branch, law in zip(rows, laws(self.netlist, group), strict=True):
            row = offset + branch
            for j, ratio in law.voltages.items():
                self._voltage(row, rows[j], 1, self._symbol(0, ratio))
            self._voltage(row, branch, 1, ONE)
            for j, henries in law.henries.items():
                symbol = self._symbol(1, henries)
                self.terms.append(Term(row, offset + rows[j], -1, symbol))
                if rows[j] == branch:
                    self.branches[branch] = replace(self.branches[branch], symbol=symbol)
