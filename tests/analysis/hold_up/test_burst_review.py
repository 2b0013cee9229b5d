"""Bursts are judged with everything else: over the range, in a first look at a change, and in what is advised."""

from functools import cache

import numpy as np
import pytest

from filterlib import Circuit, changed, judge, load_design, solve_all
from filterlib.analysis.causes.further_changes import further_changes
from filterlib.analysis.causes.reasons import proposals
from filterlib.analysis.hold_up import burst_review
from filterlib.analysis.hold_up.burst_review import bursts
from filterlib.analysis.hold_up.fitted import fitted
from filterlib.analysis.hold_up.strings import strings
from filterlib.analysis.hold_up.way import Branch, together
from filterlib.analysis.judged import failings
from filterlib.analysis.judgement import broken_by
from filterlib.errors import CircuitError
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.words.supply.bank_sentences import short_sentence

PARTS = {name: part for table in standard_tables() for name, part in table.items()}
BIG = "aluminium-1000u-35V"


@cache
def board():
    return load_design(data_folder() / "designs" / "tide-gauge-transmitting.toml")


def banked(count):
    """The same with so many electrolytics of 1 mF at the modem."""
    values = {"load.modem.input_capacitor.part": PARTS[BIG], "load.modem.input_capacitor.count": count}
    return changed(board(), values)


@cache
def judged(count=0):
    return judge(solve_all(banked(count) if count else board()))


def hold(found):
    return next(one for one in found.bursts.checks if one.name == "bursts.modem.hold")


def test_the_time_that_a_bank_holds_by_hand():
    """hand: C dV / I for a load of constant current, 3 A of which the converter gives 2.4 A (its rating less the logger's 0.6 A)."""
    load = board().named_load("modem").replace(kind="constant_current", power=None, current=3.0)
    load = load.replace(input_capacitor=banked(9).named_load("modem").input_capacitor)
    design = board().replace(loads=(load, board().named_load("logger")))
    one = next(one for one in bursts(design).checks if one.name.endswith(".hold"))
    bank = fitted(design)
    way = 0.015 + 2 * float(PARTS["cm-1m0-5A"].resistance_at()) + 2 * float(load.lead.resistance())
    full = 28.0 - way * 0.15 * 3.0
    assert one.value == pytest.approx(bank.farads * (full - 0.6 * bank.ohms - 22.0) / 0.6, rel=1e-6, abs=0)
    assert bank.farads == pytest.approx(9e-3, rel=1e-2, abs=0)


def test_the_low_end_is_cold_old_and_at_the_low_end_of_the_tolerance():
    """second method: the same part as a string of the tables that banks are made of."""
    string = next(one for one in strings(banked(9), 28.0, 2.0) if one.part == BIG)
    more = fitted(banked(9), "low").farads - fitted(banked(4), "low").farads
    assert more == pytest.approx(5 * string.worst, rel=1e-9, abs=0)
    assert fitted(banked(9), "high").farads > fitted(banked(9)).farads > fitted(banked(9), "low").farads


def test_capacitors_of_unequal_resistance_as_one():
    """second method: the step response of both branches to a current, once they share it."""
    farads, ohms = (2e-3, 0.5e-3), (30e-3, 400e-3)
    circuit = Circuit().current_source("load", "out", "0")
    for k in range(2):
        circuit.capacitor(f"C{k}", "out", f"e{k}", farads[k]).resistor(f"R{k}", f"e{k}", "0", ohms[k])
    times = np.array([0.02, 0.04])
    falls = circuit.step_response(times, "load", "out")
    one = together([*map(Branch, farads, ohms)])
    np.testing.assert_allclose(falls, times / one.farads + one.ohms, rtol=1e-9, atol=0)


def test_the_judgement_knows_the_bursts():
    poor, rich = judged(), judged(9)
    assert [hold(one).verdict for one in (poor, rich)] == ["not met", "met"]
    assert ("rule", "bursts.modem.hold", "modem") in [one.what for one in failings(poor)]
    assert (poor.outcome, poor.good, rich.good) == ("not met", False, True)
    assert list(failings(rich)) == []


@pytest.mark.parametrize(("count", "verdict"), [(1, "not met"), (6, "undecided"), (12, "met")])
def test_a_change_that_takes_the_charge_away_breaks_something(count, verdict):
    """A first look, as where changes are tried."""
    was = judged(9)
    look = judge(solve_all(banked(count)), like=was)
    assert hold(look).verdict == verdict
    broken = [one.what for one in broken_by(look, was)]
    assert (("rule", "bursts.modem.hold", "modem") in broken) == (verdict != "met")
    assert verdict == "met" or not look.good


def test_a_bank_is_advised_where_only_bursts_fail():
    was = judged()
    changes = [(one,) for one in further_changes(was.design, {BIG: PARTS[BIG]}) if "bursts" in one.against]
    assert changes
    best = proposals(was, changes)[0]
    assert best.robust
    assert f"9 x {BIG} across the load's end, as a bank for the bursts of modem" in best.words
    assert hold(best.judgement).verdict == "met"


def test_a_load_beside_the_filter_has_a_start_too():
    """It has no lead: 1 mohm and 10 nH stand for it."""
    load = board().named_load("modem").replace(lead=None)
    found = bursts(board().replace(loads=(load, board().named_load("logger"))))
    assert [one.load for one in found.starts] == ["modem"]
    assert found.starts[0].stiff > 0


def test_a_start_that_cannot_be_followed_is_undecided(monkeypatch):
    def gives_up(*_):
        raise CircuitError("events do not end")

    monkeypatch.setattr(burst_review, "first_milliseconds", gives_up)
    found = bursts(banked(9))
    assert [one.verdict for one in found.checks] == ["met", "undecided"]
    assert "could not be followed" in found.checks[1].rule
    assert [one.load for one in found.short] == ["modem"]
    assert "could not be followed" in short_sentence(found)
