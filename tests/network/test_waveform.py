"""Waves of lines, samples and harmonics against hand calculation and against a second method."""

import itertools
import tracemalloc

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.fft import next_fast_len

from filterlib.errors import QuantityError
from filterlib.network import spectrum
from filterlib.network.shapes import ring, trapezoid
from filterlib.network.spectrum import extent, fast_length, lowpass_response, phasors
from filterlib.network.waveform import MOST_HARMONICS, Waveform

T = 1e-5


def _integrated(period, times, values, k):
    """Second method: each segment's Fourier integral from its antiderivative, with 60 digits."""
    with mpmath.workdps(60):
        w = 2 * mpmath.pi * k / mpmath.mpf(period)
        corners = [(mpmath.mpf(t), mpmath.mpf(x)) for t, x in zip(times, values, strict=True)]
        corners.append((corners[0][0] + mpmath.mpf(period), corners[0][1]))
        total = mpmath.mpc(0)
        for (t0, x0), (t1, x1) in itertools.pairwise(corners):
            if t1 > t0:
                slope = (x1 - x0) / (t1 - t0)

                def primitive(t, t0=t0, x0=x0, slope=slope):
                    return mpmath.exp(-1j * w * t) * ((x0 + slope * (t - t0)) * 1j / w + slope / w**2)

                total += primitive(t1) - primitive(t0)
        return complex(total / mpmath.mpf(period))


@pytest.mark.parametrize("least", [*range(1, 300), 1025, 3**13 + 1, 5**8 + 1, 2**24 - 1, 10**6 + 1])
def test_a_fast_length_is_the_next_that_has_no_prime_factor_above_five(least):
    assert fast_length(least) == next_fast_len(least, real=True)  # second method
    assert fast_length(least, (3, 5, 7, 11)) == next_fast_len(least)  # second method


@pytest.mark.parametrize("edge", [0.3 * T, 1e-3 * T, 1e-6 * T, 1e-9 * T, 1e-14 * T])
@pytest.mark.parametrize("k", [1, 2, 7, 500, 10_000])
def test_coefficients_of_an_edge_of_any_length(edge, k):
    times = [0.1 * T, 0.1 * T + edge, 0.5 * T, 0.5 * T + edge]
    values = [-1.0, 2.0, 2.5, -1.5]
    expected = _integrated(T, times, values, k)  # second method
    scale = 7 / (2 * np.pi * k)
    found = Waveform.lines(T, times, values).coefficients(k)[k]
    assert abs(found - expected) <= (7e-16 * k + 1e-15) * scale  # 2 pi k times the rounding of a time


def test_square_wave_by_hand():
    coefficients = Waveform.lines(T, [0, 0, T / 2, T / 2], [-1, 1, 1, -1]).coefficients(6)
    odd = np.array([1, 3, 5])
    assert_allclose(coefficients[odd], 2 / (1j * np.pi * odd), rtol=1e-14, atol=0)  # hand
    assert_allclose(coefficients[::2], 0, rtol=0, atol=1e-16)


def test_triangle_by_hand():
    wave = Waveform.lines(T, [0, T / 2], [-1, 1])
    odd = np.arange(1, 200, 2)
    assert_allclose(wave.coefficients(199)[odd], -4 / (np.pi * odd) ** 2, rtol=1e-12, atol=0)  # hand
    assert wave.rms == pytest.approx(1 / np.sqrt(3), rel=1e-14, abs=0)  # hand
    assert wave.peak_to_peak == pytest.approx(2, rel=1e-14, abs=0)  # hand


def test_sawtooth_from_a_jump_at_the_period():
    wave = Waveform.lines(T, [0, T], [0, 1])
    k = np.arange(1, 20)
    assert_allclose(wave.coefficients(19)[1:], 1j / (2 * np.pi * k), rtol=1e-14, atol=0)  # hand
    assert wave.mean == pytest.approx(0.5, rel=1e-15, abs=0)  # hand
    assert_allclose(wave.at([0, T / 4, T]), [0, 0.25, 0], rtol=1e-14, atol=1e-15)  # hand: after the jump
    assert wave.peak_to_peak == pytest.approx(1, rel=1e-14, abs=0)  # hand


