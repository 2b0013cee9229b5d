"""A linear circuit as one of straight pieces, to which bends are then added."""

from __future__ import annotations

from filterlib.errors import CircuitError
from filterlib.network.netlist import REFERENCE, Element, Netlist
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit

__all__ = ["in_pieces"]
SERIES, ACROSS = 1e-6, 1e9
"""Resistances [ohm] that stand where capacitors alone close a loop, or inductors alone meet: far below and far above any
real part's, and exact steps make their short time constants free."""


def in_pieces(netlist: Netlist, sources: dict[str, list[tuple[float, float]]]) -> PiecewiseCircuit:
    """The same circuit for `filterlib.network.nonlinear.course.course`: shorts join nodes, what is open is left out.

    Parameters
    ----------
    netlist : Netlist
        Of one design; what is known by its impedance has a ladder.
    sources : dict
        Corners (time [s], value) of each source by its name; a source without any stays at zero.

    Raises
    ------
    CircuitError
        For a part without a ladder, an array of designs, or a name in ``sources`` that is no source.
    """
    flat = netlist.laddered()
    if flat.designs is not None:
        raise CircuitError("a course in time is of one design, and this circuit stands for many")
    if unknown := set(sources) - set(flat.sources):
        raise CircuitError(f"no source is named {sorted(unknown)[0]!r}; there are {', '.join(flat.sources)}")
    shorts, fixed, circuit = _shorts(flat), _Forest(), PiecewiseCircuit()
    circuit.joined.update({node: shorts.root(node) for node in (*flat.nodes, REFERENCE)})
    for element in sorted(flat.branches, key=lambda e: e.kind != "voltage_source"):  # first: no capacitor is across one
        a, b = (shorts.root(node) for node in element.nodes)
        if a != b:
            _add(circuit, element, a, b, sources, fixed)
    for element in flat.couples:
        circuit.couple(element.nodes[0], element.nodes[1], _number(element))
    return _reached(circuit)


def _number(element: Element) -> float:
    return float(element.value)  # type: ignore[arg-type]


def _shorts(flat: Netlist) -> _Forest:
    shorts = _Forest()
    for element in flat.elements:
        if element.kind in ("resistor", "inductor") and _number(element) == 0:
            shorts.join(*element.nodes)
    return shorts


def _add(
    circuit: PiecewiseCircuit,
    element: Element,
    a: str,
    b: str,
    sources: dict[str, list[tuple[float, float]]],
    fixed: _Forest,
) -> None:
    name, kind = element.name, element.kind
    if kind in ("voltage_source", "current_source"):
        getattr(circuit, kind)(name, a, b, sources.get(name, [(0.0, 0.0)]))
        if kind == "voltage_source":
            fixed.join(a, b)
        return
    value = _number(element)
    if kind == "resistor":
        circuit.resistor(name, a, b, value)
    elif kind == "conductance" and value:
        circuit.conductance(name, a, b, value)
    elif kind == "inductor":
        circuit.inductor(name, a, b, value)
    elif kind == "capacitor" and value:
        if not fixed.join(a, b):
            circuit.resistor(f"{name}.loop resistance", a, f"{name}.plate", SERIES)
            a = f"{name}.plate"
        circuit.capacitor(name, a, b, value)


def _reached(circuit: PiecewiseCircuit) -> PiecewiseCircuit:
    """A large resistance to the reference from every node that only inductors and current sources reach."""
    reached = _Forest()
    for branch in circuit.of("resistor", "bend", "capacitor", "voltage_source"):
        reached.join(branch.a, branch.b)
    for node in circuit.nodes:
        if reached.join(node, REFERENCE):
            circuit.resistor(f"{node}.leakage", node, REFERENCE, ACROSS)
    return circuit


class _Forest:
    """Nodes that are joined: `join` says whether that was new."""

    def __init__(self) -> None:
        self.above: dict[str, str] = {}

    def root(self, node: str) -> str:
        while node in self.above:
            node = self.above[node]
        return node

    def join(self, a: str, b: str) -> bool:
        a, b = self.root(a), self.root(b)
        if a == b:
            return False
        if a == REFERENCE:
            a, b = b, a
        self.above[a] = b
        return True
