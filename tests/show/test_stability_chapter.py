"""Stability on a page: its sentences, tables and figures say what the margins are, and nothing is cut off."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.converter_side.converter_side_result import ConverterSide, Regulation, SourceSide, Start
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.part_limits import part_limits
from filterlib.show.figures.drawing import svg
from filterlib.show.figures.letters import text_width
from filterlib.show.stability.margin_numbers import converter_side_section, margins_section, part_limits_section
from filterlib.show.stability.power_bar import power_bar
from filterlib.show.stability.stability_chapter import limits_tables, margins_table, stability_chapter
from filterlib.show.stability.stability_figures import nyquist_figure, ratio_figure
from filterlib.system.inside.control import Control
from filterlib.system.solution import solve
from filterlib.words.margin_sentences import margin_sentence
from filterlib.words.review.findings import facts, outcome_words
from filterlib.words.review.review_sentences import headline
from filterlib.words.supply.converter_side_sentences import converter_side_lines, little_phase, too_much
from tests.analysis.stability.test_over_uncertainty import STIFF, capacitor, choke, feeble
from tests.designs import resistive
from tests.show.words_drawn import faults, texts


@pytest.fixture(scope="module")
def margin():
    return margins(solve(feeble()))[0]


def test_the_chapter_says_the_margin_first_and_what_rules_throw_away(margin):
    chapter = stability_chapter([replace(margin, point="light", power=margin.power / 3), margin], feeble())
    assert chapter.title == "at nominal values modem could draw 4 % more power"
    assert chapter.verdict.startswith("Stable at full load with nominal values: modem could draw 4 % more power")
    assert any("6 dB 49 %" in sentence for sentence in chapter.sentences)
    assert any("filterlib damp" in sentence for sentence in chapter.sentences)
    told, rules = chapter.tables
    assert len(told.rows) == 2
    assert [row[-1] for row in rules.rows] == ["✓ allowed", *["✗ not allowed"] * 3]


def test_the_circle_of_a_rule_is_one(margin):
    """hand: as wide as it is high on the paper, so that angles are what they are."""
    drawn = svg(nyquist_figure(margin))
    paths = [re.findall(r"(-?[\d.]+)[ ,](-?[\d.]+)", d) for d in re.findall(r'<path[^>]* d="([^"]+)"', drawn)]
    x, y = next(np.array(one, float).T for one in paths if len(one) == 361)
    assert np.ptp(x) == pytest.approx(np.ptp(y), rel=0.01, abs=0)


def test_an_unstable_loop_has_no_phase_margin(margin):
    """On the page and in the numbers: an angle at 0 dB is no margin then."""
    torn = replace(margin, critical_power=40.0, gain_margin=-3.5, phase_margin=np.nan)
    assert margins_table([torn, margin]).rows[0][-2:] == ("-3.5 dB".replace("-", "\N{MINUS SIGN}"), "none: unstable")
    (section,) = margins_section([torn])
    assert (section["phase_margin_deg"], section["phase_margin_deg_reason"]) == (None, "an unstable loop has none")


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
        stability_chapter([replace(margin, critical_power=40.0)], feeble()).title
        == "at nominal values modem draws more than is stable"
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
    assert any("seen by" in words or "power drawn" in words for words in texts(drawn))


def test_the_numbers_are_those_of_the_margin(margin):
    (section,) = margins_section([margin])
    assert section["critical_W"] == pytest.approx(margin.critical_power, rel=1e-6, abs=0)
    assert section["phase_margin_deg"] is None
    assert [rule["allows"] for rule in section["rules"]] == [True, False, False, False]
    json.dumps(section, allow_nan=False)


@pytest.fixture(scope="module")
def side():
    at = Regulation("full load", "terminals", True, 9e3, 52.0, 12.0, 9e3, 60.0, 31.0, np.zeros(0), np.zeros(0))
    behind = replace(
        at, sensed="load", stable=False, phase_margin=np.nan, gain_margin=np.nan, least_phase_margin=np.nan
    )
    start = Start(120e-6, 2.9e-3, 0.3e-3, 12e-3, 6.0, 10e-3)
    source = SourceSide(18.0, 66.7, -4.9, 200.0, 4e3, 10e-6)
    return ConverterSide(
        "full load", (at, behind), "", None, "", start, source, replace(source, critical_power=50.0), ""
    )


def test_the_converters_side_is_said_in_one_line_each(margin, side):
    """hand: 200 W over 66.7 W drawn is 3 times its power; 120 µF of at most 2.9 mF."""
    loop, start, source = stability_chapter([margin], feeble(), side).lines
    assert "with the filter on, sensing at its terminals: 52° of phase margin, at least 31° over its range." in loop
    assert loop.endswith("Sensing behind the filter it would oscillate.")
    assert (
        start
        == "Start: it starts into at most 2.9 mF (300 µF to 12 mF over the ranges of limit and time); 120 µF is attached."
    )
    assert source.startswith(
        "The line that feeds it, at 18 V: it would ring at 3 times its power; at the worst of the ranges it rings"
    )


def test_what_is_assumed_is_said_with_what_to_measure(margin, side):
    said = stability_chapter([margin], feeble(), side).sentences
    assert any(one.startswith("Do not let it sense behind the filter before") for one in said)
    for words in ("60° is assumed (45° to 75°)", "Soft start: 1", "Current limit: 1.1 to 1.5", "Battery, wire, fuse"):
        assert any(words in one for one in said), words
    limit = {"soft_start": "5 ms", "current": "4 A"}
    stated = feeble(source=STIFF | {"control": {"phase_margin": "55 deg"}, "limit": limit})
    told = stability_chapter([margin], stated, side).sentences
    assert not any(words in one for one in told for words in ("Phase margin without", "Soft start", "Current limit"))


def test_too_much_to_start_into_and_no_loop_are_said(side):
    held = replace(side, start=replace(side.start, attached=20e-3), regulation=(), why_no_loop="phase_margin: too much")
    loop, start, _ = converter_side_lines(held, feeble())
    assert loop == "Converter's loop: not derived. phase_margin: too much."
    assert start.endswith("20 mF is attached: too much.")
    doubtful = replace(side, start=replace(side.start, largest_low=0.0))
    assert "(none to 12 mF over the ranges of limit and time)" in list(converter_side_lines(doubtful, feeble()))[1]
    assert too_much(replace(side.start, largest_high=0.0)).endswith("the loads alone reach its current limit")
    blocked = replace(side, start=replace(side.start, largest=0.0))
    assert "the loads alone take its current limit of 6 A" in list(converter_side_lines(blocked, feeble()))[1]


def test_the_numbers_of_the_converters_side(side):
    section = converter_side_section(side, feeble())
    json.dumps(section, allow_nan=False)
    first, second = section["loop"]
    assert (first["phase_margin_deg"], second["phase_margin_deg"]) == (52.0, None)
    assert section["start"]["largest_F"] == pytest.approx(2.9e-3, rel=1e-9, abs=0)
    assert (section["source"]["stable"], section["source_worst"]["stable"]) == (True, False)
    assert section["measured"] == {"reason": "no output impedance was measured"}


def test_the_value_of_each_part_from_which_it_rings_is_in_a_table(margin):
    """hand: 4 % of power to spare; the choke of 47 µH rings from a few percent more."""
    part = {"kind": "aluminium", "capacitance": "1 µF", "rated_voltage": "63 V", "esr": "0.4 Ω", "esl": 0}
    solution = solve(feeble(choke(), capacitor(), {"kind": "capacitor", "part": part}))
    (found,) = margins(solution)
    limits = part_limits(solution, found)
    values, states = limits_tables(limits)
    first = next(row for row in values.rows if row[:2] == ("L1", "inductance"))
    assert first[2] == "47 µH"
    assert first[3].startswith("above ")
    assert [row[0] for row in states.rows] == ["cold", "room temperature", "warm"]
    json.dumps(part_limits_section(limits), allow_nan=False)
    assert list(limits_tables(part_limits(solution, replace(found, critical_power=10 * found.power)))) == [states]
    assert list(limits_tables(None)) == []


@pytest.mark.parametrize("share", [0.02, 0.5, 0.95, 1.0, 1.3])
def test_the_bar_has_what_is_drawn_and_where_it_rings_at_their_places(margin, share):
    """hand: on a logarithmic axis; no words on others and none outside, wherever the powers are."""
    one = replace(margin, power=share * margin.critical_power)
    drawn = power_bar(one)
    places = [float(x) for x in re.findall(r'M([\d.]+) [\d.]+v(?:24|28)"', drawn)]
    ends = np.log(
        [
            min(one.power, *(rule.power for rule in one.rules if rule.name in ("6 dB", "0 dB"))) / 2,
            1.6 * max(one.power, one.critical_power),
        ]
    )
    expected = [8 + 404 * (np.log(watts) - ends[0]) / (ends[1] - ends[0]) for watts in (one.power, one.critical_power)]
    assert places == pytest.approx(expected, abs=0.051)
    for down in ("15", "59"):
        words = re.findall(rf'<text x="([\d.]+)" y="{down}"[^>]*>([^<]+)<', drawn)
        spans = sorted((float(x), float(x) + text_width(told, 12.0)) for x, told in words)
        assert len(spans) == 2
        assert 0 <= spans[0][0] < spans[0][1] <= spans[1][0] < spans[1][1] <= 420
    assert power_bar(replace(margin, critical_power=np.inf)) == power_bar(replace(margin, critical_power=0.0)) == ""


def test_a_converter_that_oscillates_by_what_the_file_states_is_not_met(fakes, side):
    """The outcome, the line on stability and the exit code say the same."""
    calm, wild = (fakes.review(converter_side=replace(side, oscillates=which)) for which in ("", "loop"))
    assert outcome_words(wild)[1] == "not met"
    assert (wild.exit_code, calm.outcome) == (1, calm.judgement.outcome)
    assert next(facts(wild)).line.startswith("✗ unstable      Stability: the converter oscillates")
    assert headline(wild).startswith("The converter oscillates") or wild.judgement.unstable


def test_a_loop_that_may_oscillate_is_undecided_and_one_of_little_phase_margin_says_so(fakes, side):
    """Stable at the nominal values of a stated loop, unstable in a part of its range: never met."""
    calm, torn = (
        fakes.review(words=("met",), exceeded=(), converter_side=replace(side, may_oscillate=which))
        for which in ("", "source")
    )
    assert (calm.outcome, calm.exit_code) == (calm.judgement.outcome, 0 if calm.judgement.holds() else 1)
    assert (torn.outcome, torn.exit_code) == ("undecided", 1)
    assert next(facts(torn)).line.startswith("◐ undecided     Stability: the line that feeds the converter oscillates")
    assert headline(torn).startswith("Undecided: the line that feeds the converter oscillates")
    assert calm.outcome == "met"
    much = replace(side, start=replace(side.start, attached=2 * side.start.largest_high))
    assert any("is attached, and it starts into" in one.line for one in facts(fakes.review(converter_side=much)))
    assert not any("starts into" in one.line for one in facts(calm))
    (one, *_) = side.regulation
    short = replace(side, regulation=(replace(one, least_phase_margin=4.2),))
    stated = Control(phase_margin="52 deg")
    assert little_phase(short, stated) == "; the converter's own loop keeps 4° of phase margin"
    assert little_phase(short, Control()) == little_phase(side, stated) == little_phase(None, stated) == ""
