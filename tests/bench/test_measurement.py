"""Recordings with known contents: period and its patterns, jitter, noise, ripple and spike."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.bench.capture.averaging import _doubled, average_periods, kept_by_averaging
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.noise_floor import spectrum
from filterlib.bench.capture.periods import find_periods
from filterlib.bench.capture.recording import Recording
from filterlib.errors import QuantityError
from filterlib.network.shapes import ring
from filterlib.network.waveform import Waveform
from tests.bench.waves import DECAY, FREQUENCY, INTERVAL, PERIOD, RING, from_events, steady, strays


@pytest.mark.parametrize("noise", [0, 0.002, 0.02, 0.1])
@pytest.mark.parametrize("spike", [0, 0.05, 0.5])
def test_the_period_is_found(noise, spike):
    found = measure(steady(spike=spike, noise=noise))
    assert found.periods.pattern == "steady"
    assert found.frequency == pytest.approx(FREQUENCY, rel=1e-4, abs=0)  # hand


@pytest.mark.parametrize("seed", range(5))
def test_the_period_is_found_in_noise_of_twice_the_ripple_or_nothing_is_claimed(seed):
    found = find_periods(steady(noise=0.2, seed=seed))
    assert found.period == pytest.approx(PERIOD, rel=2e-4, abs=0)  # hand
    assert "as noise hides single ones" in found.why
    lost = find_periods(steady(noise=0.8, seed=seed))
    assert (lost.pattern, lost.period) == ("none", None)
    assert "noise" in lost.why


@pytest.mark.parametrize(("share", "periods"), [(0.05, 2), (0.2, 2), (1e-4, 1), (0.0, 1)])
def test_pulses_that_alternate_repeat_after_two(share, periods):
    """hand: a fifth of the first line is 4 % of its power, and the halves are alike to 92 %; next to none is noise."""
    one = steady(noise=0.002)
    turn = np.pi * FREQUENCY * one.sample_interval * np.arange(one.samples)
    found = measure(Recording(one.volts + share * np.ptp(one.volts) / 2 * np.cos(turn), one.sample_interval))
    assert found.frequency == pytest.approx(FREQUENCY / periods, rel=1e-4, abs=0)
    assert found.pulses is None


@pytest.mark.parametrize(("count", "phase"), [(6.8, 3.2), (7.1, 3.2), (7.6, 4.8), (8.9, 3.2)])
def test_few_pulses_that_alternate_are_not_averaged_over_a_single_pair(count, phase):
    """Found after damaged files: of a single period that is twice as long neither noise nor a better length can be had."""
    turn = 2 * np.pi * FREQUENCY * np.arange(0, count * PERIOD, 20e-9)
    noise = 1e-4 * np.random.default_rng(1).normal(size=turn.size)
    found = measure(Recording(0.05 * np.sin(turn + phase) + 0.02 * np.sin(turn / 2) + noise, 20e-9))
    assert np.isfinite([found.jitter, found.period, found.averaged.ripple]).all()
    assert found.average.periods > 1
    assert found.noise > 1e-5  # hand: 0.1 mV is there, and the half turns are more


@pytest.mark.parametrize(
    ("count", "phase"), [(9.1, 0.0), (9.1, np.pi), (9.8, 0.0), (11.9, 0.0), (14.0, 0.0), (16.1, 0.0)]
)
def test_lower_pulses_that_count_now_and_then_make_no_period(count, phase):
    """hand, of an invented recording: it repeats after two pulses, the second four tenths lower; some of the lower ones cross a mean over both."""
    turn = 2 * np.pi * FREQUENCY * np.arange(0, count * PERIOD, 20e-9)
    noise = 1e-4 * np.random.default_rng(1).normal(size=turn.size)
    found = measure(Recording(0.05 * np.sin(turn + phase) + 0.02 * np.sin(turn / 2) + noise, 20e-9))
    assert found.period == pytest.approx(2 * PERIOD, rel=2e-3, abs=0)


@pytest.mark.parametrize("frequency", [6e3, 40e3, 1.1e6, 4e6])
def test_slow_and_fast_converters(frequency):
    times = np.arange(60_000) / (600 * frequency)
    found = measure(Recording(0.01 * np.sin(2 * np.pi * frequency * times), float(times[1])))
    assert found.frequency == pytest.approx(frequency, rel=1e-4, abs=0)  # hand


def test_a_slow_change_of_the_output_does_not_hide_the_period():
    taken = steady(count=600)
    drift = 3 * np.sin(2 * np.pi * 100 * taken.time) + 28
    found = measure(Recording(taken.volts + drift, INTERVAL))
    assert found.frequency == pytest.approx(FREQUENCY, rel=1e-3, abs=0)  # hand


def test_skipped_pulses():
    kept = np.random.default_rng(3).random(400) > 0.15
    found = find_periods(from_events(np.flatnonzero(kept) * PERIOD, noise=0.002))
    assert found.pattern == "skipped pulses"
    assert found.period is None
    assert found.median == pytest.approx(PERIOD, rel=0.01, abs=0)  # hand
    share = np.count_nonzero(found.lengths > 1.5 * PERIOD) / found.lengths.size
    assert share == pytest.approx(np.mean(np.diff(np.flatnonzero(kept)) > 1), rel=0.05, abs=0)  # second method
    counts, edges = found.histogram(9)
    assert counts.sum() == found.lengths.size
    assert edges[-1] == pytest.approx(found.lengths.max(), rel=1e-12, abs=0)


@pytest.mark.parametrize(("pulses", "pause"), [(5, 8.4), (12, 20.3), (4, 6.0)])
def test_bursts(pulses, pause):
    starts = (np.arange(40)[:, None] * (pulses - 1 + pause) + np.arange(pulses)).ravel() * PERIOD
    found = find_periods(from_events(starts, noise=0.002))
    assert found.pattern == "bursts"
    assert found.median == pytest.approx(PERIOD, rel=0.01, abs=0)  # hand
    assert found.lengths.max() == pytest.approx(pause * PERIOD, rel=0.01, abs=0)  # hand
    assert f"bursts of {pulses} pulses" in found.why
    assert found.period == pytest.approx((pulses - 1 + pause) * PERIOD, rel=1e-3, abs=0)  # hand


@pytest.mark.parametrize("kind", ["random", "swept"])
def test_dither(kind):
    draws = np.random.default_rng(5).uniform(-1, 1, 400)
    swing = draws if kind == "random" else np.sin(2 * np.pi * np.arange(400) / 57)
    lengths = PERIOD * (1 + 0.06 * swing)
    starts, lengths = np.cumsum(lengths), np.append(lengths[1:], PERIOD)
    found = measure(from_events(starts, noise=0.002, length=lengths))
    middles = np.diff(starts + 0.2 * lengths)  # where the triangle, which rises over 0.4, crosses its middle
    assert found.periods.pattern == "dither"
    assert (found.period, found.average, found.averaged) == (None, None, None)
    assert found.periods.spread == pytest.approx(np.std(middles), rel=0.1, abs=0)  # second method
    assert any("nothing is averaged" in one for one in found.remarks)


@pytest.mark.parametrize("decay", [2.5e-6, 3.5e-6])
def test_a_ring_that_dies_away_is_no_burst(decay):
    """What a converter's node does when its current has run out: several swings that fall, once a period."""
    since = np.mod(10e-9 * np.arange(100_000), 10e-6)
    wave = np.exp(-since / decay) * np.sin(2 * np.pi * 900e3 * since)
    found = measure(Recording(wave + np.random.default_rng(1).normal(0, 0.003, wave.size), 10e-9))
    assert found.periods.pattern == "steady"
    assert found.frequency == pytest.approx(100e3, rel=1e-4, abs=0)  # hand


