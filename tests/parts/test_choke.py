"""The differential choke: saturation, resonance, copper."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.network.circuit import Circuit
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.wound import saturated


def choke(**changes):
    stated = {"inductance": "10 µH", "saturation_current": "6 A", "rated_current": "5 A", "dc_resistance": "20 mΩ"}
    return DifferentialChoke(**stated | {"self_resonance": "20 MHz", "parallel_resistance": "3 kΩ"} | changes)


@pytest.mark.parametrize("saturation", ["soft", "hard"])
def test_the_inductance_falls_to_the_stated_ratio_at_the_stated_current_of_either_sign(saturation):
    part = choke(saturation=saturation, saturation_ratio=0.8)
    assert part.inductance_at(0.0) == pytest.approx(10e-6, rel=1e-12, abs=0)
    assert part.inductance_at(6.0) == pytest.approx(8e-6, rel=1e-12, abs=0)  # hand
    assert part.inductance_at(-6.0) == pytest.approx(8e-6, rel=1e-12, abs=0)  # hand
    assert np.all(np.diff(part.inductance_at(np.linspace(0.1, 12, 100)[:, None])[:, 0]) < 0)


def test_soft_falls_early_and_hard_is_flat_then_steep():
    # hand: 1/(1 + 0.25 * 3/7) and 1/(1 + 4 * 3/7); 1/(1 + 2**-10 * 3/7) and 1/(1 + 2**10 * 3/7)
    assert saturated(0.5, 1.0, 0.7, "soft") == pytest.approx(0.90323, rel=1e-5, abs=0)
    assert saturated(2.0, 1.0, 0.7, "soft") == pytest.approx(0.36842, rel=1e-4, abs=0)
    assert saturated(0.5, 1.0, 0.7, "hard") == pytest.approx(0.99958, rel=1e-5, abs=0)
    assert saturated(2.0, 1.0, 0.7, "hard") == pytest.approx(0.0022735, rel=1e-4, abs=0)


def test_a_direct_current_sees_the_copper_at_its_temperature():
    assert_allclose(choke().impedance([0.0]), [20e-3], rtol=1e-12, atol=0)
    hot = choke().impedance([0.0], temperature=393.15)[0]
    assert hot == pytest.approx(20e-3 * 1.393, rel=1e-12, abs=0)  # hand: 0.393 %/K over 100 K


def test_at_the_self_resonance_the_parallel_resistance_is_left():
    z = choke().impedance([20e6])[0]
    assert z == pytest.approx(3000 + 20e-3, rel=1e-9, abs=0)  # hand
    assert choke().capacitance == pytest.approx(6.33257e-12, rel=1e-5, abs=0)  # hand: 1/((2 pi 20 MHz)^2 10 uH)


def test_a_winding_without_loss_is_open_at_its_self_resonance():
    part = choke(inductance="2.2 µH", self_resonance=1000.0, parallel_resistance=None)
    z = part.impedance([999.0, 1000.0, 1001.0])
    assert np.isinf(z[1].real)
    assert np.all(np.isfinite(z[[0, 2]]))
    circuit = part.add(Circuit(), "L1", "in", "out").voltage_source("V", "in", "0").resistor("R", "out", "0", 50.0)
    assert abs(circuit.transfer([1000.0], "V", "out")[0]) < 1e-9  # hand: nothing passes what is open


def test_the_winding_capacitance_stays_when_the_inductance_saturates():
    part = choke(parallel_resistance=None)
    f = np.array([1e9])
    assert part.impedance(f, current=9.0)[0].imag == pytest.approx(
        -1 / (2 * np.pi * 1e9 * part.capacitance), rel=0.01, abs=0
    )


def test_arrays_of_designs_and_of_currents():
    part = choke(inductance=np.array([[8e-6], [12e-6]]))
    z = part.impedance([1e4, 1e5], current=np.array([[0.0], [6.0]]))
    assert z.shape == (2, 2)
    assert z[0, 0].imag == pytest.approx(2 * np.pi * 1e4 * 8e-6, rel=1e-4, abs=0)  # hand
    assert z[1, 0].imag == pytest.approx(2 * np.pi * 1e4 * 8.4e-6, rel=1e-4, abs=0)  # hand


def test_it_adds_itself_as_one_element_with_a_ladder():
    circuit = choke().add(Circuit(), "L1", "a", "b", current=3.0)
    (element,) = circuit.elements
    assert (element.kind, element.name, element.nodes) == ("immittance", "L1", ("a", "b"))
    assert {e.kind for e in element.ladder.elements} == {"resistor", "inductor", "capacitor"}


def test_a_parts_list_shows_what_matters():
    assert choke().describe()["saturation"] == "soft, 70 % left at 6 A"
