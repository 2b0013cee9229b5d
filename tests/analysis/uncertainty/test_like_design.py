"""The ends of a changed design's figures, sought on from those of another one: on figures whose ends are known in closed form."""

import numpy as np
import pytest

from filterlib.analysis.uncertainty.like_design import from_ends
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.system.ranges.uncertain_parameter import SHAPE, UncertainParameter
from tests.designs import converter, design, shunt

VARIANT = design(shunt(), source=converter(shape="pulse"))


def box(*keys, low=0.0, high=1.0):
    return tuple(UncertainParameter(key, key, "", (low + high) / 2, low, high, True, "") for key in keys)


def on_from(figure, parameters, like, *, confirm=None, seed=1):
    def metric(values):
        return {"figure": figure(*(values[one.key][:, 0] for one in parameters))}

    found = from_ends(VARIANT, metric, parameters, None, confirm, like={"figure": like}, draws=64, seed=seed)
    return found["figure"]


def test_ends_in_a_corner_are_exact_and_effects_are_of_each_alone():
    """hand: a product of powers is least and greatest in corners; nominal 2 for each, walked from 1 to 3."""
    middle = Interval(4.0, 4.0, 4.0, {}, {}, {})
    found = on_from(lambda x, y, z: x * y**2 / z, box("x", "y", "z", low=1.0, high=3.0), middle)
    assert (found.nominal, found.low, found.high) == pytest.approx((4.0, 1 / 3, 27.0), rel=1e-12, abs=0)
    assert found.at_high == pytest.approx({"x": 3.0, "y": 3.0, "z": 1.0}, rel=1e-12, abs=0)
    assert found.effects["y"] == pytest.approx((1.0, 9.0), rel=1e-12, abs=0)


def test_where_a_figure_goes_on_to_is_learnt_from_its_best_points():
    """hand: with the first parameter in the middle no other one does anything; with it at its end, where the other design had its
    own, each of twelve raises the logarithm by 1/4 towards one end or the other of its range: to 3 in the corner. Random moves came to 0.6 of that."""
    parameters = box("x", *(f"w{n}" for n in range(12)))

    def figure(x, *others):
        return np.exp((2 * x - 1) * sum((-1) ** n * (one - 0.5) for n, one in enumerate(others)) / 2)

    there = dict.fromkeys((one.key for one in parameters), 0.5) | {"x": 1.0, "w1": 0.4}
    highs = [on_from(figure, parameters, Interval(1.0, 1.0, 1.05, {}, there, {}), seed=n).high for n in (1, 2, 3)]
    assert 0.7 < np.mean(np.log(highs)) / 3 <= 1.0


def test_plausible_converters_are_those_of_the_other_design_and_the_rest_is_drawn_evenly():
    drawn = {"converter.x": np.linspace(0.2, 0.4, 40), "filter.y": np.zeros(40), SHAPE: np.full(40, "pulse")}
    weights = np.arange(40.0)
    like = Interval(1.0, 1.0, 1.0, {}, {}, {}, plausible=Plausible(np.ones(40), weights, drawn, belief=0.25))
    found = on_from(lambda x, y: 1 + x + 0 * y, box("converter.x", "filter.y"), like).plausible
    assert found.values["converter.x"] == pytest.approx(drawn["converter.x"], rel=1e-12, abs=0)  # hand
    assert found.figures == pytest.approx(1 + drawn["converter.x"], rel=1e-12, abs=0)  # hand
    assert np.array_equal(np.sort(np.floor(found.values["filter.y"] * 40)), np.arange(40))  # hand: one in each part
    assert (found.belief, list(found.weights)) == (0.25, list(weights))


def test_what_is_left_out_is_no_end_and_exact_figures_are_the_answer():
    """hand: only x up to 0.6 may be; the rough figure is 3 % low."""
    exact = 1.03

    def rough(x, y):
        return np.where(x > 0.6, np.nan, 1 + x + 0 * y)

    def confirm(values):
        return {"figure": exact * rough(values["x"][:, 0], values["y"][:, 0])}

    start = {"x": 0.55, "y": 0.5}
    found = on_from(rough, box("x", "y"), Interval(1.5, 1.0, 1.55, {}, start, {}), confirm=confirm)
    assert (found.low, found.nominal) == pytest.approx((1.0 * exact, 1.5 * exact), rel=1e-12, abs=0)
    assert 1.55 * exact <= found.high <= 1.6 * exact