@pytest.mark.parametrize("volts", [np.zeros(5000), np.random.default_rng(2).normal(0, 1, 50_000), np.arange(3.0)])
def test_nothing_repeats(volts):
    found = measure(Recording(volts, INTERVAL))
    assert found.periods.pattern == "none"
    assert found.period is None
    assert found.periods.median is None


def test_fewer_than_four_periods_are_no_period():
    assert find_periods(steady(count=3)).pattern == "none"


def test_averaging_takes_noise_away_and_keeps_the_wave():
    found = measure(steady(count=400, noise=0.01))
    assert found.averaged.peak_to_peak == pytest.approx(0.1, rel=0.05, abs=0)  # hand
    assert found.raw.peak_to_peak > 0.16  # hand: 0.1 and at least three standard deviations on each side
    assert found.noise == pytest.approx(0.01, rel=0.01, abs=0)  # hand
    assert np.median(found.average.scatter) == pytest.approx(0.01, rel=0.2, abs=0)  # hand; the cubic takes a part


def test_rms_mean_and_peak_to_peak():
    taken = steady(volts=0.1)
    found = measure(Recording(taken.volts + 28, INTERVAL))
    assert found.rms_about_mean == pytest.approx(0.1 / np.sqrt(12), rel=1e-3, abs=0)  # hand: a triangle
    assert found.mean == pytest.approx(28, rel=1e-5, abs=0)  # hand
    assert found.rms == pytest.approx(np.hypot(28, 0.1 / np.sqrt(12)), rel=1e-5, abs=0)  # hand
    assert found.peak_to_peak == pytest.approx(0.1, rel=0.01, abs=0)  # hand
    assert found.average.plain.mean == pytest.approx(28, rel=1e-5, abs=0)  # hand


