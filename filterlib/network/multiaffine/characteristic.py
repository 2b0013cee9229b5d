"""The characteristic polynomial of a circuit as a multi-affine function of some of its elements.

Every R, L, C and conductance stands in one law of its own, w = x y (v = R i, v = s L i, i = G v, i = s C v). At a real shift
the rest of the circuit is a matrix H with y = H u, and the characteristic polynomial over its value at the shift is
det(1 - H diag(change of x)): affine in each x, and of degree one in s for each L and C. Divided by the capacitances it is
affine in 1/C, with the same roots.

Source: the principal minors of a multiport's matrix are those coefficients, e.g. L. O. Chua and P.-M. Lin, Computer-Aided Analysis
of Electronic Circuits (1975), ch. 14 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.equations.inductors import coupled_inductors
from filterlib.network.netlist import REFERENCE, Element, Netlist

MOST = 14  # uncertain elements: their corners are 2 to that power
ROUNDING = 1e-11  # share of the shift below which a root is at zero, and above the inverse of which it is none
_LAWS = {"resistor": "z", "inductor": "z", "conductance": "y", "capacitor": "y"}
_MOVING = ("inductor", "capacitor")


@dataclass(frozen=True, eq=False)
class Factors:
    """Characteristic polynomials gain x product(constant + slope s): ``gain`` (c,), ``constant`` and ``slope`` (c, n); real s is 1/s.

    Roots are -constant/slope; a slope of 0 is no root. Relative to the nominal polynomial at the shift.
    """

    gain: np.ndarray
    constant: np.ndarray
    slope: np.ndarray

    @property
    def roots(self) -> np.ndarray:
        """(c, n) [1/s]; what is no root is NaN."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.slope == 0, np.nan, -self.constant / self.slope)

    def at(self, s: complex) -> np.ndarray:
        """The polynomials' values (c,) at one s [1/s]."""
        return np.asarray(self.gain * np.prod(self.constant + self.slope * s, axis=1))

    def polynomials(self, scale: float) -> np.ndarray:
        """Coefficients (c, n + 1) of (s / scale)^0, ^1 ..."""
        found = self.gain[:, None].astype(complex)
        for constant, slope in zip(self.constant.T, self.slope.T, strict=True):
            longer = np.pad(found, ((0, 0), (0, 1)))
            found = longer * constant[:, None] + np.roll(longer, 1, axis=1) * slope[:, None] * scale
        return np.asarray(found.real)


@dataclass(frozen=True, eq=False)
class Characteristic:
    """A circuit's characteristic polynomial, ready for other values of some elements.

    ``names`` of the elements that may change and their ``nominal`` values (k,); ``shift`` [1/s]; ``matrix`` H, of the moving
    laws first (their values ``moving``), then of the still ones that may change; ``places`` (k,) of the names among them.
    """

    names: tuple[str, ...]
    nominal: np.ndarray
    shift: float
    matrix: np.ndarray
    moving: np.ndarray
    places: np.ndarray

    def factors(self, values: np.ndarray) -> Factors:
        """Polynomials where the elements have other values, (c, k) in ohm, H, F and S."""
        count, size = len(self.moving), len(self.matrix)
        new = np.repeat(self.moving[None], len(values), axis=0)
        change = np.zeros((len(values), size))
        for column, place in enumerate(self.places):
            if place < count:
                new[:, place] = values[:, column]
            else:
                change[:, place] = values[:, column] - self.nominal[column]
        change[:, :count] = self.shift * (new - self.moving)
        here = np.eye(size) - self.matrix * change[:, None, :]
        root = np.sqrt(new)  # energy on both sides, so that small parts count as much as large ones
        right = self.matrix[:, :count] * root[:, None, :]
        memory = np.linalg.solve(here, right)[:, :count] * root[:, :, None]
        turned = np.linalg.eigvals(memory).astype(complex)  # 1 / (s - shift)
        turned[np.abs(turned) * self.shift < ROUNDING] = 0
        constant = 1 + self.shift * turned
        constant[np.abs(constant) < ROUNDING] = 0
        return Factors(np.linalg.det(here), constant, -turned)

    def coefficients(self, scale: float) -> np.ndarray:
        """The multi-affine coefficients, (2,) * k + (n + 1,): of each product of elements (index 1: it is in it) and (s / scale)^m."""
        corners = np.array(list(product(*((0.0, value) for value in self.nominal))))
        found = self.factors(corners).polynomials(scale).reshape((2,) * len(self.names) + (-1,))
        for axis, value in enumerate(self.nominal):
            low, high = np.take(found, 0, axis), np.take(found, 1, axis)
            found = np.stack([low, (high - low) / value], axis)
        return found


