"""The bench sheet as page and numbers: what the hand fills in is blank, what the model expects stands there."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from filterlib.analysis.bench.bench_sheet import bench_sheet
from filterlib.show import verify
from filterlib.show.figures.schematic import schematic_svg
from filterlib.words.bench.bench_sentences import check_words
from filterlib.words.bench.safety_steps import safety_steps
from filterlib.words.review.measurement_sentences import measurement_words
from tests.reviews import reviewed

HOSTILE = "$x_1$ <script>&"


@pytest.fixture(scope="module")
def sheet():
    return bench_sheet(reviewed("clean").result)


@pytest.fixture(scope="module")
def files(sheet):
    return verify.sheet_files(sheet)


def test_every_reading_stands_on_the_page_with_a_box_before_and_a_blank_behind_it(sheet, files):
    page = files["verify.html"]
    rows = re.findall(
        r'<tr><td><span class="tick"[^>]*></span></td><th scope="row">(\d+)</th>(.*?)</tr>', page, flags=re.DOTALL
    )
    assert [int(number) for number, _ in rows] == list(range(1, len(sheet.checks) + 1))
    assert all(row.rstrip().endswith('<td class="blank"></td>') for _, row in rows)
    for words in verify.BLANKS:
        assert f"<li>{words}<span></span></li>" in page


def test_expected_range_and_limit_of_the_modem_are_the_reviews(sheet, files):
    row = next(r for r in files["verify.html"].split("<tr>") if "Ripple at modem to 20" in r and "transmitting" in r)
    cells = [re.sub(r"<.*?>", "", cell).replace("\N{NO-BREAK SPACE}", " ") for cell in re.findall(r"<td.*?</td>", row)]
    check = next(c for c in sheet.checks if check_words(c) == "ripple at modem to 20 MHz" and c.point == "transmitting")
    assert cells[4] == f"{check.value * 1e3:.3g} mV"  # second method: formatted here
    probable = f"probably {check.probable_low * 1e3:.3g} mV to {check.probable_high * 1e3:.3g} mV"
    assert check.low < 1e-3  # the file states no spike: most of the reading may be one
    assert cells[5] == f"{check.low * 1e6:.3g} µV to {check.high * 1e3:.3g} mV, {probable}"
    assert cells[6] == "at most 15 mV"  # hand: the design file


def test_safety_comes_before_every_reading(sheet, files):
    page = files["verify.html"]
    assert (
        page.index("First: what can hurt") < page.index("Where the probe goes") < page.index("Readings, in this order")
    )
    text = re.sub(r"\s+", " ", page.replace("\N{NO-BREAK SPACE}", " "))
    for step in safety_steps(sheet):
        assert step.title.replace("'", "&#39;") in text


def test_the_numbers_are_for_other_programs(sheet, files):
    found = json.loads(files["verify.json"])
    assert set(found["files"]) == set(files)
    checks = [check for station in found["stations"] for check in station["checks"]]
    assert [check["number"] for check in checks] == list(range(1, len(sheet.checks) + 1))
    assert all(check["reading_V"] is None for check in checks)
    for written, check in zip(checks, sheet.checks, strict=True):
        expected = None if math.isnan(check.value) else pytest.approx(check.value, rel=1e-6, abs=0)
        assert written["expected_V"] == expected
    assert found["bleeder"]["time_s"] == pytest.approx(sheet.bleeder.time, rel=1e-6, abs=0)
    assert sum(store["energy_J"] for store in found["stores"]) == pytest.approx(0.0344, rel=0.01, abs=0)
    """hand: 26.4 + 2 x 2.42 + 56.4 µF at 28 V"""


def test_probe_points_are_marked_on_the_circuit(sheet, files):
    svg = files["verify-circuit.svg"].split("\n", 1)[1]
    words = ["".join(one.itertext()) for one in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]
    assert [word for word in words if re.fullmatch(r"P\d", word)] == ["P1", "P2", "P3"]
    plain = schematic_svg(sheet.design)
    assert not re.search(r">P\d<", plain)


def test_a_name_is_text_and_never_markup(sheet):
    judged = replace(sheet.review.judgement, design=sheet.design.model_copy(update={"name": HOSTILE}))
    hostile = replace(sheet, review=replace(sheet.review, judgement=judged))
    files = verify.sheet_files(hostile)
    assert "<script>" not in files["verify.html"]
    assert "&lt;script&gt;" in files["verify.html"]
    assert json.loads(files["verify.json"])["design"] == HOSTILE


def test_what_the_command_says(sheet):
    text = verify.sheet_text(sheet)
    assert text.startswith(f"{len(sheet.checks)} readings at 3 probe points.")
    assert "34.4 mJ stay; 15 kΩ (250 mW) takes them below 1 V in 4.4 s" in text  # hand: 85.6 µF, 15 kohm x C x ln 28
    assert measurement_words(sheet.narrowing[0].measurement) in text
    assert "No reading decides: x." in verify.sheet_text(replace(sheet, uncovered=("x",)))


def test_files_are_written_as_one_and_the_same_each_time(sheet, files, tmp_path):
    page = verify.write_sheet(sheet, tmp_path / "out")
    assert page == tmp_path / "out" / "verify.html"
    assert {path.name for path in page.parent.iterdir()} == {*files, "readings.toml"}
    assert verify.sheet_files(sheet) == files
