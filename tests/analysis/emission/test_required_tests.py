"""The emission that a design file asks for: which tests, at which operating points, and the verdict on a margin."""

import json

import numpy as np
import pytest

from filterlib import cli, load_design
from filterlib.analysis.emission.emission_result import emission_tests, nearest
from filterlib.analysis.emission.estimate import emissions, emissions_of
from filterlib.analysis.judgement import judge
from filterlib.analysis.uncertainty import interval as band
from filterlib.parts.tables import data_folder
from filterlib.system.limits import load_limit
from filterlib.system.solution import solve, solve_all
from filterlib.words.review.verdict_sentences import verdict_sentence

CLEAN = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
POINTS = ("transmitting", "listening")


def wanted(limit="mains-class-b", side="output", **more):
    return {"kind": "emission", "side": side, "limit": limit, **more}


def own(tmp_path, frequencies, levels, name="own"):
    path = tmp_path / f"{name}.toml"
    path.write_text(
        f'title = "Board (invented)"\nsource = "invented"\n[[piece]]\ndetector = "average"\n{frequencies=}\n{levels=}\n',
        encoding="utf-8",
    )
    return load_limit(path)


@pytest.fixture
def quick(monkeypatch):
    """A band of few points: enough for what is tested with it."""
    monkeypatch.setattr(band, "SPREAD", 2)
    monkeypatch.setattr(band, "ROUNDS", 1)


def test_one_test_for_each_side_and_network():
    """hand: the limit of the requirement joins the estimate at the same side and network."""
    asked = [
        {"side": "input", "limits": ["dc-telecom-network"]},
        {"side": "input", "network": "5uH", "limits": ["mains-class-a"]},
    ]
    design = CLEAN.replace(emissions=asked, requirements=[wanted("mains-class-b", "input"), wanted()])
    found = [(one.side, one.at.name, [limit.name for limit in one.judged]) for one in emission_tests(design)]
    assert found == [
        ("input", "50uH", ["dc-telecom-network", "mains-class-b"]),
        ("input", "5uH", ["mains-class-a"]),
        ("output", "50uH", ["mains-class-b"]),
    ]
    assert emission_tests(CLEAN.replace(emissions=())) == ()


def test_the_range_at_both_points_at_once_against_a_search_at_each():
    """second method: a search at each point alone; its other points find the ends within 1 dB here."""
    told = []
    found = emissions_of(CLEAN, [solve(CLEAN, name) for name in POINTS], progress=told.append)
    assert told == sorted(told)
    assert 0 < told[-1] <= 1
    for name in POINTS:
        (quickly,), (test,) = found[name], emission_tests(CLEAN)
        slowly = emissions(solve(CLEAN, name), test)
        for one, full in zip(quickly.margins, slowly.margins, strict=True):
            assert (one.margin, one.frequency) == (full.margin, full.frequency)
            assert one.low == pytest.approx(full.low, rel=1e-3, abs=1.0)
            assert one.high == pytest.approx(full.high, rel=1e-3, abs=1.0)
            assert one.low < one.margin < one.high
    assert nearest(found["transmitting"][0]) < nearest(found["listening"][0])


def test_a_design_that_asks_for_it_can_be_changed(tmp_path):
    """Sliders, changes and reasons replace pieces of a design; a requirement of a line has no load to be found."""
    asked = CLEAN.replace(requirements=[wanted(own(tmp_path, ["150 kHz", "30 MHz"], [66, 66]))], emissions=())
    assert asked.replace(note="changed").requirements == asked.requirements


@pytest.mark.parametrize(("level", "answer"), [(200, "met"), (-40, "not met"), (66, "undecided")])
def test_verdict_over_the_band_at_the_worst_point(quick, tmp_path, level, answer):
    """hand: the margin and its range of every point, compared with what is asked for."""
    limit = own(tmp_path, ["150 kHz", "30 MHz"], [level, level])
    requirement = wanted(limit, margin="3 dB")
    found = judge(solve_all(CLEAN.replace(requirements=[requirement], emissions=())))
    (verdict,) = found.verdicts
    margins = {point.operating.point: point.emissions[0].margins[0] for point in found.points}
    point = min(margins, key=lambda name: margins[name].low)
    assert (verdict.verdict, verdict.point, verdict.unit, verdict.limit) == (answer, point, "dB", 3.0)
    ends = margins[point].margin, margins[point].low, margins[point].high
    assert (verdict.value, verdict.low, verdict.high) == ends
    expected = "met" if ends[1] >= 3 else "not met" if ends[2] < 3 else "undecided"
    assert answer == expected
    assert verdict.margin == pytest.approx(10 ** ((ends[1] - 3) / 20) - 1, rel=1e-12, abs=0)
    assert found.good == (answer == "met")
    assert "at least 3 dB below the limit: Board (invented)" in verdict_sentence(verdict)
    assert "estimate before a test, not a test" in verdict_sentence(verdict)
    assert bool(verdict.depends_on) == (answer == "undecided")


def test_what_cannot_be_judged_is_not_known(quick, tmp_path):
    """hand: multiples of 180 kHz leave 150 to 160 kHz empty; a filter of 9 kHz reaches 18 kHz."""
    limit = own(tmp_path, ["150 kHz", "160 kHz"], [60, 60])
    (empty,) = judge(solve_all(CLEAN.replace(requirements=[wanted(limit)], emissions=()))).verdicts
    assert empty.verdict == "undecided"
    assert np.isnan(empty.value)
    assert "no harmonic is where it has a limit" in verdict_sentence(empty)


def test_review_shows_it_with_its_numbers(quick, capsys, tmp_path):
    """hand: the demonstration asks for the input; a requirement of the output beside it decides the exit code."""
    text = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
    path = tmp_path / "design.toml"
    path.write_text(
        f'{text}\n[[requirement]]\nkind = "emission"\nside = "output"\nlimit = "mains-class-b"\n', encoding="utf-8"
    )
    assert cli.main(["review", str(path), "--out", str(tmp_path / "out")]) == 1
    assert "Conducted emission: " in capsys.readouterr().out
    page = (tmp_path / "out" / "review.html").read_text(encoding="utf-8")
    assert 'id="emission"' in page
    assert page.count("This is an estimate before a test, not a test") >= 4  # two tests: beside words and in figures
    for words in ("each source alone makes", "Each line and each mode", "Common-mode current"):
        assert words in page
    numbers = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    for point in POINTS:
        section = numbers["operating_points"][point]["emissions"]
        for key in ("input_dc_telecom_network_average", "output_mains_class_b_quasi_peak"):
            level, limit = section[f"{key}_level_dBuV"], section[f"{key}_limit_dBuV"]
            assert limit - level == pytest.approx(section[f"{key}_margin_dB"], rel=1e-4, abs=0)
        assert set(numbers["arrays"][point]["emissions"]) == {"input", "output"}
    last = numbers["requirements"][-1]
    assert (last["kind"], last["limit_dB"], last["verdict"] != "met") == ("emission", 0.0, True)
    assert {"emission-1-input.svg", "emission-2-output.svg"} <= set(numbers["files"])
    assert any(one["key"] == "input_side.capacitance" for one in numbers["assumptions"])
