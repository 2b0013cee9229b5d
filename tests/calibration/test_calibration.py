"""A few of the population with the tests; the whole is `python -m tests.calibration`."""

from dataclasses import replace

import pytest
from scipy.stats import binom

from tests.calibration.trials import further, tallies, trial, trials

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


def test_each_further_piece_of_knowledge_narrows_and_loses_no_truth(done):
    """law: the whole of it is the command's, which also has the load's current, a spike and a second recording."""
    ((known, more, ratio, lost),) = further(done, KINDS)
    assert (known, more) == KINDS
    assert ratio > 1
    assert not lost


def test_a_lost_truth_would_be_noticed(done):
    off = [replace(one, low=2 * one.truth) if one.kind == "recording" and not one.number else one for one in done]
    ((*_, lost),) = further(off, KINDS)
    assert lost == [0]


@pytest.mark.parametrize(
    ("seed", "number", "kind"),
    [
        (11, 23, "recording"),  # noise and a ring at 10 MHz hide the period
        (12, 41, "recording"),  # a ring that looks like the pulses of a burst, one each period
        (12, 23, "two"),  # with the capacitor across, a ring that looks like skipped pulses
        (12, 38, "two"),  # 7 % more in the recording than the other scope's spike
        (12, 74, "two"),  # of the shared capacitor's ESR its dielectric leaves half a microohm
    ],
)
def test_what_was_refused_is_read(seed, number, kind):
    """law: an honest reading is read, and holds the truth."""
    one = trial(seed, number, kind, whole=False)
    assert not one.refused
    assert one.probable