def test_at_passes_through_the_corners_and_repeats():
    times, values = np.array([0.1, 0.2, 0.5, 0.9]) * T, np.array([1.0, -2, 3, 3])
    wave = Waveform.lines(T, times, values)
    assert_allclose(wave.at(times), values, rtol=1e-13, atol=0)  # hand
    assert_allclose(wave.at(times - 3 * T), values, rtol=1e-11, atol=0)  # hand
    between = np.linspace(0.1, 0.9, 77) * T
    assert_allclose(wave.at(between), np.interp(between, times, values), rtol=0, atol=1e-14)  # second method


def test_mean_and_rms_with_jumps():
    wave = Waveform.lines(1, [0, 0.25, 0.25, 1], [2, 2, -1, -1])
    assert wave.mean == pytest.approx(0.25 * 2 - 0.75, rel=1e-15, abs=0)  # hand
    assert wave.rms == pytest.approx(np.sqrt(0.25 * 4 + 0.75), rel=1e-15, abs=0)  # hand


def test_a_constant_is_a_wave():
    wave = Waveform.lines(T, [0], [3.0])
    assert (wave.mean, wave.peak_to_peak) == (3, 0)  # hand
    assert wave.rms == pytest.approx(3, rel=1e-15, abs=0)  # hand
    assert_allclose(wave.coefficients(3), [3, 0, 0, 0], rtol=1e-15, atol=0)
    assert_allclose(wave.at([0.0, 0.3 * T]), 3, rtol=1e-15, atol=0)
    assert Waveform.from_coefficients(T, [3.0]).peak_to_peak == 0  # hand


def test_very_short_edges_do_not_disturb_the_extremes():
    wave = trapezoid(T, 1.0, 0.3, 1e-15 * T, 1e-12 * T)
    assert wave.peak_to_peak == pytest.approx(1, rel=1e-14, abs=0)  # hand
    assert wave.rms == pytest.approx(np.sqrt(0.3), rel=1e-9, abs=0)  # hand


@pytest.mark.parametrize("edge", [3e-15, 1e-12, 1e-9])
@pytest.mark.parametrize("delay", [0.0, 0.5, 0.7, 1.9])
def test_a_narrow_spike_is_seen_wherever_it_stands(edge, delay):
    spike = Waveform.lines(T, [0, edge * T, 2 * edge * T], [0, 1, 0]).shifted(delay * T)
    assert (spike + Waveform.lines(T, [0], [5.0])).peak_to_peak == pytest.approx(1, rel=1e-14, abs=0)  # hand


@pytest.mark.parametrize("period", [1.0, 0.1, 1e-5, 0.7e-5])
def test_jumps_at_one_instant_cancel_wherever_they_stand(period):
    flat = Waveform.lines(period, [0, 0, period], [0, 1, 1])
    for delay in np.linspace(0, 3, 61):
        assert flat.shifted(delay * period).peak_to_peak <= 1e-14  # hand: zero, scale 1
        assert flat.shifted(delay * period).rms == pytest.approx(1, rel=1e-14, abs=0)  # hand


def test_a_small_ripple_on_a_large_mean_keeps_its_digits():
    assert Waveform.from_coefficients(T, [1e9, 5e-4]).peak_to_peak == pytest.approx(2e-3, rel=1e-13, abs=0)  # hand


def test_harmonics_follow_the_shortest_edge():
    assert Waveform.lines(T, [0, T / 2], [0, 1]).harmonics == 1000  # pin
    assert trapezoid(T, 1.0, 0.5, 0.01 * T, 0.02 * T).harmonics == 2000  # hand: 20 / 0.01
    assert trapezoid(T, 1.0, 0.5).harmonics == MOST_HARMONICS
    flat = Waveform.lines(T, [0, 1e-9 * T, 0.5 * T], [0, 0, 1])
    assert flat.harmonics == 1000  # pin: a piece that does not move is no edge
    assert Waveform.sampled(T, np.zeros(12)).harmonics == 6  # hand


