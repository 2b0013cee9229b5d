"""The figure of the modal two-port: units, looks, nothing cut off, no curve where nothing converts."""

import numpy as np
import pytest

from filterlib.analysis.linear.modal_two_port import modal_two_port
from filterlib.show.figures.drawing import svg
from filterlib.show.figures.modal_figures import modes_figure
from filterlib.system.solution import solve
from tests.designs import common_mode, design, series, shunt
from tests.show.words_drawn import faults, texts


def drawn(*stages):
    one = design(*stages)
    found = modal_two_port(solve(one))
    return modes_figure(found), found


@pytest.fixture(scope="module")
def unequal():
    return drawn(shunt(), common_mode(), series(), shunt())


def test_four_curves_that_differ_in_more_than_colour(unequal):
    figure, found = unequal
    curves = figure.plots[0].marks
    assert len({curve.look.dash for curve in curves}) == 4
    for curve, loss in zip(curves, found.losses.values(), strict=True):
        inside = np.isfinite(curve.y)
        assert inside.any()
        np.testing.assert_allclose(curve.y[inside], loss[inside], rtol=1e-12, atol=0)


def test_units_convention_and_nothing_cut_off(unequal):
    figure, found = unequal
    drawn = svg(figure)
    shown = texts(drawn)
    assert "loss in 50 Ω [dB]" in shown
    assert found.convention in shown
    assert "1 MHz" in shown
    assert faults(drawn) == []


def test_more_loss_stands_lower(unequal):
    assert unequal[0].plots[0].y.falling


def test_a_balanced_filter_has_no_curve_of_conversion():
    figure, _ = drawn(shunt(), common_mode(), shunt())
    labels = texts(svg(figure))
    assert labels.count("common becomes differential: none") == 1
    assert labels.count("differential becomes common: none") == 1