@pytest.mark.parametrize("jitter", [2e-9, 4e-9, 6e-9])
def test_jitter_is_found_and_what_averaging_erases_is_said(jitter):
    found = measure(steady(count=600, jitter=jitter, spike=0.2, noise=0.002))
    assert found.jitter == pytest.approx(jitter, rel=0.1, abs=0)  # hand
    assert found.ring_frequency == pytest.approx(RING, rel=0.03, abs=0)  # hand
    at = round(RING * found.period)
    left = abs(found.average.plain.coefficients(at)[at]) / abs(found.average.aligned.coefficients(at)[at])
    kept = abs(np.mean(np.exp(2j * np.pi * RING * strays(600, jitter))))  # hand: the mean of the turned pointers
    assert left == pytest.approx(kept, rel=0.1, abs=0)
    assert any(
        f"averaging keeps {100 * kept_by_averaging(found.ring_frequency, found.jitter):.0f} %" in one
        for one in found.remarks
    )


def test_five_nanoseconds_leave_29_percent_of_50_megahertz():
    assert kept_by_averaging(50e6, 5e-9) == pytest.approx(0.2912, rel=1e-3, abs=0)  # hand: exp(-(pi / 2)^2 / 2)
    assert_allclose(kept_by_averaging(np.array([0, 50e6]), 0.0), 1, rtol=1e-15, atol=0)  # hand


def test_the_aligned_mean_restores_the_spike():
    sharp = measure(steady(count=600, spike=0.2, noise=0.002))
    found = measure(steady(count=600, jitter=5e-9, spike=0.2, noise=0.002))
    assert found.aligned.spike == pytest.approx(sharp.averaged.spike, rel=0.05, abs=0)  # second method
    assert found.averaged.spike < 0.5 * sharp.averaged.spike
    assert found.raw.spike == pytest.approx(sharp.raw.spike, rel=0.1, abs=0)  # second method


def test_without_jitter_none_is_claimed():
    found = measure(steady(count=400, spike=0.2, noise=0.005))
    assert found.jitter == 0
    assert 0 < found.average.jitter_resolution < 1e-9
    assert not any("averaging keeps" in one for one in found.remarks)
    assert found.noise == pytest.approx(0.005, rel=0.03, abs=0)  # hand; the spikes leave nothing


def test_noise_that_hides_the_jitter_is_said_in_seconds():
    """Cramér-Rao: the times found scatter by noise over the root of the sum of squared slopes."""
    found = [measure(steady(count=400, noise=0.05, seed=seed)) for seed in range(4)]
    slope = 0.1 * FREQUENCY * np.sqrt((1 / 0.4) + (1 / 0.6))  # hand: root mean square slope of the triangle
    expected = 0.05 / (slope * np.sqrt(PERIOD / INTERVAL))
    assert_allclose([one.average.jitter_resolution for one in found], expected, rtol=0.1, atol=0)  # hand
    assert [one.jitter for one in found] == [0, 0, 0, 0]  # none is there


