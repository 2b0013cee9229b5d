"""What a circuit consists of, built element by element: named elements between named nodes, without anything that solves it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import CircuitError
from filterlib.network.netlist import (
    TERMINALS,
    Element,
    Impedance,
    Ladder,
    Netlist,
    Pair,
    Value,
    check_ladder,
    words_of,
)  # fmt: skip

LEAST, MOST = 1e-30, 1e30
"""Size of a value that is not zero: beyond, squares and products leave the range of floating-point numbers."""
_UNITS = {"resistor": "ohm", "capacitor": "F", "inductor": "H", "conductance": "S", "couple": ""}


class Wiring:
    """Elements that are added one by one: each builder method adds one and returns the same object.

    What a part adds itself to, and what a ladder is. `filterlib.Circuit` is one that is solved, and says what a value may be.

    Raises
    ------
    CircuitError
        From each method, naming the element: a name that exists, both ends on one node, a value that is no number,
        negative (a conductance may be), not finite or of the wrong shape.

    Examples
    --------
    >>> Wiring().resistor("R", "a", "0", 1e3).capacitor("C", "a", "0", 1e-6)
    <Wiring: 2 elements, 2 nodes>
    """

    def __init__(self) -> None:
        self._elements: dict[str, Element] = {}
        self._netlist: Netlist | None = None

    # ---- building -------------------------------------------------------------------------------------------------

    def resistor(self, name: str, a: str, b: str, ohms: ArrayLike) -> Self:
        """Add a resistance from ``a`` to ``b`` [ohm]; 0 is a short."""
        return self._add("resistor", name, (a, b), ohms)

    def capacitor(self, name: str, a: str, b: str, farads: ArrayLike) -> Self:
        """Add a capacitance from ``a`` to ``b`` [F]; 0 is open."""
        return self._add("capacitor", name, (a, b), farads)

    def inductor(self, name: str, a: str, b: str, henries: ArrayLike) -> Self:
        """Add an inductance from ``a`` to ``b`` [H]; 0 is a short."""
        return self._add("inductor", name, (a, b), henries)

    def conductance(self, name: str, a: str, b: str, siemens: ArrayLike) -> Self:
        """Add a conductance from ``a`` to ``b`` [S]; 0 is open, and negative is a constant-power load."""
        return self._add("conductance", name, (a, b), siemens)

    def couple(self, name: str, first: str, second: str, k: ArrayLike) -> Self:
        """Couple two inductors, named, by the ratio ``k`` from -1 to 1; the dots are at their first nodes.

        Raises
        ------
        CircuitError
            Besides what every method refuses: what is no inductor, an inductor with itself, or two coupled already.
        """
        for inductor in (first, second):
            element = self.netlist.find(inductor, "inductor")
            if element.kind != "inductor":
                raise CircuitError(f"{name}: couples inductors, and {inductor} is a {words_of(element.kind)}")
        pairs = [set(e.nodes) for e in self.elements if e.kind == "couple"]
        if first == second or {first, second} in pairs:
            raise CircuitError(
                f"{name}: {first} and {second} {'are one' if first == second else 'are coupled already'}"
            )
        return self._put(Element("couple", name, (first, second), _value("couple", name, k)))

    def immittance(self, name: str, a: str, b: str, impedance: Impedance, ladder: Ladder | None = None) -> Self:
        """Add a two-pole known by its impedance.

        Parameters
        ----------
        impedance : callable
            Of frequency, array (f,) [Hz]; returns (f,) or (designs, f), complex [ohm]; 0 is a short, inf is open.
        ladder : Circuit, optional
            Its equivalent in poles and time: a circuit of terminals "a" and "b" and no node "0"; or a function that
            makes it, called when poles or times are computed.
        """
        return self._add_callable("immittance", name, (a, b), impedance, ladder)

    def coupled(self, name: str, first: Pair, second: Pair, impedance: Impedance, ladder: Ladder | None = None) -> Self:
        """Add two windings, each a pair of nodes, known by their impedance matrix.

        Parameters
        ----------
        impedance : callable
            Of frequency, array (f,) [Hz]; returns (..., f, 2, 2), complex [ohm]. An infinite self-impedance is an open
            winding.
        ladder : Circuit, optional
            As in `immittance`, with the terminals "a1", "b1", "a2" and "b2".
        """
        pairs = (*_pair(name, first), *_pair(name, second))
        return self._add_callable("coupled", name, pairs, impedance, ladder)

    def voltage_source(self, name: str, a: str, b: str) -> Self:
        """Add an ideal voltage source; ``a`` is positive."""
        return self._add("voltage_source", name, (a, b), None)

    def current_source(self, name: str, a: str, b: str) -> Self:
        """Add an ideal current source; the current flows out of ``a`` into the circuit, and back into ``b``."""
        return self._add("current_source", name, (a, b), None)

    def copy(self) -> Self:
        """Another of the same elements that can be added to on its own."""
        return self.of(self.netlist)

    def laddered(self) -> Self:
        """The same circuit with ladders in place of what has one; raises as `filterlib.network.netlist.Netlist.laddered`."""
        return self.of(self.netlist.laddered())

    @classmethod
    def of(cls, netlist: Netlist) -> Self:
        """One that can be added to, from what another one consists of."""
        circuit = cls()
        circuit._elements = dict(netlist.by_name)
        return circuit

    def opened(self, names: Iterable[str]) -> Self:
        """The same with some of its elements open, in the places that they have; a name that is not there is open already.

        Raises
        ------
        CircuitError
            For an element that has no value with which it is open, as a resistor, an inductor or a source.
        """
        chosen = set(names)
        return self.of(Netlist(tuple(opened(e) if e.name in chosen else e for e in self.elements)))

    # ---- what is in it --------------------------------------------------------------------------------------------

    @property
    def netlist(self) -> Netlist:
        """What the circuit consists of now: frozen, and another one after an element is added."""
        if self._netlist is None:
            self._netlist = Netlist(tuple(self._elements.values()))
        return self._netlist

    @property
    def elements(self) -> tuple[Element, ...]:
        """The elements in the order in which they were added."""
        return self.netlist.elements

    @property
    def nodes(self) -> tuple[str, ...]:
        """The names of the nodes in the order in which they appeared."""
        return self.netlist.nodes

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the voltage and current sources."""
        return self.netlist.sources

    @property
    def designs(self) -> int | None:
        """How many designs the arrays among the values stand for, or None where all are numbers.

        Raises
        ------
        CircuitError
            For arrays of different lengths.
        """
        return self.netlist.designs

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {len(self._elements)} elements, {len(self.nodes)} nodes>"

    # ---- inside ---------------------------------------------------------------------------------------------------

    def _add(self, kind: str, name: str, nodes: Pair, value: ArrayLike | None) -> Self:
        _check_nodes(name, nodes)
        return self._put(Element(kind, name, nodes, None if value is None else _value(kind, name, value)))

    def _add_callable(
        self, kind: str, name: str, nodes: tuple[str, ...], impedance: Impedance, ladder: Ladder | None
    ) -> Self:
        for start in range(0, len(nodes), 2):
            _check_nodes(name, nodes[start : start + 2])
        if not callable(impedance):
            raise CircuitError(f"{name}: the impedance is a function of frequency [Hz], not {impedance!r}")
        if ladder is not None and not callable(ladder):
            check_ladder(name, ladder.netlist, TERMINALS[kind])
        return self._put(Element(kind, name, nodes, impedance, ladder))

    def _put(self, element: Element) -> Self:
        if not isinstance(element.name, str) or not element.name:
            raise CircuitError(f"the name of a {words_of(element.kind)} is a text, not {element.name!r}")
        if element.name in self._elements:
            raise CircuitError(f"{element.name}: the circuit already has an element of that name")
        self._elements[element.name] = element
        self._netlist = None
        return self


