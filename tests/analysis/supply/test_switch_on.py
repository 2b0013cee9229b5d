"""Switch-on: charge balance as the second method, hiccups by hand, and what keeps a load from running."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.converter_side.start_up import start_time
from filterlib.analysis.hold_up.way import Branch
from filterlib.analysis.supply.starting import _again, starting
from filterlib.analysis.supply.supply_result import Ramp
from filterlib.analysis.supply.switch_on import switch_on
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import course
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.words.supply.switch_on_sentences import switch_on_line, switch_on_sentences

AT_ONCE = 1e-6
BANK = Branch(30e-3, 1e-5)
HELD = 28.0 * 0.95  # the output counts as up


def design(*loads, esr="1 mΩ", **limit):
    converter = Converter(
        name="Skerry (invented)", input_voltage=24, output_voltage=28, switching_frequency=1.5e5, shape="pulse",
        ripple={"peak_to_peak": 0.1}, output_capacitance="22 µF", output_esr=esr, output_resistance="1 mΩ",
        limit={"current": "6 A", "soft_start": "1 ms"} | limit,
    )  # fmt: skip
    return Design(name="started (invented)", converter=converter, loads=list(loads))


def steady(amperes, **more):
    return Load(name="logger", kind="constant_current", current=amperes, **more)


def radio(watts, **more):
    return Load(name="radio", kind="constant_power", power=watts, **more)


def ramp(limit, back=None, **more):
    return Ramp(limit, limit if back is None else back, math.inf, math.inf, AT_ONCE, **more)


def test_into_30_mF_with_a_constant_current_drawn():
    """hand: 30 mF x 28 V / (6 A - 2 A) = 0.2100 s; here to 95 % of it, 32 µF more, the load rising up to a volt."""
    found = starting(design(steady(2.0)), ramp(6.0), BANK)
    drawn = lambda v: 2.0 * np.minimum(v, 1.0)  # noqa: E731
    expected = start_time(30e-3 + 32e-6, HELD, 6.0, drawn)
    assert expected == pytest.approx(0.95 * 0.21, rel=0.01, abs=0)
    assert found.up == pytest.approx(expected, rel=1e-3, abs=0)
    assert found.end == "starts"


def test_what_a_capacitors_resistance_takes_is_there_at_once():
    """hand: 10 µF beside C = 1 mF with R = 0.5 ohm at 6 A: (26.6 V (C + 10 µF) - R C 6 A) / 6 A = 3.978 ms; 4.478 ms without R."""
    lossy = Converter(
        name="Skerry (invented)", input_voltage=24, output_voltage=28, switching_frequency=1.5e5, shape="pulse",
        ripple={"peak_to_peak": 0.1}, output_capacitance="1 mF", output_esr="0.5 Ω", output_resistance="1 mΩ",
        limit={"current": "6 A", "soft_start": "1 ms"},
    )  # fmt: skip
    found = starting(Design(name="started (invented)", converter=lossy, loads=[steady(1e-6)]), ramp(6.0))
    assert found.up == pytest.approx((HELD * 1.01e-3 - 0.5 * 6e-3) / 6, rel=2e-3, abs=0)


def test_a_limit_that_rises_with_the_voltage():
    """second method: charge balance; to 28 V without a load it is 0.230709 s (by formula: 7 C ln 3)."""
    assert start_time(30e-3, 28.0, lambda v: 2 + 4 * v / 28) == pytest.approx(0.230709, rel=1e-5, abs=0)
    found = starting(design(steady(1e-6)), ramp(6.0, 2.0), BANK)
    expected = start_time(30e-3 + 32e-6, HELD, lambda v: 2 + 4 * v / 28)
    assert found.up == pytest.approx(expected, rel=1e-3, abs=0)


def test_a_constant_power_holds_it_down_where_the_limit_is_below_what_it_takes_at_its_start():
    """hand: 60 W from 10 V on ask for 6 A there; from 20 V on for 3 A."""
    early = radio(60.0, starts_at="10 V", stops_at="5 V")
    held = starting(design(early), ramp(4.0), BANK)
    assert held.end in ("held down", "falls out")
    assert held.held < 15.0 or held.loads[0].falls > 0
    late = radio(60.0, starts_at="20 V", stops_at="15 V")
    assert starting(design(late), ramp(4.0), BANK).end == "starts"


def test_a_load_that_falls_out_again_and_again_is_bounded_and_named():
    """hand: 84 W ask for 3 A at 28 V, above the limit."""
    found = switch_on(design(radio(84.0), esr="20 mΩ", current="2.5 A"))
    assert found.nominal.end == "falls out"
    assert switch_on_line(found).startswith("radio starts, pulls the voltage down")
    assert found.checks[0].verdict == "not met"
    assert found.largest == 0.0


def test_the_share_of_the_loads_that_run_in_the_end():
    """hand: beside 84 W, 3 A at 28 V and so above the limit, a radio of 10 W runs from 5 V on: one of two."""
    low = Load(name="gauge", kind="constant_power", power=10.0, starts_at="5 V", stops_at="2 V")
    found = switch_on(design(low, radio(84.0, starts_at="27 V", stops_at="20 V"), esr="20 mΩ", current="2.5 A"))
    one = found.checks[0]
    assert (one.value, one.limit, one.verdict) == (0.5, 1.0, "not met")
    loads = low, radio(28.0, starts_at="27 V", stops_at="20 V")
    both = switch_on(design(*loads, esr="20 mΩ", current="2.5 A")).checks[0]
    assert (both.value, both.verdict) == (1.0, "met")


def test_hiccups_for_ever_by_hand():
    """hand: an attempt lifts 30 mF by 5.5 A x 5 ms / 30 mF = 0.92 V, the pause takes 0.5 A x 100 ms; below a volt the load takes less."""
    limit = {"kind": "hiccup", "hiccup_on": "5 ms", "hiccup_off": "100 ms"}
    one = design(steady(0.5), **limit)
    found = starting(one, Ramp.of(one.converter.limit), BANK)
    assert (found.end, found.up) == ("hiccups", math.inf)
    assert found.attempts < 10
    assert 0.92 < found.held < 0.92 + 0.3


def test_hiccups_climb_where_the_pause_takes_less_than_an_attempt_gives():
    """hand: 30 mC an attempt lift 3 mF by 10 V, so the third gets there."""
    limit = {"kind": "hiccup", "hiccup_on": "5 ms", "hiccup_off": "100 ms"}
    one = design(steady(1e-3), **limit)
    found = starting(one, Ramp.of(one.converter.limit), Branch(3e-3, 1e-5))
    assert (found.end, found.attempts) == ("starts", 3)
    assert 0.21 < found.up < 0.215


def test_each_load_has_its_own_time():
    """hand: a ramp of 10 ms is at 14 V after 5 ms, and at 25 V after 8.93 ms."""
    first, last = (
        radio(10.0, starts_at="14 V"),
        Load(name="camera", kind="constant_power", power=10.0, starts_at="25 V"),
    )
    one = design(first, last, soft_start="10 ms")
    found = starting(one, Ramp.of(one.converter.limit))
    assert [load.runs for load in found.loads] == pytest.approx([5e-3, 25 / 28 * 10e-3], rel=0.01, abs=0)


def test_a_load_with_bursts_starts_between_them():
    profile = {"idle": "10 %", "burst": "1 s", "period": "10 s", "lowest_voltage": "22 V"}
    found = switch_on(design(radio(84.0, profile=profile), current="2.5 A"))
    assert found.nominal.end == "starts"
    assert any("between them" in one for one in switch_on_sentences(found, design(radio(84.0, profile=profile))))


def test_the_next_attempt_counts_no_fall_and_wakes_no_load_that_gave_up():
    """hand: curves are called after what a load does and how often it fell; the converter begins again."""
    circuit = (
        PiecewiseCircuit()
        .voltage_source("v", "a", "0", [(0.0, 1.0)])
        .resistor("r", "a", "b", 1.0)
        .capacitor("c", "b", "0", 1e-6)
    )
    ended = {"limit": "off", "draw.one": "waits 2", "draw.two": "draws 1", "draw.three": "gives up 0", "bare": ""}
    behind = _again([replace(course(circuit, 1e-3), curves=ended)])
    wanted = {"limit": "again", "draw.one": "waits 0", "draw.two": "draws 0", "draw.three": "gives up 0", "bare": ""}
    assert behind.curves == wanted
