"""What a reading says of the true figure, on waveforms whose truth is known."""

import numpy as np
import pytest

from filterlib.analysis.ripple.ripple_result import Band
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.bench.answers.answer import judged
from filterlib.bench.answers.answers_result import MODEL, BenchReading, Station
from filterlib.bench.answers.bench_reading import from_captures, from_figures
from filterlib.bench.answers.distance import times_from_cases
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording
from filterlib.network.extremes import peak_to_peak

BAND = Band("20MHz", 20e6, 1)
FULL = Band("full", None, 1)
SHORT = ScopeErrors(lead=(0.0, 0.0))
PERIODS, SAMPLES = 24, 200


def capture(random, *, noise, gain=1.0, scope=None):
    """A capture of a random wave of eight harmonics at 200 kHz, and the wave's true peak to peak."""
    c = (random.standard_normal(8) + 1j * random.standard_normal(8)) / np.arange(1, 9) ** 2
    c[0] = 1.5 * np.exp(1j * np.angle(c[0]))
    c *= 0.05 / float(peak_to_peak(c))
    times = np.arange(PERIODS * SAMPLES) * 5e-6 / SAMPLES
    k = np.arange(1, 9)
    volts = 2 * (c[:, None] * np.exp(2j * np.pi * 200e3 * k[:, None] * times)).sum(axis=0).real
    size = noise * 0.05
    return Recording(
        gain * volts + random.normal(0, size, times.size), 5e-6 / SAMPLES, bandwidth=100e6, file="x.csv"
    ), 0.05


def test_the_true_figure_is_in_the_interval():
    """Gain errors drawn as stated, noise from a hundredth to a fifth of the ripple: 19 in 20, of 120 at least 106 (1 in 1,000 fewer)."""
    random = np.random.default_rng(4)
    inside = 0
    for _ in range(120):
        gain = float(SHORT.gains(random, 1)[0])
        recording, true = capture(random, noise=10 ** random.uniform(-2, -0.7), gain=gain)
        found = from_captures([measure(recording)], FULL, SHORT)
        inside += found.low <= true <= found.high
    assert inside >= 106


def test_noise_raises_a_peak_to_peak_and_is_taken_off():
    """The mean of many: the shown figures are too high by more than what is left after the correction, by five times at least."""
    random = np.random.default_rng(5)
    found = [from_captures([measure(capture(random, noise=0.3)[0])], FULL, SHORT) for _ in range(40)]
    shown, value = np.mean([one.shown for one in found]), np.mean([one.value for one in found])
    assert shown > 0.0502
    assert abs(value - 0.05) < (shown - 0.05) / 3


def test_a_long_ground_lead_widens_what_is_near_its_resonance():
    random = np.random.default_rng(6)
    measured = measure(capture(random, noise=0.01)[0])
    long, short = (
        from_captures([measured], FULL, ScopeErrors(probe=1.0, lead=(0.0, 30.0))),
        from_captures([measured], FULL, SHORT),
    )
    assert long.expanded > 1.05 * short.expanded
    assert ScopeErrors(lead=(0.1, 0.1)).response(np.array([ScopeErrors().resonance(0.1)]), 0.1)[0].imag < 0


def test_a_capture_with_the_limit_on_says_nothing_of_full_bandwidth():
    random = np.random.default_rng(7)
    recording, _ = capture(random, noise=0.01)
    limited = Recording(recording.volts, recording.sample_interval, bandwidth=20e6)
    found = from_captures([measure(limited)], FULL, SHORT)
    assert found.short
    assert judged(Station("modem", FULL, "full load"), found, 0.05, 0.04, 0.06).why == "bandwidth"


def test_all_noise_cannot_tell_and_is_no_agreement():
    quiet = BenchReading(3e-3, 1e-3, 0.0, 3e-3, 2e-3, "")
    place = Station("modem", BAND, "full load")
    assert judged(place, quiet, 2e-3, 1e-3, 3e-3).outcome == "cannot tell"
    assert judged(place, quiet, 2e-2, 1e-2, 3e-2).outcome == "does not agree"


