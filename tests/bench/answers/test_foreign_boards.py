"""Boards that the library did not model: converters of the population, simulated by the calibration's own solver, through the bench."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib.bench.answers.answer import Capture, bench
from filterlib.bench.answers.explanation import explain
from filterlib.bench.answers.trials import trials
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
