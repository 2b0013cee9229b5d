"""Published uncertainties: the guide to the expression of uncertainty in measurement and its supplement on drawn cases."""

import numpy as np
import pytest

from filterlib.bench.propagation import carried, drawn, first_order


def impedance(x):
    """Resistance, reactance and magnitude from voltage, current and phase."""
    volts, amps, phase = x
    return np.stack([volts / amps * np.cos(phase), volts / amps * np.sin(phase), volts / amps])


def test_resistance_and_reactance_measured_together():
    """JCGM 100, H.2: three correlated inputs, three correlated outputs."""
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
    found = carried(impedance, np.array([4.999, 19.661e-3, 1.04446]), r * np.outer(u, u))
    assert found.cases == 0
    assert found.values == pytest.approx([127.732, 219.847, 254.260], abs=5.1e-4)
    assert found.uncertainties == pytest.approx([0.070, 0.296, 0.237], abs=5.1e-4)
    together = found.covariance / np.outer(found.uncertainties, found.uncertainties)
    assert [together[0, 1], together[0, 2], together[1, 2]] == pytest.approx([-0.591, -0.491, 0.993], abs=5.1e-4)


def rectangular(widths):
    """Draws the sum of rectangular inputs of these standard uncertainties."""
    half = np.sqrt(3) * np.asarray(widths)[:, None]
    return lambda random, n: np.sum(half * random.uniform(-1, 1, (half.size, n)), axis=0, keepdims=True)


@pytest.mark.parametrize(("widths", "end", "first"), [((1, 1, 1, 1), 3.8794, 3.92), ((1, 1, 1, 10), 17.01, 19.9)])
def test_a_sum_of_rectangular_inputs(widths, end, first):
    """JCGM 101, 9.2.3 and 9.2.4: the ends, which first order sets too far out. 0.03: two digits of u = 2; 0.2 of u = 10."""
    found = drawn(rectangular(widths), digits=2)
    assert [-found.low[0], found.high[0]] == pytest.approx([end, end], abs=0.025 * np.hypot.reduce(widths))
    straight = first_order(
        lambda x: x.sum(axis=0, keepdims=True), np.zeros(4), np.diag(np.square(widths)).astype(float)
    )
    assert straight.high[0] == pytest.approx(first, abs=0.06)


@pytest.mark.parametrize(
    ("x", "mean", "u", "end"), [(0.01, 1.50e-4, 1.118e-4, 3.660e-4), (0.05, 2.55e-3, 5.025e-4, None)]
)
def test_power_lost_by_mismatch(x, mean, u, end):
    """JCGM 101, 9.4: the sum of two squares, 1 - |x|² with u = 0.005 of each; from the noncentral chi-square."""
    found = carried(lambda z: np.sum(z**2, axis=0, keepdims=True), np.array([x, 0.0]), 25e-6 * np.eye(2))
    assert found.cases > 0
    assert found.values[0] == pytest.approx(mean, abs=0.02 * u)
    assert found.uncertainties[0] == pytest.approx(u, rel=0.02, abs=0)
    if end is not None:
        assert found.high[0] == pytest.approx(end, abs=0.05 * u)


def test_a_notch_is_not_certain():
    """First order says 0 and certain of the square of 0 with u = 10; it is 100 in the mean."""
    nothing = first_order(np.square, np.zeros(1), 100.0 * np.eye(1))
    assert nothing.uncertainties[0] == pytest.approx(0.0, abs=1e-9)
    found = carried(np.square, np.zeros(1), 100.0 * np.eye(1))
    assert found.values[0] == pytest.approx(100.0, rel=0.02, abs=0)
    assert found.low[0] == pytest.approx(0.0, abs=0.1)
    assert found.high[0] == pytest.approx(
        384.1, rel=0.02, abs=0
    )  # 100 times the chi-square's 0.95 with one degree of freedom
