"""A load of a fraction of an ohm while two recordings were taken: its leads keep the ripple out of it, and the inside is read so."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.system.inside.converter import Ripple
from filterlib.system.sources.measuring import probe_transfer
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


def test_leads_keep_a_ring_out_of_the_load(read):
    """hand: 25 nH inside at 100 MHz are 15.7 ohm, eight times the load of 2 ohm; beside its lead's 444 nH they take off a twentieth."""
    converter, f = read.converter, np.array([100e6])
    current, inside = converter.output_voltage / 2.0, 2j * np.pi * f * 25e-9
    seen = probe_transfer(converter.replace(measured_with=()), Ripple(peak_to_peak=0.1), f, current, behind=inside)
    assert float(np.abs(seen[0])) == pytest.approx(444 / (444 + 25), rel=0.01, abs=0)
