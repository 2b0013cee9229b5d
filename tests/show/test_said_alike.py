"""Said once and alike: numbers, page, bench sheet, comparison and panel show the same figure at the same operating point."""

import html
import json
import re
from dataclasses import replace

import pytest

from filterlib.analysis.bench.bench_sheet import bench_sheet
from filterlib.analysis.comparison.comparison_result import ComparisonResult
from filterlib.analysis.exploration import explore, refined
from filterlib.analysis.review import _load, _points, review
from filterlib.show.compare_page.compare_tables import left_table, verdicts_table
from filterlib.show.explore.pi_filter import _range_note, _range_text
from filterlib.show.review_page.report import review_files
from filterlib.show.review_page.results import results_text
from filterlib.show.verify import sheet_numbers
from filterlib.words.bench.bench_sentences import check_cells
from filterlib.words.bench.safety_steps import safety_steps
from filterlib.words.quantities import both_ranges, number, range_text
from filterlib.words.review.measurement_sentences import capacitor_sentence
from tests.designs import converter, design, resistive, series, shunt

ASKED = [
    {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": "15 mV"},
    {"kind": "step", "load": "modem", "limit": "2 V", "current": "1 A"},
]
POINTS = [{"name": "sending"}, {"name": "waiting", "load": "30 %"}]


@pytest.fixture(scope="module")
def result():
    source = converter(input_voltage="24 V", shape="triangle", efficiency="87 %")
    one = design(
        shunt(name="C1"), series(name="L1"), shunt(name="C2"), source=source, load=resistive(), requirement=ASKED, operating_point=POINTS
    )  # fmt: skip
    return review(one)


@pytest.fixture(scope="module")
def numbers(result):
    return json.loads(results_text(result, [], "0"))


@pytest.fixture(scope="module")
def sheet(result):
    return bench_sheet(result)


@pytest.fixture(scope="module")
def page(result):
    return text_of(review_files(result)["review.html"])


def text_of(markup):
    whole = re.sub(r"</?i\b[^>]*>", "", markup)  # within a number
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", whole))).replace("\N{NO-BREAK SPACE}", " ")


def ranges(one, unit, digits=3):
    return both_ranges((one.low, one.high), (one.probable_low, one.probable_high), unit, digits)


def figure_at(result, point):
    return next(one for one in result.points if one.operating.point == point).ripple.figures["modem", "20MHz"]


@pytest.mark.parametrize("point", ["sending", "waiting"])
def test_ripple_at_the_modem(result, numbers, sheet, page, point):
    """Every screen's own words, and the numbers for programs, of one figure at one operating point."""
    figure = figure_at(result, point)
    section = numbers["operating_points"][point]["ripple"]
    keys = {"pp": "peak_to_peak", "pp_low": "low", "pp_high": "high", "pp_probable_low": "probable_low", "pp_probable_high": "probable_high"}  # fmt: skip
    for key, name in keys.items():
        assert section[f"modem_20MHz_{key}_V"] == pytest.approx(getattr(figure, name), rel=1e-6, abs=0)
    digits = 2 if figure.wide else 3
    size = number(figure.peak_to_peak, "V", digits)
    assert size in page
    assert number(figure.probable_low, "V", digits) in page
    checks = [one for one in sheet.checks if one.kind == "ripple at" and (one.place, one.point) == ("modem", point)]
    check = next(one for one in checks if one.band.label == "20MHz")
    assert (check.value, check.low, check.high) == (figure.peak_to_peak, figure.low, figure.high)
    assert (check.probable_low, check.probable_high) == (figure.probable_low, figure.probable_high)
    assert ranges(figure, "V") in check_cells(check)


def test_the_panel_shows_the_figure_of_the_first_operating_point(result):
    explored = refined(result.design, explore(result.design, "modem"), lambda share: None)
    figure = figure_at(result, "sending")
    for name, value in vars(figure).items():  # the last digits depend on which plan has served before
        assert getattr(explored.figure, name) == pytest.approx(value, rel=1e-9, abs=0, nan_ok=True)
    assert explored.nominal.peak_to_peak == pytest.approx(figure.peak_to_peak, rel=1e-3, abs=0)
    digits = 2 if figure.wide else 3
    assert _range_text(explored) == range_text(figure.low, figure.high, "V", digits)
    assert f"probably {range_text(figure.probable_low, figure.probable_high, 'V', digits)}" in _range_note(explored)
    judged = {one.requirement: one for one in explored.verdicts}
    for one in (one for one in result.verdicts if one.point == "sending"):
        assert (judged[one.requirement].low, judged[one.requirement].high) == (one.low, one.high)


def test_a_comparison_shows_what_both_reviews_show(result):
    other = replace(result)
    pair = ComparisonResult((result, other), (), (_load("modem", _points(result, other)),), ())
    point = pair.loads[0].first.point
    figure = figure_at(result, point)
    cells = [cell for row in left_table(pair).rows for cell in row]
    assert cells.count(ranges(figure, "V")) >= 2
    rows = {row[0].lower(): row for row in verdicts_table(pair).rows}
    for verdict in result.verdicts:
        row = rows[verdict.requirement.lower()]
        assert row[2] == number(verdict.value, verdict.unit, 3)
        assert row[3] == ranges(verdict, verdict.unit, verdict.digits)


def test_requirements_and_their_worst_points(result, numbers, sheet, page):
    for verdict, written in zip(result.verdicts, numbers["requirements"], strict=True):
        assert written["point"] == verdict.point
        for key in ("low", "high", "probable_low", "probable_high"):
            assert written[f"{key}_V"] == pytest.approx(getattr(verdict, key), rel=1e-6, abs=0)
        check = next(
            one for one in sheet.checks if one.requirement == verdict.requirement and one.point == verdict.point
        )
        assert (check.low, check.high, check.probable_low) == (verdict.low, verdict.high, verdict.probable_low)
        assert number(verdict.high, "V", verdict.digits) in page


def test_the_capacitor_across_the_terminals_and_the_efficiency(result, sheet, page):
    """hand: 87 % are stated, and nothing assumes another; the sheet's capacitor is the one that the page advises."""
    advised = result.closing.capacitor
    assert (sheet.test.capacitance, sheet.test.value) == (advised.capacitance, advised.loaded)
    assert (sheet.test.low, sheet.test.high) == (advised.low, advised.high)
    assert capacitor_sentence(advised).split(",")[0] in page
    assert any("efficiency 87 %, as stated" in step.text for step in safety_steps(sheet))
    amps = 28 * float(result.points[0].solution.state.converter_current) / 0.87 / 24
    assert sheet.supply.current == pytest.approx(amps, rel=0.05, abs=0)
    assert sheet_numbers(sheet)["test_capacitor"]["capacitance_F"] == pytest.approx(
        advised.capacitance, rel=1e-6, abs=0
    )
