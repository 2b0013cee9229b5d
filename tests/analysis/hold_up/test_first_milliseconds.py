"""The start of a burst: closed form, linear limit, and what a bank and its place change."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from filterlib import Circuit, load_design
from filterlib.analysis.hold_up.first_milliseconds import PLACES, Branch, Path, burst_dip, first_milliseconds, stiff_dip
from filterlib.analysis.hold_up.way import Section, path_to
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.system.line.load import Load

RADIO = Load(name="radio", kind="constant_current", current="3 A")
STIFF = Path(
    28.0, 100.0, 1e-6, (1e-6, 1e-9, 1e-9), Branch(1.0, 1e-6), (Section(0.0, 0.0, (Branch(1.0, 1e-6),)),), (0.05, 2e-6), Branch(1e-4, 0.02)
)  # fmt: skip
WEAK = Path(
    28.0, 2.4, 15e-3, (0.48, 20e-6, 1e-6), Branch(22e-6, 6e-3), (Section(0.03, 30e-6, (Branch(2e-6, 5e-3),)),), (0.02, 0.4e-6), Branch(40e-6, 0.3)
)  # fmt: skip
BANK = Branch(1.5e-3, 0.1, 100e-9)


def test_the_dip_behind_a_lead_by_hand():
    """I sqrt(L / C) without resistance; I R where the capacitor is too large to ring; I times ESR at first."""
    assert stiff_dip(2.0, (1e-6, 1e-6), Branch(1e-4, 1e-6)) == pytest.approx(0.2, rel=0.02, abs=0)
    assert stiff_dip(2.0, (0.5, 1e-7), Branch(1.0, 1e-6)) == pytest.approx(1.0, rel=1e-3, abs=0)
    assert stiff_dip(2.0, (0.01, 1e-6), Branch(1.0, 0.3)) == pytest.approx(0.6, rel=1e-3, abs=0)


def test_the_dip_behind_a_lead_by_the_poles_of_the_circuit():
    """Second method: the same three elements as a linear circuit, its response to a step of current."""
    circuit = Circuit().resistor("R", "0", "x", 0.05).inductor("L", "x", "b", 2e-6).capacitor("C", "b", "e", 1e-4)
    circuit.resistor("E", "e", "0", 0.02).current_source("I", "b", "0")
    times = np.linspace(1e-9, 4e-4, 20001)
    expected = 3.0 * float(np.max(circuit.step_response(times, "I", "b")))
    assert stiff_dip(3.0, (0.05, 2e-6), Branch(1e-4, 0.02)) == pytest.approx(expected, rel=1e-5, abs=0)


def test_the_course_agrees_with_the_closed_form_where_the_line_is_stiff():
    found = burst_dip(STIFF, RADIO, 0.0)
    assert 28.0 - found.lowest == pytest.approx(stiff_dip(3.0, (0.05, 2e-6), Branch(1e-4, 0.02)), rel=1e-4, abs=0)
    assert found.settled == pytest.approx(28.0 - 0.15, rel=1e-4, abs=0)


def test_a_line_at_rest_stays_at_rest():
    """With all of its draw as its idle share nothing happens."""
    steady = burst_dip(WEAK, Load(name="radio", kind="constant_current", current="2 A"), 1.0)
    assert steady.volts == pytest.approx(28.0 - 2 * 0.065, rel=1e-6, abs=0)


def test_the_most_that_the_filter_can_ring_by_hand():
    """2.4 A in 30 µH, between 22 µF and 2 µF + 40 µF in series: 14.44 µF, 2.4 x sqrt(30 / 14.44) = 3.46 V; never above the line."""
    assert WEAK.ring == pytest.approx(3.459, rel=1e-3, abs=0)
    assert replace(WEAK, limit=100.0).ring == WEAK.volts


def test_what_a_start_asks_of_the_capacitor_at_the_load_by_hand():
    """The sag from rest: 28 V less what the idle current loses on the way, to 22 V; over the step of the current it is the most ESR."""
    design = load_design(data_folder() / "designs" / "tide-gauge-transmitting.toml")
    load = design.named_load("modem")
    path = path_to(design, load, 3.0)
    found = first_milliseconds(design, SimpleNamespace(load="modem", lowest=22.0, supply=3.0, length=0.01, banks=()))
    idle = float(load.draws(28.0, load.profile.idle))
    assert found.step == pytest.approx(float(load.draws(28.0, 1.0)) - idle, rel=1e-12, abs=0)
    assert found.resistance * found.step == pytest.approx(28.0 - path.ohms * idle - 22.0, rel=1e-9, abs=0)
    assert path.ohms * idle > 1e-3


@pytest.mark.parametrize("place", PLACES)
def test_a_bank_at_rest_gives_nothing(place):
    """Charged to the voltage of its place, behind all resistance before it, that of the output included."""
    weak, load = replace(WEAK, output=0.5), Load(name="radio", kind="constant_current", current="2 A")
    steady = burst_dip(weak, load, 1.0, bank=BANK, place=place)
    assert steady.volts == pytest.approx(28.0 - 2 * weak.ohms, rel=1e-6, abs=0)
    assert steady.bank < 1e-4


def test_a_bank_holds_what_a_limit_cannot():
    """3 A from 2.4 A: without a bank the line runs away; with it 0.6 A x 3 ms / 1.5 mF = 1.2 V by hand, and ESR."""
    alone = burst_dip(WEAK, RADIO, 0.15)
    assert alone.lowest < 22.0
    with_bank = burst_dip(WEAK, RADIO, 0.15, bank=BANK, place="load")
    assert with_bank.settled == pytest.approx(28 - 0.6 * 3e-3 / 1.5e-3, rel=0, abs=0.25)
    assert 0.6 < with_bank.bank <= 2.6
    assert math.isfinite(with_bank.taken_over)


def test_a_bank_at_the_load_dips_less_than_one_at_the_converter():
    lowest = {place: burst_dip(WEAK, RADIO, 0.15, bank=BANK, place=place).lowest for place in ("converter", "load")}
    assert lowest["converter"] < lowest["load"] - 0.1


@pytest.mark.parametrize("henries", [5e-6, 20e-6, 100e-6])
@pytest.mark.parametrize(
    "kind", [{"kind": "constant_current", "current": "3 A"}, {"kind": "constant_power", "power": "84 W"}]
)
def test_a_weak_limit_behind_a_long_lead_has_few_events(henries, kind):
    """A ring takes many steps and no events: each line of the load's curve is crossed once on the way down, and some at its end."""
    found = burst_dip(replace(WEAK, lead=(0.02, henries)), Load(name="radio", **kind), 0.15)
    assert found.lowest < 3.0


