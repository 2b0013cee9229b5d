"""The page, the numbers and the figures of a comparison."""

import json
import re
from dataclasses import replace

import pytest

from filterlib.analysis.review import compare
from filterlib.analysis.uncertainty import interval as band
from filterlib.show.compare_page.compare import NUMBERS, PAGE, comparison_files, legend, write_comparison
from filterlib.words.review.comparison_sentences import comparison_sentences, opening
from filterlib.words.review.reason_sentences import reason_sentences
from tests.designs import converter, design, resistive, series, shunt
from tests.show.fakes import changed
from tests.show.words_drawn import faults

KNOWN = converter(output_capacitance="22 µF")
SPIKY = converter(name="Skerry (invented)", spike={"peak_to_peak": "180 mV"}, output_capacitance="47 µF")
LIMIT = {"kind": "ripple", "load": "modem", "limit": "15 mV"}
NASTY = "<script>alert(1)</script> & $x^2$"


def made(*, name="first", source=KNOWN, **more):
    return design(shunt(), series(), shunt(), source=source, requirements=[LIMIT], **more).replace(name=name)


def compared(first, second):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(band, "SPREAD", 2)
        patch.setattr(band, "ROUNDS", 0)
        return compare(first, second)


@pytest.fixture(scope="module")
def result():
    return compared(made(), made(name=NASTY, source=SPIKY))


@pytest.fixture(scope="module")
def files(result):
    return comparison_files(result)


def test_the_page_opens_with_the_words_and_holds_both(result, files):
    page = files[PAGE].replace("\N{NO-BREAK SPACE}", " ")
    assert NASTY not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; $x^2$" in page
    places = [page.index(words) for words in (opening(result)[0], 'id="left"', 'id="requirements"', "Why, at modem")]
    assert places == sorted(places)
    for reasons in result.loads[0].reasons:
        for sentence in reason_sentences(reasons):
            assert sentence.text.replace("'", "&#39;") in page
    assert "http://" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
    assert "<img" not in page


def test_identifiers_stand_once(files):
    found = re.findall(r'\bid="([^"]+)"', files[PAGE])
    assert len(found) == len(set(found))


def test_identical_designs_have_identifiers_of_their_own():
    page = comparison_files(compared(made(), made()))[PAGE]
    found = re.findall(r'\bid="([^"]+)"', page)
    assert len(found) == len(set(found))
    assert "None but titles and notes." in page


def test_numbers_of_both_with_their_units(result, files):
    found = json.loads(files[NUMBERS])
    assert found["files"] == sorted(files)
    at = found["loads"]["modem"]
    for letter, left in zip("AB", result.loads[0].lefts, strict=True):
        section = at[letter]
        assert section["20MHz_pp_V"] == pytest.approx(left.ripple, rel=1e-6, abs=0)
        assert section["full_before_pp_V"] == pytest.approx(left.spike_before, rel=1e-6, abs=0)
        ratio = section["20MHz_before_pp_V"] / section["20MHz_pp_V"]
        assert section["20MHz_before_over_after_ratio"] == pytest.approx(ratio, rel=1e-5, abs=0)
        assert section["sources"]
        assert section["mitigations"]
        assert found["designs"][letter]["requirements"][0]["kind"] == "ripple"
    assert {"key", "A", "B"} == set(found["differences"][0])
    assert found["sentences"] == list(comparison_sentences(result))


def test_figures_tell_the_two_apart_by_line_and_mark(files):
    for name, text in files.items():
        if name.startswith("compare-") and "circuit" not in name:
            assert "stroke-dasharray" in text, name
            assert faults(text.split("\n", 1)[1]) == [], name
    assert {name.split("-")[1] for name in files if name.endswith(".svg")} == {
        "circuit",
        "effect",
        "spectra",
        "waveforms",
    }


def test_emission_of_both_where_one_asks_for_it(files):
    """hand: the least margin over the operating points, and that the other one does not ask."""
    asked = made(emissions=[{"side": "output", "limits": ["mains-class-b"]}])
    both = compared(asked, made(name="second"))
    made_of_it = comparison_files(both)
    page = made_of_it[PAGE].replace("\N{NO-BREAK SPACE}", " ")
    assert 'id="emission"' in page
    assert 'id="emission"' not in files[PAGE]
    assert "not a test: only a measurement in a test house" in page
    assert "<td>not asked</td>" in page
    margins = both.reviews[0].points[0].emissions[0].margins
    told = json.loads(made_of_it[NUMBERS])["designs"]
    assert told["B"]["emissions"] == []
    assert [one["margin_dB"] for one in told["A"]["emissions"]] == [
        pytest.approx(margin.margin, rel=1e-6, abs=0) for margin in margins
    ]


def test_an_unstable_design_has_no_waveform_and_says_why():
    hungry = {"name": "modem", "kind": "constant_power", "power": "400 W", "loop_bandwidth": "200 kHz"}
    files = comparison_files(compared(made(load=hungry), made(name="second", load=resistive())))
    assert not any("waveforms" in name for name in files)
    assert any("effect" in name for name in files)
    section = json.loads(files[NUMBERS])["loads"]["modem"]["A"]
    assert section["20MHz_pp_V"] is None
    assert "pole" in section["20MHz_pp_V_reason"] or "unstable" in section["20MHz_pp_V_reason"]
    assert "There is nothing to say" in files[PAGE]


def test_a_long_name_is_cut_in_the_legend(result):
    assert legend(result)[0] == "A: first"
    named = zip(result.reviews, ("n" * 120, "m" * 120), strict=True)
    long = replace(result, reviews=tuple(changed(one, design=one.design.replace(name=name)) for one, name in named))
    assert all(len(name) == 60 for name in legend(long))


def test_the_folder_keeps_what_is_not_ours(result, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    page = write_comparison(result, tmp_path)
    assert page == tmp_path / PAGE
    assert (tmp_path / "mine.txt").read_text() == "mine"
    run = re.search("filterlib-run-[0-9a-f]{16}", page.read_text(encoding="utf-8"))[0]
    assert all(run in path.read_text(encoding="utf-8") for path in tmp_path.iterdir() if path.name != "mine.txt")