def _value(kind: str, name: str, value: ArrayLike) -> Value:
    """A value as a float or a frozen array (designs, 1), in the range that its kind allows."""
    if type(value) is float and kind != "couple" and (value == 0 or LEAST <= value <= MOST):
        return value  # as most are
    array = _numbers(kind, name, value)
    low = {"conductance": -math.inf, "couple": -1.0}.get(kind, 0.0)
    wrong = array[~((array >= low) & (array <= (1.0 if kind == "couple" else math.inf)) & np.isfinite(array))]
    if wrong.size:
        allowed = {"conductance": "finite", "couple": "from -1 to 1"}.get(kind, "finite and not negative")
        raise CircuitError(f"{name}: {wrong.flat[0]:g}{_unit(kind)} is no {words_of(kind)}; it must be {allowed}")
    size = np.abs(array[array != 0])
    if kind != "couple" and size.size and not LEAST <= size.min() <= size.max() <= MOST:
        odd = float(size.min() if size.min() < LEAST else size.max())
        raise CircuitError(f"{name}: {odd:g}{_unit(kind)} is no {words_of(kind)}; 0, or {LEAST:g} to {MOST:g}, can be")
    if array.ndim == 0:
        return float(array)
    array.flags.writeable = False
    return array


def _unit(kind: str) -> str:
    return f" {_UNITS[kind]}" if _UNITS[kind] else ""


