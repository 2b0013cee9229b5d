"""The battery's side and the plug on the page, in results.json and in the terminal: the same words, and a verdict that counts."""

import json

import pytest

from filterlib import review
from filterlib.show.review_page.report import review_files
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.battery_side import Battery, Fuse, SupplyWire, Switch
from filterlib.words.review.summary import terminal_summary


def design(limit=None, **more):
    converter = Converter(
        name="Skerry (invented)",
        input_voltage=24,
        output_voltage=28,
        switching_frequency=1.5e5,
        shape="pulse",
        ripple={"peak_to_peak": 0.1},
        limit=limit,
    )
    load = {"name": "modem", "kind": "constant_current", "current": 3}
    return Design(name="fed (invented)", converter=converter, loads=[load], **more)


@pytest.fixture(scope="module")
def result():
    return review(
        design(
            battery=Battery(capacity="40 Ah"), supply_wire=SupplyWire(length="3 m", awg=14),
            fuse=Fuse(rated_current="30 A", melting_i2t="400 A2s"), switch=Switch(rated_current="3 A"),
            limit={"current": "4 A", "soft_start": "5 ms"},
            input_side=InputSide(capacitance="22 µF", esr="30 mΩ", lowest_voltage="16 V"),
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def files(result):
    return review_files(result)


def test_a_rule_that_is_not_met_counts(result):
    """3 A at 28 V are 93 W at 90 %: 4 A or more through a switch of 3 A (hand)."""
    assert result.exit_code == 1
    assert result.judgement.outcome == "not met"
    assert [one.name for one in result.judgement.against] == ["switch.current"]


def test_a_line_each_in_the_terminal(result):
    text = terminal_summary(result, [])
    assert "✗ not met       Battery's side: switch: largest current" in text
    assert "At the plug: peak" in text
    assert (
        "✓ met           Switch-on: all loads run after 4.7" in text
    )  # hand: 95 % of 5 ms are 4.75 ms, and a little for the drop


def test_three_folded_sections(files):
    page = files["review.html"]
    assert 'id="battery"' in page
    assert 'id="plug"' in page
    assert 'id="switch-on"' in page
    assert "see Switch-on" in page
    assert "AWG" in page
    assert "pre-charge through" in page
    assert "arc" in page
    assert "Inner resistance of the battery" in page  # among the assumptions


def test_the_numbers(files):
    supply = json.loads(files["results.json"])["supply"]
    assert supply["battery"]["most_A"] > 4
    assert supply["plug"]["nominal"]["voltage_V"] == 24
    assert supply["plug"]["nominal"]["peak_V"] > 24
    assert {one["name"] for one in supply["plug"]["fixes"]} >= {"ntc", "clamp", "electrolytic"}
    assert supply["battery"]["checks"][0]["verdict"] == "met"
    assert supply["switch_on"]["nominal"]["end"] == "starts"
    assert supply["switch_on"]["nominal"]["loads"]["modem"]["runs_s"] == pytest.approx(4.75e-3, rel=0.01, abs=0)


def test_nothing_where_nothing_is_stated():
    bare = review(design())
    assert bare.judgement.supply is None
    assert 'id="plug"' not in review_files(bare)["review.html"]
