"""A second method for any circuit: plain modified nodal analysis, one dense numpy solution a frequency."""

from __future__ import annotations

import numpy as np

from filterlib.network.circuit import Circuit


def dense_transfer(circuit: Circuit, frequencies, source: str, ports) -> np.ndarray:
    """Voltages across ``ports`` per unit of one source, (ports, f). Only what the tests need: no array values."""
    nodes = [node for node in circuit.nodes if node != "0"]
    elements = [element for element in circuit.elements if element.kind != "couple"]
    row = {node: number for number, node in enumerate(nodes)}
    branch = {}
    size = len(nodes)
    for element in elements:
        branch[element.name] = size
        size += len(element.nodes) // 2
    result = np.empty((len(ports), len(frequencies)), complex)
    for column, frequency in enumerate(frequencies):
        matrix, right = np.zeros((size, size), complex), np.zeros(size, complex)
        for element in elements:
            for winding in range(len(element.nodes) // 2):
                at = branch[element.name] + winding
                for node, sign in zip(element.nodes[2 * winding : 2 * winding + 2], (1, -1), strict=True):
                    if node != "0":
                        matrix[row[node], at] += sign  # the branch's current leaves the node
                        matrix[at, row[node]] += sign  # its voltage
            _law(matrix, right, element, branch[element.name], 2j * np.pi * frequency, element.name == source)
        for element in circuit.elements:
            if element.kind == "couple":
                first, second = (next(e for e in elements if e.name == name) for name in element.nodes)
                mutual = 2j * np.pi * frequency * element.value * np.sqrt(first.value * second.value)
                matrix[branch[first.name], branch[second.name]] -= mutual
                matrix[branch[second.name], branch[first.name]] -= mutual
        found = np.linalg.solve(matrix, right)
        for number, (a, b) in enumerate(ports):
            result[number, column] = sum(s * found[row[n]] for n, s in ((a, 1), (b, -1)) if n != "0")
    return result


def _law(matrix, right, element, at, s, driven):
    """Row of v - z i = e, or of the law that an element has instead."""
    kind, value = element.kind, element.value
    if kind == "current_source":
        matrix[at, :] = 0
        matrix[at, at], right[at] = 1, -1.0 if driven else 0.0  # it flows out of the first node, into the circuit
    elif kind == "voltage_source":
        right[at] = 1.0 if driven else 0.0
    elif kind == "capacitor":
        matrix[at, :] *= s * value
        matrix[at, at] -= 1
    elif kind == "conductance":
        matrix[at, :] *= value
        matrix[at, at] -= 1
    elif kind == "coupled":
        matrix[at : at + 2, at : at + 2] -= value(np.array([s.imag / (2 * np.pi)]))[0]
    else:
        impedance = {"resistor": lambda: value, "inductor": lambda: s * value}.get(kind)
        matrix[at, at] -= impedance() if impedance else value(np.array([s.imag / (2 * np.pi)]))[0]
