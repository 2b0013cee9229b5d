"""The equations of a circuit, G + sC: those of its structure, with its values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from filterlib.errors import CircuitError, did_you_mean
from filterlib.network.equations.inductors import Law, coupled_inductors, laws, shapes
from filterlib.network.equations.layout import Coupling, InSeries, Layout, Number, Origin, layout_of
from filterlib.network.equations.pattern import Pattern, Sum
from filterlib.network.equations.series import Series, Windings, part_of
from filterlib.network.netlist import REFERENCE, Current, Netlist, Output, Value


class Symbol(NamedTuple):
    """A coefficient: ``value`` times s to the power of ``growth`` (0 or 1), or the one at ``place`` of those that a part gives."""

    growth: int | Series | Windings
    value: Value = 0.0
    place: int = 0


@dataclass(frozen=True, eq=False)
class Tableau:
    """The equations of one circuit.

    Attributes: ``netlist``; ``layout`` (the equations of its structure); ``symbols``; ``designs``.
    """

    netlist: Netlist
    layout: Layout
    symbols: tuple[Symbol, ...]
    designs: int | None

    @property
    def pattern(self) -> Pattern:
        """Which symbol is where."""
        return self.layout.pattern

    @property
    def nodes(self) -> tuple[str, ...]:
        """Names of the nodes, reference left out: the first unknowns."""
        return self.layout.nodes

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
        return ((self.layout.currents[name, 1][0], 1.0 if element.kind == "voltage_source" else -1.0),)

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
            return self.layout.currents[f"{output.name}/2", 1]
        if element.kind == "couple" or output.winding not in ((1, 2) if element.kind == "coupled" else (1,)):
            raise CircuitError(f"{output.name}: a {element.kind} has no current of winding {output.winding}")
        return self.layout.currents[output.name, output.winding]


def build(netlist: Netlist, reference: str = REFERENCE, keep: Iterable[str] | None = None) -> Tableau:
    """The equations of a circuit that `filterlib.network.checks.check` has passed.

    Elements in series become one branch where nobody asks for the node between them: ``keep`` names the nodes that
    stay, by default all.

    Raises
    ------
    CircuitError
        For couplings that cannot all be true at once, or arrays of different lengths.
    """
    groups = coupled_inductors(netlist)
    coupled = [laws(netlist, group) for group in groups]
    asked = netlist.nodes if keep is None else keep
    layout = layout_of(netlist.structure, asked, reference, shapes(groups, coupled))
    return Tableau(netlist, layout, _symbols(netlist, layout.origins, coupled), netlist.designs)


def _symbols(netlist: Netlist, origins: Sequence[Origin], coupled: list[list[Law]]) -> tuple[Symbol, ...]:
    """The coefficients with their values."""
    chains: dict[tuple[str, ...], Series] = {}
    pairs: dict[str, Windings] = {}
    symbols = [Symbol(0, 1.0)]
    for origin in origins:
        if isinstance(origin, Number):
            symbols.append(Symbol(origin.growth, netlist.by_name[origin.name].number))
        elif isinstance(origin, Coupling):
            law = coupled[origin.group][origin.row]
            symbols.append(Symbol(origin.growth, (law.henries if origin.growth else law.voltages)[origin.column]))
        elif isinstance(origin, InSeries):
            if origin.names not in chains:
                chains[origin.names] = Series([netlist.by_name[name] for name in origin.names])
            symbols.append(Symbol(chains[origin.names], place=origin.place))
        else:
            if origin.name not in pairs:
                pairs[origin.name] = Windings(netlist.by_name[origin.name])
            symbols.append(Symbol(pairs[origin.name], place=origin.place))
    return tuple(symbols)