@pytest.mark.parametrize("count", [1, 2, 7, 8])
def test_samples_come_back(count):
    given = np.random.default_rng(1).normal(size=(3, count))
    wave = Waveform.sampled(T, given)
    assert_allclose(wave.samples(), given, rtol=0, atol=1e-15 * 10)
    assert_allclose(wave.at(np.arange(count) * T / count), given, rtol=0, atol=1e-15 * 20)
    assert_allclose(wave.mean, given.mean(axis=1), rtol=1e-12, atol=0)  # second method


def test_fewer_samples_than_harmonics_are_still_points_of_the_wave():
    wave = Waveform.from_coefficients(T, [0.5, 0.1, 0.2j, 0.3])
    for count in (1, 2, 5, 6, 7, 20):
        assert_allclose(wave.samples(count), wave.at(np.arange(count) * T / count), rtol=0, atol=1e-14)


def test_samples_of_lines():
    wave = Waveform.lines(T, [0, T / 2], [-1, 1])
    assert_allclose(wave.samples(4), [-1, 0, 1, 0], rtol=0, atol=1e-15)  # hand


def test_extremes_of_a_single_sine_between_samples():
    for angle in np.linspace(0, 0.1, 7):
        wave = Waveform.from_coefficients(T, [7, 0.5 * np.exp(1j * angle)])
        assert wave.peak_to_peak == pytest.approx(2, rel=1e-14, abs=0)  # hand


@pytest.mark.parametrize("fall", [0, 1, 2])
def test_extremes_of_many_harmonics_against_a_dense_grid(fall):
    rng = np.random.default_rng(fall)
    k = np.arange(61)
    terms = (rng.normal(size=(200, 61)) + 1j * rng.normal(size=(200, 61))) / np.maximum(k, 1) ** fall
    wave = Waveform.from_coefficients(T, terms)
    dense = np.ptp(wave.samples(61 * 400), axis=1)  # second method; the grid itself is low by up to 3e-5
    assert_allclose(wave.peak_to_peak, dense, rtol=1e-4, atol=0)
    assert np.all(wave.peak_to_peak >= dense * (1 - 1e-12))


def test_truncated_harmonics_approach_the_lines():
    wave = Waveform.lines(T, [0, 0.3 * T], [-1, 1])
    series = Waveform.from_coefficients(T, wave.coefficients(2000))
    assert series.peak_to_peak == pytest.approx(2, rel=1e-3, abs=0)  # hand, less the tail 1/(pi^2 n 0.3 0.7)
    assert series.rms == pytest.approx(float(wave.rms), rel=1e-9, abs=0)


def test_designs_are_rows():
    duty = np.array([[0.2], [0.5], [0.7]])
    amplitude = np.array([[1.0], [2.0], [3.0]])
    many = trapezoid(T, amplitude, duty, 0.01 * T, 0.05 * T)
    for row in range(3):
        one = trapezoid(T, amplitude[row, 0], duty[row, 0], 0.01 * T, 0.05 * T)
        assert_allclose(many.coefficients(50)[row], one.coefficients(50), rtol=1e-12, atol=1e-17)
        assert many.rms[row] == pytest.approx(float(one.rms), rel=1e-13, abs=0)
        assert many.peak_to_peak[row] == pytest.approx(amplitude[row, 0], rel=1e-13, abs=0)  # hand
        assert many.mean[row] == pytest.approx(float(amplitude[row, 0] * duty[row, 0]), rel=1e-13, abs=0)  # hand
    assert many.at([0.1 * T, 0.2 * T]).shape == (3, 2)
    assert many.samples(8).shape == (3, 8)
    series = many.lowpass(np.array([[1e6], [2e6], [3e6]]))
    assert series.peak_to_peak.shape == series.rms.shape == (3,)


def test_values_alone_may_hold_the_designs():
    values = np.array([[0.0, 1.0], [0.0, 2.0]])
    wave = Waveform.lines(T, [0, 0.4 * T], values)
    assert_allclose(wave.coefficients(9)[1], 2 * wave.coefficients(9)[0], rtol=1e-15, atol=0)
    assert_allclose(wave.peak_to_peak, [1, 2], rtol=1e-14, atol=0)  # hand


