"""A load of a fraction of an ohm while two recordings were taken: its leads keep the ripple out of it, and the inside is read so."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.words.measurement_sentences import bank_sentence
from tests.calibration.files import write
from tests.calibration.plants import case

NUMBER = 8  # a flyback of 3.3 V and 10 A, whose lead has as much reactance as the load has resistance


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    return load_design(write(case(1, NUMBER), "two", tmp_path_factory.mktemp("leads")))


def test_both_recordings_are_read_and_the_impedance_is_the_converters(read):
    """second method: the tests' own simulator; to little more than the 15 % to which the inductance of the test capacitor is known."""
    found, f = read.converter, read.converter.switching_frequency * np.arange(1, 11)
    impedance = found.terminal_impedance(f)
    assert np.abs(impedance / case(1, NUMBER).inner(f) - 1).max() < 0.2


def test_it_is_said(read):
    assert "behind half a metre of wire" in bank_sentence(read.converter)


def test_a_load_that_takes_no_part_is_a_resistor_as_ever(tmp_path):
    """hand: a buck at 92 kHz: ohms of load beside milliohms inside."""
    one = load_design(write(case(1, 0), "two", tmp_path)).converter
    assert one.measured_with == ()
    assert "half a metre" not in bank_sentence(one)
