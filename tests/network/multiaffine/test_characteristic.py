"""Coefficients of the characteristic polynomial: beside computer algebra, and its roots beside a matrix written by hand."""

import numpy as np
import pytest
import sympy
from numpy.testing import assert_allclose

from filterlib import Circuit
from filterlib.errors import CircuitError
from filterlib.network.multiaffine.characteristic import characteristic
from tests.pencils import hand_roots, random_circuit


def _line():
    """A line of R and L into C beside a damping branch Rb-Cb, with a load of negative conductance G; a drive beside it."""
    made = Circuit().resistor("R", "0", "a", 40e-3).inductor("L", "a", "b", 100e-6).capacitor("C", "b", "0", 22e-6)
    made.resistor("Rb", "b", "d", 0.35).capacitor("Cb", "d", "0", 100e-6)
    return made.conductance("G", "b", "0", -0.3).current_source("I", "b", "0")


def test_every_coefficient_is_that_of_computer_algebra():
    """second method: the denominator of the impedance at the load, through lcapy and sympy."""
    line = _line()
    names = [element.name for element in line.elements if element.kind != "current_source"]
    expression = line.formula("I", "b").expression
    symbols = sorted(expression.free_symbols, key=str)
    _, below = sympy.fraction(sympy.together(expression))
    named = {str(symbol): symbol for symbol in symbols}
    terms = sympy.Poly(sympy.expand(below), *(named[name] for name in names), named["s"]).terms()
    found = characteristic(line.netlist, names).coefficients(1.0)
    values = np.array([line.netlist.find(name).value for name in names])
    one = next(powers for powers, _ in terms if sum(powers) == 0)
    scale = found[one] / float(dict(terms)[one])
    expected = np.zeros_like(found)
    for powers, number in terms:
        expected[powers] = float(number) * scale
    assert expected.shape == found.shape
    assert np.count_nonzero(expected) == len(terms) > 10
    rates = 2e4 ** np.arange(found.shape[-1])  # near the resonance: every term as large as it counts there
    weight = np.array([np.prod(values ** np.array(at[:-1])) * rates[at[-1]] for at in np.ndindex(found.shape)])
    weight = weight.reshape(found.shape)
    largest = np.abs(expected * weight).max()
    assert_allclose(found * weight, expected * weight, rtol=0, atol=1e-11 * largest)


@pytest.mark.parametrize("seed", range(12))
def test_roots_are_the_eigenvalues_of_a_matrix_written_by_hand(seed):
    """second method, at ten combinations of values, and the engine's poles at the nominal ones."""
    circuit, ranges = random_circuit(seed)
    whole = characteristic(circuit.netlist, list(ranges))
    rng = np.random.default_rng(seed)
    values = np.array([rng.uniform(*ends, 10) for ends in ranges.values()])
    ours = whole.factors(values.T).roots
    theirs = hand_roots(circuit, dict(zip(ranges, values, strict=True)), whole.shift)
    for mine, other in zip(ours, theirs, strict=True):
        mine, other = mine[~np.isnan(mine)], other[other.real > -1e29]
        assert len(mine) == len(other)
        near = np.abs(mine[:, None] - other).min(axis=1)
        assert_allclose(near / np.abs(mine), 0, rtol=0, atol=1e-7)
    poles = circuit.poles()
    nominal = whole.factors(whole.nominal[None]).roots[0]
    assert_allclose(np.abs(poles[:, None] - nominal).min(axis=1) / np.abs(poles), 0, rtol=0, atol=1e-7)


def test_values_on_the_way_are_between_those_of_the_ends():
    """law: affine in each element, so that half-way the polynomial is the mean of both ends'."""
    circuit, ranges = random_circuit(3)
    whole = characteristic(circuit.netlist, list(ranges))
    for place in range(len(ranges)):
        rows = np.repeat(whole.nominal[None], 3, axis=0)
        rows[:, place] *= [0.5, 1.0, 1.5]
        low, middle, high = whole.factors(rows).at(1j * whole.shift)
        assert_allclose(middle, (low + high) / 2, rtol=1e-10, atol=1e-10 * abs(low))


def test_coupled_inductors_are_as_in_the_engine():
    circuit = Circuit().inductor("L", "a", "0", 4e-3).inductor("M", "b", "0", 9e-3).couple("k", "L", "M", 0.9)
    circuit.capacitor("C", "a", "0", 1e-6).resistor("R", "b", "0", 3.0).resistor("S", "a", "0", 50.0)
    roots = characteristic(circuit.netlist, ["C", "R"]).factors(np.array([[1e-6, 3.0]])).roots[0]
    expected = circuit.poles()
    assert_allclose(np.sort_complex(roots[~np.isnan(roots)]), np.sort_complex(expected), rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("names", "words"),
    [(["X"], "X"), (["I"], "I: only R, C"), (["Z"], "Z: is 0"), ([f"R{n}" for n in range(15)], "15 elements")],
)
def test_what_cannot_be_uncertain_is_named(names, words):
    circuit = _line().resistor("Z", "b", "z", 0.0)
    with pytest.raises(CircuitError, match=words):
        characteristic(circuit.netlist, names)
