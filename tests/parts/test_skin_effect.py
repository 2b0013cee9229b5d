"""Skin effect of a round wire: against Bessel functions, by hand, and its ladder against itself."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ive

from filterlib.network.circuit import Circuit
from filterlib.parts.skin_effect import internal_impedance
from filterlib.parts.wire import MU_0, WirePair, resistance_per_metre, skin_depth, skin_ladder

RADIUS = np.sqrt(0.75e-6 / np.pi)
R, L = resistance_per_metre(0.75e-6), MU_0 / (8 * np.pi)


def test_the_fraction_is_the_ratio_of_bessel_functions():
    """second method: R z I0(z) / (2 I1(z)) by scipy, z = (1 + j) radius / skin depth."""
    f = np.geomspace(1, 1e9, 300)
    z = (1 + 1j) * RADIUS / skin_depth(f)
    assert_allclose(internal_impedance(f, R, L), R * z * ive(0, z) / (2 * ive(1, z)), rtol=2e-3, atol=0)


def test_both_ends_by_hand():
    """hand: direct current sees R, low frequencies L; far up the current fills a tube of one skin depth."""
    low, high = internal_impedance([0.0, 10.0], R, L), internal_impedance([1e9], R, L)[0]
    assert low[0] == R
    assert low[1].imag == pytest.approx(2 * np.pi * 10 * L, rel=1e-6, abs=0)
    tube = 1.7241e-8 / (2 * np.pi * RADIUS * skin_depth(1e9))
    assert high.real == pytest.approx(tube, rel=1e-2, abs=0)
    assert high.imag == pytest.approx(tube, rel=1e-2, abs=0)


def test_a_wire_of_075_mm2_at_180_khz_and_1_mhz():
    """second method: 1.8 and 4 times its resistance of direct current."""
    ratios = internal_impedance([180e3, 1e6], R, L).real / R
    assert_allclose(ratios, [1.8, 4.0], rtol=0.03, atol=0)


def test_the_ladder_is_the_same_to_some_eight_skin_depths():
    f = np.geomspace(1e3, 1e6, 40)
    circuit = Circuit().immittance(
        "w", "a", "0", lambda f: internal_impedance(f, R, L), ladder=lambda: skin_ladder(R, L)
    )
    both = circuit.resistor("far", "a", "b", 1.0).resistor("end", "b", "0", 1.0)
    poles = both.poles()
    assert np.all(poles.real < 0)
    assert_allclose(poles.imag, 0, rtol=0, atol=1e-6 * np.abs(poles).max())  # nothing in it rings
    wire = Circuit()
    for element in skin_ladder(R, L).elements:
        nodes = [{"b": "0"}.get(node, node) for node in element.nodes]
        getattr(wire, element.kind)(element.name, *nodes, element.value)
    assert_allclose(wire.impedance(f, "a"), internal_impedance(f, R, L), rtol=4e-3, atol=0)


def test_a_pair_rings_less_for_its_skin():
    """A pair and a capacitor: the pole's damping is the resistance at its own frequency, not that of direct current."""
    pair = WirePair(length="2 m", cross_section="0.75 mm2", spacing="3 mm")
    circuit = pair.add(Circuit(), "W", ("a", "b"), ("0", "c")).resistor("source", "a", "0", 1e-6)
    poles = circuit.capacitor("c", "b", "c", 200e-9).poles()
    ringing = poles[np.argmax(poles.imag)]
    frequency = ringing.imag / (2 * np.pi)
    ohms = 2 * internal_impedance([frequency], pair.resistance(), pair.internal_inductance)[0]
    henries = pair.loop_inductance - 2 * pair.internal_inductance + ohms.imag / ringing.imag
    assert -ringing.real == pytest.approx(ohms.real / (2 * henries), rel=0.1, abs=0)  # hand: R/2L of a series circuit
    assert ohms.real > 2 * 2 * pair.resistance()
