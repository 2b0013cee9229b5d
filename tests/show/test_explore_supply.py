"""The panels of the notebooks on the plug and on the bank, which check every control themselves: what they compute."""

import math

import pytest

from filterlib.show.explore.bank_panel import bank_panel
from filterlib.show.explore.plug_panel import FIXES, plug_panel


def test_a_film_capacitor_at_the_plug_stays_below_twice_the_battery():
    """hand: without loss 2 V; half of what the battery gives becomes heat, whatever the resistance."""
    film = plug_panel().at({"kind": "film"})
    assert film.volts < film.peak < 2 * film.volts
    assert film.heat == pytest.approx(film.stored, rel=1e-9, abs=0)


def test_every_fix_is_below_the_peak_without_one():
    panel = plug_panel()
    for words in FIXES:
        found = panel.at({"fix": words})
        assert (found.peak < found.bare) == (words != "nothing"), words


def test_a_bank_by_hand():
    """hand: 30 mF x (6 V - 0.03 V) / 1 A; 8 s x 1 A / 6 V; 0.3 A idle leave 1.7 A to fill 1.4 F with what was taken."""
    panel = bank_panel()
    start, large = panel.at({}), panel.at({"farads": "1.4 F"})
    assert start.holds == pytest.approx(0.1791, rel=1e-6, abs=0)
    assert start.needed == pytest.approx(8 / 6, rel=1e-9, abs=0)
    taken = 8.0 / 1.4 + 0.03
    assert large.course[2] == pytest.approx(28 - taken, rel=1e-6, abs=0)
    assert large.recharge == pytest.approx(1.4 * (taken - 0.06) / 1.7, rel=1e-3, abs=0)


def test_a_converter_that_carries_the_burst_needs_no_bank():
    found = bank_panel().at({"supply": "4 A"})
    assert (found.holds, found.needed, found.lasts) == (math.inf, 0.0, True)
