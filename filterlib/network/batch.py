"""Circuits as one circuit of many designs: what differs between them becomes an array of values, what some lack is open there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.equations.pattern import join, root
from filterlib.network.netlist import Element, Impedance, Netlist, Structure
from filterlib.network.wiring import Wiring, openable, opened

Solved = TypeVar("Solved", bound=Wiring)
"""A circuit, or what only describes one."""


def alike(circuits: Sequence[Wiring]) -> list[list[int]]:
    """The places of circuits that are one circuit with other values, group by group, in the order of their first.

    What only some of them have counts as a value, where it is open in the others (`_joined`).

    >>> from filterlib import Circuit
    >>> one, other = Circuit().resistor("R", "a", "0", 1.0), Circuit().resistor("R", "b", "0", 1.0)
    >>> alike([one, other, one, one.copy().capacitor("C", "a", "0", 1e-6)])
    [[0, 2, 3], [1]]
    """
    places: dict[Structure, list[int]] = {}
    for place, circuit in enumerate(circuits):
        places.setdefault(circuit.netlist.structure, []).append(place)
    groups: list[list[Structure]] = []
    for structure in places:
        group = next((group for group in groups if _joined([*group, structure]) is not None), None)
        if group is None:
            groups.append([structure])
        else:
            group.append(structure)
    return [sorted(place for structure in group for place in places[structure]) for group in groups]


def _joined(structures: Sequence[Structure]) -> Structure | None:
    """One structure that holds several: what some lack can be open there; None where it cannot.

    What is no capacitor, conductance or impedance, and yet lacks in one, has to hang from a node of that one, by one end.
    """
    whole = {element.name: element for structure in structures for element in structure}
    for structure in structures:
        own = {element.name for element in structure}
        if any(whole[element.name] != element for element in structure):
            return None
        if not _hangs([e for e in whole.values() if e.name not in own], {n for e in structure for n in e.nodes}):
            return None
    return tuple(whole.values())


def _hangs(more: Sequence[Element], nodes: set[str]) -> bool:
    """Whether elements can be there without a circuit of these nodes noticing, those that can be open being so."""
    net = Netlist(tuple(more))
    if net.sources or any(len(e.nodes) > 2 for e in net.branches):
        return False
    ends = set(net.nodes)
    group = {node: node for node in ends}
    if not all(join(group, *e.nodes) for e in net.branches if not openable(e)):
        return False
    return all(sum(root(group, node) == root(group, end) for end in ends & nodes) == 1 for node in ends)


class Together:
    """Several impedances as one: of frequency (f,) [Hz], gives (designs, f), or (designs, f, 2, 2) of coupled windings."""

    def __init__(self, impedances: Sequence[Impedance]) -> None:
        self.impedances = tuple(impedances)
        self.asked_at = getattr(impedances[0], "asked_at", (1e3, 1e4))

    def __call__(self, frequencies: np.ndarray) -> np.ndarray:
        """All of them at the same frequencies."""
        once = {key: np.asarray(one(frequencies)) for key, one in {id(one): one for one in self.impedances}.items()}
        return np.stack([once[id(one)] for one in self.impedances])


def together(circuits: Sequence[Solved]) -> Solved:
    """One circuit that represents several that are `alike`, each of them one design; it has no ladders.

    Raises
    ------
    CircuitError
        Where the structures differ, or a circuit represents several designs itself.

    Examples
    --------
    >>> from filterlib import Circuit
    >>> def low_pass(ohms):
    ...     return Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", ohms).resistor("S", "b", "0", 1.0)
    >>> [float(gain[0].real) for gain in together([low_pass(1.0), low_pass(3.0)]).transfer([50.0], "V", "b")]
    [0.5, 0.25]
    """
    if len(circuits) == 1:
        return circuits[0]
    every = _joined(list(dict.fromkeys(circuit.netlist.structure for circuit in circuits)))
    if every is None or any(circuit.designs for circuit in circuits):
        raise CircuitError("circuits are put together that differ in more than values, or hold several designs already")
    whole = type(circuits[0])()
    for element in every:
        there = [circuit.netlist.by_name.get(element.name) for circuit in circuits]
        first = next(one for one in there if one is not None)
        absent = opened(first) if openable(first) else first
        _add(whole, [absent if one is None else one for one in there])
    return whole


def _add(whole: Wiring, elements: Sequence[Element]) -> None:
    first, values = elements[0], [element.value for element in elements]
    add, (a, b) = getattr(whole, first.kind), first.nodes[:2]
    if first.kind == "coupled":
        add(first.name, (a, b), first.nodes[2:], Together(values))  # type: ignore[arg-type]
    elif first.kind == "immittance":
        add(first.name, a, b, Together(values))  # type: ignore[arg-type]
    elif first.kind.endswith("_source"):
        add(first.name, a, b)
    else:
        numbers = np.array(values, float)
        add(first.name, a, b, numbers[0] if np.all(numbers == numbers[0]) else numbers[:, None])
