"""Reasons on the page and in results.json: sentences near the top, tables, figures, numbers with units."""

import json
import re

import pytest

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.review import review
from filterlib.show.figures.drawing import svg
from filterlib.show.review_page.reasons_chapter import changes_figure, mitigations_table, reasons_chapter, sources_table
from filterlib.show.review_page.report import review_files
from filterlib.system.solution import solve
from filterlib.words.quantities import unbroken
from filterlib.words.review.reason_sentences import reason_sentences, refusal_text
from filterlib.words.review.review_sentences import has_hazardous_voltage
from tests.designs import design, series, shunt
from tests.show.words_drawn import faults, texts


@pytest.fixture(scope="module")
def reviewed():
    limit = {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": "15 mV"}
    return review(design(shunt(name="C1"), series(name="L1"), shunt(name="C2"), requirement=[limit]))


@pytest.fixture(scope="module")
def files(reviewed):
    return review_files(reviewed)


def test_the_last_sentence_is_the_advice_of_the_second_screen_and_all_are_below(reviewed, files):
    page = re.sub(r"<a href=\"#circuit\"[^>]*>(.*?)</a>", r"\1", files["review.html"])
    told = [unbroken(one.text).replace("'", "&#39;") for one in reason_sentences(reviewed.reasons)]
    assert page.index('id="h-next"') < page.index(told[-1]) < page.index('id="reasons"')
    for one in told:
        assert one in page[page.index('id="reasons"') :]


def test_tables_hold_what_the_result_holds(reviewed):
    found = reviewed.reasons
    assert len(sources_table(found).rows) == len(found.sources)
    table = mitigations_table(found)
    assert table.rows[0][0].lower() == found.mitigations[0].words.lower()
    assert all(len(row) == len(table.head) for row in table.rows)
    refused = next(t for t in reasons_chapter(found).tables if "refused" in t.caption)
    assert refused.rows[0][1] == refusal_text(next(one.refused for one in found.mitigations if one.refused))


def test_leakage_to_earth_is_shown_only_where_a_voltage_is_hazardous(reviewed, files):
    """hand: the demonstration turns 24 V into 28 V; 48 V, or 325 V of a rectified mains, need it by the border of 60 V DC."""
    found = reviewed.reasons
    short, long = (mitigations_table(found, hazardous=hazardous) for hazardous in (False, True))
    assert set(long.head) - set(short.head) == {"Earth leakage"}
    assert all(len(row) == len(short.head) for row in short.rows)
    assert "at 60 Hz, the worst" not in files["review.html"]
    assert "at 60 Hz, the worst" in reasons_chapter(found).note
    one = reviewed.design
    assert [has_hazardous_voltage(one.replace(converter=one.converter.replace(input_voltage=v))) for v in (None, 48.0, 325.0)] == [
        False, False, True
    ]  # fmt: skip


def test_numbers_stand_in_results_with_their_units(reviewed, files):
    section, found = json.loads(files["results.json"])["reasons"], reviewed.reasons
    assert section["ripple_pp_V"] == pytest.approx(found.ripple, rel=1e-6, abs=0)
    assert [one["change"] for one in section["mitigations"]] == [one.words for one in found.mitigations]
    assert section["mitigations"][0]["drop_V"] == pytest.approx(found.mitigations[0].costs.drop, rel=1e-6, abs=0)
    for one, told in zip(reason_sentences(found), section["sentences"], strict=True):
        assert told["text"] == one.text
        assert len(told["facts"]) == len({fact.path for fact in one.facts})
    assert set(files) >= {"reasons-sources.svg", "reasons-changes.svg"}


def test_bars_are_labelled_with_their_values(reviewed):
    figure = changes_figure(reviewed.reasons)
    drawn = svg(figure)
    assert faults(drawn) == []
    values = [words for bars in figure.plots[0].marks for words in bars.words]
    assert all(re.fullmatch(r"[\d.]+ [mµn]V", words) for words in values)
    assert all(texts(drawn).count(words) >= values.count(words) for words in values)
    names = [name.replace("\n", " ") for name in figure.plots[0].y.names]
    assert names[:2] == ["as it is", reviewed.reasons.mitigations[0].words]


def test_an_unstable_design_has_changes_alone_on_its_page():
    load = {"name": "modem", "kind": "constant_power", "power": "100 W", "loop_bandwidth": "50 kHz"}
    one = design(series("470 µH", "1 mΩ", name="L1"), shunt("1 µF", name="C1"), load=load)
    assert reasons_chapter(reasons(solve(one), "modem")) is None
    files = review_files(review(one))
    section = json.loads(files["results.json"])["reasons"]
    assert section["reason"]
    assert "sources" not in section  # nothing but changes, as nothing is left to be explained
    assert section["proposals"]
