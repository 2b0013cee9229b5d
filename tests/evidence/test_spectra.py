"""The trapezoid's harmonics and their envelope.

Source: C. R. Paul, Introduction to Electromagnetic Compatibility, ch. 3 (one-sided harmonic
2 A (tau / T) |sinc(n tau / T)| |sinc(n tr / T)|, corners 1 / (pi tau) and 1 / (pi tr), slopes 0, -20, -40 dB a decade;
the corners as quoted on the si-list, 2003). The figures for 1 V, 10 MHz, 50 %, 20 ns are computed from that formula.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.network.shapes import trapezoid
from filterlib.units import decibels

PERIOD, WIDTH, RISE = 100e-9, 50e-9, 20e-9


def _envelope(frequency, amplitude=1.0):
    """The straight lines of the Bode-like plot."""
    flat = 2 * amplitude * WIDTH / PERIOD
    return flat * np.minimum(1, 1 / (np.pi * WIDTH * frequency)) * np.minimum(1, 1 / (np.pi * RISE * frequency))


@pytest.fixture(scope="module")
def harmonics():
    return 2 * np.abs(trapezoid(PERIOD, 1.0, WIDTH / PERIOD, RISE, RISE).coefficients(400))


@pytest.mark.parametrize(
    ("n", "volts", "level", "envelope_level"),
    [  # published Paul, ch. 3, evaluated: V, dBuV, dBuV of the envelope
        (1, 0.59555, 115.50, 116.08),
        (3, 0.10707, 100.59, 101.03),
        (7, 0.019666, 85.87, 86.31),
        (11, 0.004922, 73.84, 78.46),
    ],
)
def test_harmonics_of_the_trapezoid(harmonics, n, volts, level, envelope_level):
    assert harmonics[n] == pytest.approx(volts, rel=1e-4, abs=0)
    assert decibels(harmonics[n] / 1e-6) == pytest.approx(level, rel=0.005 / level, abs=0)
    assert decibels(_envelope(n / PERIOD) / 1e-6) == pytest.approx(envelope_level, rel=0.0051 / envelope_level, abs=0)


def test_even_harmonics_and_the_fifth_vanish(harmonics):
    assert_allclose(harmonics[2:400:2], 0, rtol=0, atol=1e-15)  # published: sinc(n / 2); scale 1 V
    assert_allclose(harmonics[5:400:5], 0, rtol=0, atol=1e-15)  # published: sinc(n / 5); scale 1 V


def test_first_envelope_value(harmonics):
    assert _envelope(1 / PERIOD) == pytest.approx(0.63662, rel=1e-5, abs=0)  # published Paul, ch. 3, evaluated


def test_corners_of_the_envelope():
    assert 1 / (np.pi * WIDTH) == pytest.approx(6.366e6, rel=1e-4, abs=0)  # published Paul, ch. 3
    assert 1 / (np.pi * RISE) == pytest.approx(15.915e6, rel=1e-4, abs=0)  # published Paul, ch. 3


@pytest.mark.parametrize(("duty", "rise"), [(0.5, 0.2), (0.37, 0.013), (0.11, 0.05), (0.7, 1e-4)])
def test_every_harmonic_against_the_closed_formula_and_under_the_envelope(duty, rise):
    n = np.arange(1, 2001)
    found = 2 * np.abs(trapezoid(PERIOD, 3.0, duty, rise * PERIOD, rise * PERIOD).coefficients(2000))[1:]
    formula = 2 * 3.0 * duty * np.abs(np.sinc(n * duty) * np.sinc(n * rise))  # published Paul, ch. 3
    assert_allclose(found, formula, rtol=0, atol=1e-13)
    bound = 6.0 * duty * np.minimum(1, 1 / (np.pi * n * duty)) * np.minimum(1, 1 / (np.pi * n * rise))
    assert np.all(found <= bound * (1 + 1e-12) + 1e-14)


def test_slope_beyond_the_second_corner_is_40_db_a_decade():
    wave = trapezoid(PERIOD, 1.0, 0.37, 0.013 * PERIOD, 0.013 * PERIOD)
    sizes = 2 * np.abs(wave.coefficients(10_000))
    tops = [sizes[first : 2 * first].max() for first in (500, 5000)]
    assert decibels(tops[0] / tops[1]) == pytest.approx(40, rel=0.01, abs=0)  # published Paul, ch. 3
