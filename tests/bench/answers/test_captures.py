"""Captures of every kind, through the bench: repeated, in every dialect, of any length and rate, untriggered, in bursts, all noise."""

import numpy as np
import pytest

from filterlib.analysis.ripple.ripple_result import Band
from filterlib.bench.answers import answer
from filterlib.bench.answers.answer import bench
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.bench_reading import from_captures, from_figures
from filterlib.bench.answers.explanation import explain
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording, load_recording
from filterlib.errors import InputError
from filterlib.parts.tables import data_folder
from tests.bench.waves import PERIOD, from_events, steady, triangle
from tests.bench.writer import Dialect, put, written

CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"
RECORDINGS = data_folder() / "recordings"
BEFORE = str(RECORDINGS / "clean-terminals.csv")
BAND, FULL = Band("20MHz", 20e6, 1), Band("full", None, 1)
EXACT = ScopeErrors(gain=0.0, probe_gain=0.0, noise=0.0, lead=(0.0, 0.0), corner=0.0, jitter=0.0, repeatability=0.02)
DIALECTS = [
    Dialect(preamble="keys"),
    Dialect(";", ",", "ms", "mV", "parenthesis", "keys", ("\r\n",), "utf-8-sig"),
    Dialect("\t", ",", "us", "mV", "slash", "keys", ("\r",), "utf-16", quoted=True),
    Dialect(",", ".", "ns", "V", "in", "colons", ("\n", "\r\n"), "latin-1", trailing=True),
    Dialect(",", ".", "us", "mV", "underscore", "long", time="stated"),
    Dialect("\t", ".", "µs", "V", "row", "short", time="stated", quoted=True),
    Dialect("", ",", volt_unit="mV", header="bracket", time="stated"),
]


@pytest.fixture(scope="module")
def modem():
    return load_recording(RECORDINGS / "clean-modem.csv")


@pytest.fixture(autouse=True)
def ripples(monkeypatch):
    """What is expected is had once: it depends on the capture before the filter alone."""
    real = answer._ripple
    monkeypatch.setattr(
        answer, "_ripple", lambda design, point: KEPT.setdefault(point, None) or _keep(real, design, point)
    )


KEPT = {}


def _keep(real, design, point):
    KEPT[point] = real(design, point)
    return KEPT[point]


def answered(folder, recording, dialect=DIALECTS[0], *, volts=None, times=None, name="after.csv"):
    """The answer at the modem, of samples in a file of a dialect."""
    times = recording.time if times is None else times
    file = put(folder, written(dialect, times, [recording.volts if volts is None else volts]), name)
    return bench(CLEAN, before=BEFORE, after=[Capture(str(file))])


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda one: f"{one.separator!r}{one.decimal}{one.header}")
def test_a_capture_reads_the_same_in_every_dialect(tmp_path, modem, dialect):
    """Law: how numbers are written changes none; one whose file says nothing of a limit is limited by the bench instead, to some 4 %."""
    plain, other = answered(tmp_path, modem), answered(tmp_path, modem, dialect)
    limited = dialect.preamble in ("keys", "colons")
    assert other.answers[1].reading.value == pytest.approx(
        plain.answers[1].reading.value, rel=1e-6 if limited else 0.04, abs=0
    )
    assert other.answers[1].outcome == "agrees"


@pytest.mark.parametrize(
    ("start", "count", "step"),
    [(0, 10_000, 1), (137, 9_000, 1), (1_234, 30_001, 1), (0, 34_000, 3), (77, 20_000, 2)],
    ids=["shorter", "begins anywhere", "begins anywhere, long", "slow", "slow, begins anywhere"],
)
def test_a_capture_of_another_length_rate_and_moment_reads_the_same(tmp_path, modem, start, count, step):
    """The capture before the filter has 34,000 samples, so it is longer than most of these; a triangle needs no 10 ns."""
    chosen = slice(start, start + count, step)
    found = answered(tmp_path, modem, volts=modem.volts[chosen], times=modem.time[chosen])
    whole = answered(tmp_path, modem)
    assert found.answers[1].reading.value == pytest.approx(whole.answers[1].reading.value, rel=0.03, abs=0)
    assert found.answers[1].outcome == "agrees"
    first = [one.spectra[0].after[0] for one in (found, whole)]
    assert first[0] == pytest.approx(first[1], rel=0.01, abs=0)


def bursts(gaps, volts=4.5e-3):
    """Groups of six periods with pauses [s] between, sampled each 20 ns."""
    starts, at = [], 0.0
    for gap in gaps:
        starts += [at + n * PERIOD for n in range(6)]
        at += 6 * PERIOD + gap
    times = np.arange(0, at, 20e-9)
    nth = np.searchsorted(starts, times, side="right") - 1
    wave = volts * triangle((times - np.asarray(starts)[nth]) / PERIOD)
    return wave + np.random.default_rng(3).normal(0, 0.02 * volts, times.size), times


@pytest.mark.parametrize("even", [True, False])
def test_a_capture_in_bursts_is_read_and_judged(tmp_path, modem, even):
    """Physics: the pulses are as high as those of steady switching, so their peak to peak is the same; no harmonics are compared."""
    gaps = np.full(12, 9.3 * PERIOD) if even else PERIOD * np.random.default_rng(5).uniform(6.0, 14.0, 12)
    volts, times = bursts(gaps)
    found = answered(tmp_path, modem, volts=volts, times=times)
    one = found.answers[1]
    assert found.captures[0][1][0].periods.pattern == "bursts"
    assert one.reading.low < 4.5e-3 < one.reading.high
    assert one.outcome == "agrees"
    assert not found.spectra
    far = answered(tmp_path, modem, volts=20 * volts, times=times)
    assert far.answers[1].outcome == "does not agree"
    assert explain(far).ranked


