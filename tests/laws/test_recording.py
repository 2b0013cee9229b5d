"""Laws of recordings: what was written comes back, in whatever dialect."""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.noise_floor import spectrum
from filterlib.bench.capture.recording import Recording, load_recording
from filterlib.network.shapes import trapezoid
from tests.bench.writer import HEADERS, PREAMBLES, TIME_UNITS, VOLT_UNITS, Dialect, put, written

SIGNS = [(";", "."), (";", ","), ("\t", "."), ("\t", ","), (",", ".")]
ENDS = [("\n",), ("\r\n",), ("\r",), ("\n", "\r\n"), ("\r\n", "\n", "\r")]
LEVEL = st.floats(-100, 100).map(lambda value: round(value, 6))


@st.composite
def dialects(draw):
    separator, decimal = draw(st.sampled_from(SIGNS))
    stated = draw(st.booleans())
    return Dialect(
        separator,
        decimal,
        draw(st.sampled_from(list(TIME_UNITS))),
        draw(st.sampled_from(list(VOLT_UNITS))),
        draw(st.sampled_from(HEADERS)),
        draw(st.sampled_from(list(PREAMBLES))),
        draw(st.sampled_from(ENDS)),
        draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"])),
        "stated" if stated else "column",
        draw(st.booleans()),
        draw(st.booleans()),
    )


@st.composite
def signals(draw):
    count = draw(st.integers(3, 40))
    channels = draw(st.lists(st.lists(LEVEL, min_size=count, max_size=count), min_size=1, max_size=4))
    interval = 10 ** draw(st.floats(-9, -1))
    start = draw(st.floats(-1000, 1000)) * interval
    return start + interval * np.arange(count), [np.array(channel) for channel in channels]


def _back(dialect, times, channels, **options):
    """Each channel as it is read; the full scale is stated, as levels drawn at random may repeat at an extreme."""
    with tempfile.TemporaryDirectory() as folder:
        path = put(Path(folder), written(dialect, times, channels))
        return [load_recording(path, n + 1, full_scale=1e6, **options) for n in range(len(channels))]


@settings(max_examples=300, deadline=None)
@given(dialects(), signals())
def test_what_was_written_comes_back(dialect, signal):
    times, channels = signal
    found = _back(dialect, times, channels)
    for nth, (recording, volts) in enumerate(zip(found, channels, strict=True), start=1):
        assert_allclose(recording.volts, volts, rtol=1e-14, atol=0)
        interval = (times[-1] - times[0]) / (times.size - 1)
        assert_allclose(recording.sample_interval, interval, rtol=1e-9 * (1 + abs(times[0]) / interval), atol=0)
        assert recording.channel == f"CH{nth}"
        assert recording.coupling == {"keys": "AC", "colons": "DC"}.get(dialect.preamble)
        assert recording.bandwidth == (20e6 if dialect.preamble in ("keys", "colons") else None)
        assert recording.probe_factor == (10 if dialect.preamble in ("keys", "colons") else None)


@settings(max_examples=100, deadline=None)
@given(dialects(), signals())
def test_separator_and_decimal_sign_change_no_number(dialect, signal):
    """Bit for bit the same, whatever the signs."""
    times, channels = signal
    readings = [_back(replace(dialect, separator=s, decimal=d), times, channels) for s, d in SIGNS]
    for other in readings[1:]:
        for one, two in zip(readings[0], other, strict=True):
            assert np.array_equal(one.volts, two.volts)
            assert np.array_equal(one.time, two.time)


@settings(max_examples=50, deadline=None)
@given(signals(), st.sampled_from([".", ","]), st.sampled_from(HEADERS))
def test_a_single_column_comes_back(signal, decimal, header):
    times, channels = signal
    dialect = Dialect("", decimal, header=header, time="stated")
    assert_allclose(_back(dialect, times, channels[:1])[0].volts, channels[0], rtol=1e-14, atol=0)


@given(st.lists(LEVEL, min_size=2, max_size=200), st.floats(-9, -1))
def test_parseval(volts, decade):
    """The lines of the spectrum add up to the mean square of the samples."""
    found = spectrum(np.array(volts), 10**decade, window="none")
    assert_allclose(found.mean_square, np.mean(np.square(volts)), rtol=1e-12, atol=1e-26)


@given(st.floats(0.1, 0.9), st.floats(0.01, 0.09), st.integers(3, 40), st.floats(0.1, 10))
def test_spectrum_of_a_known_trapezoid(duty, edge, repeats, amplitude):
    """Whole periods, sampled: each line is the harmonic, sqrt(2) A duty sinc(n duty) sinc(n edge), but for aliases.

    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, ch. 3.
    """
    count = 2048
    wave = trapezoid(1e-5, amplitude, duty, edge * 1e-5, edge * 1e-5)
    found = spectrum(np.tile(wave.samples(count), repeats), 1e-5 / count)
    n = np.arange(1, 20)
    expected = np.sqrt(2) * amplitude * duty * np.abs(np.sinc(n * duty) * np.sinc(n * edge))  # published Paul
    lines = found.amplitude[repeats * n]
    assert_allclose(lines, expected, rtol=0, atol=amplitude * 4 / (np.pi**2 * edge * count**2) * 4)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.2, 0.8), st.floats(0.02, 0.09), st.floats(0.31, 0.77))
def test_averaged_period_has_the_harmonics_of_the_trapezoid(duty, edge, odd):
    """A period that is no whole number of samples, found again from the samples alone."""
    wave = trapezoid(5e-6, 1.0, duty, edge * 5e-6, edge * 5e-6)
    interval = 5e-6 / (500 + odd)
    found = measure(Recording(wave.at(interval * np.arange(40_000)), interval))
    assert_allclose(found.period, 5e-6, rtol=1e-6, atol=0)
    n = np.arange(1, 15)
    expected = duty * np.abs(
        np.sinc(n * duty) * np.sinc(n * edge)
    )  # published Paul, ch. 3, half of its one-sided value
    assert_allclose(np.abs(found.average.plain.coefficients(14)[1:]), expected, rtol=0, atol=1e-3)
