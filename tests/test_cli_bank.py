"""The command `filterlib bank`: what it says, what it writes, and what it refuses."""

import json
import re

import pytest

from filterlib import load_design
from filterlib.analysis.hold_up.burst_bank import bank_problems
from filterlib.analysis.hold_up.burst_review import bursts
from filterlib.cli import main
from filterlib.parts.tables import data_folder

DEMO = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
PROFILE = 'profile = {{ idle = "15 %", burst = "{}", period = "{}", lowest_voltage = "{}" }}'
RATING = '[converter.rating]\noutput_current = "3 A"\n'


@pytest.fixture
def design(tmp_path):
    """A function that writes the demo with a profile of its modem, and gives the path."""

    def write(length, period="2 s", lowest="22 V", rating=RATING):
        bandwidth = 'loop_bandwidth = "15 kHz"'
        text = DEMO.replace(bandwidth, f"{bandwidth}\n{PROFILE.format(length, period, lowest)}")
        path = tmp_path / "tide-gauge.toml"
        path.write_text(text.replace("[converter.ripple]", f"{rating}[converter.ripple]"), encoding="utf-8")
        return str(path)

    return write


def test_a_bank_is_found_and_its_page_written(design, tmp_path, capsys):
    assert main(["bank", design("5 ms"), "--out", str(tmp_path / "out")]) == 0
    out = capsys.readouterr().out
    assert "carry modem through a burst of 5 ms each 2 s" in out
    assert len(out.splitlines()) <= 12
    assert "the burst fails at its start" in out
    (found,) = json.loads((tmp_path / "out" / "bank.json").read_text(encoding="utf-8"))["loads"]
    best = found["banks"][0]
    assert found["supply_A"] == pytest.approx(3.0 - 0.6, rel=1e-12, abs=0)  # the logger takes its share of the rating
    assert found["deficit_A"] == pytest.approx(84 / 22 - 2.4, rel=1e-6, abs=0)
    assert best["holds_s"] >= 5e-3
    assert best["recharge_s"] < 2.0
    assert best["charge_C"] == pytest.approx(best["nominal_F"] * 1.2 * found["voltage_V"], rel=1e-6, abs=0)
    page = (tmp_path / "out" / "bank.html").read_text(encoding="utf-8")
    assert "A bleed resistor of" in page
    assert "licensed person" in page


def test_a_review_has_one_line_and_one_section_of_bursts(design, tmp_path, capsys):
    assert main(["review", design("5 ms"), "--out", str(tmp_path / "out")]) in (0, 1)
    out = capsys.readouterr().out
    assert len([line for line in out.splitlines() if "Bursts: modem, 5 ms each 2 s" in line]) == 1
    numbers = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    (found,) = numbers["bursts"]["loads"]
    assert found["needed_F"] > 0
    assert [one["place"] for one in found["start"]["dips"]] == ["", "converter", "filter", "load"]
    assert found["start"]["dips"][3]["lowest_V"] > 22 > found["start"]["dips"][0]["lowest_V"]
    page = (tmp_path / "out" / "review.html").read_text(encoding="utf-8")
    assert "Bursts: modem, 5 ms each 2 s" in page
    assert "The full bank stores" in page


def test_a_review_says_why_bursts_are_not_judged(design, tmp_path, capsys):
    main(["review", design("5 ms", rating=""), "--out", str(tmp_path / "out")])
    assert "converter.rating: missing" in capsys.readouterr().out


def test_one_part_fewer_does_not_hold(design):
    from filterlib import load_design
    from filterlib.analysis.hold_up.burst_bank import bank
    from filterlib.analysis.hold_up.holding import Demand, held

    loaded = load_design(design("5 ms"))
    (found,) = bank(loaded)
    for one in found.banks:
        if one.count > 1:
            share = (one.count - 1) / one.count
            demand = Demand(loaded.loads[0], 1.0, found.supply)
            full = found.voltage
            assert held(one.capacitance * share, one.resistance / share, full, 22.0, demand) < 5e-3 <= one.holds


def test_a_burst_that_only_supercapacitors_carry_is_said(design, tmp_path, capsys):
    """1.42 A for 8 s at 22 V: 30 mF hold it for a fifth of a second, behind a Schottky diode that takes its part."""
    assert main(["bank", design("8 s", "60 s"), "--out", str(tmp_path / "out")]) == 0
    out = capsys.readouterr().out
    assert re.search(r"Only supercapacitors carry it: 30 mF, a bank as it is often built, hold it for 17\d ms", out)
    assert re.search(r"needs 1\.3\d F or more", out)
    assert "two methods agree" in out.lower()
    (found,) = json.loads((tmp_path / "out" / "bank.json").read_text(encoding="utf-8"))["loads"]
    best = found["banks"][0]
    assert best["parts"] == 12 * best["count"]  # 27.6 V over cells of 2.43 V
    assert best["balancing_W"] > 0
    assert found["course_in_time"]["holds_s"] == pytest.approx(best["holds_s"], rel=1e-6, abs=0)
    page = (tmp_path / "out" / "bank.html").read_text(encoding="utf-8")
    for words in (
        "ideal diode",
        "a linear current limiter",
        "The fuse between bank and modem",
        "Cells in series need balancing",
    ):
        assert words in page


