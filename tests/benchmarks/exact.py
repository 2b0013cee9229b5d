"""`python -m tests.benchmarks.exact`: random circuits of values over 18 decades, solved once more with 80 digits.

Every answer of the engine is within `WITHIN` of the exact one, or it is refused with an error; none is missing. The exact solution is
nodal analysis of the same elements in mpmath, which shares nothing with the engine but the circuit.
"""

import argparse
import random
import sys
from collections import Counter

import mpmath
import numpy as np

from filterlib import Circuit
from filterlib.errors import FilterlibError

WITHIN = 1e-9
DIGITS = 80
DECADES = {"resistor": (-6, 12), "capacitor": (-15, 3), "inductor": (-15, 3)}  # ohm, F, H
FREQUENCIES = (1.0, 1e3, 1e6)  # [Hz]


def random_circuit(number, most_nodes=60):
    """A connected circuit, fed by a source of 1 V at node n1: elements (kind, a, b, value), and its nodes."""
    chance = random.Random(number)
    nodes = ["0", *(f"n{n}" for n in range(1, chance.randint(3, most_nodes) + 1))]
    pairs = [(nodes[n], nodes[chance.randrange(max(0, n - 4), n)]) for n in range(1, len(nodes))]
    pairs += [tuple(chance.sample(nodes, 2)) for _ in range(chance.randint(2, len(nodes)))]
    ends = Counter(node for pair in pairs for node in pair)
    pairs += [
        (node, "0" if node != "0" else "n2") for node in nodes if ends[node] == 1
    ]  # a node with one element is refused
    elements = []
    for a, b in pairs:
        kind = chance.choice(("resistor", "resistor", "capacitor", "inductor"))
        elements.append((kind, a, b, 10 ** chance.uniform(*DECADES[kind])))
    return elements, nodes


def answers(elements, nodes):
    """The engine's voltages (nodes, f) at every node but the reference and the fed one."""
    circuit = Circuit().voltage_source("source", "n1", "0")
    for number, (kind, a, b, value) in enumerate(elements):
        getattr(circuit, kind)(f"e{number}", a, b, value)
    return np.array(circuit.transfer(np.array(FREQUENCIES), "source", nodes[2:]))


def exact(elements, nodes, frequency):
    """The same with 80 digits."""
    at = {node: place for place, node in enumerate(nodes[2:])}
    with mpmath.workdps(DIGITS):
        matrix, right = mpmath.zeros(len(at)), mpmath.zeros(len(at), 1)
        s = 2j * mpmath.pi * mpmath.mpf(frequency)
        for kind, a, b, value in elements:
            value = mpmath.mpf(value)
            y = {"resistor": 1 / value, "capacitor": s * value, "inductor": 1 / (s * value)}[kind]
            for one, other in ((a, b), (b, a)):
                if one in at:
                    matrix[at[one], at[one]] += y
                    if other in at:
                        matrix[at[one], at[other]] -= y
                    elif other == "n1":
                        right[at[one]] += y
        return np.array([complex(one) for one in mpmath.lu_solve(matrix, right)])


def miss(number, most_nodes=60):
    """The worst relative error of a circuit's answers; None where the engine refuses it."""
    elements, nodes = random_circuit(number, most_nodes)
    try:
        found = answers(elements, nodes)
    except FilterlibError as error:
        print(f"circuit {number}: {error}")
        return None
    assert found.shape == (len(nodes) - 2, len(FREQUENCIES))
    assert np.isfinite(found).all()
    true = np.array([exact(elements, nodes, frequency) for frequency in FREQUENCIES]).T
    return float(np.max(np.abs(found - true) / np.maximum(np.abs(true), np.finfo(float).tiny)))


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.exact")
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    chosen = parser.parse_args()
    tally, worst = Counter(), 0.0
    for number in range(chosen.first, chosen.first + chosen.count):
        off = miss(number)
        tally["refused" if off is None else "within" if off <= WITHIN else "off"] += 1
        worst = max(worst, off or 0.0)
        if off is not None and off > WITHIN:
            print(f"circuit {number}: off by {off:.2g}", flush=True)
    print(f"{dict(tally)}, worst {worst:.2g}")
    sys.exit(tally["off"] > 0)


if __name__ == "__main__":
    main()
