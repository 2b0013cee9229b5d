"""Core loss, heat and temperature of chokes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.wound import CORE, Steinmetz, temperature_rise

GEOMETRY = {"core_volume": "1150 mm3", "core_area": "23 mm2", "turns": 37}
LOSS = {"core_loss": "150 kW/m3", "core_loss_frequency": "100 kHz", "core_loss_flux": "50 mT"}
EXPONENTS = {"core_frequency_exponent": 1.45, "core_flux_exponent": 2.1}
CURVE = [["-40 °C", 0.8], ["25 °C", 1.0], ["105 °C", 1.1]]


def choke(**changes):
    stated = {"inductance": "47 µH", "saturation_current": "6 A", "rated_current": "5 A", "dc_resistance": "24 mΩ"}
    return DifferentialChoke(**stated | {"winding_capacitance": "9 pF"} | GEOMETRY | LOSS | EXPONENTS | changes)


def ring(**changes):
    stated = {"inductance": "1 mH", "leakage": "10 µH", "leakage_measured": "loop", "rated_current": "5 A"}
    stated |= {"saturation_current": "0.1 A", "dc_resistance": "14 mΩ", "relaxation_frequency": "1 MHz"}
    return CommonModeChoke(**stated | changes)


def triangle(duty, points=100_000):
    """dB/dt [T/s] of a triangle of 1 T peak to peak at 1 Hz, and its swing."""
    rising = int(duty * points)
    return np.concatenate([np.full(rising, 1 / duty), np.full(points - rising, -1 / (1 - duty))]), 1.0


@given(st.floats(1.0, 2.5), st.floats(1.5, 3.0), st.floats(1e3, 1e6), st.floats(1e-3, 0.5))
def test_under_a_sine_both_equations_agree(alpha, beta, frequency, flux):
    material = Steinmetz(3.0, alpha, beta)
    angle = 2 * np.pi * np.arange(4000) / 4000
    slopes = 2 * np.pi * frequency * flux * np.cos(angle)
    exact = material.sine(frequency, flux)
    # second method: the definition of the improved equation; the sum over equal steps is nearly exact
    assert material.waveform(slopes, 2 * flux) == pytest.approx(exact, rel=1e-5, abs=0)


def test_a_triangle_of_eddy_current_loss_makes_eight_over_pi_squared_of_the_sine():
    # hand: at alpha = beta = 2 the loss is that of a resistor: square against sine of the same flux
    material = Steinmetz(1.0, 2.0, 2.0)
    assert material.waveform(*triangle(0.5)) / material.sine(1.0, 0.5) == pytest.approx(8 / np.pi**2, rel=1e-9, abs=0)


@pytest.mark.parametrize("duty", [0.1, 0.25, 0.5, 0.8])
def test_a_skew_triangle_loses_as_its_duty_says(duty):
    # hand: the integral over the two straight lines is (D**(1 - alpha) + (1 - D)**(1 - alpha)) times a constant
    material = Steinmetz(1.0, 1.5, 2.6)
    ratio = material.waveform(*triangle(duty)) / material.waveform(*triangle(0.5))
    assert ratio == pytest.approx((duty**-0.5 + (1 - duty) ** -0.5) / (2 * 0.5**-0.5), rel=1e-9, abs=0)


def test_several_designs_at_once():
    slopes, swing = triangle(0.25)
    material = Steinmetz(2.0, 1.5, 2.5)
    many = material.waveform(np.stack([slopes, 2 * slopes]), np.array([[swing], [2 * swing]]))
    one = material.waveform(slopes, swing)
    assert_allclose(many, [[one], [2**2.5 * one]], rtol=1e-12, atol=0)  # hand: B**beta at one frequency


def test_the_stated_point_of_the_loss_is_on_the_curve():
    part = choke()
    assert part.steinmetz.sine(100e3, 50e-3) == pytest.approx(150e3, rel=1e-12, abs=0)  # hand
    # hand: a sine of 10 V at 100 kHz swings 2 * 10/(2 pi 100 kHz) V s; B = 18.703 mT peak; 150 kW/m3 * 0.37406**2.1
    volts = 10 * np.cos(2 * np.pi * np.arange(4000) / 4000)
    heat = part.core_heat(volts, 2 * 10 / (2 * np.pi * 100e3))
    assert heat == pytest.approx(150e3 * 1150e-9 * 0.374057**2.1, rel=1e-4, abs=0)


def test_a_core_without_data_has_no_figure_of_loss():
    part = choke(**dict.fromkeys(CORE))
    assert part.steinmetz is None
    assert np.isnan(part.core_heat(np.ones(4), 1.0))


@pytest.mark.parametrize("missing", CORE)
def test_a_core_is_stated_whole(missing):
    with pytest.raises(InputError, match="all of core_volume") as caught:
        choke(**{missing: None})
    assert [problem.key for problem in caught.value.problems] == [missing]


def test_copper_that_warms_warms_itself():
    assert temperature_rise(0.0, 2.0, 10.0) == pytest.approx(20.0, rel=1e-12, abs=0)  # hand
    # second method: the sum of the geometric series, step by step
    rise = 0.0
    for _ in range(200):
        rise = 30.0 * (1.0 * (1 + 0.00393 * rise) + 0.4)
    assert temperature_rise(1.0, 0.4, 30.0) == pytest.approx(rise, rel=1e-12, abs=0)
    hot = temperature_rise(1.0, 0.0, 30.0, 393.15)
    assert hot == pytest.approx(30 / (1 - 30 * 0.00393 / 1.393), rel=1e-12, abs=0)  # hand
    assert temperature_rise(1.0, 0.0, 300.0) == np.inf  # hand: 300 K/W * 0.393 %/K is more than 1 W/W
    assert_allclose(temperature_rise(np.array([[0.0], [9.0]]), 1.0, 30.0), [[30.0], [np.inf]], rtol=1e-12, atol=0)


def test_inductance_follows_its_curve_against_temperature():
    part = choke(temperature_curve=CURVE)
    assert part.inductance_at(0.0, 233.15) == pytest.approx(0.8 * 47e-6, rel=1e-12, abs=0)  # hand
    assert part.inductance_at(6.0, 378.15) == pytest.approx(1.1 * 0.7 * 47e-6, rel=1e-12, abs=0)  # hand
    assert choke().inductance_at(0.0, 233.15) == 47e-6
    assert part.beyond_curve(220.0) is True
    assert part.beyond_curve(298.0) is False
    assert choke().beyond_curve(220.0) is False


def test_the_core_of_a_common_mode_choke_follows_its_curve_and_its_leakage_does_not():
    part = ring(temperature_curve=CURVE)
    cold, warm = (part.magnetising_at(0.0, 0.0, t) for t in (233.15, 298.15))
    assert cold == pytest.approx(0.8 * (1e-3 - 5e-6), rel=1e-12, abs=0)  # hand
    assert warm == pytest.approx(1e-3 - 5e-6, rel=1e-12, abs=0)  # hand
    z = part.impedance([1e3], temperature=233.15)[0]
    assert z[0, 1].imag == pytest.approx(2 * np.pi * 1e3 * cold, rel=1e-5, abs=0)  # hand
    assert (z[0, 0] - z[0, 1]).imag == pytest.approx(2 * np.pi * 1e3 * 5e-6, rel=1e-5, abs=0)  # hand: the leakage


def test_the_impedance_of_a_choke_and_its_ladder_follow_the_curve():
    from filterlib.network.circuit import Circuit

    part = choke(temperature_curve=CURVE)
    circuit = part.add(Circuit(), "L", "a", "0", temperature=233.15)
    expected = 2 * np.pi * 1e3 * 0.8 * 47e-6  # hand, below resonance
    assert part.impedance([1e3], temperature=233.15)[0].imag == pytest.approx(expected, rel=1e-6, abs=0)
    assert circuit.impedance([1e3], "a")[0].imag == pytest.approx(expected, rel=1e-6, abs=0)
    assert circuit.laddered().impedance([1e3], "a")[0].imag == pytest.approx(expected, rel=1e-6, abs=0)


def test_only_current_that_does_not_return_makes_a_voltage_across_the_core():
    part, f = ring(imbalance=0.0), np.array([1e4])
    there = part.magnetising_at()
    back = part.core_voltage(f, np.array([1.0 + 0j]), np.array([-1.0 + 0j]), there)
    both = part.core_voltage(f, np.array([1.0 + 0j]), np.array([1.0 + 0j]), there)
    assert abs(back[0]) <= 1e-12 * abs(both[0])  # hand
    assert abs(both[0]) == pytest.approx(2 * 2 * np.pi * 1e4 * there, rel=1e-3, abs=0)  # hand: 2 A through L_m
