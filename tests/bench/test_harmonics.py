"""Harmonics of a recording against closed forms, and the noise under them."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.bench.capture.harmonics import CLEAR, harmonics
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording
from filterlib.errors import FilterlibError
from tests.bench.waves import FREQUENCY, INTERVAL, PERIOD, from_events, steady


def of_triangle(order, volts, duty=0.4):
    """Amplitude [V] of a harmonic of a triangle: hand, its second derivative is two pulses."""
    return volts * np.abs(np.sin(np.pi * order * duty)) / (np.pi**2 * order**2 * duty * (1 - duty))


def test_the_amplitudes_are_those_of_the_triangle():
    held = harmonics(measure(steady(noise=1e-4)))
    assert_allclose(held.frequencies[:4], FREQUENCY * np.arange(1, 5), rtol=1e-5, atol=0)  # hand
    assert_allclose(held.amplitudes[:4], of_triangle(np.arange(1, 5), 0.1), rtol=2e-3, atol=0)  # hand


def test_the_noise_under_a_harmonic_is_what_a_mean_of_white_noise_leaves():
    """hand: of N samples of deviation s, a coefficient keeps s / sqrt(N), at any frequency."""
    taken = steady(count=400, noise=2e-3)
    found = measure(taken)
    held = harmonics(found)
    expected = 2e-3 / np.sqrt(found.average.periods * PERIOD / INTERVAL)
    assert_allclose(held.noise[:200], expected, rtol=0.15, atol=0)
    high = np.abs(
        held.coefficients[300:]
    )  # the triangle has 0.3 µV there, a tenth of the noise: measured, its mean square
    assert np.sqrt(np.mean(high**2)) == pytest.approx(expected, rel=0.15, abs=0)


def test_only_what_stands_above_the_noise_is_clear():
    """hand: 0.1 V at a duty of 0.4 has no fifth harmonic; the noise hides what is below four times its share."""
    held = harmonics(measure(steady(count=400, noise=2e-3)))
    amplitude, noise = of_triangle(held.orders, 0.1), 2 * float(np.median(held.noise))
    sure, lost = amplitude > 2 * CLEAR * noise, amplitude < 0.3 * noise
    assert np.all(held.clear[sure])
    assert np.count_nonzero(held.clear[lost]) <= 0.01 * np.count_nonzero(lost)
    assert not held.clear[4]
    assert held.orders[held.strongest(3)].tolist() == [1, 2, 3]


def test_the_bandwidth_of_the_recording_ends_the_list():
    taken = steady(noise=1e-4)
    limited = Recording(taken.volts, taken.sample_interval, bandwidth=20e6)
    assert harmonics(measure(limited)).orders[-1] == 111  # hand: 20 MHz / 180 kHz
    assert harmonics(measure(taken)).orders[-1] == 555  # hand: 0.4 x 250 MHz / 180 kHz


def test_without_a_single_period_there_are_none():
    kept = np.random.default_rng(3).random(400) > 0.15
    with pytest.raises(FilterlibError, match="skipped"):
        harmonics(measure(from_events(np.flatnonzero(kept) * PERIOD, noise=0.002)))