def test_times_alone_may_hold_the_designs():
    wave = Waveform.lines(T, [[0, 0.4 * T], [0, 0.5 * T]], [0.0, 1.0])
    assert_allclose(wave.rms, [1 / np.sqrt(3)] * 2, rtol=1e-14, atol=0)  # hand
    assert_allclose(wave.at([0.2 * T]), [[0.5], [0.4]], rtol=1e-13, atol=0)  # hand


def test_many_harmonics_of_many_designs_need_little_beside_the_result():
    rng = np.random.default_rng(2)
    wave = trapezoid(T, rng.uniform(1, 2, (200, 1)), rng.uniform(0.2, 0.6, (200, 1)), 1e-8, 2e-8)
    tracemalloc.start()
    result = wave.coefficients(10_000)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < result.nbytes + 64e6  # hand: a few blocks of 2^18 complex numbers


def test_arithmetic():
    saw, box = Waveform.lines(T, [0, T], [0, 1]), Waveform.lines(T, [0, 0, T / 4, T / 4], [0, 2, 2, 0])
    total = saw + 3 * box - saw * 0.5
    assert_allclose(total.at([T / 8, T / 2]), [6 + 1 / 16, 0.25], rtol=1e-14, atol=0)  # hand
    assert total.peak_to_peak == pytest.approx(6, rel=1e-14, abs=0)  # hand: 6.125 before, 0.125 after T/4
    assert (-box).mean == pytest.approx(-0.5, rel=1e-15, abs=0)  # hand
    mixed = saw + Waveform.from_coefficients(T, [1, 0.5])
    assert_allclose(mixed.coefficients(5), saw.coefficients(5) + np.array([1, 0.5, 0, 0, 0, 0]), rtol=1e-15, atol=0)
    scaled = np.array([[1.0], [2.0]]) * box
    assert_allclose(scaled.peak_to_peak, [2, 4], rtol=1e-15, atol=0)  # hand


def test_waves_of_different_periods_are_not_added():
    with pytest.raises(QuantityError, match="cannot be added"):
        Waveform.lines(T, [0], [0]) + Waveform.lines(2 * T, [0], [0])
    with pytest.raises(TypeError):
        Waveform.lines(T, [0], [0]) + 1.0


def test_waves_are_frozen():
    wave = Waveform.sampled(T, [1.0, 2.0])
    with pytest.raises(AttributeError):
        wave.period = 1.0
    with pytest.raises(ValueError, match="read-only"):
        wave.terms[0] = 1


@pytest.mark.parametrize(
    ("period", "times", "values", "says"),
    [
        (0, [0], [0], "period: "),
        (-1, [0], [0], "period: "),
        (np.nan, [0], [0], "period: "),
        (1, [0, 2], [0, 1], "times must not fall"),
        (1, [0.5, 0.2], [0, 1], "times must not fall"),
        (1, [-0.1, 0.2], [0, 1], "times must not fall"),
        (1, [0, 0.2], [0, np.nan], "values: every value must be finite"),
        (1, [0, np.inf], [0, 1], "times: every value must be finite"),
        (1, [0, 0.2], [0, 1, 2], "shape"),
        (1, [], [], "shape"),
        (1, 0.0, 0.0, "shape"),
    ],
)
def test_wrong_lines_are_refused(period, times, values, says):
    with pytest.raises(QuantityError, match=says):
        Waveform.lines(period, times, values)


def test_other_wrong_waves_are_refused():
    with pytest.raises(QuantityError, match="at least one sample"):
        Waveform.sampled(T, [])
    with pytest.raises(QuantityError, match="finite"):
        Waveform.from_coefficients(T, [1, np.inf])
    with pytest.raises(QuantityError, match="do not fit"):
        trapezoid(T, 1.0, 0.1, 0.2 * T, 0.2 * T)
    with pytest.raises(QuantityError, match="do not fit"):
        trapezoid(T, 1.0, 1.0, 0.2 * T, 0.2 * T)
    with pytest.raises(QuantityError, match="factor"):
        Waveform.lines(T, [0], [1]) * np.ones(3)
    with pytest.raises(QuantityError, match="frequency: must be above 0"):
        ring(T, 0.0, 1e-7, [0], [1])
    with pytest.raises(QuantityError, match="2 starts, but 1 signs"):
        ring(T, 1e7, 1e-7, [0, 1e-6], [1])


