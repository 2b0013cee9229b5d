"""Extremes of sums of harmonics between samples: against closed forms, an optimiser, and the bound of the second derivative."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import minimize_scalar

from filterlib.network.extremes import Mixture, extremes, largest_magnitude, peak_to_peak, rough_peak_to_peak, sampled
from filterlib.network.waveform import Waveform

COUNTS = st.integers(1, 60)
SLOPES = st.floats(-1, 3)  # of the harmonics' sizes: all alike is 0, a jump 1, a triangle 2
SEEDS = st.integers(0, 2**32 - 1)


def waves(designs, count, slope, seed):
    """Harmonics of any phases, falling with k**slope."""
    random = np.random.default_rng(seed)
    return (random.standard_normal((designs, count, 2)) @ [1, 1j]) / np.arange(1, count + 1) ** slope


def optimised(harmonics, sign):
    """second method: 64 times as many samples as harmonics, and a bounded search about the six highest of them."""
    k = np.arange(1, len(harmonics) + 1)

    def wave(angle):
        return 2 * np.real(np.exp(1j * np.multiply.outer(angle, k)) @ harmonics)

    angles = 2 * np.pi * np.arange(64 * len(k)) / (64 * len(k))
    tops = angles[np.argsort(sign * wave(angles))[-6:]]
    ends = [(top - np.pi / len(k) / 16, top + np.pi / len(k) / 16) for top in tops]
    found = (
        minimize_scalar(lambda t: -sign * wave(t), bounds=b, method="bounded", options={"xatol": 1e-9}) for b in ends
    )
    return sign * max(-one.fun for one in found)


@settings(max_examples=60, deadline=None)
@given(count=COUNTS, slope=SLOPES, seed=SEEDS)
def test_an_optimiser_finds_the_same(count, slope, seed):
    harmonics = waves(1, count, slope, seed)[0]
    lowest, highest = extremes(harmonics)
    assert highest == pytest.approx(optimised(harmonics, 1), rel=1e-9, abs=0)
    assert lowest == pytest.approx(optimised(harmonics, -1), rel=1e-9, abs=0)


@settings(max_examples=60, deadline=None)
@given(count=COUNTS, slope=SLOPES, seed=SEEDS)
def test_never_below_the_samples_and_above_them_by_the_second_derivative_at_most(count, slope, seed):
    """law: an extreme lies within half a step of a sample, so it is beyond it by step²/8 max|x"| at most."""
    harmonics = waves(3, count, slope, seed)
    grid = sampled(harmonics)
    step, k = 2 * np.pi / grid.shape[1], np.arange(1, count + 1)
    bound = step**2 / 8 * np.sum(2 * k**2 * np.abs(harmonics), axis=1)
    beyond = peak_to_peak(harmonics)[:, 0] - np.ptp(grid, axis=1)
    rounding = 1e-12 * np.ptp(grid, axis=1)
    assert np.all(beyond >= -rounding)
    assert np.all(beyond <= 2 * bound + rounding)


@pytest.mark.parametrize("phase", np.linspace(0, np.pi / 2, 7))
def test_a_cosine_of_four_points_to_its_period_reads_its_own_size(phase):
    """hand: 2, wherever its crests lie between the samples, which read down to 1.42."""
    harmonics = np.zeros(100, complex)
    harmonics[-1] = 0.5 * np.exp(1j * phase)
    assert peak_to_peak(harmonics) == pytest.approx(2, rel=1e-10, abs=0)


