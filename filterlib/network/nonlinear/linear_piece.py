"""One straight piece of a circuit: its linear state equations, and the state moved on by any time, exactly.

The state is what is conserved: charges and flux linkages, each over the root of its size, so that the energy is half its
square. Behind them in w = (x, u, u', 1) stand the sources and their slopes, which makes the system x' = W w
autonomous: w(t + h) = w + D(h) w with D = exp(W h) - 1. Doubling D(2h) = 2 D + D^2 keeps its digits where h is short,
which exp(W h) would lose (scaling and squaring, from memory: N. Higham, Functions of Matrices, 2008, ch. 10).
"""

from __future__ import annotations

import math

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.netlist import REFERENCE, Current, Output
from filterlib.network.nonlinear.bend import Bend
from filterlib.network.nonlinear.circuit_in_pieces import Branch, PiecewiseCircuit

__all__ = ["Layout", "LinearPiece", "span_of"]
LEAST = 0.1  # [V] or [A]: what counts as much where a curve has no corner but zero
TIGHT, ORDER = 0.05, 10  # W h below which a series of so many terms is good to rounding


class Layout:
    """What stays the same in every piece of a circuit: which unknown is where.

    Raises
    ------
    CircuitError
        For a circuit without capacitor and inductor, or for coupled inductors without energy.
    """

    def __init__(self, circuit: PiecewiseCircuit) -> None:
        self.circuit, self.nodes = circuit, {node: k for k, node in enumerate(circuit.nodes)}
        self.capacitors, self.inductors = circuit.of("capacitor"), circuit.of("inductor")
        self.stores = self.capacitors + self.inductors
        self.sources = circuit.of("voltage_source", "current_source")
        self.bends = circuit.of("bend")
        self.held = self.capacitors + circuit.of("voltage_source")  # branches whose voltage is known
        if not self.stores:
            raise CircuitError("a circuit without capacitor and inductor has no course in time")
        self.size = len(self.stores) + 2 * len(self.sources) + 1
        self.root = np.array([math.sqrt(_small_signal(branch)) for branch in self.stores])
        self.inverse_inductance = self._inverse_inductance()

    def _inverse_inductance(self) -> np.ndarray:
        place = {branch.name: k for k, branch in enumerate(self.inductors)}
        matrix = np.diag([1.0 if branch.curves else branch.value for branch in self.inductors])
        for (first, second), k in self.circuit.coupled.items():
            a, b = place[first], place[second]
            matrix[a, b] = matrix[b, a] = k * math.sqrt(matrix[a, a] * matrix[b, b])
        if len(matrix) and np.linalg.eigvalsh(matrix / np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))).min() <= 0:
            raise CircuitError("the couplings of the inductors contradict each other: some flux would have no energy")
        return np.linalg.inv(matrix) if len(matrix) else matrix

    def incidence(self, branch: Branch) -> np.ndarray:
        """+1 at the first node of a branch, -1 at its second."""
        row = np.zeros(len(self.nodes))
        for node, sign in ((branch.a, 1.0), (branch.b, -1.0)):
            if node != REFERENCE:
                row[self.nodes[node]] = sign
        return row


