"""The search for the ends of a figure's range, on figures whose ends are known in closed form."""

import numpy as np
import pytest

from filterlib.analysis.uncertainty.interval import search
from filterlib.analysis.uncertainty.like_design import from_ends
from filterlib.analysis.uncertainty.plausible import Interval, width
from filterlib.analysis.uncertainty.points import _crossed, gone_on, measured
from filterlib.analysis.uncertainty.sampling import latin_hypercube
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from tests.analysis.uncertainty.test_like_design import VARIANT
from tests.analysis.uncertainty.test_moved_alone import weighted


def box(count, low=0.0, high=1.0):
    """That many uncertain parameters, each at the middle of its range."""
    return tuple(UncertainParameter(f"x{n}", f"x{n}", "", (low + high) / 2, low, high, True, "") for n in range(count))


def of(figure, count=3, *, seed=1, **ends):
    def metric(values):
        return {"figure": figure(*(values[f"x{n}"][:, 0] for n in range(count)))}

    return search(metric, box(count, **ends), seed=seed)["figure"]


def test_alatin_hypercube_has_one_point_in_each_part_of_each_dimension():
    points = latin_hypercube(np.random.default_rng(1), 128, 12)
    assert points.shape == (128, 12)
    assert np.array_equal(np.sort(np.floor(points * 128), axis=0), np.tile(np.arange(128)[:, None], (1, 12)))  # hand
    alike = np.corrcoef(points.T)[np.triu_indices(12, 1)]
    assert np.abs(alike).max() < 4 / np.sqrt(128)  # hand: drawn independently they are alike by 1/sqrt(points)


def test_a_top_inside_the_box_is_approached_ever_more_closely():
    """hand: the last of eleven rounds puts four points a thirtieth of the range around the best."""

    def hill(x, y):
        return -((x - 0.37) ** 2) - (y - 0.81) ** 2

    tops = [of(hill, 2, seed=seed) for seed in range(1, 10)]
    bottoms = [of(lambda x, y: -hill(x, y), 2, seed=seed) for seed in range(1, 10)]
    away = [np.hypot(one.at_high["x0"] - 0.37, one.at_high["x1"] - 0.81) for one in tops]
    below = [np.hypot(one.at_low["x0"] - 0.37, one.at_low["x1"] - 0.81) for one in bottoms]
    assert 0 < np.median(away) < 0.025
    assert 0 < np.median(below) < 0.025
    assert tops[0].high == pytest.approx(-(away[0] ** 2), rel=1e-9, abs=0)  # hand


def test_ends_in_a_corner_are_exact_and_effects_are_those_of_each_alone():
    """hand: a product of powers is least and greatest in corners; nominal 2 for each, walked from 1 to 3."""
    found = of(lambda x, y, z: x * y**2 / z, low=1.0, high=3.0)
    assert (found.nominal, found.low, found.high) == pytest.approx((4.0, 1 / 3, 27.0), rel=1e-12, abs=0)
    assert found.at_low == pytest.approx({"x0": 1.0, "x1": 1.0, "x2": 3.0}, rel=1e-12, abs=0)
    assert found.at_high == pytest.approx({"x0": 3.0, "x1": 3.0, "x2": 1.0}, rel=1e-12, abs=0)
    assert found.effects["x1"] == pytest.approx((1.0, 9.0), rel=1e-12, abs=0)
    assert found.effects["x2"] == pytest.approx((8 / 3, 8.0), rel=1e-12, abs=0)
    assert found.decisive == "x1"


def test_what_contradicts_the_readings_is_left_out():
    """hand: only x up to 0.6 may be; the rest is NaN."""

    def figure(x, y, z):
        return np.where(x > 0.6, np.nan, 1 + x + 0 * y * z)

    found = of(figure)
    assert found.low == pytest.approx(1.0, rel=1e-12, abs=0)
    highs = [of(figure, seed=seed).high for seed in range(1, 6)]
    assert 1.59 < np.median(highs) <= np.max(highs) <= 1.6
    assert found.effects["x0"] == pytest.approx((1.0, 1.5), rel=1e-12, abs=0)


def test_width_is_the_logarithm_of_the_ratio():
    assert width((1.0, np.e)) == pytest.approx(1.0, rel=1e-12, abs=0)  # hand
    assert width((0.0, 1.0)) == width((2.0, 1.0)) == 0.0
    effects = {"small": (1.0, 1.1), "large": (0.1, 1.0)}
    assert Interval(1.0, 0.1, 1.1, {}, {}, effects).decisive == "large"


def test_without_unknowns_there_is_no_range():
    assert search(lambda values: {}, ()) == {}


def test_ends_of_a_rough_figure_are_confirmed():
    """hand: the rough figure is 3 % off, up or down; what comes out is exact, and of the right corner."""

    def exactly(values):
        return {"figure": 1 + values["x0"][:, 0] + 2 * values["x1"][:, 0]}

    def roughly(values):
        return {"figure": exactly(values)["figure"] * (1 + 0.03 * np.sin(1e3 * values["x1"][:, 0]))}

    found = search(roughly, box(2), confirm=exactly)["figure"]
    for end, values in ((found.low, found.at_low), (found.high, found.at_high)):
        assert end == pytest.approx(1 + values["x0"] + 2 * values["x1"], rel=1e-12, abs=0)
    assert found.nominal == pytest.approx(2.5, rel=1e-12, abs=0)
    assert 1.0 <= found.low < 1.1
    assert 3.9 < found.high <= 4.0


@pytest.mark.parametrize("known", [True, False])
def test_ends_at_another_operating_point_are_looked_at(known):
    """hand: a needle of 1 that no walk meets, at the place where another operating point has its end."""

    def needle(values):
        return {"figure": np.where(np.abs(values["x0"] - 0.123).max(axis=1) < 1e-9, 2.0, 1.0)}

    like = {"figure": Interval(1.0, 1.0, 2.0, {}, {"x0": 0.123}, {})} if known else None
    assert search(needle, box(2), beside=like)["figure"].high == (2.0 if known else 1.0)
    found = from_ends(VARIANT, needle, box(2), None, None, like={}, beside=like, draws=8)["figure"]
    assert found.high == (2.0 if known else 1.0)


def test_a_search_tries_points_between_two_good_ones():
    """hand: of a hundred parameters half are as at the one, half as at the other; one such point for each of the two ends and round."""
    near = np.array([np.zeros(100), np.ones(100)])
    rows = np.concatenate([_crossed(np.random.default_rng(seed), near) for seed in range(20)])
    assert set(np.unique(rows)) == {0.0, 1.0}
    mixed = rows[rows.any(axis=1)]
    assert 0.4 < mixed.mean() < 0.6
    metric = weighted(np.ones(2), [])
    shares = np.array([[0.5, 0.5], [0.0, 0.5], [0.5, 0.0]])
    values, none = measured(metric, box(2), shares), shares[:0]
    rng = np.random.default_rng(1)
    found, _ = gone_on(rng, metric, box(2), shares, values, none, (1, 0), beside=None, along=0, near=0)
    assert len(found) == len(shares) + 2