def test_a_difference_of_twice_is_found_and_none_is_invented():
    """10,000 readings each: alarms where there is no difference at most 5 in 100, none missed of twice but 5 in 100.

    Both known to a share, normal in logarithms: reading 4 %, prediction 12 %, one standard uncertainty each.
    """
    random, n = np.random.default_rng(8), 10_000
    u, p = 0.04, 0.12
    place, times = Station("modem", BAND, "full load"), {}
    for shift in (0.0, 2 * 1.96 * np.hypot(u, p)):
        truth = np.exp(p * random.standard_normal(n))
        read = truth * np.exp(u * random.standard_normal(n) + shift)
        ends = np.exp(1.645 * p)
        found = [
            judged(place, BenchReading(r, r, r * np.exp(-1.96 * u), r * np.exp(1.96 * u), 0.0, ""), 1.0, 1 / ends, ends)
            for r in read
        ]
        times[shift] = np.mean([one.outcome == "does not agree" for one in found])
    none, twice = times.values()
    assert none <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / n)
    assert twice >= 0.95


def test_a_long_tail_of_the_prediction_counts_as_it_is():
    """Cases of a long tail upwards: of 2,000 that are read exactly, but for the model's own 10 %, 19 in 20 agree; normal ends would
    call more than that different above, and fewer below."""
    random = np.random.default_rng(9)
    cases = np.exp(0.3 * random.exponential(size=400))
    truth = np.exp(0.3 * random.exponential(size=2000) + 0.1 * random.standard_normal(2000))
    place, ends = Station("modem", BAND, "full load"), np.quantile(cases, (0.05, 0.95))
    told = [
        judged(place, BenchReading(t, t, 0.999 * t, 1.001 * t, 0.0, ""), 1.2, *ends, Plausible(cases, np.ones(400)))
        for t in truth
    ]
    alarms = np.array([one.outcome == "does not agree" for one in told])
    assert 0.02 < alarms.mean() < 0.07


def test_a_reading_above_all_that_noise_can_make_does_not_agree():
    noisy = BenchReading(3e-3, 3e-3, 1.2e-3, 4.8e-3, 0.0, "")
    assert judged(Station("modem", BAND, "full load"), noisy, 1e-4, 5e-5, 2e-4).outcome == "does not agree"


def test_a_figure_off_the_screen():
    """Noise of 1 mV on 4.8 mV: the true one is likely between, and the error of the gain is in it."""
    found = from_figures([4.8e-3], BAND, ScopeErrors())
    assert found.low == pytest.approx(3.8e-3, rel=0.03, abs=0)
    assert found.high == pytest.approx(4.8e-3, rel=0.04, abs=0)
    assert from_figures([0.5e-3], BAND, ScopeErrors()).low < 0.05e-3


SPREADS = {
    "even": np.linspace(-1, 1, 401),
    "skewed": -np.log(1 - (np.arange(400) + 0.5) / 400),  # exponential
    "two heaps": np.concatenate([np.linspace(-1.1, -0.9, 300), np.linspace(0.9, 1.1, 100)]),
    "a long tail": np.sinh(np.linspace(-4, 4, 401)) / 10,
}


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("spread", SPREADS.values(), ids=SPREADS)
def test_false_alarms_and_twice_the_uncertainty_both_hold_whatever_the_spread(spread, side):
    """Law: within U of the mean are 95 % or a little more, so that of boards that are off by 2 U as many are beyond U. Boards are
    drawn here: their own spread, the model's 10 % and a reading's 2 %; of 20,000 each hundredth, so that the shares are good to 1 %."""
    random = np.random.default_rng(8)
    cases = Plausible(np.exp(spread), np.ones(spread.size))
    drawn = random.choice(spread, 20_000) + np.hypot(MODEL, 0.02) * random.standard_normal(20_000)
    boards = np.sort(drawn)[50::100]

    def times(logs):
        return np.array([times_from_cases(read(np.exp(one), 0.02), cases) for one in logs])

    half = expanded(cases)
    assert np.mean(times(boards) > 1) < 0.06
    assert np.mean(times(boards + side * 2 * half) > 1) > 0.94


def read(value, share):
    return BenchReading(value, value, value * np.exp(-1.96 * share), value * np.exp(1.96 * share), 0.0, "")


def expanded(cases):
    """U, from how many of it a far reading is away of their mean."""
    far = 20.0
    mean = float(np.mean(np.log(cases.figures)))
    return far / times_from_cases(read(np.exp(mean + far), 0.02), cases)
