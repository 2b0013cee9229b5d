"""Laws of recordings: what was written comes back, in whatever dialect."""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.bench.recording import load_recording
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
