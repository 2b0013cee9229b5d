"""Peaks of a curve against a general-purpose library."""

import numpy as np
import pytest
from scipy.signal import find_peaks

from filterlib.analysis.linear.frequency_response import prominent


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("least", [0.1, 1.0, 2.5])
def test_prominent_peaks_are_those_of_scipy(seed, least):
    """second method: scipy.signal.find_peaks, on wandering curves with many peaks at all heights."""
    values = np.cumsum(np.random.default_rng(seed).standard_normal(400))
    assert prominent(values, least) == find_peaks(values, prominence=least)[0].tolist()


def test_a_curve_that_only_falls_has_none():
    assert prominent(np.linspace(3, 0, 50), 0.1) == []