def _ring_by_hand(times, period, frequency, time_constant):
    """Second method: the tails of 400 earlier periods added one by one."""
    total = np.zeros_like(times)
    for earlier in range(400):
        t = times + earlier * period
        total += np.exp(-t / time_constant) * np.sin(2 * np.pi * frequency * t)
    return total


@pytest.mark.parametrize("time_constant", [0.02 * T, 0.3 * T, 5 * T])
def test_ring_with_its_tails(time_constant):
    wave = ring(T, 23.3 / T, time_constant, [0.0], [1.0], harmonics=20_000)
    times = np.linspace(0.003, 0.99, 301) * T
    expected = _ring_by_hand(times, T, 23.3 / T, time_constant)
    assert_allclose(wave.at(times), expected, rtol=0, atol=1e-5 * np.abs(expected).max())


def test_ring_adds_its_events_and_averages_over_the_edge():
    starts, signs, rise = [0.1 * T, 0.6 * T], [1.0, -0.5], 0.01 * T
    wave = ring(T, 50 / T, 0.1 * T, starts, signs, rise)
    one = ring(T, 50 / T, 0.1 * T, [0.0], [1.0])
    k = np.arange(101)
    box = np.sinc(k * rise / T) * np.exp(-1j * np.pi * k * rise / T)
    summed = one.shifted(0.1 * T).coefficients(100) - 0.5 * one.shifted(0.6 * T).coefficients(100)
    assert_allclose(wave.coefficients(100), summed * box, rtol=1e-11, atol=0)


def test_ring_of_many_designs():
    frequency, decay = np.array([[40 / T], [60 / T]]), np.array([[0.1 * T], [0.2 * T]])
    start = np.array([[0.0], [0.3 * T]])
    many = ring(T, frequency, decay, [start, 0.5 * T], [1, -1])
    one = ring(T, 60 / T, 0.2 * T, [0.3 * T, 0.5 * T], [1, -1])
    assert many.harmonics == one.harmonics == 1200  # hand: 20 times 60
    assert_allclose(many.coefficients(1200)[1], one.coefficients(1200), rtol=1e-12, atol=0)


@pytest.mark.parametrize("order", [1, 2, 3, 4, 5])
def test_lowpass_is_a_butterworth(order):
    f = np.array([0.0, 1e3, 1e6, 1e8])
    expected = 1 / np.sqrt(1 + (f / 1e6) ** (2 * order))  # published: Butterworth 1930 (from memory)
    assert_allclose(np.abs(lowpass_response(f, 1e6, order)), expected, rtol=1e-13, atol=0)


def test_lowpass_of_order_one_is_a_single_rc():
    f = np.array([0.0, 1e5, 3e6])
    assert_allclose(lowpass_response(f, 1e6), 1 / (1 + 1j * f / 1e6), rtol=1e-15, atol=0)  # hand


@pytest.mark.parametrize("bandwidth", [None, np.inf])
def test_no_bandwidth_lets_everything_pass(bandwidth):
    assert_allclose(lowpass_response([0, 1e9], bandwidth, 3), 1, rtol=0, atol=0)  # hand
    wave = Waveform.lines(T, [0, T / 2], [0, 1])
    assert wave.lowpass(bandwidth) is wave


@pytest.mark.parametrize(("bandwidth", "order"), [(0, 1), (-1, 1), (np.nan, 1), (1e6, 0), (1e6, 1.5), (1e6, True)])
def test_wrong_lowpass_is_refused(bandwidth, order):
    with pytest.raises(QuantityError, match="must be"):
        lowpass_response([1.0], bandwidth, order)