def test_a_limit_that_folds_back_gives_less_the_lower_the_voltage():
    """hand: of 3 A a limit of 4 A gives all; one of 2.4 A that falls to 0.5 A at 0 V leaves the line lower than one that keeps 2.4 A."""
    strong = burst_dip(replace(WEAK, limit=4.0, back=0.5), RADIO, 0.15)
    assert strong.settled == pytest.approx(28 - 3 * WEAK.ohms, rel=1e-3, abs=0)
    bank = replace(BANK, farads=0.3e-3)
    kept = burst_dip(WEAK, RADIO, 0.15, bank=bank, place="load")
    folds = burst_dip(replace(WEAK, back=0.5), RADIO, 0.15, bank=bank, place="load")
    assert folds.lowest < kept.lowest - 1.0


def test_a_converter_that_hiccups_is_off_after_its_time_at_the_limit():
    """hand: 0.6 A of deficit for 1 ms, then 3 A for 2 ms, from 1.5 mF: 0.4 V and 4 V."""
    found = burst_dip(replace(WEAK, on=1e-3), RADIO, 0.15, bank=BANK, place="load")
    assert found.settled == pytest.approx(28 - 0.4 - 4.0, rel=0.03, abs=0)


def test_a_bank_drawn_as_the_first_capacitor_is_a_bank_at_the_converter():
    """second method: the same capacitor among the filter's, and as a bank without a lead at that place."""
    farads, ohms = 1.5e-3, 0.1
    drawn = burst_dip(replace(WEAK, first=(Branch(farads, ohms),)), RADIO, 0.15)
    fitted = burst_dip(WEAK, RADIO, 0.15, bank=Branch(farads, ohms, 1e-12), place="converter")
    behind = replace(WEAK.sections[0], shunts=(*WEAK.sections[0].shunts, Branch(farads, ohms)))
    moved = burst_dip(replace(WEAK, sections=(behind,)), RADIO, 0.15)
    assert drawn.lowest == pytest.approx(fitted.lowest, rel=1e-3, abs=0)
    assert moved.lowest > drawn.lowest + 0.1


def test_the_parts_of_a_filter_in_their_order():
    """hand: two capacitors before the first choke, a choke in each line, and one capacitor with its damping resistor behind."""
    shunt = {"kind": "capacitor", "part": "class2-2u2-50V-1206"}
    damping = {"kind": "damping", "name": "D1", "part": "aluminium-47u-63V", "resistance": "2 Ω"}
    choke = {"kind": "differential_choke", "name": "L1", "line": "both", "part": next(iter(chokes()))}
    design = changed_filter([{**shunt, "name": "C1"}, {**shunt, "name": "C2"}, choke, damping])
    path = path_to(design, design.named_load("modem"), 3.0)
    (section,), part = path.sections, design.filter[2].part
    assert len(path.first) == 2
    assert section.henries == pytest.approx(2 * float(part.inductance_at()), rel=1e-12, abs=0)
    assert section.ohms == pytest.approx(2 * float(part.resistance_at()), rel=1e-12, abs=0)
    assert section.shunts[0].ohms > 2.0
    alone = changed_filter([{**shunt, "name": "C1"}])
    assert path_to(alone, alone.named_load("modem"), 3.0).first == ()


def chokes():
    """Names of differential chokes in the tables."""
    return [name for table in standard_tables() for name, part in table.items() if part.kind == "differential_choke"]


def changed_filter(stages):
    """The demo that transmits with another filter."""
    parts = {name: part for table in standard_tables() for name, part in table.items()}
    listed = [one | {"part": parts[one["part"]]} for one in stages]
    return load_design(data_folder() / "designs" / "tide-gauge-transmitting.toml").replace(filter=listed)
