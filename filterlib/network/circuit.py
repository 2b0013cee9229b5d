"""Named nodes and elements, each checked as it is added; the answers come from `filterlib.network.response`."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from filterlib.errors import CircuitError, did_you_mean

if TYPE_CHECKING:
    from filterlib.network.waveform import Waveform

Pair = tuple[str, str]
Ladder: TypeAlias = "Circuit | Callable[[], Circuit]"
REFERENCE = "0"
TERMINALS = {"immittance": ("a", "b"), "coupled": ("a1", "b1", "a2", "b2")}  # of a ladder, by what it stands for
_UNITS = {"resistor": "ohm", "capacitor": "F", "inductor": "H", "conductance": "S", "couple": ""}


@dataclass(frozen=True)
class Element:
    """One element of a circuit.

    Attributes: ``kind`` ("resistor", "capacitor", "inductor", "conductance", "couple", "immittance", "coupled",
    "voltage_source" or "current_source"); ``name``; ``nodes`` (two; four of a coupled pair; of a "couple" the names of
    its two inductors); ``value`` (float or array (designs, 1) in [ohm], [F], [H], [S] or as a ratio, a callable of
    frequency [Hz], or None of a source); ``stand_in`` (of a callable: its ladder, or a function that makes it).
    """

    kind: str
    name: str
    nodes: tuple[str, ...]
    value: Any = None
    stand_in: Ladder | None = None

    @cached_property
    def ladder(self) -> Circuit | None:
        """The circuit that stands for a callable in the time domain, or None."""
        if self.stand_in is None:
            return None
        made = self.stand_in if isinstance(self.stand_in, Circuit) else self.stand_in()
        _check_ladder(self.name, made, TERMINALS[self.kind])
        return made


@dataclass(frozen=True)
class Current:
    """The current through an element from its first node to its second [A], as an output.

    ``winding`` 2 means the second winding of a coupled pair. A current source that drives 1 A out of its first node
    therefore reads -1.
    """

    name: str
    winding: int = 1


Output = str | Pair | Current


class Circuit:
    """A linear circuit: each builder method adds one element and returns the same circuit.

    A value is a number in SI units or an array of shape (designs, 1); with such an array anywhere, every result has
    ``designs`` as its first axis. Zero is a value like any other: 0 ohm and 0 H are shorts, 0 F and 0 S are open.
    Node "0" is the reference. What zeros leave open is settled simply: of several shorts in
    parallel the first carries the current, and across one of several opens in series there is no voltage.

    Raises
    ------
    CircuitError
        From each method, naming the element: a name that exists, both ends on one node, a value that is no number,
        negative (a conductance may be), not finite or of the wrong shape. From each answer, naming element or node:
        what cannot be solved (`filterlib.network.checks.check`).

    Examples
    --------
    A low-pass of 1 kohm and 1 uF halves the power at 1/(2 pi R C):

    >>> low_pass = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 1e3)
    >>> low_pass = low_pass.capacitor("C", "out", "0", 1e-6)
    >>> gain = low_pass.transfer([0, 159.154943], "V", "out")
    >>> [round(float(abs(g)) ** 2, 6) for g in gain]
    [1.0, 0.5]
    """

    def __init__(self) -> None:
        self._elements: dict[str, Element] = {}
        self._cache: dict[Any, Any] = {}

    # ---- building -------------------------------------------------------------------------------------------------

    def resistor(self, name: str, a: str, b: str, ohms: Any) -> Circuit:
        """Add a resistance from ``a`` to ``b`` [ohm]; 0 is a short."""
        return self._add("resistor", name, (a, b), ohms)

    def capacitor(self, name: str, a: str, b: str, farads: Any) -> Circuit:
        """Add a capacitance from ``a`` to ``b`` [F]; 0 is open."""
        return self._add("capacitor", name, (a, b), farads)

    def inductor(self, name: str, a: str, b: str, henries: Any) -> Circuit:
        """Add an inductance from ``a`` to ``b`` [H]; 0 is a short."""
        return self._add("inductor", name, (a, b), henries)

    def conductance(self, name: str, a: str, b: str, siemens: Any) -> Circuit:
        """Add a conductance from ``a`` to ``b`` [S]; 0 is open, and negative is a constant-power load."""
        return self._add("conductance", name, (a, b), siemens)

    def couple(self, name: str, first: str, second: str, k: Any) -> Circuit:
        """Couple two inductors, named, by the ratio ``k`` from -1 to 1; the dots are at their first nodes."""
        for inductor in (first, second):
            found = self._find(inductor, "inductor")
            if found.kind != "inductor":
                raise CircuitError(f"{name}: couples inductors, and {inductor} is a {_words(found.kind)}")
        pairs = [set(e.nodes) for e in self.elements if e.kind == "couple"]
        if first == second or {first, second} in pairs:
            raise CircuitError(
                f"{name}: {first} and {second} {'are one' if first == second else 'are coupled already'}"
            )
        return self._put(Element("couple", name, (first, second), self._value("couple", name, k)))

    def immittance(
        self, name: str, a: str, b: str, impedance: Callable[..., Any], ladder: Ladder | None = None
    ) -> Circuit:
        """Add a two-pole known by its impedance.

        Parameters
        ----------
        impedance : callable
            Of frequency, array (f,) [Hz]; returns (f,) or (designs, f), complex [ohm]; 0 is a short, inf is open.
        ladder : Circuit, optional
            What stands for it in poles and time: a circuit of terminals "a" and "b" and no node "0"; or a function that
            makes it, called when poles or times are asked for.
        """
        return self._add_callable("immittance", name, (a, b), impedance, ladder)

    def coupled(
        self, name: str, first: Pair, second: Pair, impedance: Callable[..., Any], ladder: Ladder | None = None
    ) -> Circuit:
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

    def voltage_source(self, name: str, a: str, b: str) -> Circuit:
        """Add an ideal voltage source; ``a`` is positive."""
        return self._add("voltage_source", name, (a, b), None)

    def current_source(self, name: str, a: str, b: str) -> Circuit:
        """Add an ideal current source; the current flows out of ``a`` into the circuit, and back into ``b``."""
        return self._add("current_source", name, (a, b), None)

    def copy(self) -> Circuit:
        """A circuit of the same elements that can be added to on its own."""
        twin = Circuit()
        twin._elements = dict(self._elements)
        return twin

    def laddered(self) -> Circuit:
        """The same circuit with every immittance and coupled pair that has a ladder replaced by it.

        The ladder's nodes and elements take the names "NAME/x"; a short that keeps the element's name leads into each
        winding, so that its current can still be asked for.
        """
        twin = Circuit()
        for element in self.elements:
            if element.ladder is None:
                twin._put(element)
            else:
                _unfold(twin, element, element.ladder)
        return twin

    # ---- what is in it --------------------------------------------------------------------------------------------

    @property
    def elements(self) -> tuple[Element, ...]:
        """The elements in the order in which they were added."""
        return tuple(self._elements.values())

    @property
    def nodes(self) -> tuple[str, ...]:
        """The names of the nodes in the order in which they appeared."""
        if "nodes" not in self._cache:
            names = (node for e in self.elements if e.kind != "couple" for node in e.nodes)
            self._cache["nodes"] = tuple(dict.fromkeys(names))
        return self._cache["nodes"]

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the voltage and current sources."""
        return tuple(e.name for e in self.elements if e.kind.endswith("_source"))

    @property
    def designs(self) -> int | None:
        """How many designs the arrays among the values stand for, or None where all are numbers."""
        if "designs" not in self._cache:
            counts = {e.name: count for e in self.elements if (count := designs_of(e)) is not None}
            first = next(iter(counts), "")
            for name, count in counts.items():
                if count != counts[first]:
                    raise CircuitError(f"{name}: holds values for {count} designs, but {first} holds {counts[first]}")
            self._cache["designs"] = counts.get(first)
        return self._cache["designs"]

    # ---- what it does ---------------------------------------------------------------------------------------------

    def transfer(self, frequencies: Any, source: str | list[str], output: Output | list[Output]) -> Any:
        """Response of an output per unit of a source; see `filterlib.network.response.transfer`."""
        from filterlib.network import response

        return response.transfer(self, frequencies, source, output)

    def impedance(self, frequencies: Any, a: str, b: str = REFERENCE) -> np.ndarray:
        """Impedance seen into a port; see `filterlib.network.response.impedance`."""
        from filterlib.network import response

        return response.impedance(self, frequencies, a, b)

    def poles(self) -> np.ndarray:
        """Natural frequencies [1/s]; see `filterlib.network.response.poles`."""
        from filterlib.network import response

        return response.poles(self)

    def step_response(self, times: Any, source: str | list[str], output: Output | list[Output]) -> Any:
        """Output after a unit step of the source; see `filterlib.network.response.step_response`."""
        from filterlib.network import response

        return response.step_response(self, times, source, output)

    def impulse_response(self, times: Any, source: str | list[str], output: Output | list[Output]) -> Any:
        """Output after a unit impulse of the source; see `filterlib.network.response.impulse_response`."""
        from filterlib.network import response

        return response.impulse_response(self, times, source, output)

    def periodic_response(
        self,
        waveform: Waveform,
        source: str | list[str],
        output: Output | list[Output],
        *,
        harmonics: int | None = None,
    ) -> Any:
        """Periodic steady state of an output; see `filterlib.network.response.periodic_response`."""
        from filterlib.network import response

        return response.periodic_response(self, waveform, source, output, harmonics=harmonics)

    def __repr__(self) -> str:
        return f"<Circuit: {len(self._elements)} elements, {len(self.nodes)} nodes>"

    def __getstate__(self) -> dict[str, Any]:
        return {"_elements": dict(self._elements), "_cache": {}}

    # ---- inside ---------------------------------------------------------------------------------------------------

    def _add(self, kind: str, name: str, nodes: Pair, value: Any) -> Circuit:
        _check_nodes(name, nodes)
        return self._put(Element(kind, name, nodes, None if value is None else self._value(kind, name, value)))

    def _add_callable(
        self, kind: str, name: str, nodes: tuple[str, ...], impedance: Any, ladder: Ladder | None
    ) -> Circuit:
        for start in range(0, len(nodes), 2):
            _check_nodes(name, nodes[start : start + 2])
        if not callable(impedance):
            raise CircuitError(f"{name}: the impedance is a function of frequency [Hz], not {impedance!r}")
        if isinstance(ladder, Circuit):
            _check_ladder(name, ladder, TERMINALS[kind])
        return self._put(Element(kind, name, nodes, impedance, ladder))

    def _put(self, element: Element) -> Circuit:
        if not isinstance(element.name, str) or not element.name:
            raise CircuitError(f"the name of a {_words(element.kind)} is a text, not {element.name!r}")
        if element.name in self._elements:
            raise CircuitError(f"{element.name}: the circuit already has an element of that name")
        self._elements[element.name] = element
        self._cache.clear()
        return self

    def _find(self, name: str, kind: str = "element") -> Element:
        if isinstance(name, str) and name in self._elements:
            return self._elements[name]
        names = [
            e.name for e in self.elements if kind in ("element", e.kind) or (kind == "source" and e.kind.endswith(kind))
        ]
        raise CircuitError(f'unknown {kind} "{name}": {did_you_mean(str(name), names)}')

    def _value(self, kind: str, name: str, value: Any) -> float | np.ndarray:
        array = _numbers(kind, name, value)
        low = {"conductance": -math.inf, "couple": -1.0}.get(kind, 0.0)
        wrong = array[~((array >= low) & (array <= (1.0 if kind == "couple" else math.inf)) & np.isfinite(array))]
        if wrong.size:
            allowed = {"conductance": "finite", "couple": "from -1 to 1"}.get(kind, "finite and not negative")
            unit = f" {_UNITS[kind]}" if _UNITS[kind] else ""
            raise CircuitError(f"{name}: {wrong.flat[0]:g}{unit} is no {_words(kind)}; it must be {allowed}")
        if array.ndim == 0:
            return float(array)
        array.flags.writeable = False
        return array


