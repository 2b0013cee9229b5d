"""Boards that the library did not model: converters of the population, simulated by the calibration's own solver, through the bench."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib.bench.answers.answer import bench
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.explanation import explain
from filterlib.bench.answers.same_converter import at_the_clock_of
from filterlib.bench.answers.spectrum_answer import _lines
from filterlib.bench.answers.trials import trials
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import load_recording
from filterlib.parts.tables import data_folder
from tests.calibration import scope
from tests.calibration.files import write
from tests.calibration.plants import behind, case
from tests.calibration.population import Series


@pytest.mark.parametrize("number", [0, 2], ids=["buck", "flyback"])
def test_a_sound_board_is_told_so_and_a_bridged_choke_is_found(tmp_path, number):
    """Their shape is not stated, so that cases of both are tried: nominal values alone would call the sound ones faulty."""
    one = case(1, number)
    design, after = write(one, "recording", tmp_path), tmp_path / "after.csv"
    bridged = replace(one.filter.choke, true=Series(1e-9, 1e-3), common=min(one.filter.choke.common, 1e-9))
    known = None
    for board, first in ((one, "as designed"), (replace(one, filter=replace(one.filter, choke=bridged)), "shorted")):
        after.write_text(scope.recording(one.limited(behind(board)), 1 / one.converter.base, number, bandwidth=20e6))
        found = bench(design, before=str(tmp_path / "terminals.csv"), after=[Capture(str(after))])
        known = known or trials(found)
        why = explain(found, known)
        assert why.ranked[0].fault.kind == first
        assert why.sound == (first == "as designed")
    assert np.unique(known[0].figures[found.behind[0].station.name]).size > 10


def test_a_period_that_noise_hides_behind_the_filter_is_that_before_it(tmp_path):
    """In 200 MHz noise is 1 mV, and what it finds is 57 kHz: a true capture was refused as of another converter. The demo's other converter stays one."""
    one = case(1, 3)
    write(one, "recording", tmp_path)
    after = tmp_path / "after.csv"
    after.write_text(scope.recording(one.wide(behind(one)), 1 / one.converter.base, 3, bandwidth=200e6))
    before, noisy = (measure(load_recording(file)) for file in (tmp_path / "terminals.csv", after))
    assert abs(noisy.frequency / before.frequency - 1) > 0.1
    assert at_the_clock_of(before, noisy).frequency == pytest.approx(before.frequency, rel=1e-4, abs=0)
    clean, brick = (
        measure(load_recording(data_folder() / "recordings" / f"{name}-modem.csv")) for name in ("clean", "brick")
    )
    assert at_the_clock_of(clean, brick) is brick


def test_noise_in_200_mhz_makes_no_lines(tmp_path):
    """Behind an open second capacitor a sine of 0.15 mV is left under 0.2 mV of noise, by which its periods cannot be moved to fit: of all
    lines but the first three is none, and to each that is claimed no fault could be fitted."""
    one = case(1, 2)
    write(one, "recording", tmp_path)
    open_ = replace(one.filter.second, true=replace(one.filter.second.true, capacitance=1e-13))
    board = replace(one, filter=replace(one.filter, second=open_))
    after = tmp_path / "after.csv"
    after.write_text(scope.recording(board.wide(behind(board)), 1 / one.converter.base, 2, bandwidth=200e6))
    before, noisy = (measure(load_recording(file)) for file in (tmp_path / "terminals.csv", after))
    assert noisy.jitter > 10 * before.average.jitter_resolution  # found in noise
    lines = _lines(noisy, noisy.average, before)
    assert lines.clear[0]
    assert lines.clear[3:90].mean() < 0.02  # to 19 MHz
