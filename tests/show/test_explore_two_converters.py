"""The panels of two converters and one board: what is switched off is off, and what is refused is refused by a rule."""

from __future__ import annotations

import pytest

from filterlib import load_design
from filterlib.show.explore.parts.one_part import NOTHING, WANTED, budget_panel
from filterlib.show.explore.tide_gauge import demo
from filterlib.show.explore.two_converters import CAUSES, causes_panel, switched
from filterlib.words.review.reason_sentences import refusal_text

RETURN_BEFORE = "one Y 10 nF, return line, before the choke"


@pytest.fixture(scope="module")
def board():
    return causes_panel()


@pytest.fixture(scope="module")
def part():
    return budget_panel()


# ---- causes -------------------------------------------------------------------------------------------------------


def test_without_its_coupling_the_rest_is_what_the_others_made(board):
    """hand: peaks of two waveforms together lie between the difference and the sum of their peaks."""
    gone = board.at({"cause.coupling": "none"})
    assert "common_mode" not in gone.brick.alone
    ripple, spike = gone.brick.alone["ripple"], gone.brick.alone["spike"]
    assert abs(ripple - spike) <= gone.brick.spike <= ripple + spike
    assert "common_mode" not in gone.brick.levels


@pytest.mark.parametrize("key", CAUSES)
def test_each_switch_takes_its_cause_away_and_can_be_saved(board, key, tmp_path):
    gone = switched(demo("brick"), {f"cause.{key}": CAUSES[key][3]})
    assert gone != demo("brick")
    assert switched(gone, {f"cause.{key}": CAUSES[key][3]}) == gone
    board.move(f"cause.{key}", CAUSES[key][2])
    assert load_design(board.save_design(tmp_path)) == board.design
    board.back()


# ---- one part more ------------------------------------------------------------------------------------------------


def test_what_is_refused_names_its_rule(part):
    rules = {word: refusal_text(part.at({"tried": word}).refused) for word in part.state.controls["tried"].words}
    assert "earth leakage 9.92 mA" in rules["pair of 470 nF to the chassis"]
    assert "saturated" in rules["choke 100 µH in the plus line"]
    assert "usable voltage" in rules["polymer 330 µF across the load"]
    assert not rules[RETURN_BEFORE]


def test_nothing_changed_is_nothing_changed(part):
    assert part.at({"tried": NOTHING}).before == part.at({"tried": NOTHING}).after


def test_one_part_is_enough_and_its_place_decides(part):
    """The rules of the panel's figures are those of the analysis (its own test); here the option is the one that is named."""
    assert part.at({"tried": RETURN_BEFORE}).within
    logger, at_the_end = ("logger", "full"), part.at({"tried": "one Y 10 nF, return line, load's end"})
    assert at_the_end.after[logger] > 3 * at_the_end.before[logger]
    assert set(part.result.limits) == set(WANTED)


def test_the_board_with_its_change_is_saved(part, tmp_path):
    part.move("tried", RETURN_BEFORE)
    assert load_design(part.save_design(tmp_path)) == part.design.design
    part.back()
