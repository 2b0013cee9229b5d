"""Laws of periodic waves: Parseval, shift, scaling, linearity, and lines against their own harmonics."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.network.waveform import Waveform

LEVEL = st.floats(-10, 10).map(lambda value: round(value, 6))


@st.composite
def waves(draw, period=None):
    """A wave of up to eight corners, with jumps and edges down to a billionth of the period."""
    count = draw(st.integers(1, 8))
    place = st.floats(0, 1).map(lambda time: round(time, 9)) | st.sampled_from([0.0, 0.25, 0.5, 0.5 + 1e-6, 1.0])
    times = sorted(draw(st.lists(place, min_size=count, max_size=count)))
    values = draw(st.lists(LEVEL, min_size=count, max_size=count))
    period = period or 10 ** draw(st.floats(-7, 2))
    return Waveform.lines(period, np.minimum(np.array(times) * period, period), values)


def _swing(wave):
    """Scale of the harmonics: the sum of all changes in a period."""
    return float(np.abs(wave.changes).sum()) + abs(float(wave.mean)) + 1e-300


@given(waves())
def test_parseval(wave):
    """The harmonics carry the mean square, but for a tail under (sum of changes / pi)^2 / (2 n)."""
    harmonics = 2000
    terms = wave.coefficients(harmonics)
    power = abs(terms[0]) ** 2 + 2 * np.sum(np.abs(terms[1:]) ** 2)
    missing = float(wave.rms) ** 2 - power
    scale = _swing(wave) ** 2
    assert -1e-13 * scale <= missing <= scale / (2 * np.pi**2 * harmonics) + 1e-13 * scale


@given(waves(), st.integers(1, 300))
def test_parseval_of_harmonics_is_exact(wave, harmonics):
    series = Waveform.from_coefficients(wave.period, wave.coefficients(harmonics))
    samples = series.samples(4 * harmonics)
    scale = _swing(wave)
    assert series.rms == pytest.approx(np.sqrt(np.mean(samples**2)), rel=1e-12, abs=1e-13 * scale)


@given(waves(), st.floats(-3, 3))
def test_time_shift_turns_the_phases(wave, turns):
    time = turns * wave.period
    expected = wave.coefficients(40) * np.exp(-2j * np.pi * np.arange(41) * turns)
    assert_allclose(wave.shifted(time).coefficients(40), expected, rtol=0, atol=1e-13 * _swing(wave))
    series = Waveform.from_coefficients(wave.period, wave.coefficients(40))
    assert_allclose(series.shifted(time).coefficients(40), expected, rtol=0, atol=1e-13 * _swing(wave))


@given(waves(), st.floats(-3, 3))
def test_time_shift_keeps_mean_rms_and_extremes(wave, turns):
    moved = wave.shifted(turns * wave.period)
    for name in ("mean", "rms", "peak_to_peak"):
        assert getattr(moved, name) == pytest.approx(float(getattr(wave, name)), rel=1e-12, abs=1e-13 * _swing(wave))


@given(waves(period=1.0), st.floats(1e-9, 1e3))
def test_time_scaling_keeps_the_coefficients(wave, period):
    """x(t / a) has the same harmonics, each at its own multiple of the new fundamental."""
    slow = Waveform.lines(period, np.minimum(wave.starts * period, period), wave.at(wave.starts))
    fast = Waveform.lines(1.0, wave.starts, wave.at(wave.starts))
    assert_allclose(slow.coefficients(30), fast.coefficients(30), rtol=0, atol=1e-13 * _swing(wave))


@given(waves(), st.floats(1e-6, 1e3) | st.floats(-1e3, -1e-6) | st.just(0.0))
def test_amplitude_scaling(wave, factor):
    scaled = wave * factor
    size = abs(factor)
    assert_allclose(scaled.coefficients(30), factor * wave.coefficients(30), rtol=0, atol=1e-15 * size * _swing(wave))
    assert scaled.rms == pytest.approx(size * float(wave.rms), rel=1e-12, abs=1e-14 * size * _swing(wave))
    assert scaled.peak_to_peak == pytest.approx(
        size * float(wave.peak_to_peak), rel=1e-12, abs=1e-14 * size * _swing(wave)
    )


@given(waves(period=1.0), waves(period=1.0))
def test_sums_add_values_and_coefficients(first, second):
    total = first + second
    scale = _swing(first) + _swing(second)
    times = np.linspace(0.013, 0.987, 29)
    assert_allclose(total.at(times), first.at(times) + second.at(times), rtol=0, atol=1e-14 * scale)
    assert_allclose(
        total.coefficients(30), first.coefficients(30) + second.coefficients(30), rtol=0, atol=1e-15 * scale
    )
    assert total.peak_to_peak <= first.peak_to_peak + second.peak_to_peak + 1e-13 * scale


@given(waves())
def test_peak_to_peak_bounds_every_sample_and_rms_about_the_mean(wave):
    samples = wave.samples(997)
    scale = 1e-13 * _swing(wave)
    assert np.ptp(samples) <= wave.peak_to_peak + scale
    assert np.sqrt(max(float(wave.rms**2 - wave.mean**2), 0)) <= wave.peak_to_peak + 1e-6 * _swing(wave)


@settings(max_examples=30)
@given(waves(period=1.0))
def test_lines_agree_with_their_harmonics_away_from_the_corners(wave):
    """Summed with falling weights (Fejér), the harmonics come back to the lines: within the swing / (n distance)."""
    count = 4000
    weights = 1 - np.arange(count + 1) / (count + 1)
    series = Waveform.from_coefficients(1.0, wave.coefficients(count) * weights)
    times = np.linspace(0.0171, 0.9871, 23)
    corners = np.concatenate([wave.starts, wave.starts - 1, wave.starts + 1])
    far = np.min(np.abs(times[:, None] - corners), axis=1) > 0.01
    assert_allclose(series.at(times)[far], wave.at(times)[far], rtol=0, atol=5e-3 * _swing(wave))
