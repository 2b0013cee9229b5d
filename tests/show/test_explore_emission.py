"""The panel of emissions: what it shows at once and at rest is the estimate of the analysis, and each move does what is said."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.emission.emission_result import EmissionTest
from filterlib.analysis.emission.estimate import emissions
from filterlib.show.explore.emission_panel import emission_panel
from filterlib.show.explore.tide_gauge import demo
from filterlib.system.solution import solve
from filterlib.words.stability_sentences import reason_text

INPUT = "at the input"


@pytest.fixture(scope="module")
def panel():
    return emission_panel()


@pytest.mark.parametrize(("words", "side"), [("at the output", "output"), (INPUT, "input")])
def test_it_is_the_estimate_of_the_demo(panel, words, side):
    """second method: the emission of the demo's own file."""
    full = emissions(solve(demo("brick")), EmissionTest(side, "", ("dc-telecom-network",)), interval=False)
    found = panel.at({"side": words})
    assert [one.margin for one in found.margins] == pytest.approx([one.margin for one in full.margins], rel=1e-9, abs=0)


def test_the_fundamental_by_hand(panel):
    """hand: 5.469 V behind 8842 ohm of coupling less 942 ohm of the choke make 692 uA; over 34.29 ohm / 2: 81.5 dBuV."""
    level = panel.at({"bond": "floats"}).levels["common", "peak"][0]
    assert level == pytest.approx(81.49, rel=2e-3, abs=0)


def test_edges_move_both_and_leave_the_fundamental(panel):
    """hand: sinc(n tr/T) is 1 at 150 kHz for 12 and for 100 ns; far up it is less."""
    slow = panel.at({"edges": "100 ns"})
    here, there = (found.levels["common", "peak"] for found in (panel.result, slow))
    node, slower = (abs(found.by_source["common", "common_mode"][0]) for found in (panel.result, slow))
    assert node == pytest.approx(
        slower, rel=2e-3, abs=0
    )  # the ripple's part moves, as the terminals read what they read
    assert there[-1] < here[-1] - 10


def test_two_changes_for_the_worse_are_better_together(panel):
    y, floats = {"y": "2 × 4.7 nF, before the choke"}, {"bond": "floats"}
    start, one, other, both = (panel.at(values).worst.margin for values in ({}, y, floats, y | floats))
    assert max(one, other) < start < 0 < both


def test_which_mode_dominates(panel):
    """hand: of a purely common-mode line both lines read alike, and it stands above the differential part."""
    found = panel.result.worst
    assert panel.result.common_over_differential(found.frequency) > 40
    assert panel.readings[3].value == "common mode"
    small = panel.at({"filter.L1.part": "cm-51u-7A"})
    assert small.common_over_differential(small.worst.frequency) < 0


def test_at_rest_the_range_holds_the_margin(panel):
    shares = []
    full = panel.calculation.refine(panel.design, panel.result, shares.append)
    assert shares
    for before, after in zip(panel.result.margins, full.margins, strict=True):
        assert before.margin == pytest.approx(after.margin, rel=1e-9, abs=0)
        assert after.low < after.margin < after.high
    assert (full.high["common"] >= full.levels["common", "peak"] - 1e-9).all()
    panel.draw(full)
    assert panel.readings[1].verdict == "not met"
    assert not list(panel.picture.faults())
    panel.update()


def test_an_unstable_setting_says_so_and_draws_no_level(panel):
    brick = demo("brick")
    loads = tuple(
        one.replace(input_capacitor=None, loop_bandwidth=500e3) if one.name == "modem" else one for one in brick.loads
    )
    stage = next(one for one in brick.filter if one.name == "L1")
    bare = brick.replace(loads=loads, filter=(stage,), couplings=())
    measured = panel.design.__class__(bare)
    found = panel.calculation.compute(measured)
    assert "unstable" in reason_text(found.reason)
    assert panel.calculation.refine(measured, found, lambda share: None) is found
    panel.draw(found)
    assert "nstable" in panel.sentence
    assert not list(panel.picture.faults())
    panel.update()


def test_the_statement_is_always_there(panel):
    for values in ({}, {"side": INPUT}, {"limit": "AC mains port, class B"}):
        assert "not a test" in panel.display.sentence(panel.at(values))


def test_the_limit_is_drawn_where_it_is_judged(panel):
    """published: the DC port's average limit is 66 dBuV to 500 kHz and 60 above (EN 300 386)."""
    lines, modes = panel.picture.plots
    drawn = next(mark for mark in lines.marks if mark.label == "limit, average")
    assert np.array_equal(drawn.numbers(panel.result)[1], [66, 66, 60, 60])
    same = next(mark for mark in modes.marks if mark.label == "limit, average")
    assert same.numbers(panel.result) is None
    assert same.numbers(panel.at({"limit": "Wired network port, class B, asymmetric voltage"})) is not None


def test_the_board_is_saved(panel, tmp_path):
    panel.move("y", "2 × 10 nF, before the choke")
    panel.move("edges", "50 ns")
    assert load_design(panel.save_design(tmp_path)) == panel.design.design
    panel.back()