@pytest.mark.parametrize("order", [1, 2, 4])
def test_ripple_and_spike_against_the_closed_form(order):
    """Triangle and ring as harmonics in closed form, behind the same low-pass."""
    found = measure(steady(count=300, spike=0.2, interval=2e-9), order=order)
    corners = Waveform.lines(PERIOD, [0, 0.4 * PERIOD], [-0.05, 0.05])
    wave = corners + 0.2 * ring(PERIOD, RING, DECAY, [0], [1])
    slow = wave.lowpass(20e6, order)
    assert found.averaged.peak_to_peak == pytest.approx(float(wave.peak_to_peak), rel=0.03, abs=0)  # second method
    assert found.averaged.ripple == pytest.approx(float(slow.peak_to_peak), rel=0.02, abs=0)  # second method
    assert found.averaged.spike == pytest.approx(float((wave - slow).peak_to_peak), rel=0.03, abs=0)  # second method
    assert found.raw.ripple == pytest.approx(float(slow.peak_to_peak), rel=0.03, abs=0)  # second method
    assert found.raw.spike == pytest.approx(float((wave - slow).peak_to_peak), rel=0.05, abs=0)  # second method


def test_a_limited_recording_tells_no_spike():
    for limits in ({"bandwidth": 20e6}, {"interval": 40e-9}):
        found = measure(steady(spike=0.2, **limits))
        assert found.raw.spike is None
        assert found.averaged.spike is None
        assert found.ring_frequency is None
        assert found.raw.ripple == found.raw.peak_to_peak  # not limited once more
        assert any("does not reach beyond 20 MHz" in one for one in found.remarks)


def test_pieces_make_no_difference(monkeypatch):
    taken = steady(count=200, spike=0.2, noise=0.002)
    whole = measure(taken)
    monkeypatch.setattr("filterlib.bench.capture.measurement._BLOCK", 5000)
    monkeypatch.setattr("filterlib.bench.capture.averaging._BLOCK", 3000)
    pieces = measure(taken)
    assert pieces.raw.ripple == pytest.approx(whole.raw.ripple, rel=1e-4, abs=0)  # second method
    assert pieces.raw.spike == pytest.approx(whole.raw.spike, rel=1e-4, abs=0)  # second method
    assert pieces.averaged.ripple == pytest.approx(whole.averaged.ripple, rel=1e-9, abs=0)


def test_a_first_guess_that_is_a_little_off_is_refined():
    taken = steady(count=500, noise=0.002)
    found = average_periods(taken, PERIOD * (1 + 2e-5), 0.0)
    assert found.period == pytest.approx(PERIOD, rel=2e-7, abs=0)  # hand


def test_noise_floor_of_the_spectrum():
    found = measure(steady(count=1500, spike=0.2, noise=0.01))
    white = 2 * INTERVAL * 0.01**2  # hand: variance over half the sample rate
    far = found.spectrum.frequencies > 2e6
    assert_allclose(found.spectrum.floor[far], white, rtol=0.25, atol=0)
    assert found.spectrum.noise == pytest.approx(0.01, rel=0.1, abs=0)  # hand


def test_noise_floor_of_a_single_piece():
    white = np.random.default_rng(4).normal(0, 0.3, 30_000)
    assert spectrum(white, INTERVAL).noise == pytest.approx(0.3, rel=0.03, abs=0)  # hand