def _numbers(kind: str, name: str, value: ArrayLike) -> np.ndarray:
    """A value as an array () or (designs, 1) of floats, or an error that says what was given instead."""
    array = np.asarray(value)
    if array.dtype.kind in "USO" or array.dtype.kind == "b":
        hint = "; filterlib.quantity reads text" if array.dtype.kind in "US" else ""
        raise CircuitError(f"{name}: {value!r} is no number{hint}")
    if array.dtype.kind not in "iuf":
        raise CircuitError(f"{name}: the value of a {words_of(kind)} is real, not {array.dtype}")
    if array.ndim and (array.ndim != 2 or array.shape[1] != 1 or not len(array)):
        raise CircuitError(f"{name}: an array of values has the shape (designs, 1), not {array.shape}")
    return np.array(array, dtype=float)


def _pair(name: str, nodes: Sequence[str]) -> Pair:
    if isinstance(nodes, str) or len(nodes) != 2:
        raise CircuitError(f"{name}: a winding is a pair of nodes, not {nodes!r}")
    return nodes[0], nodes[1]


def _check_nodes(name: str, nodes: Sequence[str]) -> None:
    for node in nodes:
        if not isinstance(node, str) or not node:
            raise CircuitError(f"{name}: a node is a text, not {node!r}")
    if nodes[0] == nodes[1]:
        raise CircuitError(
            f'{name}: both ends are on node "{nodes[0]}"; a short is a resistor of 0 ohm between two nodes'
        )


def _endless(frequencies: np.ndarray) -> np.ndarray:
    return np.full(np.shape(frequencies), np.inf, dtype=complex)


_OPEN: dict[str, tuple[Value | Impedance, Ladder | None]] = {
    "capacitor": (0.0, None),
    "conductance": (0.0, None),
    "couple": (0.0, None),
    "immittance": (_endless, Wiring().capacitor("C", "a", "b", 0.0)),
}
"""By kind of element, the value with which it is open, or couples nothing, and the ladder of that."""


def openable(element: Element) -> bool:
    """Whether an element has a value with which it is open, or couples nothing, in the place that it has."""
    return _OPEN.get(element.kind) is not None


def opened(element: Element) -> Element:
    """The same element with that value. Raises CircuitError for one that has none."""
    if not openable(element):
        raise CircuitError(f"{element.name}: a {words_of(element.kind)} has no value with which it is open")
    return Element(element.kind, element.name, element.nodes, *_OPEN[element.kind])