class LinearPiece:
    """The equations where every bent branch is on one of its straight lines.

    Attributes: ``matrix`` W (size, size); ``rows`` of all unknowns: node voltages, then currents of `Layout.held`.

    Raises
    ------
    CircuitError
        For a circuit that has no answer: a loop of capacitors and voltage sources, or a node that only inductors and
        current sources reach.
    """

    def __init__(self, layout: Layout, pieces: tuple[int, ...], curves: tuple[str, ...]) -> None:
        self.layout, self.pieces, self.curves = layout, pieces, curves
        self.bent = [b for b in layout.stores if b.curves] + layout.bends
        self.curve = {b.name: self._curve(b) for b in self.bent}
        self.line = {b.name: self.curve[b.name].line(piece) for b, piece in zip(self.bent, pieces, strict=True)}
        self.state = self._state_rows()
        self.rows = self._solve()
        self.matrix = self._matrix()
        self.norm = float(abs(self.matrix).sum(axis=1).max())
        self._moves: dict[float, np.ndarray] = {}
        self._rows: dict[Output, np.ndarray] = {}
        self.margins, self.room = self._margins()
        a = self.matrix[: len(layout.stores), : len(layout.stores)]
        modes, vectors = np.linalg.eig(a)
        self.rates = abs(modes)
        bending = np.linalg.pinv(vectors) @ self.matrix[: len(layout.stores)] @ self.matrix
        sizes = abs(vectors).max(axis=0) / np.where(self.rates > 0, self.rates, np.inf) ** 2
        self.turns = sizes[:, None] * bending

    def _curve(self, branch: Branch) -> Bend:
        return branch.curves[self.curves[self.layout.bends.index(branch)] if branch.kind == "bend" else ""]

    def _state_rows(self) -> np.ndarray:
        """Voltages of the capacitors and currents of the inductors, as rows over w."""
        layout, count = self.layout, len(self.layout.capacitors)
        rows = np.zeros((len(layout.stores), layout.size))
        for k, branch in enumerate(layout.stores):
            slope, offset = self.line.get(branch.name, (0.0, 0.0))
            if k < count and branch.name not in self.line:
                slope = 1 / branch.value
            rows[k, k], rows[k, -1] = slope * layout.root[k], offset
        linear = [k for k, b in enumerate(layout.inductors) if b.name not in self.line]
        for k in linear:
            rows[count + k, [count + j for j in linear]] = (
                layout.inverse_inductance[k, linear] * layout.root[[count + j for j in linear]]
            )
        return rows

    def _source_row(self, branch: Branch) -> np.ndarray:
        row = np.zeros(self.layout.size)
        row[len(self.layout.stores) + self.layout.sources.index(branch)] = 1.0
        return row

    def _straight(self, branch: Branch) -> tuple[float, float]:
        """Slope [S] and offset [A] of a resistor, or of a bend on its present piece."""
        return self.line[branch.name] if branch.kind == "bend" else (1 / branch.value, 0.0)

    def _solve(self) -> np.ndarray:
        layout, nodes = self.layout, len(self.layout.nodes)
        size = nodes + len(layout.held)
        left, right = np.zeros((size, size)), np.zeros((size, layout.size))
        for branch in layout.circuit.branches.values():
            ends = layout.incidence(branch)
            if branch.kind in ("resistor", "bend"):
                slope, offset = self._straight(branch)
                left[:nodes, :nodes] += slope * np.outer(ends, ends)
                right[:nodes, -1] -= offset * ends
            elif branch.kind == "inductor":
                right[:nodes] -= np.outer(ends, self.state[layout.stores.index(branch)])
            elif branch.kind == "current_source":
                right[:nodes] += np.outer(ends, self._source_row(branch))
            else:
                k = nodes + layout.held.index(branch)
                left[:nodes, k] += ends
                left[k, :nodes] = ends
                known = branch.kind == "capacitor"
                right[k] = self.state[layout.stores.index(branch)] if known else self._source_row(branch)
        scale = 1 / np.maximum(np.sqrt(abs(np.diag(left[:nodes, :nodes]))), 1e-9)
        scale = np.concatenate([scale, 1 / np.maximum((abs(left[nodes:, :nodes]) * scale).max(axis=1), 1e-300)])
        try:
            answer = np.linalg.solve(left * np.outer(scale, scale), right * scale[:, None]) * scale[:, None]
        except np.linalg.LinAlgError:
            answer = np.full(right.shape, np.nan)
        if not np.isfinite(answer).all() or abs(left @ answer - right).max() > 1e-6 * abs(right).max():
            raise CircuitError(
                "no answer: capacitors and voltage sources alone form a loop, or inductors and current sources alone "
                "reach a node; a resistance of the real part in series, or across, gives one"
            )
        return answer

    def _matrix(self) -> np.ndarray:
        layout, count, nodes = self.layout, len(self.layout.capacitors), len(self.layout.nodes)
        matrix, sources = np.zeros((layout.size, layout.size)), len(layout.sources)
        for k, branch in enumerate(layout.stores):
            flow = self.rows[nodes + k] if k < count else layout.incidence(branch) @ self.rows[:nodes]
            matrix[k] = flow / layout.root[k]
        first = len(layout.stores)
        matrix[first : first + sources, first + sources : first + 2 * sources] = np.eye(sources)
        return matrix

    def _margins(self) -> tuple[np.ndarray, list[tuple[Branch, int]]]:
        """How far each bent branch is inside its line (rows over w, in parts of its span), and where it goes beyond."""
        rows, room = [], []
        for branch, piece in zip(self.bent, self.pieces, strict=True):
            curve = self.curve[branch.name]
            span = span_of(branch, curve)
            value = self.argument(branch)
            for limit, sign, step in zip(curve.limits(piece), (1.0, -1.0), (-1, 1), strict=True):
                if math.isfinite(limit):
                    row = sign * value / span
                    row[-1] -= sign * limit / span
                    rows.append(row)
                    room.append((branch, step))
        return np.array(rows).reshape(-1, self.layout.size), room

    def argument(self, branch: Branch) -> np.ndarray:
        """What a bent branch is a function of, as a row over w: its charge, its flux linkage or its voltage."""
        if branch.kind == "bend":
            return np.array(self.layout.incidence(branch) @ self.rows[: len(self.layout.nodes)])
        row = np.zeros(self.layout.size)
        k = self.layout.stores.index(branch)
        row[k] = self.layout.root[k]
        return row

    def output(self, output: Output) -> np.ndarray:
        """A node's voltage, the voltage of a pair of nodes or the current of a branch, as a row over w.

        Raises
        ------
        CircuitError
            For a name that the circuit does not have.
        """
        if output not in self._rows:
            self._rows[output] = self._row(output)
            self._rows[output].flags.writeable = False
        return self._rows[output]

    def _row(self, output: Output) -> np.ndarray:
        layout = self.layout
        if isinstance(output, Current):
            if output.name not in layout.circuit.branches:
                raise CircuitError(f"no element is named {output.name!r}; there are {', '.join(layout.circuit.names)}")
            return self._current(layout.circuit.branches[output.name])
        row = np.zeros(layout.size)
        for node, sign in zip((output,) if isinstance(output, str) else output, (1.0, -1.0), strict=False):
            node = layout.circuit.joined.get(node, node)
            if node != REFERENCE:
                if node not in layout.nodes:
                    raise CircuitError(f"no node is named {node!r}; there are {', '.join(layout.nodes)}")
                row += sign * self.rows[layout.nodes[node]]
        return row

    def _current(self, branch: Branch) -> np.ndarray:
        layout = self.layout
        if branch in layout.held:
            return np.array(self.rows[len(layout.nodes) + layout.held.index(branch)])
        if branch.kind == "inductor":
            return np.array(self.state[layout.stores.index(branch)])
        if branch.kind == "current_source":
            return -self._source_row(branch)
        slope, offset = self._straight(branch)
        row = np.array(slope * (layout.incidence(branch) @ self.rows[: len(layout.nodes)]))
        row[-1] += offset
        return row

    def move(self, h: float) -> np.ndarray:
        """D(h): w(t + h) = w(t) + D w(t)."""
        if h not in self._moves:
            times = 0 if self.tight(h) else math.ceil(math.log2(self.norm * h / TIGHT))
            small = self.matrix * (h / 2**times)
            d = term = small
            for order in range(2, ORDER):
                term = term @ small / order
                d = d + term
            self._moves[h / 2**times] = d
            for left in reversed(range(times)):
                d = 2 * d + d @ d
                self._moves[h / 2**left] = d  # halvings of a step are asked for next, where an event is located
        return self._moves[h]

    def series(self, w: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Rows over w as polynomials of time (rows, ORDER): good while W h is below `TIGHT`."""
        terms = [w]
        for order in range(1, ORDER):
            terms.append(self.matrix @ terms[-1] / order)
        return np.array(rows @ np.array(terms).T)

    def tight(self, h: float) -> bool:
        """Whether a time is so short that `series` is good."""
        return self.norm * h <= TIGHT

    def pace(self, w: np.ndarray, smallest: float) -> float:
        """The longest step that misses no turn [s]: half a time constant of every mode that is still awake.

        A mode is awake while what it adds beyond following the sources is above ``smallest`` of the largest charge or
        flux: its part of the second derivative over its rate squared, for the sources are straight lines.
        """
        largest = max(abs(w[: len(self.layout.stores)]).max(), 1e-30)
        awake = self.rates[abs(self.turns @ w) > smallest * largest]
        return float(0.5 / awake.max()) if len(awake) else math.inf


def span_of(branch: Branch, curve: Bend) -> float:
    """The scale of a curve's corners: the largest; where the only one is at zero, that of `LEAST` volts or amperes."""
    return max(map(abs, curve.x)) or LEAST * (1.0 if branch.kind == "bend" else _small_signal(branch))


def _small_signal(branch: Branch) -> float:
    if branch.curves:
        curve = branch.curves[""]
        return 1 / curve.line(curve.piece(0.0))[0]
    return branch.value
