"""Points drawn by their likelihood: against integrals in closed form, where evenly drawn ones find nothing."""

import numpy as np
import pytest

from filterlib.analysis.uncertainty.plausible import LEAST
from filterlib.analysis.uncertainty.sampling import _around, _Found, _to_normal, drawn_by, effective, latin_hypercube

DRAWS = 256
WHERE, WIDE = np.array([0.9, 0.3, 0.6, 0.5, 0.2, 0.7]), 0.02


def found(likely, start, seed=1):
    rng = np.random.default_rng(seed)
    return drawn_by(likely, latin_hypercube(rng, 3 * DRAWS, len(start)), rng, DRAWS, start)


def narrow(points):
    """A normal likelihood in every dimension, of which 0 comes out at all that is more than six spreads away."""
    off = (points - WHERE[: points.shape[1]]) / WIDE
    return np.where(np.abs(off).max(axis=1) < 6, -0.5 * (off**2).sum(axis=1), -np.inf)


def test_what_no_even_point_meets_is_found_from_the_start():
    """hand: in six dimensions a millionth of the box is likely; the mean and the spread are those of the normal likelihood."""
    points, weights, _ = found(narrow, WHERE + 0.03)
    mean = np.average(points, axis=0, weights=weights)
    assert effective(weights) > 40
    assert np.abs(mean - WHERE).max() < 4 * WIDE / np.sqrt(40)
    assert np.sqrt(np.average((points - WHERE) ** 2, axis=0, weights=weights)) == pytest.approx(WIDE, rel=0.4, abs=0)


@pytest.mark.parametrize("width", [3.675e-3, 3.7e-3, 3.725e-3])
def test_where_just_enough_are_likely_enough_are_drawn(width):
    """law: an interval needs that many; of 768 even points some ten count here (hand: 2 sqrt(pi) times the width), and of those drawn a little fewer."""
    points, weights, belief = found(
        lambda points: -0.5 * ((points[:, 0] - 0.5) / width) ** 2, np.array([0.5, np.nan, np.nan])
    )
    assert effective(weights) > LEAST
    assert belief == 1
    assert np.std(points[:, 0]) < 0.1


def test_weights_are_those_of_the_even_box():
    """hand: the mean of three normal likelihoods over a box of 1 is (spread sqrt(2 pi))**3."""
    _, weights, _ = found(narrow, WHERE[:3] - 0.03)
    assert weights.sum() / DRAWS == pytest.approx((WIDE * np.sqrt(2 * np.pi)) ** 3, rel=0.15, abs=0)


def test_dimensions_on_which_nothing_depends_stay_even():
    """hand: an even spread has its mean at a half and a standard deviation of the twelfth's root."""
    points, weights, _ = found(lambda points: narrow(points[:, :4]), np.append(WHERE[:4], [np.nan, np.nan]))
    assert np.average(points[:, 4:], axis=0, weights=weights) == pytest.approx(0.5, rel=0.15, abs=0)
    assert points[:, 4:].std() == pytest.approx(12**-0.5, rel=0.15, abs=0)


def test_where_nothing_is_likely_nothing_is_drawn():
    points, weights, _ = found(lambda points: np.full(len(points), -np.inf), WHERE)
    assert len(points) == len(weights) == 0


def test_enough_even_points_are_not_followed_by_others():
    asked = []

    def likely(points):
        asked.append(len(points))
        return np.zeros(len(points))

    points, weights, belief = found(likely, WHERE)
    assert belief == 1
    assert asked == [3 * DRAWS]
    assert len(points) == weights.sum() == DRAWS


def test_readings_that_nothing_agrees_with_are_believed_less():
    """hand: off by 8 spreads and more in each of eight dimensions: some ten count still, and they are those nearest to it."""
    points, weights, belief = found(lambda points: -0.5 * (((points + 0.4) / 0.05) ** 2).sum(axis=1), np.full(8, 0.5))
    assert effective(weights) >= 10
    assert belief < 1
    assert np.average(points, axis=0, weights=weights).mean() < 0.3


def test_further_points_are_drawn_as_wide_as_the_likely_ones_are_spread():
    """hand: a normal prior of 1 and a normal likelihood of spread s about c leave s^2/(1 + s^2) about c/(1 + s^2)."""
    spread, centre = 0.5, np.array([0.8, -0.4])
    even = latin_hypercube(np.random.default_rng(3), 20000, 2)
    some = _Found(
        lambda points: -0.5 * (((_to_normal(points) - centre) / spread) ** 2).sum(axis=1), even, 0.5 + 0 * centre
    )
    around = _around(some, 0.3)
    assert around.centre == pytest.approx(centre / (1 + spread**2), rel=0.05, abs=0)
    variance = spread**2 / (1 + spread**2)
    assert around.root @ around.root.T == pytest.approx(variance * np.eye(2), rel=0.1, abs=0.1 * variance)
