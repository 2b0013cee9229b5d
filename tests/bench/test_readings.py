"""Two readings of the same terminals: what is said of them before any fit."""

import numpy as np
import pytest

from filterlib.bench.readings import Readings, Setup
from filterlib.system.inside.converter import Arrangement, Converter, FixtureCapacitor

USUAL = Converter(name="made up", output_voltage=28, switching_frequency=180e3, ripple={"peak_to_peak": 0.1})
ORDERS = np.arange(1, 6)


def setup(**test):
    return Setup(
        USUAL,
        FixtureCapacitor(**{"capacitance": 10e-6, "esr": 5e-3, "esl": 8e-9} | test),
        Arrangement(),
        3.8,
        1e-3,
        1e-3,
    )


def test_resonance_of_the_test_capacitor():
    """hand: 10 µF and 8 nH."""
    assert setup().resonance == pytest.approx(562.7e3, rel=1e-4, abs=0)
    assert setup(esl=0.0).resonance == np.inf


def test_the_strongest_harmonic_does_not_outvote_the_others_on_the_delay():
    """hand: one of five phases is 0.3 rad off; with equal votes the delay moves by sum(k e_k) / sum(k^2) = 0.3 / 55."""
    bare, ratio = np.array([1.0, 0.02, 0.02, 0.02, 0.02]) + 0j, np.full(5, 2.0 + 0.5j)
    for delay in (0.7, 3.0):
        loaded = bare / ratio * np.exp(-1j * ORDERS * delay)
        loaded[0] *= np.exp(-0.3j)
        readings = Readings(setup(), ORDERS, 180e3 * ORDERS, bare, np.full(5, 1e-5), loaded, np.full(5, 1e-5))
        _, found = readings.delays(ratio[None, :])
        assert found[0] == pytest.approx(delay, rel=0, abs=0.006 + 2 * np.pi / 1024)
        np.testing.assert_allclose(readings.late({"delay": delay})[1:], (bare / ratio)[1:], rtol=1e-9, atol=0)
