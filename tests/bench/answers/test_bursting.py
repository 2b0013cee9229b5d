"""Captures in bursts before the filter and behind it: of a board in the time domain that shares nothing with the library."""

import numpy as np
import pytest

from filterlib.bench.answers import answer
from filterlib.bench.answers.answer import bench
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.bursting import as_captured, bare_burst
from filterlib.bench.answers.explained import exit_code
from filterlib.bench.answers.explanation import explain
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import load_recording
from filterlib.errors import FilterlibError, InputError
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve
from filterlib.words.bench.answer_sentences import bench_text, remark_sentences, verdict_words
from tests.bench.answers.burst_board import DRAWN, T, capture, design
from tests.bench.waves import PERIOD
from tests.bench.writer import Dialect, put, written

RECORDINGS = data_folder() / "recordings"
POINT = "asleep"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("bursts")


@pytest.fixture(scope="module")
def board(folder):
    return design(folder)


@pytest.fixture(scope="module")
def before(folder):
    return capture(folder, "before", 4, 6, filtered=False, load="0.12")


@pytest.fixture(scope="module")
def after(folder):
    return capture(folder, "after", 4, 6, filtered=True)


@pytest.fixture(scope="module")
def found(board, before, after):
    return bench(board, before=before[0], after=[Capture(after[0], "modem", POINT)])


def test_bursts_on_both_sides_are_read_as_they_are(found, before, after):
    """Truth: peak to peak of the waves without noise; the design's values and the board's differ by as much as they state."""
    bare, modem, *_ = found.answers
    assert bare.reading.low < before[1] < bare.reading.high
    assert modem.reading.low < after[1] < modem.reading.high
    assert [bare.outcome, modem.outcome] == ["agrees", "agrees"]


def test_pulses_period_and_peak_are_found(found):
    """Hand: four triangles of T each 10 T that carry 0.12 A: 0.12 A x 10 / (4 / 2) = 0.6 A. The file states no burst."""
    seen = found.bursts
    assert seen.pulses == 4
    assert seen.period == pytest.approx(10 * T, rel=1e-3, abs=0)
    assert seen.switching == pytest.approx(1 / T, rel=0.02, abs=0)
    assert seen.peak == pytest.approx(0.6, rel=0.01, abs=0)
    assert not seen.stated
    assert any(
        ("bursts of 4 pulses" in text and "0.6 A" in text) or "600 mA" in text for text in remark_sentences(found)
    )


def test_the_bare_burst_is_what_such_pulses_make(found, before):
    """The prediction knows 22 µF ± 20 % where the board has three branches, together 19.6 µF."""
    assert found.bursts.low < before[1] < found.bursts.high
    assert found.bursts.high < 1.6 * found.bursts.low


def test_harmonics_of_the_bursts_are_compared(found):
    """Of the burst's period, not of switching; nine in ten are within what nine cases in ten make, and the model's own share."""
    lines = found.spectra[0]
    assert lines.frequencies[0] == pytest.approx(0.1 / T, rel=1e-3, abs=0)
    clear = lines.clear & (lines.frequencies < 1e6)
    assert clear.sum() > 8
    low, high = 0.75 * lines.expected_low, 1.35 * lines.expected_high
    assert np.mean((lines.after > low)[clear] & (lines.after < high)[clear]) > 0.8


def test_a_bridged_choke_is_found_in_bursts(folder, board, before):
    """At 18 kHz the choke does little, so that the peak to peak of slow bursts agrees; their lines at the pulses' frequency do not."""
    file, _ = capture(folder, "bridged", 4, 6, filtered=True, bridged=True)
    result = bench(board, before=before[0], after=[Capture(file, "modem", POINT)])
    why = explain(result)
    assert result.answers[1].outcome == "agrees"
    assert (why.ranked[0].fault.kind, why.ranked[0].fault.part, why.sound) == ("shorted", "L1", False)
    assert exit_code(result, why) == 1
    assert "the harmonics point to a fault: L1 is bridged" in verdict_words(result, why)


def test_lines_that_both_have_are_compared_where_bursts_come_less_often_behind(folder, board, before):
    """Every second line of bursts each 10 T is every third of bursts each 15 T. As the same pulses carry 0.08 A in the mean then, the same
    attenuation is seen there."""
    file, _ = capture(folder, "rarer", 4, 11, filtered=True, drawn=0.08)
    result = bench(board, before=before[0], after=[Capture(file, "modem", POINT)])
    lines = result.spectra[0]
    assert not np.any(np.rint(lines.frequencies * 10 * T) % 2)
    first = lines.clear & (lines.frequencies < 0.3e6)
    assert first.sum() >= 2
    assert (lines.after / lines.expected)[first] == pytest.approx(np.ones(first.sum()), rel=0.4, abs=0)


