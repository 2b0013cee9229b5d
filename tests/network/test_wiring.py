"""What is added to, and opened, without being solved."""

import numpy as np
import pytest

from filterlib import Circuit, CircuitError
from filterlib.network.wiring import Wiring


def divider() -> Circuit:
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1.0).conductance("G", "b", "0", 1.0)
    circuit.immittance("Z", "b", "x", lambda f: 3.0 + 0j * f, Wiring().resistor("R", "a", "b", 3.0))
    return circuit.inductor("L", "x", "0", 0.0).capacitor("C", "b", "0", 1e-3)


@pytest.mark.parametrize(
    ("names", "gain"), [((), 3 / 7), (("Z",), 1 / 2), (("G",), 3 / 4), (("Z", "G", "C", "nobody"), 1.0)]
)
def test_what_is_open_carries_nothing(names, gain):
    """hand: a divider of 1 ohm and 1 S, with 3 ohm beside it."""
    circuit = divider()
    opened = circuit.opened(names)
    assert opened.netlist.structure == circuit.netlist.structure
    assert opened.transfer([0.0, 1e-6], "V", "b") == pytest.approx(gain, rel=1e-8, abs=0)
    assert circuit.transfer([0.0], "V", "b")[0] == pytest.approx(3 / 7, rel=1e-12, abs=0)  # as it was


def test_an_open_impedance_has_poles():
    """hand: R and G discharge C."""
    assert divider().opened(["Z"]).poles() == pytest.approx([-2e3], rel=1e-9, abs=0)


def test_what_cannot_be_open_is_refused():
    for name, words in (("R", "resistor"), ("L", "inductor"), ("V", "voltage source")):
        with pytest.raises(CircuitError, match=f"{name}: a {words} has no value with which it is open"):
            divider().opened([name])


def test_a_wiring_is_no_circuit_until_it_is_solved():
    wiring = Wiring().resistor("R", "a", "0", 2.0).copy().capacitor("C", "a", "0", 1e-6)
    assert not hasattr(wiring, "transfer")
    assert np.abs(Circuit.of(wiring.netlist).impedance([0.0], "a"))[0] == pytest.approx(2.0, rel=1e-12, abs=0)
