"""A few of the population with the tests; the whole is `python -m tests.calibration`."""

from dataclasses import replace

import pytest
from scipy.stats import binom

from tests.calibration.trials import tallies, trials

FEW = range(6)  # one of each topology
KINDS = ("number", "recording")
POSSIBLE = 0.99


def least(count, claim):
    """The most hits that a coverage of ``claim`` misses in one sample of a hundred at most: fewer contradict it."""
    return int(binom.ppf(0.01, count, claim))


@pytest.fixture(scope="module")
def done():
    return tuple(trials(1, FEW, KINDS))


def test_nothing_is_refused(done):
    assert not [one for one in done if one.refused]


def test_the_possible_interval_holds_the_truth(done):
    """Binomial 1 % point of the claim."""
    assert sum(one.possible for one in done) >= least(len(done), POSSIBLE)


def test_a_narrow_interval_would_be_noticed(done):
    """Intervals of a fifth either way of the nominal figure are contradicted by the same sample."""
    narrow = [replace(one, low=one.nominal / 1.2, high=one.nominal * 1.2) for one in done]
    assert sum(one.possible for one in narrow) < least(len(done), POSSIBLE)


def test_a_recording_tells_more_than_a_number(done):
    number, recording = tallies(done, KINDS)
    assert recording.width("possible") < number.width("possible")
