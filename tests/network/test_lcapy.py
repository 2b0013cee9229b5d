"""second method: the same circuits through lcapy's computer algebra, at rational s, compared in high precision."""

from fractions import Fraction

import numpy as np
import pytest

from filterlib import Circuit, Current
from filterlib.network.symbolic import evaluate

VALUES = [Fraction(n, d) for n, d in ((1, 3), (2, 1), (5, 7), (11, 4), (3, 100), (7, 2), (13, 5), (1, 9))]


def random_rational(seed):
    """A source, a chain of up to 7 nodes, and elements across it; every value a small fraction."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 8))
    nodes = ["0", *(f"n{i}" for i in range(1, count + 1))]
    circuit = Circuit().voltage_source("V", "n1", "0")
    pairs = [(nodes[i], nodes[int(rng.integers(0, i))]) for i in range(1, count + 1)]
    pairs += [(str(a), str(b)) for a, b in (rng.choice(nodes, 2, replace=False) for _ in range(count))]
    pairs += [(node, "0") for node in nodes[2:] if sum(node in pair for pair in pairs) < 2]
    for number, (a, b) in enumerate(pairs):
        kind = ("resistor", "capacitor", "inductor", "conductance")[int(rng.integers(4))]
        getattr(circuit, kind)(f"e{number}", a, b, float(VALUES[int(rng.integers(len(VALUES)))]))
    return circuit, nodes[-1]


@pytest.mark.parametrize("seed", range(20))
def test_random_circuits(seed):
    """Poles leave no room for error in H but cancellation: compared to 1e-9 of |H|, or of 1 where H is small by that."""
    circuit, last = random_rational(seed)
    f = np.array([0.05, 1.0])
    for output in (last, Current("e0")):
        ours = circuit.transfer(f, "V", output)
        theirs = evaluate(circuit, [2j * np.pi * x for x in f], "V", output)
        for mine, exact in zip(ours, theirs, strict=True):
            assert abs(mine - complex(exact)) <= 1e-9 * max(abs(complex(exact)), 1e-3)


def test_coupled_inductors():
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 2.0).inductor("L", "b", "0", 4.0)
    circuit.inductor("M", "c", "0", 9.0).couple("k", "L", "M", 0.5).resistor("S", "c", "0", 3.0)
    (exact,) = evaluate(circuit, [2j * np.pi * 0.3], "V", "c")
    assert abs(circuit.transfer([0.3], "V", "c")[0] - complex(exact)) < 1e-12 * abs(complex(exact))


@pytest.mark.parametrize("sections", [1, 2, 3, 5])
def test_ladder_against_the_written_formula(sections):
    """hand: each L-C section multiplies the chain matrix [[1, sL], [0, 1]] [[1, 0], [sC, 1]]; H = 1 / A with an open end."""
    henries, farads = 10e-6, 1e-6
    circuit = Circuit().voltage_source("V", "n0", "0")
    for i in range(sections):
        circuit.inductor(f"L{i}", f"n{i}", f"n{i + 1}", henries).capacitor(f"C{i}", f"n{i + 1}", "0", farads)
    f = np.logspace(3, 8, 50)
    for at, ours in zip(f, circuit.transfer(f, "V", f"n{sections}"), strict=True):
        s = 2j * np.pi * at
        one = np.array([[1 + s * henries * s * farads, s * henries], [s * farads, 1]])
        chain = np.linalg.matrix_power(one, sections)
        assert abs(ours - 1 / chain[0, 0]) < 1e-9 * abs(ours)
