"""The panel of three conductors: its currents are those of the circuit, add up at every place, and are drawn as wide as said."""

from __future__ import annotations

import pytest

from filterlib import load_design
from filterlib.show.explore.common_mode import CHOICES, common_mode_panel, currents, set_up, start
from filterlib.show.explore.common_mode_drawing import width

LOAD_END = "2 × 10 nF, load's end"
FUNDAMENTAL = {"frequency": "150 kHz"}  # the octave about it holds one harmonic, so that currents add as they are


@pytest.fixture(scope="module")
def panel():
    return common_mode_panel()


@pytest.mark.parametrize(
    "options", [{}, {"y": LOAD_END}, {"y": "2 × 4.7 nF, before the choke"}, {"bond": "strap of 20 nH"}]
)
def test_the_common_mode_closes(panel, options):
    """hand (Kirchhoff): what leaves the chassis at the modem is the lead's common mode, and stands in the chassis beside it."""
    found = panel.at(FUNDAMENTAL | options)
    assert found.common["lead"] == pytest.approx(found.taps["modem"], rel=1e-3, abs=0)
    assert found.chassis[-1] == pytest.approx(found.taps["modem"], rel=1e-3, abs=0)
    assert found.chassis[0] == pytest.approx(found.taps["battery"], rel=1e-9, abs=0)
    assert len(found.chassis) == len(found.taps) - 1
    if "Yc" not in found.taps:  # C1 takes from one line what it gives to the other
        assert found.common["converter"] == pytest.approx(found.common["choke"], rel=1e-3, abs=0)


def test_two_bonds_take_direct_current_away_from_the_choke(panel):
    """hand: with one bond alone there is no second way, so no direct current in the chassis."""
    assert panel.result.direct > panel.result.saturation
    for one in ({"battery": "floats"}, {"modem": "floats"}):
        assert panel.at(one).direct < 1e-6


def test_a_plastic_box_has_no_common_mode_and_says_so(panel):
    panel.move("chassis", "plastic, no chassis")
    assert not panel.result.common
    assert not panel.result.taps
    assert "no place for Y capacitors" in panel.sentence
    assert not list(panel.picture.faults())
    panel.back()


def test_every_choice_is_a_design_that_can_be_saved(panel, tmp_path):
    for name, (_, options) in CHOICES.items():
        for word in options:
            panel.move(name, word)
            assert load_design(panel.save_design(tmp_path)) == panel.design.design
        panel.back()


def test_sliders_come_before_choices():
    """What a plastic box leaves out may stand on a slider all the same."""
    options = {name: list(choices.values())[-1] for name, (_, choices) in CHOICES.items()}
    setting = set_up(start(), {"converter.common_mode.coupling": 1e-9, "frequency": 1e6} | options)
    assert currents(setting).taps == {}
    assert setting.frequency == 1e6


def test_width_says_the_current():
    """hand: 1.5 points for ten times."""
    assert width(1e-2) - width(1e-3) == pytest.approx(1.5, rel=1e-9, abs=0)
    assert width(0.0) == width(1e-6) > 0


def test_the_convention_stands_beside_every_modal_number(panel):
    assert "i_cm = i+ + i−" in panel.sentence
    assert all(
        "i_" in one.note or "v_dm" in one.note
        for one in panel.readings
        if "mode" in one.label or "differential" in one.label
    )
    assert any("i_dm" in label for label in panel.picture.looks)


def test_drawn_words_and_paths_follow_the_result(panel):
    """What is not there is not drawn; a path takes its width from its current."""
    paths = next(mark for plot in panel.picture.plots for mark in plot.marks if mark.label.startswith("common mode, "))
    widths = [wide for wide, _ in paths.numbers(panel.result)]
    assert width(panel.result.taps["coupling"]) in widths
    with_y = panel.at({"y": LOAD_END})
    assert len(paths.numbers(with_y)) > len(widths)
    words = [mark for plot in panel.picture.plots for mark in plot.marks if mark.label == "_into Yl"]
    assert words[0].numbers(panel.result) is None
    assert words[0].numbers(with_y)[2].endswith("A")
