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

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.circuit import REFERENCE, Circuit, Element

ONE = 0  # the symbol whose value is 1


class Branch(NamedTuple):
    """One current: of which element, between which unknowns (-1: the reference), and what orders it in the tree.

    ``form``: "z" (v = symbol * i), "y" (i = symbol * v), "v" and "j" (sources). ``other``: the symbol that stands
    before v in an immittance (1, or 0 where it is open).
    """

    name: str
    kind: str
    a: int
    b: int
    form: str
    symbol: int
    other: int = ONE


class Term(NamedTuple):
    """``sign`` times the value of ``symbol`` at (row, column); several terms there add."""

    row: int
    column: int
    sign: int
    symbol: int


@dataclass(frozen=True, eq=False)
class Tableau:
    """The equations of one circuit.

    Attributes: ``nodes`` (names, reference left out: the first unknowns); ``branches`` (the currents, the other
    unknowns, in order); ``terms``; ``symbols`` (per symbol a pair: how it grows with s, 0 or 1, and its value; or the
    element whose callable gives it); ``designs``.
    """

    nodes: tuple[str, ...]
    branches: tuple[Branch, ...]
    terms: tuple[Term, ...]
    symbols: tuple[Any, ...]
    designs: int | None

    @property
    def size(self) -> int:
        return len(self.nodes) + len(self.branches)

    def row(self, name: str, winding: int = 1) -> int:
        """Row and column of the current of an element."""
        found = [i for i, branch in enumerate(self.branches) if branch.name == name]
        return len(self.nodes) + found[winding - 1]

    def node(self, name: str) -> int | None:
        """Row and column of a node; None for the reference."""
        return self.nodes.index(name) if name in self.nodes else None

    def values(self, frequencies: np.ndarray, s: np.ndarray) -> list[Any]:
        """The value of every symbol: a number, or an array (f,), (designs, 1) or (designs, f)."""
        known: dict[str, list[Any]] = {}
        values: list[Any] = []
        for growth, value in self.symbols:
            if isinstance(growth, Element):
                if growth.name not in known:
                    known[growth.name] = _immittance(growth, frequencies, self.designs)
                values.append(known[growth.name][value])
            else:
                values.append(value * s if growth else value)
        return values

    def tree(self, weights: np.ndarray) -> tuple[int, ...]:
        """The column in which each row has its pivot, for impedances ``weights`` of the branches [ohm]."""
        count = len(self.nodes)
        pivots = [-1] * count + list(range(count, self.size))
        beside: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]
        group = list(range(count + 1))
        for index in np.argsort(weights, kind="stable"):
            a, b = self.branches[index].a, self.branches[index].b
            if _join(group, a, b):
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

    def weights(self, values: list[Any]) -> np.ndarray:
        """Impedances of the branches [ohm] where every symbol is one number: what orders the tree."""
        weights = np.empty(len(self.branches))
        for index, branch in enumerate(self.branches):
            size, other = abs(values[branch.symbol]), abs(values[branch.other])
            if branch.form in "vj":
                weights[index] = -1.0 if branch.form == "v" else np.inf
            elif branch.form == "z":
                weights[index] = size / other if other else 1e300
            else:
                weights[index] = 1 / size if size > 1e-300 else 1e300
        return weights


def build(circuit: Circuit, reference: str = REFERENCE) -> Tableau:
    """Write the equations of a circuit that `filterlib.network.circuit.check` has passed."""
    nodes = tuple(node for node in circuit.nodes if node != reference)
    return _Writer(circuit, nodes).finish()


