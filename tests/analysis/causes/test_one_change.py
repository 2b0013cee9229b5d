"""One change tried on the brick's board: the figures of the full analysis, its costs by hand, and the range."""

import pytest

from filterlib import load_design
from filterlib.analysis.causes.candidates import to_chassis
from filterlib.analysis.causes.one_change import OneChange, one_change, over_the_uncertainty
from filterlib.analysis.ripple.ripple import ripple
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import data_folder, find_part, standard_tables
from filterlib.system.solution import solve
from filterlib.words.review.reason_sentences import refusal_text


def y(part, **where):
    return to_chassis("Y", find_part(part, Capacitor, standard_tables()), **where)


@pytest.fixture(scope="module")
def brick():
    return load_design(data_folder() / "designs" / "tide-gauge-brick.toml")


@pytest.fixture(scope="module")
def one(brick):
    return OneChange(brick, y("film-10n-Y2", line="return", before="L1"))


def test_figures_are_those_of_the_changed_design(one):
    """second method: the full ripple of the board with and without that capacitor."""
    found = one_change(one)
    assert set(found.limits) == {("modem", "20MHz"), ("logger", "20MHz"), ("logger", "full")}  # of the file
    for design, figures in ((one.base, found.before), (one.design, found.after)):
        full = ripple(solve(design), interval=False).figures
        for place in found.limits:
            assert figures[place] == pytest.approx(full[place].peak_to_peak, rel=1e-9, abs=0)
    assert found.within
    assert not found.refused
    assert found.mitigation.costs.parts == 1


def test_leakage_by_hand(brick):
    """hand: 2 pi 60 Hz 470 nF 28 V = 4.961 mA a line, two lines; above the 3.5 mA of a pluggable equipment."""
    found = one_change(OneChange(brick, y("film-470n-X2")))
    assert found.mitigation.costs.leakage == pytest.approx(2 * 4.9612e-3, rel=1e-4, abs=0)
    assert found.mitigation.costs.parts == 2
    assert "earth leakage" in refusal_text(found.refused)
    assert over_the_uncertainty(OneChange(brick, y("film-470n-X2")), found, lambda share: None) is found


def test_the_place_decides(brick):
    """What helps the modem harms the logger there; the same part before the choke is another test's."""
    found = one_change(OneChange(brick, y("film-10n-Y2", line="return")))
    assert found.after["modem", "20MHz"] < found.before["modem", "20MHz"] / 10
    assert found.after["logger", "full"] > 3 * found.before["logger", "full"]
    assert found.after["logger", "full"] > 0.95 * found.limits["logger", "full"]


def test_the_greatest_is_not_below_the_nominal(one):
    shares = []
    found = over_the_uncertainty(one, one_change(one), shares.append)
    assert set(found.highest) == set(found.limits)
    assert shares == [0.0, 0.5]
    assert found.highest["logger", "full"] > found.highest["logger", "20MHz"]
    assert all(found.highest[place] >= found.after[place] * (1 - 1e-9) for place in found.limits)


def test_no_change_changes_nothing(brick):
    found = one_change(OneChange(brick))
    assert found.before == found.after
    assert found.mitigation is None
