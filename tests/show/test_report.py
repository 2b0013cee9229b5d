"""The page: what it says first, in words; everything there; names as text; nothing fetched; one run in every file."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from itertools import pairwise

import pytest

from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stress.stress_check import Basis
from filterlib.analysis.uncertainty.measurement_result import AddedCapacitor, Measurement, MeasurementValues
from filterlib.errors import OutputError
from filterlib.show.folder import run_of
from filterlib.show.review_page.report import review_files, write_review
from filterlib.system.solution import solve
from filterlib.words.review.assumptions import assumptions
from filterlib.words.review.rating_sentences import stress_interval, stress_value
from filterlib.words.review.review_sentences import cautions, headline, summary, trust
from tests.analysis.stability.test_over_uncertainty import feeble
from tests.show.fakes import NAN
from tests.show.parsed import Page
from tests.show.words_drawn import faults


@pytest.fixture(scope="module")
def files(review):
    return review_files(review)


@pytest.fixture(scope="module")
def page(files):
    return Page(files["review.html"])


def test_elements_are_closed_in_order(page):
    assert page.open == []


def test_the_verdict_comes_first_and_then_what_is_left(page, review):
    whole = " ".join("".join(page.text).split())
    places = [
        whole.index(words)
        for words in ("Not met", headline(review), summary(review), "Each requirement", "What to do next", "Cautions")
    ]
    assert places == sorted(places)
    assert "Of 3 requirements 1 not met, 1 undecided (to be measured) and 1 met." in whole


@pytest.mark.parametrize("word", ["✓ met", "◐ undecided: depends on the capacitance inside the converter", "✗ not met"])
def test_verdicts_are_words_with_a_sign(page, word):
    assert word in [entry[2] for entry in page.all("td")]


def test_every_part_of_the_page_is_there(page, review):
    headings = [entry[2] for entry in page.elements if entry[0] in ("h1", "h2")]
    assert headings == [
        review.design.name,
        "Each requirement and its limit",
        "Ripple at modem before and after, 20 MHz",
        "Circuit diagram",
        "What to do next",
        "Cautions",
        "Stability: no load of constant power",
        "Requirements and ratings, with their intervals",
        "Parts",
        "Operating points",
        "Stress of the parts, with margins",
        "Ripple and harmonics in numbers",
        "At modem",
        "At logger",
        "Impedances and steps",
        "Stability: margins, rules about impedances, the converter's side",
        "What the design left to defaults",
        "Where the model stops being trusted",
    ]
    whole = "".join(page.text).replace("\N{NO-BREAK SPACE}", " ")
    for text in (*trust(review), *cautions(review), *(one.key for one in assumptions(review))):
        assert text in whole


def test_every_stress_stands_in_the_table_with_its_margin_at_its_worst(page):
    rows = set(_cells(page, "Stress of the parts, with margins"))
    # hand: of the made-up stresses at "idle" (a tenth) and "full"
    told = (
        "C11",
        "Ripple current",
        "✓ met",
        "500 mA",
        "450 mA to 600 mA",
        "at most 2 A",
        "233 %",
        "full",
        "Rms",
    )
    assert told in rows
    margins = [row[6] for row in _cells(page, "Stress of the parts, with margins")]
    assert margins == [
        "\N{MINUS SIGN}29 %",
        "\N{MINUS SIGN}8 %",
        "233 %",
        "",
        "",
    ]  # hand: 24/33.6, 5.5/6, 2/0.6; then what has no limit
    verdicts = {row[2] for row in rows}
    assert verdicts == {
        "✓ met", "✗ not met", "◐ undecided: depends on the ESR inside the converter", "– no limit stated", "? not known"
    }  # fmt: skip


def test_no_life_is_promised_beyond_that_of_the_seal(fakes):
    """published: the seal of an electrolytic lasts some 15 years, 131,490 h of 8766 h a year."""
    beyond, year = "over 15 years, longer than its seal lasts", 8766 * 3600.0
    told = [
        fakes.stress_check("life", "s", value * year, limit * year, at_least=True, basis=Basis("life"))
        for value, limit in ((200.0, 10.0), (200.0, NAN), (14.0, 10.0), (30.0, 20.0))
    ]
    assert [stress_value(life) for life in told] == [
        beyond,
        beyond,
        "123000 h",
        "263000 h",
    ]  # as far as 20 years are asked
    assert [stress_interval(life) for life in told] == [
        "", "", f"110000 h to {beyond}", "237000 h to 316000 h"
    ]  # fmt: skip


def test_columns_of_numbers_are_set_to_the_right_and_columns_of_words_are_not(files):
    table = files["review.html"].partition("<caption>First harmonics")[2].partition("</table>")[0]
    heads = re.findall(r'<th scope="col"( class="number")?>', table)
    assert heads[0] == ""  # it heads its row
    assert all(heads[1:])
    assert table.count('<td class="number">') == table.count("<td") > 0
    rows = [re.findall(r"<td.*?</td>", row) for row in table.split("<tr>")[2:]]
    for column in zip(*rows, strict=True):  # one point, wherever a fraction begins
        assert len({tuple(re.findall(r"width:[\d.]+ch", cell)) for cell in column if "point" in cell}) == 1
    steps = files["review.html"].partition("<caption>Steps")[2].partition("</table>")[0]
    assert '<th scope="col">Load' in steps
    assert "th.number, td.number { text-align: right; }" in files["review.html"]


def test_heat_stands_where_it_is_most(page):
    rows = _cells(page, "Heat in the parts")
    assert rows == [
        ("C11, each of 3", "0 W", "20 mW", "", "not known", "full"),
        ("L11", "400 mW", "10 mW", "3 mW", "22 K", "full"),
    ]


def _cells(page, caption):
    """Text of the table under a caption, row by row, without its heads."""
    inside, rows = False, []
    for entry in page.elements:
        if entry[0] == "caption":
            inside = entry[2] == caption
        elif inside and entry[0] == "tr":
            rows.append([])
        elif inside and entry[0] in ("td", "th") and entry[1].get("scope") != "col":
            rows[-1].append(entry[2].replace("\N{NO-BREAK SPACE}", " "))
    return [tuple(row) for row in rows if row]


def test_an_exceeded_rating_is_said_at_the_top_and_is_not_met(fakes):
    volts = fakes.stress_check("voltage", "V", 28.0, 24.0, basis=Basis("peak"))
    amps = fakes.stress_check("peak current", "A", 5.0, 5.5, depends_on="converter.output_esr")
    whole = fakes.review(words=("met",), exceeded=(("full", volts), ("full", amps)))
    page = Page(review_files(whole)["review.html"])
    text = " ".join("".join(page.text).split())
    told = "C11: voltage 28 V (25.2 V to 33.6 V), at most 24 V (at its peak): beyond its rating, at full"
    sentence = f"✗ Rating not met: {told}."
    top = text[: text.index("Each requirement")]
    assert "✗ Not met C11 exceeds its rating: voltage 28 V, at most 24 V." in top
    assert "✗ Ratings: not met C11: voltage 28 V, at most 24 V; 1 more" in top
    assert "Ratings: 1 not met, 1 undecided." in top
    undecided = "◐ Rating undecided: C11: peak current 5 A (4.5 A to 6 A), at most 5.5 A (rms): undecided, depends on"
    assert text.index(sentence) < text.index(undecided)
    assert "Rating not met" not in "".join(Page(review_files(fakes.review())["review.html"]).text)


def test_a_point_without_a_steady_state_says_that_it_has_no_stress(fakes):
    text = "".join(Page(review_files(fakes.review(stable=False))["review.html"]).text)
    assert "At full there is none: unstable: it oscillates at 52 kHz, and that grows" in text


def test_headings_never_skip_a_level(page):
    levels = [int(entry[0][1]) for entry in page.elements if re.fullmatch("h[1-6]", entry[0])]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_table_has_a_caption_and_heads_with_a_scope(page):
    assert len(page.all("table")) == len(page.all("caption")) > 8
    assert all(entry[2].strip() for entry in page.all("caption"))
    assert all(entry[1].get("scope") in ("col", "row") for entry in page.all("th"))


def test_every_figure_stands_inline_under_a_name_of_its_own(page, files):
    names = [
        entry[1]["aria-label"]
        for entry in page.elements
        if entry[1].get("role") == "img" and entry[1].get("class") != "bar"
    ]
    drawn = [name for name in files if name.endswith(".svg")]
    assert len(names) == len(set(names)) == len(page.all("svg")) - 3 == len(drawn) == 17  # hand: three bars
    assert all(len(name) > 20 for name in names)


def test_no_words_of_a_figure_are_cut_off_or_lie_on_others(files):
    drawn = {name: text.split("\n", 1)[1] for name, text in files.items() if name.endswith(".svg")}
    assert [(name, faults(text)) for name, text in drawn.items() if faults(text)] == []


def test_identifiers_are_used_once_and_links_lead_somewhere(page, files):
    identifiers = [entry[1]["id"] for entry in page.elements if "id" in entry[1]]
    assert len(identifiers) == len(set(identifiers))
    for entry in page.all("a"):
        target = entry[1]["href"]
        assert target[1:] in identifiers if target.startswith("#") else target in files


def test_nothing_is_fetched_and_nothing_runs(page, files):
    (script,) = page.all("script")
    allowed = base64.b64encode(
        hashlib.sha256(script[2].encode()).digest()
    ).decode()  # second method: by the page's own text
    assert f"script-src 'sha256-{allowed}'" in files["review.html"]
    assert not re.search(r"fetch|XMLHttp|import\(|https?:", script[2])
    assert not page.all("img")
    given = [pair for _, attributes, _ in page.elements for pair in attributes.items()]
    assert not [name for name, _ in given if name.startswith("on")]
    away = ("http:", "https:", "//")
    assert not [value for name, value in given if (value or "").startswith(away) and not name.startswith("xmlns")]
    assert "default-src 'none'" in files["review.html"]


HOSTILE = '"><script>alert(1)</script>{{ 7*7 }}$x_1$ & </svg>'


def test_names_from_the_design_file_are_text_everywhere(fakes):
    review = fakes.review()
    hostile = fakes.review(design=fakes.renamed(review.design, HOSTILE))
    hostile = fakes.relabelled(hostile, HOSTILE)
    files = review_files(hostile)
    page = Page(files["review.html"])
    assert len(page.all("script")) == 1
    assert "".join(page.text).count(HOSTILE) > 10
    assert all("<script" not in text for name, text in files.items() if name.endswith(".svg"))
    assert json.loads(files["results.json"])["design"] == HOSTILE


def test_insertion_loss_stands_beside_the_real_effect_with_why(page):
    """hand: the made-up curve is |1 + j f/10 kHz|, its ends |20 + 18j| and |300 + 18j| milliohm at 180 kHz."""
    whole = "".join(page.text).replace("\N{NO-BREAK SPACE}", " ")
    assert whole.count("Insertion loss as in CISPR 17, and the real effect at") == 2
    assert whole.count("Symmetrical, between 50 Ω and 50 Ω25.1 dB40.0 dB60.0 dB") == 2
    assert "at 180 kHz the converter's side is 26.9 mΩ and the load's 301 mΩ, not 50 Ω" in whole


def test_an_unstable_design_has_a_page_that_says_so(fakes):
    unstable = fakes.review(stable=False)
    page = Page(review_files(unstable)["review.html"])
    whole = " ".join("".join(page.text).split())
    assert "✗ Not met At full the circuit is unstable: it oscillates" in whole
    assert "The circuit is unstable at full: there it has no steady ripple." in whole
    assert "✗ unstable" in whole


def test_a_design_that_is_unstable_everywhere_has_a_page(fakes):
    review = fakes.review(stable=False)
    alone = fakes.review(stable=False, points=review.points[1:])
    page = Page(review_files(alone)["review.html"])
    assert "No operating point has a steady ripple." in "".join(page.text)
    assert "No steady ripple there" in "".join(page.text)


def test_the_least_margin_decides_which_operating_point_is_shown(fakes):
    near, far = fakes.verdict("met", margin=0.1, point="idle"), fakes.verdict("met", margin=0.5)
    assert fakes.review(verdicts=(far, near)).point_to_show().operating.point == "idle"
    assert fakes.review(verdicts=(far, near)).point_to_show("logger").operating.point == "idle"
    assert fakes.review(verdicts=(far,)).point_to_show().operating.point == "full"


def test_without_requirements_the_page_says_that_none_was_judged(fakes):
    page = Page(review_files(fakes.review(verdicts=()))["review.html"])
    assert "No requirement is stated, so none was judged." in "".join(page.text)


def test_all_files_of_a_folder_are_of_one_run_and_listed(review, tmp_path):
    path = write_review(review, tmp_path / "out")
    assert path == tmp_path / "out" / "review.html"
    listed = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert sorted(listed["files"]) == sorted(file.name for file in (tmp_path / "out").iterdir())
    assert {run_of(file) for file in (tmp_path / "out").iterdir()} == {listed["run"]}


def test_the_same_review_gives_the_same_bytes(fakes, tmp_path):
    for name in ("one", "two"):
        write_review(fakes.review(), tmp_path / name)
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()


def test_a_folder_that_is_a_file_is_refused(review, tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match="is a file, not a folder"):
        write_review(review, tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def closing_of(load="modem"):
    """Two measurements, one of them useless."""
    capacitor = AddedCapacitor(10e-6, (1, 2), 0.11, 0.08, 0.06, 0.1, 1e-6, 0.02)
    many = (
        Measurement("inside", ("converter.output_esr",), 0.006, 0.009, 0.4),
        Measurement("part L1", ("filter.L1.leakage",), 0.005, 0.0125, 0.0),
    )
    return MeasurementValues("full", load, "20MHz", 0.005, 0.0125, many, capacitor)


def test_what_would_close_the_band_stands_in_the_chapter_of_the_load_that_decides(fakes):
    text = review_files(fakes.review(closing=closing_of("logger")))["review.html"]
    at = text.index("What to measure next")
    assert text.index('id="load-2"') < at < text.index('id="steps"')
    listed = text[at : text.index("</details>", at)]
    assert "5 mV to 12.5 mV (a factor of 2.5)" in listed
    assert listed.count("<li>") == 1
    assert "It leaves 6 mV to 9 mV (a factor of 1.5): the interval is 40 % narrower." in listed
    assert "With 10 µF" in listed
    assert "Measuring these would hardly narrow this interval: L1 itself on an impedance bridge." in listed


def test_without_a_band_nothing_would_close_it(fakes, page):
    assert "What to measure next" not in review_files(fakes.review())["review.html"]
    known = MeasurementValues("full", "modem", "20MHz", float("nan"), float("nan"))
    text = review_files(fakes.review(closing=known))["review.html"]
    assert "<li>Nothing that moves the figure is unknown.</li>" in text


def test_how_far_from_ringing_is_on_the_page_as_a_bar_with_the_figures_folded(review):
    """The heading has the margin of the worst operating point; the figures are among the run's files."""
    told = margins(solve(feeble()))
    first, *others = review.points
    points = (replace(first, margins=(replace(told[0], point="light", power=1.0), *told)), *others)
    files = review_files(replace(review, judgement=replace(review.judgement, points=points)))
    section = files["review.html"].split('id="stability"')[1].split("</section>")[0]
    folded = files["review.html"].split('id="stability-more"')[1].split("</details>")[0]
    assert "Stability: at nominal values modem could draw 4" in section
    assert (section.count("<svg"), section.count("<figure>"), folded.count("<figure>")) == (1, 0, 2)
    assert {"stability-impedances.svg", "stability-ratio.svg"} <= set(files)
