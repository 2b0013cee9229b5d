"""Circuits of one structure as one circuit of many designs."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib.errors import CircuitError
from filterlib.network.batch import Together, alike, together
from filterlib.network.circuit import Circuit

VALUES = st.floats(1e-3, 1e3)


def low_pass(ohms: float, farads: float = 1e-6) -> Circuit:
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", ohms)
    return circuit.capacitor("C", "b", "0", farads)


def lossy(ohms: float) -> Circuit:
    circuit = Circuit().voltage_source("V", "a", "0").immittance("Z", "a", "b", lambda f: ohms + 0j * f)
    return circuit.resistor("load", "b", "0", 1.0)


def windings(henries: float) -> Circuit:
    matrix = np.array([[1.0, 0.9], [0.9, 1.0]])
    circuit = Circuit().voltage_source("V", "a", "0")
    circuit.coupled("T", ("a", "b"), ("c", "0"), lambda f: 2j * np.pi * f[:, None, None] * henries * matrix)
    return circuit.resistor("load", "b", "0", 1.0).resistor("other", "c", "0", 2.0)


@settings(deadline=None, max_examples=25)
@given(ohms=st.lists(VALUES, min_size=1, max_size=5))
@pytest.mark.parametrize(("make", "output"), [(low_pass, "b"), (lossy, "b"), (windings, "c")])
def test_each_design_is_what_its_own_circuit_is(make, output, ohms):
    """second method: each circuit solved by itself."""
    circuits = [make(value) for value in ohms]
    frequencies = np.array([10.0, 1e3, 1e5])
    whole = np.atleast_2d(together(circuits).transfer(frequencies, "V", output))
    for row, circuit in zip(np.broadcast_to(whole, (len(circuits), 3)), circuits, strict=True):
        np.testing.assert_allclose(row, circuit.transfer(frequencies, "V", output), rtol=1e-11, atol=0)


def test_what_is_alike_stays_a_number():
    whole = together([low_pass(1.0), low_pass(2.0)])
    values = {element.name: element.value for element in whole.elements}
    assert np.shape(values["R"]) == (2, 1)
    assert np.ndim(values["C"]) == 0


def damped(ohms: float, farads: float) -> Circuit:
    return low_pass(ohms).resistor("D", "b", "d", 2.0).capacitor("E", "d", "0", farads)


def coupled(k: float | None) -> Circuit:
    circuit = low_pass(1.0).immittance("Z", "b", "z", lambda f: 0.1 + 0j * f).inductor("L", "z", "0", 1e-6)
    circuit.immittance("Y", "b", "y", lambda f: 0.2 + 0j * f).inductor("M", "y", "0", 2e-6)
    return circuit if k is None else circuit.couple("k", "L", "M", k)


@pytest.mark.parametrize(
    "circuits",
    [
        [low_pass(1.0), damped(2.0, 1e-6), low_pass(3.0).conductance("G", "b", "0", 0.5), low_pass(1.0, 3e-6)],
        [damped(2.0, 1e-6), low_pass(1.0), damped(1.0, 0.0)],
        [coupled(0.3), coupled(None), low_pass(2.0), coupled(0.1).capacitor("W", "a", "b", 1e-8)],
    ],
)
def test_what_some_lack_is_open_there(circuits):
    """second method: each circuit solved by itself."""
    assert alike(circuits) == [list(range(len(circuits)))]
    frequencies = np.array([0.0, 10.0, 1e3, 1e5, 1e7])
    whole = together(circuits).transfer(frequencies, "V", "b")
    for row, circuit in zip(whole, circuits, strict=True):
        np.testing.assert_allclose(row, circuit.transfer(frequencies, "V", "b"), rtol=1e-11, atol=0)


@pytest.mark.parametrize(
    "other",
    [
        low_pass(1.0).inductor("L", "b", "0", 1e-6),
        low_pass(1.0).resistor("R1", "b", "x", 1.0).resistor("R2", "x", "0", 1.0),
        low_pass(1.0).capacitor("C1", "b", "x", 1e-6).capacitor("C2", "x", "0", 1e-6),
        low_pass(1.0).voltage_source("J", "b", "x").capacitor("C1", "x", "0", 1e-6),
        low_pass(1.0)
        .coupled("T", ("b", "x"), ("x", "y"), lambda f: np.eye(2) + 0j * f[:, None, None])
        .capacitor("C1", "y", "0", 1e-6),
        Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1.0).capacitor("C", "b", "a", 1e-6),
    ],
    ids=["across", "across in two pieces", "a node that nothing would hold", "a source", "a pair", "elsewhere"],
)
def test_what_cannot_be_open_makes_another_group(other):
    """hand."""
    assert alike([low_pass(2.0), other]) == [[0], [1]]


def test_other_structures_are_other_groups():
    other = low_pass(1.0).resistor("more", "b", "0", 5.0)
    assert alike([low_pass(1.0), other, low_pass(2.0)]) == [[0, 2], [1]]
    with pytest.raises(CircuitError, match="more than values"):
        together([low_pass(1.0), other])


def test_circuits_of_several_designs_are_refused():
    many = low_pass(np.array([[1.0], [2.0]]))
    with pytest.raises(CircuitError, match="several designs"):
        together([many, many])


def test_an_impedance_that_all_share_is_asked_once():
    calls = []

    def impedance(frequencies):
        calls.append(len(frequencies))
        return np.ones(len(frequencies), complex)

    found = Together([impedance, impedance, impedance])(np.array([1.0, 2.0]))
    assert found.shape == (3, 2)
    assert calls == [2]