@pytest.mark.parametrize("count", [50, 51, 936])
def test_doubling_the_rate_keeps_the_samples_and_reads_a_sine_between_them(count):
    draws = np.random.default_rng(6).normal(0, 1, count)
    assert_allclose(_doubled(draws)[::2], draws, rtol=0, atol=1e-13)  # hand; scale 1
    sine = np.sin(2 * np.pi * 0.2 * np.arange(2 * count) / 2)
    middle = slice(count // 2, 3 * count // 2)
    assert_allclose(_doubled(sine[::2])[middle], sine[middle], rtol=0, atol=0.02)  # hand; the ends meet in a bend


def test_wrong_arguments():
    taken = steady(count=10)
    with pytest.raises(QuantityError, match="bandwidth"):
        measure(taken, bandwidth=0)
    with pytest.raises(QuantityError, match="order"):
        measure(taken, order=1.5)
    with pytest.raises(QuantityError, match="lines"):
        spectrum(taken.volts, INTERVAL, lines=1)
    with pytest.raises(QuantityError, match="window"):
        spectrum(taken.volts, INTERVAL, window="flat")


@pytest.mark.parametrize("wrong", [0.992, 1.0, 1.008])
@pytest.mark.parametrize("count", [5, 8, 20])
def test_a_coarse_first_guess_of_the_period_takes_no_turn_of_the_ring_for_jitter(wrong, count):
    """Of few periods the first guess is off by a percent: 40 ns a period, two turns of the ring."""
    taken = steady(count=count, volts=0.3, spike=0.5, noise=0.005)
    found = average_periods(taken, wrong * PERIOD, 0.05 * PERIOD)
    assert found.period == pytest.approx(PERIOD, rel=2e-5, abs=0)  # hand
    assert found.jitter < 0.3e-9  # hand: there is none; a turn of the ring is 20 ns
    assert found.noise == pytest.approx(0.005, rel=0.2, abs=0)  # hand; the ring begins between samples


# ---- bursts into a capacitor --------------------------------------------------------------------------------------


def into_a_bank(pulses=3, esr=20e-3, noise=1e-3, count=30, capacitance=22e-6, triangular=False):
    """Terminals of a bank of known C and ESR, fed with pulses of 1 A and 300 kHz each 100 us: charge and ESR steps, sample by sample."""
    interval, within, burst = 10e-9, 1 / 300e3, 100e-6
    times = np.arange(int(count * burst / interval)) * interval
    nth, phase = np.divmod(np.mod(times, burst), within)
    phase = phase / within
    shape = np.minimum(phase / 0.4, (1 - phase) / 0.6) if triangular else np.where(phase >= 0.5, 2 * (1 - phase), 0.0)
    current = np.where(nth < pulses, shape, 0.0)
    volts = esr * current + np.cumsum(current - current.mean()) * interval / capacitance
    return Recording(volts + np.random.default_rng(1).normal(0, noise, volts.size), interval, bandwidth=20e6)


@pytest.mark.parametrize(
    ("pulses", "more"),
    [
        (3, {}),
        (3, {"esr": 1e-3, "noise": 0.2e-3}),  # charge alone: the wave does not come back between the pulses
        (3, {"esr": 0.5}),  # steps alone: each pulse crosses the middle
        (6, {}),
        (12, {}),
        (3, {"triangular": True}),
        (10, {"triangular": True, "esr": 0.2}),
    ],
)
def test_a_recording_of_bursts_is_read_as_bursts(pulses, more):
    found = measure(into_a_bank(pulses, **more))
    assert found.periods.pattern == "bursts"
    assert found.period == pytest.approx(100e-6, rel=1e-4, abs=0)  # hand
    assert found.pulses.count == pulses  # hand
    assert found.switching_frequency == pytest.approx(300e3, rel=0.02, abs=0)  # hand
    assert found.frequency == pytest.approx(10e3, rel=1e-4, abs=0)  # hand
    assert f"bursts of {pulses} pulses" in found.remarks[0]


@pytest.mark.parametrize("esr", [1e-3, 20e-3, 0.5])
def test_one_pulse_each_period_is_no_burst(esr):
    found = measure(into_a_bank(1, esr=esr, noise=0.5e-3))
    assert (found.periods.pattern, found.pulses) == ("steady", None)
    assert found.switching_frequency == found.frequency


@pytest.mark.parametrize(
    "options", [{}, {"noise": 0.01}, {"spike": 0.3, "noise": 0.01}, {"spike": 0.2, "jitter": 20e-9}]
)
def test_edges_and_rings_are_no_pulses_of_a_burst(options):
    assert measure(steady(**options)).pulses is None


def test_bursts_that_come_unevenly_have_no_period():
    pauses = 100e-6 * (1 + 0.3 * np.random.default_rng(2).uniform(-1, 1, 40))
    starts = np.add.outer(np.cumsum(pauses), np.arange(5) * PERIOD).ravel()
    found = find_periods(from_events(starts, noise=0.002))
    assert (found.pattern, found.period, found.pulses) == ("bursts", None, None)


def test_the_average_of_a_burst_is_that_of_the_bank():
    """hand: charge and ESR steps, as in tests/system/test_light_load.py; between its samples a jump of 20 mV overshoots by a tenth."""
    found = measure(into_a_bank(noise=0.5e-3))
    assert found.aligned.peak_to_peak == pytest.approx(107.4e-3, rel=0.03, abs=0)