def test_a_narrow_pulse_reads_the_sum_of_its_harmonics():
    """hand: n equal cosines add up to n where they meet, here between two samples."""
    k = np.arange(1, 41)
    late = np.exp(-1j * k * 0.4 * 2 * np.pi / sampled(np.zeros((1, 40))).shape[1])
    assert extremes(0.5 * late)[1] == pytest.approx(40, rel=1e-10, abs=0)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_many_designs_read_what_a_waveform_does(slope):
    """second method: `Waveform`, from another grid, within the 1e-4 that it promises."""
    harmonics = waves(300, 112, slope, 5)
    wave = Waveform.from_coefficients(1.0, np.concatenate([np.zeros((300, 1)), harmonics], axis=1))
    assert_allclose(peak_to_peak(harmonics)[:, 0], wave.peak_to_peak, rtol=1e-4, atol=0)
    alone = [float(peak_to_peak(one)) for one in harmonics]
    assert_allclose(peak_to_peak(harmonics)[:, 0], alone, rtol=1e-13, atol=0)


@settings(max_examples=40, deadline=None)
@given(
    count=COUNTS, slopes=st.tuples(SLOPES, SLOPES), seed=SEEDS, shares=st.lists(st.floats(0, 1), min_size=1, max_size=5)
)
def test_a_mixture_has_the_extremes_of_the_sum(count, slopes, seed, shares):
    """second method: the sum itself, for any share of the second wave, the first or the second alone among them."""
    first, second = waves(4, count, slopes[0], seed), waves(4, count, slopes[1], seed + 1)
    mixture = Mixture(first, second)
    for share in (0.0, *shares, 1.0):
        a, b = np.full(4, 1 - share), np.full(4, share)
        one, two = mixture.swings(a, b)
        whole = peak_to_peak(a[:, None] * first + b[:, None] * second)[:, 0]
        assert_allclose(a * one + b * two, whole, rtol=1e-10, atol=0)


def test_largest_magnitude_with_a_direct_part():
    """hand: 1.5 above zero and 3 below; moved by 2, 3.5 above or 5 below."""
    harmonics = np.array([1j, 0.5])  # -2 sin t + cos 2t: from -3 to 1.5
    assert extremes(harmonics) == pytest.approx((-3, 1.5), rel=1e-12, abs=0)  # hand: at 90 degrees; sin t = -1/2
    assert largest_magnitude(harmonics) == pytest.approx(3, rel=1e-12, abs=0)
    assert largest_magnitude(harmonics, 2.0) == pytest.approx(3.5, rel=1e-12, abs=0)
    many = largest_magnitude(np.array([harmonics, harmonics]), np.array([[2.0], [-2.0]]))
    assert_allclose(many, [[3.5], [5.0]], rtol=1e-12, atol=0)


def test_nothing_reads_nothing_and_what_is_not_known_is_not_known():
    assert peak_to_peak(np.zeros(0)) == peak_to_peak(np.zeros(9)) == 0
    found = peak_to_peak(np.array([[0.5, 0], [np.nan, 0], [0, 0]]))
    assert_allclose(found, [[2], [np.nan], [0]], rtol=1e-12, atol=0)


@settings(max_examples=60, deadline=None)
@given(count=COUNTS, slope=st.floats(1, 3), seed=SEEDS)
def test_a_rough_one_is_never_larger_and_near_where_the_harmonics_fall(count, slope, seed):
    """hand: it looks near the highest sample alone, and four samples a period miss 1 - cos(pi / 4) = 0.29 of a harmonic at most; in single precision."""
    harmonics = waves(4, count, slope, seed)
    exact, rough = peak_to_peak(harmonics), rough_peak_to_peak(harmonics)
    assert rough.shape == exact.shape == (4, 1)
    assert np.all(rough <= exact * (1 + 1e-6))
    assert np.all(rough >= 0.97 * exact)
    assert rough_peak_to_peak(harmonics[0]) == pytest.approx(float(rough[0, 0]), rel=1e-12, abs=0)


def test_a_rough_one_of_what_is_not_known_is_not_known():
    harmonics = np.array([[1.0, 0.5], [np.nan, 1.0]], complex)
    assert np.isfinite(rough_peak_to_peak(harmonics)[0, 0])
    assert np.isnan(rough_peak_to_peak(harmonics)[1, 0])
