"""The figure of the modal two-port: units, looks, nothing cut off, no curve where nothing converts."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from filterlib.analysis.linear.modal_two_port import modal_two_port
from filterlib.show.modes import modes_figure
from filterlib.system.solution import solve
from tests.designs import common_mode, design, series, shunt


def drawn(*stages):
    one = design(*stages)
    found = modal_two_port(solve(one))
    made = modes_figure(found)
    FigureCanvasAgg(made).draw()
    return made, found


@pytest.fixture(scope="module")
def unequal():
    return drawn(shunt(), common_mode(), series(), shunt())


def test_four_curves_that_differ_in_more_than_colour(unequal):
    figure, found = unequal
    lines = figure.axes[0].get_lines()
    assert len({str(line._dash_pattern) for line in lines}) == 4
    for line, loss in zip(lines, found.losses.values(), strict=True):
        y = line.get_ydata()
        inside = np.isfinite(y)
        assert inside.any()
        np.testing.assert_allclose(y[inside], loss[inside], rtol=1e-12, atol=0)


def test_units_convention_and_nothing_cut_off(unequal):
    figure, found = unequal
    axes = figure.axes[0]
    assert axes.get_ylabel() == "loss in 50 Ω [dB]"
    assert found.convention in axes.get_xlabel()
    box, (width, height) = figure.get_tightbbox(figure.canvas.get_renderer()), figure.get_size_inches()
    assert box.x0 >= 0
    assert box.y0 >= 0
    assert box.x1 <= width
    assert box.y1 <= height


def test_a_balanced_filter_has_no_curve_of_conversion():
    figure, _ = drawn(shunt(), common_mode(), shunt())
    labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert labels.count("common becomes differential: none") == 1
    assert labels.count("differential becomes common: none") == 1