class _Writer:
    """Collects branches, terms and symbols, element by element."""

    def __init__(self, circuit: Circuit, nodes: tuple[str, ...]) -> None:
        self.circuit, self.nodes = circuit, nodes
        self.index = {node: i for i, node in enumerate(nodes)}
        self.branches: list[Branch] = []
        self.terms: list[Term] = []
        self.symbols: list[Any] = [(0, 1.0)]

    def finish(self) -> Tableau:
        elements = [e for e in self.circuit.elements if e.kind != "couple"]
        for element in elements:
            getattr(self, f"_{element.kind}")(element)
        for group in _coupled_inductors(self.circuit):
            self._write_group(group)
        parts = tuple(self.branches), tuple(self.terms), tuple(self.symbols)
        return Tableau(self.nodes, *parts, self.circuit.designs)

    def _symbol(self, growth: Any, value: Any) -> int:
        self.symbols.append((growth, value))
        return len(self.symbols) - 1

    def _branch(self, element: Element, form: str, symbol: int, other: int = ONE, start: int = 0) -> int:
        """Add a current, with its two terms in the nodes' rows; the row of its element."""
        a, b = (self.index.get(node, -1) for node in element.nodes[start : start + 2])
        row = len(self.nodes) + len(self.branches)
        self.branches.append(Branch(element.name, element.kind, a, b, form, symbol, other))
        self.terms += [Term(node, row, sign, ONE) for node, sign in ((a, 1), (b, -1)) if node >= 0]
        return row

    def _voltage(self, row: int, branch: Branch, sign: int, symbol: int) -> None:
        """Add the voltage across a branch, times a symbol, to a row."""
        self.terms += [Term(row, node, s * sign, symbol) for node, s in ((branch.a, 1), (branch.b, -1)) if node >= 0]

    def _z(self, element: Element, symbol: int) -> None:
        row = self._branch(element, "z", symbol)
        self._voltage(row, self.branches[-1], 1, ONE)
        self.terms.append(Term(row, row, -1, symbol))

    def _y(self, element: Element, symbol: int) -> None:
        row = self._branch(element, "y", symbol)
        self._voltage(row, self.branches[-1], -1, symbol)
        self.terms.append(Term(row, row, 1, ONE))

    def _resistor(self, element: Element) -> None:
        self._z(element, self._symbol(0, element.value))

    def _inductor(self, element: Element) -> None:
        coupled = {name for e in self.circuit.elements if e.kind == "couple" for name in e.nodes}
        if element.name in coupled:
            self._branch(element, "z", ONE)  # its row is written with its group
        else:
            self._z(element, self._symbol(1, element.value))

    def _capacitor(self, element: Element) -> None:
        self._y(element, self._symbol(1, element.value))

    def _conductance(self, element: Element) -> None:
        self._y(element, self._symbol(0, element.value))

    def _voltage_source(self, element: Element) -> None:
        row = self._branch(element, "v", ONE)
        self._voltage(row, self.branches[-1], 1, ONE)

    def _current_source(self, element: Element) -> None:
        row = self._branch(element, "j", ONE)
        self.terms.append(Term(row, row, 1, ONE))

    def _immittance(self, element: Element) -> None:
        before, symbol = self._symbol(element, 0), self._symbol(element, 1)
        row = self._branch(element, "z", symbol, before)
        self._voltage(row, self.branches[-1], 1, before)
        self.terms.append(Term(row, row, -1, symbol))

    def _coupled(self, element: Element) -> None:
        p1, p2, z11, z12, z21, z22, rest = (self._symbol(element, i) for i in range(7))
        first = self._branch(element, "z", z11, p1)
        second = self._branch(element, "z", rest, p2, start=2)
        self._voltage(first, self.branches[-2], 1, p1)
        self._voltage(second, self.branches[-1], 1, p2)
        matrix = (first, first, z11), (first, second, z12), (second, first, z21), (second, second, z22)
        self.terms += [Term(row, column, -1, symbol) for row, column, symbol in matrix]

    def _write_group(self, group: list[str]) -> None:
        """Rows of inductors that are coupled: (1/U) v = s D U^T i of L = U D U^T, so that k = 1 leaves an exact 0."""
        rows = [next(i for i, b in enumerate(self.branches) if b.name == name) for name in group]
        lower, inverse, diagonal = _factor(self.circuit, group)
        offset = len(self.nodes)
        for k, branch in enumerate(rows):
            row = offset + branch
            for j in range(k):
                self._voltage(row, self.branches[rows[j]], 1, self._symbol(0, inverse[k][j]))
            self._voltage(row, self.branches[branch], 1, ONE)
            for j in range(k, len(rows)):
                symbol = self._symbol(1, diagonal[k] if j == k else diagonal[k] * lower[j][k])
                self.terms.append(Term(row, offset + rows[j], -1, symbol))
                if j == k:
                    self.branches[branch] = self.branches[branch]._replace(symbol=symbol)


def _coupled_inductors(circuit: Circuit) -> list[list[str]]:
    """Names of the inductors that couple, group by group."""
    groups: list[set[str]] = []
    for element in circuit.elements:
        if element.kind == "couple":
            touched = [g for g in groups if g & set(element.nodes)]
            groups = [g for g in groups if not g & set(element.nodes)] + [set(element.nodes).union(*touched)]
    return [[e.name for e in circuit.elements if e.name in group] for group in groups]


