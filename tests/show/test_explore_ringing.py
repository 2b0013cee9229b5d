"""The panels of the notebooks on ringing and on damping, which check every control themselves: what they compute."""

import pytest

from filterlib.analysis.damping.ideal import TOLERANCES, robust
from filterlib.show.explore.damping_panel import damping_panel
from filterlib.show.explore.ringing_panel import ringing_panel


def test_a_better_capacitor_makes_it_ring():
    panel = ringing_panel()
    assert panel.at({}).stable
    assert not panel.at({"damper.part": "class2-4u7-50V-1210"}).stable


def test_the_row_of_resistors_has_its_least_where_the_robust_one_is():
    """second method: the search of `robust`, to a step of the row."""
    panel = damping_panel()
    whole = panel.calculation.refine(panel.design, panel.result, lambda share: None)
    assert whole.robust == pytest.approx(robust("R-C across C", 2.0, TOLERANCES).resistance, rel=1e-3, abs=0)
    assert whole.row[whole.row_worst.argmin()] == pytest.approx(whole.robust, rel=0.13, abs=0)
    assert whole.row_nominal.min() == pytest.approx(whole.best_peak, rel=0.01, abs=0)
