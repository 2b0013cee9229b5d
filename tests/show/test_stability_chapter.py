"""Stability on a page: its sentences, tables and figures say what the margins are, and nothing is cut off."""

import json
from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.converter_side.regulation import Regulation
from filterlib.analysis.stability.margins import margins
from filterlib.show.drawing import svg
from filterlib.show.stability.margin_numbers import margins_section, regulation_section
from filterlib.show.stability.stability_chapter import stability_chapter
from filterlib.show.stability.stability_figures import nyquist_figure, ratio_figure
from filterlib.system.solution import solve
from filterlib.words.margin_sentences import margin_sentence
from tests.analysis.stability.test_over_uncertainty import feeble
from tests.designs import resistive
from tests.show.words_drawn import faults, texts


@pytest.fixture(scope="module")
def margin():
    return margins(solve(feeble()))[0]


def test_the_chapter_says_the_margin_first_and_what_rules_throw_away(margin):
    chapter = stability_chapter([replace(margin, point="light", power=margin.power / 3), margin], feeble())
    assert chapter.title == "modem could draw 4 % more power"
    assert chapter.verdict.startswith("Stable at full load with nominal values: modem could draw 4 % more power")
    assert any("6 dB 49 %" in sentence for sentence in chapter.sentences)
    assert any("filterlib damp" in sentence for sentence in chapter.sentences)
    told, rules = chapter.tables
    assert len(told.rows) == 2
    assert [row[-1] for row in rules.rows] == ["✓ allowed", *["✗ not allowed"] * 3]


def test_unstable_collapsing_and_unlimited_ones_are_said(margin):
    assert margin_sentence(replace(margin, critical_power=40.0)).startswith(
        "Unstable at full load with nominal values: modem draws 60 W, and from 40 W"
    )
    assert "collapses without ringing" in margin_sentence(replace(margin, critical_frequency=0.0))
    assert (
        margin_sentence(replace(margin, critical_power=np.inf))
        == "Stable at full load with nominal values, whatever modem draws."
    )
    assert (
        stability_chapter([replace(margin, critical_power=40.0)], feeble()).title == "modem draws more than is stable"
    )
    assert stability_chapter([], feeble(load=resistive())).verdict.startswith("No load draws a constant power")


def test_the_curve_at_the_critical_power_passes_through_minus_one(margin):
    """hand: the loop, larger by the gain margin, meets -1 within what the curve's points allow."""
    (plot,) = nyquist_figure(margin).plots
    critical = next(mark for mark in plot.marks if getattr(mark, "label", "") == "at the critical power")
    assert np.nanmin(np.hypot(critical.x + 1, critical.y)) < 0.03
    drawn = next(mark for mark in plot.marks if getattr(mark, "label", "") == "at the power drawn")
    assert np.nanmin(drawn.x) == pytest.approx(-(10 ** (-margin.gain_margin / 20)), abs=0.01)


def test_the_source_impedance_touches_the_line_of_the_magnitude_rule_where_it_rings(margin):
    (plot,) = ratio_figure(margin).plots
    source, own, half = plot.marks[:3]
    assert np.max(source.y / own.y) == pytest.approx(margin.power / margin.rules[0].power, rel=0.02, abs=0)
    assert own.y / half.y == pytest.approx(np.full(len(own.y), 2.0), rel=1e-12, abs=0)


@pytest.mark.parametrize("figure", [ratio_figure, nyquist_figure])
def test_no_words_are_cut_off_or_lie_on_others(margin, figure):
    drawn = svg(figure(margin))
    assert not faults(drawn)
    assert any("back from" in words or "power drawn" in words for words in texts(drawn))


def test_the_numbers_are_those_of_the_margin(margin):
    (section,) = margins_section([margin])
    assert section["critical_W"] == pytest.approx(margin.critical_power, rel=1e-6, abs=0)
    assert section["phase_margin_deg"] is None
    assert [rule["allows"] for rule in section["rules"]] == [True, False, False, False]
    json.dumps(section, allow_nan=False)


def test_the_converters_own_loop_is_said_where_it_senses(margin):
    at = Regulation("full load", "terminals", True, 9e3, 52.0, 12.0, 9e3, 60.0, np.zeros(0), np.zeros(0))
    behind = replace(at, sensed="load", stable=False, phase_margin=np.nan, gain_margin=np.nan)
    said = stability_chapter([margin], feeble(), [at, behind]).sentences
    assert any(
        "52° of phase margin sensing at its terminals and it oscillates sensing behind the filter" in one
        for one in said
    )
    assert any(one.startswith("Do not let it sense behind the filter before") for one in said)
    assert any("60° without filter is assumed" in one for one in said)
    first, second = regulation_section([at, behind])
    assert (first["phase_margin_deg"], second["phase_margin_deg"]) == (52.0, None)
