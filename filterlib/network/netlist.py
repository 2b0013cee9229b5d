"""What a circuit consists of: elements between named nodes, as they were given, and none of them ever changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol, TypeAlias

import numpy as np

from filterlib.errors import CircuitError, did_you_mean

Pair = tuple[str, str]
Value: TypeAlias = float | np.ndarray
Impedance: TypeAlias = Callable[[np.ndarray], np.ndarray]
REFERENCE = "0"
TERMINALS = {"immittance": ("a", "b"), "coupled": ("a1", "b1", "a2", "b2")}  # of a ladder, by what it stands for


class Described(Protocol):
    """Whatever has a netlist, such as a `filterlib.Circuit`."""

    @property
    def netlist(self) -> Netlist: ...


Ladder: TypeAlias = Described | Callable[[], Described]


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
    value: Value | Impedance | None = None
    stand_in: Ladder | None = None

    @cached_property
    def ladder(self) -> Netlist | None:
        """The equivalent of a callable in the time domain, or None; `CircuitError` where its terminals are wrong."""
        if self.stand_in is None:
            return None
        circuit = self.stand_in() if callable(self.stand_in) else self.stand_in
        check_ladder(self.name, circuit.netlist, TERMINALS[self.kind])
        return circuit.netlist

    @property
    def number(self) -> Value:
        """The value of an element that has a number or an array of them.

        Raises
        ------
        CircuitError
            For a source, and for an element that is known by a function of frequency.
        """
        if self.value is None or callable(self.value):
            raise CircuitError(f"{self.name}: a {words_of(self.kind)} has no number for its value")
        return self.value

    @property
    def function(self) -> Impedance:
        """The impedance of an immittance or a coupled pair, as a function of frequency.

        Raises
        ------
        CircuitError
            For an element of any other kind.
        """
        if not callable(self.value):
            raise CircuitError(f"{self.name}: a {words_of(self.kind)} is not given as a function of frequency")
        return self.value

    @property
    def of_frequency(self) -> bool:
        """True where it is known by a function of frequency."""
        return self.kind in ("immittance", "coupled")

    @property
    def designs(self) -> int | None:
        """How many designs the value stands for, None of a number.

        A callable is asked at two frequencies, or at its ``asked_at``.
        """
        if callable(self.value):
            value = np.asarray(self.value(np.array(getattr(self.value, "asked_at", (1e3, 1e4)))))
            return len(value) if value.ndim == (4 if self.kind == "coupled" else 2) else None
        return len(self.value) if isinstance(self.value, np.ndarray) else None


Structure: TypeAlias = tuple[Element, ...]
"""Elements without values."""


@dataclass(frozen=True)
class Current:
    """The current through an element from its first node to its second [A], as an output.

    ``winding`` 2 means the second winding of a coupled pair. A current source that drives 1 A out of its first node
    therefore reads -1.
    """

    name: str
    winding: int = 1


Output: TypeAlias = str | Pair | Current


@dataclass(frozen=True, eq=False)
class Netlist:
    """The elements of a circuit, in the order in which they were added.

    Raises
    ------
    CircuitError
        For two elements of one name.
    """

    elements: tuple[Element, ...]

    def __post_init__(self) -> None:
        if len(self.by_name) < len(self.elements):
            double = next(e.name for e in self.elements if self.by_name[e.name] is not e)
            raise CircuitError(f"{double}: the circuit already has an element of that name")

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """The names of the nodes in the order in which they appeared."""
        names = (node for e in self.branches for node in e.nodes)
        return tuple(dict.fromkeys(names))

    @cached_property
    def structure(self) -> Structure:
        """The elements without their values: alike where circuits differ in values alone."""
        return tuple(Element(e.kind, e.name, e.nodes) for e in self.elements)

    @cached_property
    def couples(self) -> tuple[Element, ...]:
        """The couplings between inductors, which are no branches."""
        return tuple(e for e in self.elements if e.kind == "couple")

    @cached_property
    def branches(self) -> tuple[Element, ...]:
        """All elements but those."""
        return tuple(e for e in self.elements if e.kind != "couple")

    @cached_property
    def coupled(self) -> frozenset[str]:
        """The names of the inductors that are coupled."""
        return frozenset(name for e in self.couples for name in e.nodes)

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """The names of the voltage and current sources."""
        return tuple(e.name for e in self.elements if e.kind.endswith("_source"))

    @cached_property
    def designs(self) -> int | None:
        """How many designs the arrays among the values stand for, or None where all are numbers.

        Raises
        ------
        CircuitError
            For arrays of different lengths.
        """
        counts = {e.name: count for e in self.elements if (count := e.designs) is not None}
        first = next(iter(counts), "")
        for name, count in counts.items():
            if count != counts[first]:
                raise CircuitError(f"{name}: holds values for {count} designs, but {first} holds {counts[first]}")
        return counts.get(first)

    @cached_property
    def by_name(self) -> dict[str, Element]:
        """The elements by their names."""
        return {element.name: element for element in self.elements}

    def find(self, name: str, kind: str = "element") -> Element:
        """The element of a name.

        Parameters
        ----------
        kind : str
            What is looked for, for the message: "element", "source" or a kind of element.

        Raises
        ------
        CircuitError
            Where no element has that name, with the most similar name of that kind.
        """
        if isinstance(name, str) and name in self.by_name:
            return self.by_name[name]
        kinds = [
            e for e in self.elements if kind in ("element", e.kind) or (kind == "source" and e.name in self.sources)
        ]
        raise CircuitError(f'unknown {kind} "{name}": {did_you_mean(str(name), [e.name for e in kinds])}')

    def laddered(self) -> Netlist:
        """The same with every immittance and coupled pair that has a ladder replaced by it.

        The ladder's nodes and elements take the names "NAME/x"; a short that keeps the element's name leads into each
        winding, so that its current can still be asked for.

        Raises
        ------
        CircuitError
            For a ladder without its terminals, or one that holds the reference.
        """
        return Netlist(tuple(part for element in self.elements for part in _unfolded(element)))


def _unfolded(element: Element) -> Iterator[Element]:
    """An element, or what its ladder puts in its place."""
    ladder, name = element.ladder, element.name
    if ladder is None:
        yield element
        return
    terminals = TERMINALS[element.kind]
    outside = dict(zip(terminals, element.nodes, strict=True))
    yield Element("resistor", name, (outside[terminals[0]], f"{name}/{terminals[0]}"), 0.0)
    if element.kind == "coupled":
        yield Element("resistor", f"{name}/2", (outside["a2"], f"{name}/a2"), 0.0)
    ends = {node: outside[node] for node in terminals if node.startswith("b")}
    for inner in ladder.laddered().elements:
        renamed = {} if inner.kind == "couple" else ends
        inside = tuple(renamed.get(node, f"{name}/{node}") for node in inner.nodes)
        yield Element(inner.kind, f"{name}/{inner.name}", inside, inner.value, inner.stand_in)


def check_ladder(name: str, ladder: Netlist, terminals: Sequence[str]) -> None:
    """Refuse a ladder that cannot replace an element.

    Raises
    ------
    CircuitError
        Naming the element: a terminal is missing, or the ladder holds the reference node.
    """
    missing = [node for node in terminals if node not in ladder.nodes]
    if missing:
        raise CircuitError(f'{name}: its ladder has no terminal "{missing[0]}"')
    if REFERENCE in ladder.nodes:
        raise CircuitError(f'{name}: its ladder holds node "{REFERENCE}"; all but its terminals is private')


def words_of(kind: str) -> str:
    """A kind of element in words."""
    return {"couple": "coupling"}.get(kind, kind.replace("_", " "))
