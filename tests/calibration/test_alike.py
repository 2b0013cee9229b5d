"""What a recording of the bare terminals does not tell, of one converter of 860 kHz."""

import pytest

from tests.calibration.alike import members, width
from tests.calibration.plants import case


@pytest.fixture(scope="module")
def one():
    return case(61, 4)


def test_the_lead_inside_moves_the_load_and_hardly_what_is_recorded(one):
    """physics: an open terminal sees no drop across its lead, a capacitor there does; the bench's load, a microhenry away, loads it by some percent."""
    truths, off = members(one, "lead", 12)
    assert off < 0.05
    assert width(truths) > 4


def test_how_the_filters_loops_couple_is_in_no_recording_before_it(one):
    truths, off = members(one, "mutual", 12)
    assert off == 0
    assert width(truths) > 1.3