def test_a_burst_that_no_bank_carries_is_said(design, capsys):
    """Fifty minutes of it ask for five hundred farad."""
    assert main(["bank", design("3000 s", "30000 s")]) == 1
    out = capsys.readouterr().out
    assert re.search(r"No bank of up to 100 parts carries modem.*: 50\d F are needed", out)
    assert "A converter that gives 3.82 A needs no bank" in out


def test_a_converter_that_carries_the_burst_needs_none(design, capsys):
    assert main(["bank", design("8 s", "60 s", rating=RATING.replace("3 A", "5 A"))]) == 0
    assert (
        "No bank is needed: the converter, which can give modem 4.4 A, holds it above 22 V" in capsys.readouterr().out
    )


def test_a_bank_that_never_recharges_is_none(design, capsys):
    assert main(["bank", design("1.6 ms", "2 ms")]) == 1
    assert "never recharges" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"length": "3 s"}, "profile.burst = .3 s.: a burst is shorter than its period, 2 s"),
        ({"length": "5 ms", "lowest": "30 V"}, r"load.1..profile.lowest_voltage = .30 V.: below the converter's 28 V"),
        ({"length": "5 ms", "lowest": "0 V"}, r"load.1..profile.lowest_voltage = .0 V.: .*above 0"),
        ({"length": "5 ms", "lowest": "27.9 V"}, r"load.modem.profile.lowest_voltage = 27.9: a diode .* leaves 27.6 V"),
        ({"length": "5 ms", "rating": ""}, "converter.rating: missing"),
        ({"length": "5 ms", "rating": RATING.replace("3 A", "0.7 A")}, r"load.modem.profile.idle = 0.15: .* gives this load 0.1 A"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_key(design, capsys, changes, words):
    path = design(**changes)
    assert main(["bank", path]) == 2
    error = capsys.readouterr().err
    assert re.search(words, error)
    assert "tide-gauge.toml" in error
    assert "Traceback" not in error


def test_all_that_is_wrong_is_said_at_once(design, capsys):
    assert main(["bank", design("3 s", lowest="30 V")]) == 2
    error = capsys.readouterr().err
    assert "a burst is shorter than its period" in error
    assert "below the converter's 28 V" in error


def test_a_design_without_bursts_is_told_what_to_write(capsys):
    assert main(["bank", str(data_folder() / "designs" / "tide-gauge-clean.toml")]) == 2
    error = capsys.readouterr().err
    assert "load.profile: missing" in error
    assert "converter.rating: missing" in error


def test_the_demo_that_transmits_states_all_that_its_banks_ask_for():
    """The demonstration has bursts, a rating and a limit, so that its review has a line of bursts and one of the switch-on."""
    design = load_design(data_folder() / "designs" / "tide-gauge-transmitting.toml")
    assert list(bank_problems(design)) == []
    assert design.named_load("modem").profile.burst == 0.04
    assert design.converter.limit is not None
    assert design.states_battery_side


def test_a_burst_that_finds_too_little_charge_is_not_met_and_a_bank_mends_it(tmp_path, capsys):
    """hand: 1.42 A for 40 ms out of 6 V ask for millifarads, and 51 µF are there; 9 x 1 mF at the modem are enough."""
    text = (data_folder() / "designs" / "tide-gauge-transmitting.toml").read_text(encoding="utf-8")
    design = tmp_path / "board.toml"
    design.write_text(text, encoding="utf-8")
    assert main(["review", str(design), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr().out
    assert said.startswith("✗ Not met")
    assert "Too little capacitance for the bursts of modem: modem needs 6.73 mF, and 51.4 µF are fitted." in " ".join(
        said.split()
    )
    page = (tmp_path / "out" / "review.html").read_text(encoding="utf-8")
    assert "No change is needed" not in page
    assert "Change first: fit " in page
    assert "as a bank for the bursts of modem" in page
    banked = text.replace('part = "aluminium-47u-63V" }', 'part = "aluminium-1000u-35V", count = 9 }')
    assert banked != text
    design.write_text(banked, encoding="utf-8")
    found = bursts(load_design(design))
    assert [one.verdict for one in found.checks] == ["met", "met"]
    assert found.short == ()