@pytest.mark.parametrize("bursts_before", [True, False])
def test_bursts_on_one_side_alone_are_asked_about(tmp_path, board, before, bursts_before):
    """Read and judged as the design has it, and not refused; no harmonics are compared."""
    steady = str(RECORDINGS / "clean-modem.csv")
    if bursts_before:
        result = bench(board, before=before[0], after=[Capture(steady, "modem", "listening")])
    else:
        times = np.arange(0, 12 * 15.3 * PERIOD, 20e-9)
        phase = np.mod(times, 15.3 * PERIOD) / PERIOD
        wave = np.where(phase < 6, 2e-3 * np.minimum(phase % 1 / 0.4, (1 - phase % 1) / 0.6), 0.0)
        file = put(tmp_path, written(Dialect(preamble="keys"), times, [wave]), "bursts.csv")
        result = bench(
            board, before=str(RECORDINGS / "clean-terminals.csv"), after=[Capture(str(file), "modem", POINT)]
        )
    assert not result.spectra
    asked = [text for text in remark_sentences(result) if "were both taken at the same load?" in text]
    assert len(asked) == 1
    assert ("bursts before the filter" in asked[0]) == bursts_before


def test_bursts_that_a_capture_shows_are_tried_as_they_are(board, before, after):
    """Of a capture behind the filter alone the fault has its pulses and its period, at a load at which none was suspected."""
    result = bench(board, before=before[0], after=[Capture(after[0], "modem", POINT)])
    there = solve(filterlib_load(board), "listening")
    measured = measure(load_recording(before[0]))
    assert there.supposed is None
    captured = as_captured(there, [(answer.Station("modem", result.answers[1].station.band, "listening"), [measured])])
    assert captured.burst.pulses == 4
    assert captured.burst.period == pytest.approx(10 * T, rel=1e-3, abs=0)


def filterlib_load(file):
    from filterlib import load_design

    return load_design(file)


def test_bursts_of_no_stated_load_are_asked_for_it(folder, board):
    file, _ = capture(folder, "nowhere", 4, 6, filtered=False)
    result = bench(board, before=file, readings=["modem 20MHz asleep 76 mV"])
    bare, modem = result.answers
    assert (bare.outcome, bare.why) == ("cannot tell", "load")
    assert modem.outcome == "agrees"  # of the recorded burst
    assert "--before-load" in bench_text(result, None)


def test_uneven_bursts_before_the_filter_are_read_and_predict_nothing(tmp_path, board):
    gaps = PERIOD * np.random.default_rng(5).uniform(6.0, 14.0, 12)
    starts = (np.cumsum(gaps + 6 * PERIOD)[:, None] + PERIOD * np.arange(6)).ravel()
    times = np.arange(0, starts[-1], 20e-9)
    phase = (times - starts[np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)]) / PERIOD
    wave = np.where((phase >= 0) & (phase < 1), 0.1 * np.minimum(phase / 0.4, (1 - phase) / 0.6), 0.0)
    file = put(tmp_path, written(Dialect(preamble="keys"), times, [wave]), "uneven.csv")
    result = bench(board, before=str(file), readings=["modem 20MHz 4.3 mV"])
    assert [(one.outcome, one.why) for one in result.answers] == [("cannot tell", "uneven"), ("agrees", "")]
    assert any("take a capture in which they come evenly" in text for text in remark_sentences(result))


def test_bursts_of_another_converter_are_refused(tmp_path, folder, before):
    text = design(folder).read_text(encoding="utf-8").replace('"180 kHz"', '"120 kHz"')
    file = tmp_path / "slow.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(FilterlibError, match="switches at 120 kHz: captures of one converter"):
        bench(file, before=before[0], readings=["modem 20MHz asleep 76 mV"])


def test_captures_before_the_filter_of_two_kinds_are_not_averaged(board, before):
    with pytest.raises(InputError, match="average captures of one load only"):
        bench(board, before=[before[0], str(RECORDINGS / "clean-terminals.csv")], readings=["modem 20MHz 4 mV"])


def test_a_stated_burst_is_what_the_capture_is_held_against(folder, before):
    """Hand: pulses of 1.2 A instead of 0.6 lift the capacitor twice as far."""
    high = design(folder, '[converter.burst]\npulses = 4\npeak = "1.2 A"\nperiod = "55.49 µs"\n')
    measured = measure(load_recording(before[0]))
    seen = bare_burst(filterlib_load(high), measured, DRAWN)
    assert seen.stated
    assert seen.expected_pp == pytest.approx(2 * before[1], rel=0.25, abs=0)
    with pytest.raises(FilterlibError):
        bare_burst(filterlib_load(high), measured, 0.0)
