"""The panels of two converters and one board: what is switched off is off, and what is refused is refused by a rule."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib.analysis.ripple.ripple import ripple
from filterlib.show.explore.one_part import NOTHING, WANTED, Board, budget, budget_panel, changes, over_the_unknown
from filterlib.show.explore.pi_filter import demo
from filterlib.show.explore.two_converters import CAUSES, causes_panel, compared, stretched, switched
from filterlib.system.files import load_design

RETURN_BEFORE = "one Y 10 nF, return line, before the choke"


@pytest.fixture(scope="module")
def board():
    return causes_panel()


@pytest.fixture(scope="module")
def part():
    return budget_panel()


# ---- causes -------------------------------------------------------------------------------------------------------


def test_both_converters_read_as_the_full_analysis(board):
    """second method: the full ripple of both demo files."""
    for name, line in (("clean", board.result.clean), ("brick", board.result.brick)):
        full = ripple(demo(name), demo(name).state(), band=False).figures
        assert line.ripple == pytest.approx(full["modem", "20MHz"].peak_to_peak, rel=1e-9, abs=0)
        assert line.spike == pytest.approx(full["modem", "full"].peak_to_peak, rel=1e-9, abs=0)


def test_without_its_coupling_the_rest_is_what_the_others_made(board):
    """hand: peaks of two waveforms together lie between the difference and the sum of their peaks."""
    gone = board.at({"cause.coupling": "none"})
    assert gone.alone["common_mode"] == 0
    ripple, spike = gone.alone["ripple"], gone.alone["spike"]
    assert abs(ripple - spike) <= gone.brick.spike <= ripple + spike
    assert "common_mode" not in gone.levels


def test_the_common_mode_drive_alone_follows_its_swing():
    """hand: half the swing, half of what it makes."""
    brick = demo("brick")
    half = brick.replace(
        converter=brick.converter.replace(common_mode=brick.converter.common_mode.replace(swing="14 V"))
    )
    whole, less = compared(brick), compared(half)
    assert less.alone["common_mode"] == pytest.approx(whole.alone["common_mode"] / 2, rel=1e-9, abs=0)


@pytest.mark.parametrize("key", CAUSES)
def test_each_switch_takes_its_cause_away_and_can_be_saved(board, key, tmp_path):
    gone = switched(demo("brick"), {f"cause.{key}": CAUSES[key][3]})
    assert gone != demo("brick")
    assert switched(gone, {f"cause.{key}": CAUSES[key][3]}) == gone
    board.move(f"cause.{key}", CAUSES[key][2])
    assert load_design(board.save_design(tmp_path)) == board.design
    board.back()


def test_a_stretched_wave_keeps_its_extremes_and_their_order():
    """hand: a fall from 1 to 0 stays a fall."""
    wave = np.linspace(1, 0, 4096)
    found = stretched(wave)
    assert (found[0], found[-1], len(found)) == (1, 0, 1024)
    assert (np.diff(found) < 0).all()


# ---- one part more ------------------------------------------------------------------------------------------------


def test_what_is_refused_names_its_rule(part):
    rules = {word: part.at({"tried": word}).refused for word in part.state.controls["tried"].words}
    assert "earth leakage 9.92 mA" in rules["pair of 470 nF to the chassis"]
    assert "saturated" in rules["choke 100 µH in the plus line"]
    assert "usable voltage" in rules["polymer 330 µF across the load"]
    assert not rules[RETURN_BEFORE]


def test_leakage_by_hand(part):
    """hand: 2 pi 60 Hz 470 nF 28 V = 4.961 mA a line, two lines."""
    costs = part.at({"tried": "pair of 470 nF to the chassis"}).mitigation.costs
    assert costs.leakage == pytest.approx(2 * 4.9612e-3, rel=1e-4, abs=0)
    assert costs.parts == 2


def test_nothing_changed_is_nothing_changed(part):
    assert part.at({"tried": NOTHING}).before == part.at({"tried": NOTHING}).after


def test_one_part_is_enough_and_its_place_decides(part):
    """second method: the full ripple of the board with that capacitor."""
    result = part.at({"tried": RETURN_BEFORE})
    design = Board(demo("brick"), changes(demo("brick"))[RETURN_BEFORE]).design
    full = ripple(design, design.state(), band=False).figures
    for load, label in WANTED:
        assert result.after[load, label] == pytest.approx(full[load, label].peak_to_peak, rel=1e-9, abs=0)
    assert result.within
    assert not part.at({"tried": "one Y 10 nF, return line, load's end"}).within


def test_at_rest_the_greatest_is_not_below_the_nominal(part):
    board = Board(demo("brick"), changes(demo("brick"))[RETURN_BEFORE])
    found = over_the_unknown(board, budget(board), lambda share: None)
    assert set(found.highest) == set(WANTED)
    assert found.highest["logger", "full"] > found.highest["logger", "20MHz"]
    assert all(found.highest[one] >= found.after[one] * (1 - 1e-9) for one in WANTED)


def test_the_board_with_its_change_is_saved(part, tmp_path):
    part.move("tried", RETURN_BEFORE)
    assert load_design(part.save_design(tmp_path)) == part.design.design
    part.back()
