"""Rise times of oscilloscopes: worked examples of D. A. Bell, Solid State Pulse Circuits, as printed."""

import numpy as np
import pytest

from filterlib.bench.capture.rise_time import bandwidth_of, observed_rise_time, rc_rise_time, rise_time
from filterlib.network.circuit import Circuit


def test_amplifier_of_350_kHz():
    assert rise_time(350e3) == pytest.approx(1e-6, rel=5e-3, abs=0)  # published Bell
    assert float(observed_rise_time(10e-6, 1e-6)) == pytest.approx(10.05e-6, rel=5e-4, abs=0)  # published Bell


def test_scope_three_times_as_fast_as_the_edge():
    assert bandwidth_of(100e-9 / 3) == pytest.approx(10.5e6, rel=5e-3, abs=0)  # published Bell
    assert float(observed_rise_time(100e-9, 100e-9 / 3)) == pytest.approx(105e-9, rel=5e-3, abs=0)  # published Bell


@pytest.mark.parametrize(("ohms", "farads", "seconds"), [(600, 30e-12, 39.6e-9), (39e3, 500e-12, 42.9e-6)])
def test_resistance_and_capacitance(ohms, farads, seconds):
    assert rc_rise_time(ohms, farads) == pytest.approx(seconds, rel=1e-3, abs=0)  # published Bell


def test_limit_of_20_MHz():
    assert rise_time(20e6) == pytest.approx(17.5e-9, rel=1e-9, abs=0)  # hand: 0.35 / 20 MHz


def test_a_single_pole_by_its_step():
    """Second method: the step of R and C, from 10 to 90 %, against both rules."""
    ohms, farads = 600.0, 30e-12
    circuit = Circuit().voltage_source("in", "a", "0").resistor("R", "a", "b", ohms).capacitor("C", "b", "0", farads)
    times = np.linspace(0, 10 * ohms * farads, 20_001)
    step = circuit.step_response(times, "in", "b")
    took = np.interp(0.9, step, times) - np.interp(0.1, step, times)
    assert took == pytest.approx(rc_rise_time(ohms, farads), rel=2e-3, abs=0)
    assert took == pytest.approx(rise_time(1 / (2 * np.pi * ohms * farads)), rel=2e-3, abs=0)