def _numbers(kind: str, name: str, value: Any) -> np.ndarray:
    """A value as an array () or (designs, 1) of floats, or an error that says what was given instead."""
    array = np.asarray(value)
    if array.dtype.kind in "USO" or array.dtype.kind == "b":
        hint = "; filterlib.quantity reads text" if array.dtype.kind in "US" else ""
        raise CircuitError(f"{name}: {value!r} is no number{hint}")
    if array.dtype.kind not in "iuf":
        raise CircuitError(f"{name}: the value of a {_words(kind)} is real, not {array.dtype}")
    if array.ndim and (array.ndim != 2 or array.shape[1] != 1 or not len(array)):
        raise CircuitError(f"{name}: an array of values has the shape (designs, 1), not {array.shape}")
    return np.array(array, dtype=float)


def _words(kind: str) -> str:
    return {"couple": "coupling"}.get(kind, kind.replace("_", " "))


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


def _check_ladder(name: str, ladder: Circuit, terminals: Sequence[str]) -> None:
    missing = [node for node in terminals if node not in ladder.nodes]
    if missing:
        raise CircuitError(f'{name}: its ladder has no terminal "{missing[0]}"')
    if REFERENCE in ladder.nodes:
        raise CircuitError(f'{name}: its ladder holds node "{REFERENCE}"; all but its terminals is private')


def _unfold(twin: Circuit, element: Element, ladder: Circuit) -> None:
    name = element.name
    terminals = TERMINALS[element.kind]
    outside = dict(zip(terminals, element.nodes, strict=True))
    twin.resistor(name, outside[terminals[0]], f"{name}/{terminals[0]}", 0.0)
    if element.kind == "coupled":
        twin.resistor(f"{name}/2", outside["a2"], f"{name}/a2", 0.0)
    ends = {node: outside[node] for node in terminals if node.startswith("b")}
    for inner in ladder.laddered().elements:
        inside = (
            f"{name}/{node}" if inner.kind == "couple" else ends.get(node, f"{name}/{node}") for node in inner.nodes
        )
        twin._put(Element(inner.kind, f"{name}/{inner.name}", tuple(inside), inner.value, inner.stand_in))


def designs_of(element: Element) -> int | None:
    """How many designs an element's value stands for; a callable is asked at two frequencies, or at its ``asked_at``."""
    if callable(element.value):
        value = np.asarray(element.value(np.array(getattr(element.value, "asked_at", (1e3, 1e4)))))
        return len(value) if value.ndim == (4 if element.kind == "coupled" else 2) else None
    return len(element.value) if isinstance(element.value, np.ndarray) else None