def test_square_wave_behind_a_single_rc():
    tau = T / (2 * np.pi)
    smooth = Waveform.lines(T, [0, 0, T / 2, T / 2], [-1, 1, 1, -1]).lowpass(1 / T)
    t = np.linspace(0.02, 0.48, 20) * T
    expected = 1 - 2 * np.exp(-t / tau) / (1 + np.exp(-T / (2 * tau)))  # hand: charging between -V and V
    assert_allclose(smooth.at(t), expected, rtol=0, atol=1e-7)
    assert smooth.peak_to_peak == pytest.approx(2 * np.tanh(T / (4 * tau)), rel=1e-4, abs=0)  # hand


def test_ring_of_a_spike_behind_a_bandwidth_limit():
    """A long 50 MHz ring of 1.2 V peak to peak through 20 MHz: 0.45 V with order 1, 0.19 V with order 2."""
    wave = Waveform.from_coefficients(1 / 50e6, [0, 0.3])
    assert wave.lowpass(20e6).peak_to_peak == pytest.approx(1.2 / np.hypot(1, 2.5), rel=1e-12, abs=0)  # hand
    assert wave.lowpass(20e6, 2).peak_to_peak == pytest.approx(1.2 / np.sqrt(1 + 2.5**4), rel=1e-12, abs=0)  # hand


@pytest.mark.parametrize("count", [0, 1, 2, 7, 2000])
def test_phasors_by_doubling(count):
    """Against the exponential, for shares of a turn of either sign and of many turns."""
    turns = np.array([[0.0], [0.3], [-0.123456789], [3.25], [1 / 3]])
    expected = np.exp(-2j * np.pi * np.arange(count + 1) * turns)  # second method
    assert np.max(np.abs(phasors(count, turns) - expected)) < 1e-11  # scale: 1
    assert phasors(count, 0.25).shape == (count + 1,)


def sampled_extent(terms, count):
    """second method: the extremes of as many samples as it takes, each by the parabola through three of them."""
    wave = np.fft.irfft(np.where(np.arange(terms.shape[-1]) == 0, 0, terms), count, axis=-1, norm="forward")
    ends = []
    for one in (wave, -wave):
        at, rows = one.argmax(axis=-1), np.arange(len(one))
        before, here, after = one[rows, at - 1], one[rows, at], one[rows, (at + 1) % count]
        ends.append(here + (after - before) ** 2 / (8 * (2 * here - before - after)))
    return ends[0] + ends[1]


@pytest.mark.parametrize("falling", [0, 1, 2])
def test_extent_is_found_between_samples(falling):
    """second method: 512 samples a half period of the highest harmonic, for harmonics of equal size to falling ones."""
    rng = np.random.default_rng(falling)
    k = np.maximum(np.arange(41), 1)
    terms = (rng.standard_normal((200, 41)) + 1j * rng.standard_normal((200, 41))) / k**falling
    np.testing.assert_allclose(extent(terms), sampled_extent(terms, 2 * 512 * 41), rtol=1e-8, atol=0)


def test_extent_by_hand():
    """hand: a sine of amplitude 3; cos + cos 2: 2 at 0, and at cos = -1/4 the value 2/16 - 1/4 - 1; the mean is left out."""
    waves = np.array([[7.0, 1.5j, 0], [-5.0, 0.5, 0.5], [0, 0, 0]])
    np.testing.assert_allclose(extent(waves), [6.0, 2 + 1.125, 0.0], rtol=1e-14, atol=0)
    np.testing.assert_allclose(extent(waves[1]), 3.125, rtol=1e-14, atol=0)


def test_extent_of_many_waves_is_that_of_each(monkeypatch):
    """hand: rows looked at some at a time, in any leading shape."""
    rng = np.random.default_rng(5)
    terms = (rng.standard_normal((3, 4, 9)) + 1j * rng.standard_normal((3, 4, 9))) / np.arange(1, 10)
    whole = extent(terms)
    monkeypatch.setattr(spectrum, "BLOCK", 100)
    np.testing.assert_allclose(extent(terms), whole, rtol=1e-13, atol=0)
    np.testing.assert_allclose([[extent(one) for one in row] for row in terms], whole, rtol=1e-13, atol=0)
