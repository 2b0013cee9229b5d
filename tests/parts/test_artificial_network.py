"""Artificial networks: arguments, ends of the range, and the circuit that they make."""

import numpy as np
import pytest

from filterlib.errors import FilterlibError, QuantityError
from filterlib.network.circuit import Circuit
from filterlib.parts.artificial_network import NETWORKS, artificial_network, network_impedance


def test_at_dc_only_the_resistance_towards_the_supply_is_left():
    """hand: 0 ohm, and 5 ohm beside 50 ohm, 4.545 ohm; with a coupling capacitor the 50 ohm take no part."""
    for name, ohms in (("50uH", 0.0), ("50uH+5ohm", 5 * 50 / 55), ("5uH", 0.0)):
        found = complex(NETWORKS[name].impedance(0.0)[0])
        assert found.real == pytest.approx(ohms, rel=1e-12, abs=1e-15)
    blocked = network_impedance(0.0, 50e-6, resistance=5.0, coupling=1e-7)
    assert blocked[0].real == pytest.approx(5.0, rel=1e-12, abs=0)


def test_far_above_the_receiver_is_left():
    """hand: 50 ohm; behind 0.1 µF with 1 kohm beside it 47.62 ohm."""
    assert abs(network_impedance(1e12, 50e-6)[0]) == pytest.approx(50.0, rel=1e-6, abs=0)
    assert abs(NETWORKS["5uH"].impedance(1e12)[0]) == pytest.approx(50 * 1000 / 1050, rel=1e-6, abs=0)


@pytest.mark.parametrize("name", NETWORKS)
def test_the_receiver_reads_what_the_divider_leaves(name):
    """hand: 50 ohm beside the bleeder, behind the coupling capacitor."""
    network, f = NETWORKS[name], np.geomspace(9e3, 1e8, 20)
    circuit = Circuit().voltage_source("V", "line", "0")
    port = network.add(circuit, "N", "line", "0")
    load = 1 / (1 / network.receiver + 1 / network.bleeder)
    series = 1 / (2j * np.pi * f * network.coupling) if np.isfinite(network.coupling) else 0.0
    np.testing.assert_allclose(circuit.transfer(f, "V", port), load / (load + series) * np.ones(20), rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"inductance": 0.0}, "inductance"),
        ({"inductance": 5e-6, "receiver": -50.0}, "receiver"),
        ({"inductance": np.nan}, "inductance"),
    ],
)
def test_bad_arguments_are_named(arguments, name):
    with pytest.raises(QuantityError) as caught:
        network_impedance([1e6], **arguments)
    assert caught.value.name == name


def test_a_negative_frequency_is_refused():
    with pytest.raises(QuantityError, match="frequencies"):
        network_impedance([-1.0], 50e-6)


def test_an_unknown_network_gets_the_nearest():
    with pytest.raises(FilterlibError, match='did you mean "50uH"'):
        artificial_network("50 uH")