def characteristic(netlist: Netlist, names: Sequence[str]) -> Characteristic:
    """The characteristic polynomial of a circuit of R, L, C, couplings and conductances as a function of the elements ``names``.

    Its shift is the geometric middle of the circuit's rates.

    Raises
    ------
    CircuitError
        For an element that is not there, is coupled, zero, or no R, L, C or conductance; for several designs at once; for more
        than `MOST` of them; and for a circuit that cannot be solved.

    >>> from filterlib import Circuit
    >>> tank = Circuit().inductor("L", "a", "0", 1e-3).capacitor("C", "a", "0", 1e-9).conductance("G", "a", "0", -1e-3)
    >>> found = characteristic(tank.netlist, ["L", "C", "G"]).coefficients(1.0)
    >>> [f"{found[at] / found[0, 0, 0, 0]:.3g}" for at in [(1, 0, 1, 1), (1, 1, 0, 2)]]  # 1 + s L G + s^2 L C
    ['1', '1']
    """
    chosen = _chosen(netlist, names)
    laws = _Laws(netlist, {element.name for element in chosen})
    values = np.array([value for *_, value in laws.moving])
    shift = laws.middle
    matrix = laws.reduced(shift)
    order = {name: place for place, (name, *_) in enumerate((*laws.moving, *laws.still))}
    places = np.array([order[element.name] for element in chosen], dtype=int)
    nominal = np.array([element.number for element in chosen], dtype=float)
    return Characteristic(tuple(names), nominal, shift, matrix, values, places)


def _chosen(netlist: Netlist, names: Sequence[str]) -> list[Element]:
    """The elements of these names, or what is wrong with one. Raises CircuitError."""
    if netlist.designs:
        raise CircuitError("the characteristic polynomial is of one circuit, and this one stands for many designs")
    if len(names) > MOST:
        raise CircuitError(f"{len(names)} elements are uncertain; at most {MOST} can be")
    found = [netlist.find(name) for name in names]
    for element in found:
        if element.kind not in _LAWS or element.name in netlist.coupled:
            raise CircuitError(f"{element.name}: only R, C, conductance and an uncoupled L can be uncertain")
        if element.number == 0:
            raise CircuitError(f"{element.name}: is 0, and no share of it can be taken")
    return found