def _factor(circuit: Circuit, group: list[str]) -> tuple[list[list[Any]], list[list[Any]], list[Any]]:
    """L = U D U^T of coupled inductances, and the inverse of U, from the coupling ratios: nothing cancels but 1 - k^2."""
    found = {e.name: e for e in circuit.elements}
    size = len(group)
    k: dict[frozenset[str], Any] = {frozenset(e.nodes): e.value for e in circuit.elements if e.kind == "couple"}
    henries = [found[name].value for name in group]
    unit: list[list[Any]] = [[0.0] * size for _ in range(size)]  # of the matrix of ratios
    rest: list[Any] = [1.0] * size
    for i in range(size):
        for j in range(i):
            ratio = k.get(frozenset((group[i], group[j])), 0.0)
            residue = ratio - sum(unit[i][m] * rest[m] * unit[j][m] for m in range(j))
            unit[i][j] = _share(group, i, residue, rest[j])
        if i == 1:
            rest[i] = (1 - unit[i][0]) * (1 + unit[i][0])
        else:
            rest[i] = 1 - sum(unit[i][m] ** 2 * rest[m] for m in range(i))
        if np.any(np.asarray(rest[i]) < -1e-12):
            raise CircuitError(f"{group[i]}: its couplings cannot all be true at once (no inductances are coupled so)")
        rest[i] = _plain(np.where(np.asarray(rest[i]) < 1e-14, 0.0, rest[i]))
    turns = [[_turns(henries[i], henries[j]) for j in range(size)] for i in range(size)]
    inverse = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i):
            inverse[i][j] = -unit[i][j] - sum(unit[i][m] * inverse[m][j] for m in range(j + 1, i))
    scaled = [[unit[i][j] * turns[i][j] for j in range(size)] for i in range(size)]
    back = [[inverse[i][j] * turns[i][j] for j in range(size)] for i in range(size)]
    return scaled, back, [rest[i] * henries[i] for i in range(size)]


def _share(group: list[str], i: int, residue: Any, rest: Any) -> Any:
    """residue / rest, where a winding without leakage of its own (rest 0) has nothing left to share."""
    residue, rest = np.broadcast_arrays(residue, rest)
    if np.any((rest == 0) & (abs(residue) > 1e-12)):
        raise CircuitError(f"{group[i]}: its couplings cannot all be true at once (no inductances are coupled so)")
    return _plain(np.where(rest == 0, 0.0, residue / np.where(rest == 0, 1.0, rest)))


def _turns(first: Any, second: Any) -> Any:
    """The ratio of turns, and 0 where an inductance of zero couples nothing."""
    first, second = np.broadcast_arrays(first, second)
    none = (first == 0) | (second == 0)
    return _plain(np.where(none, 0.0, np.sqrt(first / np.where(none, 1.0, second))))


def _plain(value: np.ndarray) -> Any:
    return float(value) if value.ndim == 0 else value


def _immittance(element: Element, frequencies: np.ndarray, designs: int | None) -> list[Any]:
    """p and q of p v = q i; of a coupled pair p1, p2, the four impedances, and winding 2 with 1 shorted."""
    tail = (2, 2) if element.kind == "coupled" else ()
    z = np.asarray(element.value(frequencies), dtype=complex)
    allowed = [(*frequencies.shape, *tail)] + ([(designs, *frequencies.shape, *tail)] if designs else [])
    if z.shape not in allowed:
        raise CircuitError(
            f"{element.name}: its impedance has the shape {z.shape}, not {' or '.join(map(str, allowed))}"
        )
    if np.isnan(z).any():
        at = frequencies[np.argwhere(np.isnan(z))[0][z.ndim - len(tail) - 1]]
        raise CircuitError(f"{element.name}: its impedance at {at:g} Hz is not a number")
    if element.kind == "immittance":
        return list(_open(z))
    (p1, z11), (p2, z22) = _open(z[..., 0, 0]), _open(z[..., 1, 1])
    z12, z21 = (np.where(np.isfinite(m) & (p1 * p2 == 1), m, 0) for m in (z[..., 0, 1], z[..., 1, 0]))
    safe = np.where(z11 == 0, 1, z11)
    return [p1, p2, z11, z12, z21, z22, z22 - z12 * z21 / safe]


def _open(z: np.ndarray) -> tuple[Any, np.ndarray]:
    infinite = np.isinf(z)
    return (np.where(infinite, 0.0, 1.0), np.where(infinite, 1.0, z)) if infinite.any() else (1.0, z)


def _join(group: list[int], a: int, b: int) -> bool:
    roots = []
    for node in (a, b):
        while group[node] != node:
            group[node] = node = group[group[node]]
        roots.append(node)
    group[roots[0]] = roots[1]
    return roots[0] != roots[1]