def test_bursts_of_another_converter_are_refused(tmp_path, modem):
    """Pulses at half the time are of 360 kHz, a whole multiple; at 0.7 of it they are of no converter like this."""
    volts, times = bursts(np.full(12, 9.3 * PERIOD))
    with pytest.raises(InputError, match="captures of one converter"):
        answered(tmp_path, modem, volts=volts, times=0.7 * times)


def test_repeated_captures_are_averaged_and_known_better(tmp_path):
    """Hand: four captures that scatter by 2 % as their scope is known to; u is that over the root of 4, times the root of 13 / 11 of
    Student's t, and the mean is theirs. JCGM 100, 4.2.3."""
    sizes = 0.05 * (1 + 0.02 * np.array([-1.0, 1.0, -1.0, 1.0]))
    several = [measure(steady(volts=size, noise=1e-6, seed=n)) for n, size in enumerate(sizes)]
    one, four = from_captures(several[:1], FULL, EXACT), from_captures(several, FULL, EXACT)
    assert four.value == pytest.approx(0.05, rel=1e-3, abs=0)
    size = np.sqrt((10 + 4) / 13) * 0.02 * 0.05 / 2
    assert four.by_repeats == pytest.approx(size * np.sqrt(13 / 11), rel=0.02, abs=0)
    assert 0.4 < four.expanded / one.expanded < 0.6
    assert four.times == 4


def test_what_is_the_scopes_own_does_not_average_away():
    """Hand: gain of 3 % and probe of 2 %, evenly likely, make 2.08 %, of one reading and of a hundred (type B)."""
    scope = ScopeErrors(noise=0.0, lead=(0.0, 0.0))
    for count in (1, 100):
        found = from_figures([0.05] * count, BAND, scope)
        assert found.by_instrument == pytest.approx(0.0208 * 0.05, rel=0.02, abs=0)
    assert found.by_repeats < 0.0012 * 0.05


def test_captures_of_one_station_are_one_answer(tmp_path, modem):
    files = [
        str(put(tmp_path, written(DIALECTS[0], modem.time[:10_000], [share * modem.volts[k : k + 10_000]]), f"{k}.csv"))
        for share, k in ((0.98, 0), (1.02, 9_000), (1.0, 20_000))
    ]
    found = bench(
        CLEAN,
        before=[BEFORE, BEFORE],
        after=[Capture(one) for one in files],
        readings=["logger 20MHz 5 mV", "logger 20MHz 6 mV"],
    )
    assert [(one.station.place, one.reading.times) for one in found.answers] == [
        ("terminals", 2),
        ("modem", 3),
        ("logger", 2),
    ]
    single = bench(CLEAN, before=BEFORE, after=[Capture(files[2])])
    assert found.answers[1].reading.value == pytest.approx(single.answers[1].reading.value, rel=0.01, abs=0)
    assert found.answers[2].reading.shown == pytest.approx(5.5e-3, rel=1e-9, abs=0)
    widths = [(s.after_high[0] - s.after_low[0]) / s.after[0] for s in (found.spectra[0], single.spectra[0])]
    assert widths[0] < widths[1]


def test_jitter_that_noise_hides_widens_what_has_fast_edges():
    """Physics: averaging with 1 ns keeps 95 % of a ring at 50 MHz, so up to 5 % more may be there; none of it in a slow triangle."""
    noisy = measure(steady(volts=0.02, spike=0.1, noise=0.03))
    assert noisy.average.jitter == 0
    still, shaken = (from_captures([noisy], FULL, ScopeErrors(lead=(0.0, 0.0), jitter=one)) for one in (0.0, 3e-9))
    assert shaken.high > 1.05 * still.high
    averaged = [from_figures([0.1], FULL, ScopeErrors(averages=16, jitter=one)) for one in (0.0, 3e-9)]
    assert averaged[1].high > 1.2 * averaged[0].high


def test_averages_of_the_screen_take_noise_off():
    """Hand: sixteen leave a quarter of 1 mV of it."""
    assert from_figures([5e-3], BAND, ScopeErrors(averages=16, jitter=0.0)).bias == pytest.approx(
        0.125e-3, rel=1e-6, abs=0
    )


def test_where_the_scopes_low_pass_is_matters_for_what_is_near_it():
    """Hand: of a ring at 50 MHz a first-order limit at 16 MHz instead of 20 keeps 0.82 times as much; 22 % more may be there."""
    ring = from_events(np.arange(201) * PERIOD, volts=1e-4, spike=0.1)
    measured = measure(Recording(ring.volts, ring.sample_interval, bandwidth=20e6, file="ring.csv"))
    near, far = (from_captures([measured], BAND, ScopeErrors(lead=(0.0, 0.0), corner=one)) for one in (0.0, 0.2))
    assert far.high > 1.1 * near.high


def test_uneven_periods_are_read_off_the_trace():
    """Dither has no single period: the trace's own peak to peak, less at most its noise."""
    lengths = PERIOD * np.random.default_rng(4).uniform(0.9, 1.1, 200)
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    dithered = measure(from_events(starts, volts=0.05, noise=1e-3, length=np.append(lengths, PERIOD)))
    assert dithered.average is None
    found = from_captures([dithered], FULL, ScopeErrors())
    assert 0.03 < found.low < 0.05 < found.high  # noise alone would be anything from zero on
    assert found.shown > 0.05
