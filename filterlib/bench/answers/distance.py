"""How far a reading is from its prediction, over what both may be wrong by: in logarithms, as each is known to a share."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.bench.answers.answers_result import MODEL, BenchReading
from filterlib.bench.answers.scope_errors import SURE

_WIDER = SURE / 1.645  # from nine cases in ten to 19 in 20
_WITHIN = 0.97  # share of the differences within the expanded uncertainty: so that at most 5 % of sound boards are called different, as counted
_READ = ndtri((np.arange(40) + 0.5) / 40)  # standard uncertainties at which a reading stands for all that it may be


def times_from_ends(reading: BenchReading, expected: float, low: float, high: float) -> float:
    """Of a prediction whose ends hold nine cases in ten, normal in logarithms; each counts on the side on which the other lies."""
    above = reading.value >= expected
    own = reading.value / reading.low if above else reading.high / reading.value
    other = high / expected if above else expected / low
    common = np.hypot(np.log(own), _WIDER * np.log(max(other, 1.0)))
    return float(abs(np.log(reading.value / expected)) / common)


def times_from_cases(reading: BenchReading, cases: Plausible) -> float:
    """Of the plausible cases of a prediction, as they are spread: with a long tail they are as far apart as that is long.

    The differences of every case and of all that reading and model (see `MODEL`) may be off: how far their mean is from zero, over the expanded
    uncertainty, which is what 19 in 20 of them are within of their mean, on both sides alike. So at most 5 % of sound boards are beyond
    it, and at least 95 % of those that are off by twice as much, whatever the spread is like; of a skewed one neither holds if each side counts to its own end.
    Source: JCGM 101 (2008), 5.3.4 and 7.7.2, for a coverage interval that is symmetric about the estimate; the share below a difference allows for the
    number of cases that count, k / (n + 1).

    >>> even = Plausible(np.exp(np.linspace(-1, 1, 401)), np.ones(401))
    >>> reading = BenchReading(3.0, 3.0, 2.9, 3.1, 0.0, "")  # beyond all cases, by half the model's own uncertainty
    >>> round(times_from_cases(reading, even), 1)
    1.1
    """
    known = np.isfinite(cases.figures) & (cases.weights > 0)
    ends = np.log([reading.value / reading.low, reading.high / reading.value])
    own = np.hypot(ends[(_READ > 0).astype(int)] / SURE, MODEL)
    apart = np.log(reading.value) + (_READ * own)[:, None] - np.log(cases.figures[known])
    weights = np.broadcast_to(cases.weights[known], apart.shape)
    mean = float(np.average(apart, weights=weights))
    return abs(mean) / _within(np.abs(apart - mean), weights, cases.effective)


def _within(sizes: np.ndarray, weights: np.ndarray, count: float) -> float:
    """Within which `_WITHIN` of them are, weighed."""
    flat, many = np.ravel(sizes), np.ravel(weights)
    order = np.argsort(flat)
    below = (np.cumsum(many[order]) - many[order] / 2) / many.sum()
    share = _WITHIN * (1 + 1 / count) - 0.5 / count  # as of k / (n + 1) where `below` is (k - 1/2) / n
    return float(np.interp(min(share, 1.0), below, flat[order]))