class _Laws:
    """The laws of all elements: node voltages and element currents are the unknowns x; a . x = (s) value (w . x)."""

    def __init__(self, netlist: Netlist, chosen: set[str]) -> None:
        elements = [e for e in netlist.branches if e.kind != "current_source"]
        nodes = [node for node in netlist.nodes if node != REFERENCE]
        self.size, self.count = len(nodes) + len(elements), len(nodes)
        self.at = {node: place for place, node in enumerate(nodes)}
        self.current = {e.name: len(nodes) + place for place, e in enumerate(elements)}
        self.moving: list[tuple[str, np.ndarray, np.ndarray, float]] = []
        self.still: list[tuple[str, np.ndarray, np.ndarray, float]] = []
        self.fixed: list[np.ndarray] = []
        groups = coupled_inductors(netlist)
        for element in elements:
            if not any(element.name in group for group in groups):
                self._write(element, element.name in chosen)
        for group in groups:
            self._coupled(netlist, group)
        self.kirchhoff = np.zeros((self.count, self.size))
        for element in elements:
            for node, sign in zip(element.nodes, (1.0, -1.0), strict=True):
                if node != REFERENCE:
                    self.kirchhoff[self.at[node], self.current[element.name]] += sign

    def _across(self, element: Element) -> np.ndarray:
        row = np.zeros(self.size)
        for node, sign in zip(element.nodes, (1.0, -1.0), strict=True):
            if node != REFERENCE:
                row[self.at[node]] += sign
        return row

    def _through(self, element: Element) -> np.ndarray:
        row = np.zeros(self.size)
        row[self.current[element.name]] = 1.0
        return row

    def _write(self, element: Element, chosen: bool) -> None:
        across, through = self._across(element), self._through(element)
        if element.kind == "voltage_source":
            self.fixed.append(across)
            return
        if element.kind not in _LAWS:
            raise CircuitError(f"{element.name}: has no law of R, L or C; take its ladder")
        value = float(element.number)
        a, w = (across, through) if _LAWS[element.kind] == "z" else (through, across)
        if element.kind in _MOVING and value > 0:
            self.moving.append((element.name, a, w, value))
        elif chosen:
            self.still.append((element.name, a, w, value))
        else:
            self.fixed.append(a - value * w)

    def _coupled(self, netlist: Netlist, group: list[str]) -> None:
        """Coupled inductors as their principal fluxes, which are not coupled."""
        found = [netlist.find(name) for name in group]
        henries = np.diag([float(one.number) for one in found])
        for pair in (e for e in netlist.couples if e.nodes[0] in group):
            i, j = (group.index(name) for name in pair.nodes)
            henries[i, j] = henries[j, i] = float(pair.number) * np.sqrt(henries[i, i] * henries[j, j])
        values, turns = np.linalg.eigh(henries)
        for place, (value, turn) in enumerate(zip(values, turns.T, strict=True)):
            a = np.sum([t * self._across(e) for t, e in zip(turn, found, strict=True)], axis=0)
            w = np.sum([t * self._through(e) for t, e in zip(turn, found, strict=True)], axis=0)
            if value > 1e-12 * values[-1]:
                self.moving.append((f"{group[0]}:{place}", a, w, float(value)))
            else:
                self.fixed.append(a)

    @property
    def middle(self) -> float:
        """The geometric middle of 1 / sqrt(L C) over all L and C [1/s]; without one of them 1e6."""
        kinds = [
            [value for _, a, _, value in self.moving if (a[self.count :] == 0).all() == still]
            for still in (True, False)
        ]
        if not all(kinds):
            return 1e6
        return float(np.exp(-np.mean([np.mean(np.log(kind)) for kind in kinds])))

    def reduced(self, shift: float) -> np.ndarray:
        """H: what the laws that may change have as y for their own right-hand sides, at a real shift. Raises CircuitError."""
        changing = (*self.moving, *self.still)
        laws = [a - shift * value * w for _, a, w, value in self.moving] + [
            a - value * w for _, a, w, value in self.still
        ]
        whole = np.vstack(
            [self.kirchhoff, np.array(self.fixed).reshape(-1, self.size), np.array(laws).reshape(-1, self.size)]
        )
        rows = np.abs(whole).max(axis=1)
        balanced = whole / rows[:, None]
        columns = np.abs(balanced).max(axis=0)
        right = np.zeros((self.size, len(changing)))
        first = self.size - len(changing)
        right[first + np.arange(len(changing)), np.arange(len(changing))] = 1 / rows[first:]
        try:
            unknowns = np.linalg.solve(balanced / columns, right) / columns[:, None]
        except np.linalg.LinAlgError:
            raise CircuitError("the circuit has no single solution, whatever its inputs") from None
        return np.asarray(np.array([w for _, _, w, _ in changing]).reshape(-1, self.size) @ unknowns)
