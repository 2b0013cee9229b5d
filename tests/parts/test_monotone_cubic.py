"""The monotone cubic against scipy's, and against what makes it one."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

from filterlib.parts.monotone_cubic import MonotoneCubic

STEPS = st.lists(st.floats(0.01, 100), min_size=2, max_size=9)
HEIGHTS = st.sampled_from([0.01, 0.2, 0.35, 0.4, 0.9, 1.0, 1.05, 3.0])  # level pieces are among them


@given(STEPS, st.data())
def test_it_is_the_one_of_scipy(steps, data):
    """second method, to the rounding of the highest point"""
    x = np.cumsum(steps)
    y = data.draw(st.lists(HEIGHTS, min_size=len(x), max_size=len(x)))
    at = np.linspace(x[0], x[-1], 101)
    assert_allclose(MonotoneCubic.through(x, y)(at), PchipInterpolator(x, y)(at), rtol=0, atol=1e-13 * max(y))


@given(STEPS, st.data())
def test_it_rises_where_its_points_rise(steps, data):
    x = np.cumsum(steps)
    y = np.sort(data.draw(st.lists(HEIGHTS, min_size=len(x), max_size=len(x), unique=len(x) < 5)))
    assume(y[-1] > y[0])
    seen = MonotoneCubic.through(x, y)(np.linspace(x[0], x[-1], 501))
    assert np.all(np.diff(seen) >= -1e-14 * y[-1])  # rounding


@pytest.mark.parametrize("x", [1.5, np.float64(1.5), [1.5], [[0.0], [1.5]]])
def test_two_points_make_a_straight_line_in_any_shape(x):
    seen = MonotoneCubic.through([0.0, 2.0], [1.0, 0.0])(x)
    assert_allclose(seen, 1 - np.asarray(x) / 2, rtol=1e-15, atol=0)  # hand
    assert np.shape(seen) == np.shape(x)
