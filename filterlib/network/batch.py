"""Circuits of one structure as one circuit of many designs: what differs between them becomes an array of values."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.network.netlist import Element, Impedance, Structure


def alike(circuits: Sequence[Circuit]) -> list[list[int]]:
    """The places of circuits that have one structure, group by group, in the order of their first.

    >>> one, other = Circuit().resistor("R", "a", "0", 1.0), Circuit().resistor("R", "b", "0", 1.0)
    >>> alike([one, other, one])
    [[0, 2], [1]]
    """
    groups: dict[Structure, list[int]] = {}
    for place, circuit in enumerate(circuits):
        groups.setdefault(circuit.netlist.structure, []).append(place)
    return list(groups.values())


class Together:
    """Several impedances as one: of frequency (f,) [Hz], gives (designs, f), or (designs, f, 2, 2) of coupled windings."""

    def __init__(self, impedances: Sequence[Impedance]) -> None:
        self.impedances = tuple(impedances)
        self.asked_at = getattr(impedances[0], "asked_at", (1e3, 1e4))

    def __call__(self, frequencies: np.ndarray) -> np.ndarray:
        """All of them at the same frequencies."""
        once = {key: np.asarray(one(frequencies)) for key, one in {id(one): one for one in self.impedances}.items()}
        return np.stack([once[id(one)] for one in self.impedances])


def together(circuits: Sequence[Circuit]) -> Circuit:
    """One circuit that represents several of the same structure, each of them one design; it has no ladders.

    Raises
    ------
    CircuitError
        Where the structures differ, or a circuit represents several designs itself.

    Examples
    --------
    >>> def low_pass(ohms):
    ...     return Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", ohms).resistor("S", "b", "0", 1.0)
    >>> [float(gain[0].real) for gain in together([low_pass(1.0), low_pass(3.0)]).transfer([50.0], "V", "b")]
    [0.5, 0.25]
    """
    if len(circuits) == 1:
        return circuits[0]
    if len(alike(circuits)) > 1 or any(circuit.designs for circuit in circuits):
        raise CircuitError("circuits are put together that differ in more than values, or hold several designs already")
    whole = Circuit()
    for elements in zip(*(circuit.elements for circuit in circuits), strict=True):
        _add(whole, elements)
    return whole


def _add(whole: Circuit, elements: tuple[Element, ...]) -> None:
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
