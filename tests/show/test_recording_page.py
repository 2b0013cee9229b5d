"""A recording as text, page, numbers and figures: what stands there is what was put into the samples."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.bench.capture.harmonics import harmonics
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording
from filterlib.network.shapes import ring
from filterlib.network.waveform import Waveform
from filterlib.show.figures.drawing import svg
from filterlib.show.figures.figure import Curve
from filterlib.show.recording import recording_page as shown
from filterlib.show.table import Table
from filterlib.show.text import table_text
from filterlib.units import quantity
from tests.bench.waves import FREQUENCY, PERIOD, from_events, steady
from tests.show.words_drawn import faults

HOSTILE = "$x_1$ <script>&"


def examined(taken):
    found = measure(taken)
    return found, harmonics(found) if found.average else None


@pytest.fixture(scope="module")
def plain():
    """A triangle of 0.1 V with a spike of 0.5 V in noise of 1 mV, 28 V under it."""
    taken = steady(spike=0.25, noise=1e-3, count=120)
    volts = taken.volts + 28.0
    return examined(Recording(volts, taken.sample_interval, coupling="DC", file="folder/quay.csv", channel=HOSTILE,
                              channels=("CH1", HOSTILE), full_scale=40.0, assumptions=("taken as volts",)))  # fmt: skip


@pytest.fixture(scope="module")
def skipping():
    kept = np.random.default_rng(3).random(400) > 0.15
    return examined(from_events(np.flatnonzero(kept) * PERIOD, noise=0.002))


def value(text, unit):
    return quantity(" ".join(text.split()[:2]).rstrip(","), unit)


def rows(text):
    """First cell and the rest of every row of a text."""
    cells = (re.split(r"\s{2,}", line.strip()) for line in text.splitlines())
    return {first: rest for first, *rest in cells}


def test_the_text_says_what_was_put_in(plain):
    said = rows(shown.recording_text(*plain))
    assert said["switching frequency"] == ["180 kHz"]  # hand
    assert said["mean"] == ["28 V"]  # hand: the triangle from -0.05 to 0.05 V
    assert value(said["noise, rms"][0], "V") == pytest.approx(
        1e-3, rel=0.2, abs=0
    )  # hand; the ring begins between samples
    assert value(said["ring of the spikes"][0], "Hz") == pytest.approx(50e6, rel=0.02, abs=0)  # hand
    sizes = [value(cell, "V") for cell in said["mean of the aligned periods"]]
    spike = ring(PERIOD, 50e6, 60e-9, (0.0,), signs=(1,)) * 0.25
    wave = Waveform.lines(PERIOD, [0, 0.4 * PERIOD], [-0.05, 0.05]) + spike  # second method: closed form
    slow = wave.lowpass(20e6)
    expected = [float(one.peak_to_peak) for one in (wave, slow, wave - slow)]
    assert_allclose(sizes, expected, rtol=0.05, atol=0)
    assert said["coupling"] == ["DC"]
    assert said["probe factor"] == said["bandwidth"] == ["not stated"]
    assert said["channel"] == [f"{HOSTILE}, of CH1, {HOSTILE}"]
    assert "- taken as volts" in shown.recording_text(*plain)


def test_where_there_is_no_single_period_the_reason_and_the_distribution_are_said(skipping):
    text = shown.recording_text(*skipping)
    assert "skipped pulses: no single period" in text
    lengths = skipping[0].periods.lengths
    bars = re.findall(r"^ +[\d.]+ µs to [\d.]+ µs +(\d+)", text, flags=re.MULTILINE)
    assert sum(map(int, bars)) == lengths.size  # second method: the bars hold every period
    assert "no single period" in rows(text)["mean of the periods"][0]
    assert "Strongest harmonics" not in text


def test_numbers_for_other_programs_hold_null_and_never_nan(plain, skipping, tmp_path):
    shown.write_recording(*plain, tmp_path / "plain")
    found = json.loads((tmp_path / "plain" / "recording.json").read_text(encoding="utf-8"))
    assert found["switching_frequency_Hz"] == pytest.approx(FREQUENCY, rel=1e-4, abs=0)  # hand
    assert found["mean_V"] == pytest.approx(28.0, rel=1e-3, abs=0)  # hand
    assert found["bandwidth_Hz"] is None
    peaks = np.array(found["arrays"]["harmonic_peak_V"])
    assert peaks.size == len(found["arrays"]["harmonic_above_noise"])
    files = {path.name for path in (tmp_path / "plain").iterdir()}
    assert files == set(found["files"])
    shown.write_recording(*skipping, tmp_path / "skipping")
    found = json.loads((tmp_path / "skipping" / "recording.json").read_text(encoding="utf-8"))
    assert found["switching_frequency_Hz"] is None
    assert found["peak_to_peak"]["aligned"] is None
    assert "skipped" in found["why"]
    assert len(found["arrays"]["lengths_s"]) == skipping[0].periods.lengths.size


def test_a_name_from_the_file_is_text_and_never_markup(plain):
    files = shown.recording_files(*plain)
    for text in files.values():
        assert "<script>" not in text.replace("\\u003cscript", "") or text.startswith("{")
    assert "&lt;script&gt;" in files["recording.html"]
    for name, text in files.items():
        if name.endswith(".svg"):
            ElementTree.fromstring(text.split("\n", 1)[1])


def test_every_file_is_the_same_each_time(plain):
    assert shown.recording_files(*plain) == shown.recording_files(*plain)


def test_extremes_keep_the_highest_and_the_lowest_sample():
    values = np.random.default_rng(2).normal(size=100_003)
    times, low, high = shown.extremes(values, 2e-9)
    assert low.min() == values.min()  # second method: all samples
    assert high.max() == values.max()
    assert np.all(low <= high)
    column = np.searchsorted(times, 2e-9 * np.argmax(values), side="right") - 1
    assert high[column] == values.max()


def test_the_spectrum_draws_the_highest_line_of_every_column(plain):
    spectrum = plain[0].spectrum
    chosen = shown._highest_lines(spectrum.frequencies, spectrum.amplitude)
    assert np.argmax(spectrum.amplitude[1:]) + 1 in chosen
    assert np.all(np.diff(chosen) > 0)
    assert 0 not in chosen


def test_the_figures_show_mean_and_spread(plain):
    figure = shown.period_figure(plain[0].average)
    upper, lower = figure.plots
    curves = {mark.label: mark.y for mark in upper.marks if isinstance(mark, Curve)}
    mean = next(values for label, values in curves.items() if label.startswith("mean of"))
    assert np.mean(mean) == pytest.approx(28.0, rel=1e-3, abs=0)  # hand
    spread = lower.marks[0].y
    assert np.median(spread) == pytest.approx(1e-3, rel=0.15, abs=0)  # hand: the noise
    spectrum = shown.spectrum_figure(*plain)
    marked = next(mark for mark in spectrum.plots[0].marks if "order" in mark.label)
    assert_allclose(marked.x[0], FREQUENCY, rtol=1e-4, atol=0)  # hand
    for drawn in (figure, spectrum, shown.time_figure(plain[0])):
        assert faults(svg(drawn)) == []


def test_a_recording_of_few_samples_and_one_of_none_but_noise_are_drawn(tmp_path):
    noise = np.random.default_rng(1).normal(0, 1e-3, 500)
    for number, taken in enumerate((Recording(noise, 1e-8), Recording(np.zeros(4), 1e-6), Recording(noise[:2], 1e-6))):
        page = shown.write_recording(*examined(taken), tmp_path / str(number))
        assert "nothing repeats" in page.read_text(encoding="utf-8")


def test_columns_of_a_text_stand_below_each_other():
    text = table_text(Table("T", ("a", "long head"), (("longer", "1"), ("x", "2"))))
    places = [line.index(cell) for line, cell in zip(text.splitlines()[1:], ("long head", "1", "2"), strict=True)]
    assert len(set(places)) == 1
    assert table_text(Table("T", ("a",), ())) == "T\n  a"
