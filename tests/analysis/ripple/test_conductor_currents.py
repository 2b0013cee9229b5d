"""Currents of three conductors: the driven one by hand, a bond's from its own spectrum, their sum at the chassis."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.conductor_currents import Layout, conductor_currents
from filterlib.analysis.ripple.spectra import spectra
from filterlib.network.circuit import Current
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve

BOND = "modem.bond.resistance"
LAYOUT = Layout(
    "modem",
    "L1",
    lines={"lead": ((("modem.lead.r1", 1, 1),), (("modem.lead.r2", 1, 1),))},
    taps={
        "coupling": (("converter.coupling", 1, 1),),
        "bond": (("converter.bond.resistance", 1, 1),),
        "absent": (("no such element", 1, 1),),
        "logger": (("logger.stray", 1, 1),),
        "modem": ((BOND, 1, 1), ("modem.stray", 1, 1)),
    },
    across={"C1": (("C1.loop", 1, 1),)},
)


@pytest.fixture(scope="module")
def brick():
    return load_design(data_folder() / "designs" / "tide-gauge-brick.toml")


def test_what_the_node_drives_by_hand(brick):
    """hand: 2 pi 150 kHz 120 pF x 28 V sqrt(2) sin(pi/7) / pi = 618.6 uA (trapezoid: Paul, Introduction to EMC, ch. 3)."""
    found = conductor_currents(solve(brick), LAYOUT, 150e3)
    assert found.taps["coupling"] == pytest.approx(618.6e-6, rel=2e-3, abs=0)
    assert found.tap_spectra["coupling"][0] == pytest.approx(found.taps["coupling"], rel=1e-9, abs=0)


def test_a_bonds_current_is_that_of_its_own_element(brick):
    """second method: the spectra of the bond's current, read one by one."""
    found = conductor_currents(solve(brick), LAYOUT, 10e6)
    own = spectra(solve(brick), outputs={"coax": Current(BOND)})
    octave = (own.frequencies > 10e6 / np.sqrt(2)) & (own.frequencies < 10e6 * np.sqrt(2))
    rms = np.sqrt(2 * np.sum(np.abs(own.whole("coax")[octave]) ** 2))
    assert found.taps["modem"] == pytest.approx(rms, rel=1e-9, abs=0)
    assert "absent" not in found.taps
    assert found.common["lead"] == pytest.approx(rms, rel=0.05, abs=0)  # hand (Kirchhoff), but for the lead's strays
    assert np.all(found.harmonics <= 200e6)


def test_what_enters_the_chassis_leaves_it(brick):
    """hand (Kirchhoff): between the last tap and the one before flows what the last one carries."""
    found = conductor_currents(solve(brick), LAYOUT, 10e6)
    assert len(found.chassis) == len(found.taps) - 1
    assert found.chassis[0] == pytest.approx(found.taps["coupling"], rel=1e-9, abs=0)
    assert found.chassis[-1] == pytest.approx(found.taps["modem"], rel=1e-3, abs=0)


def test_without_a_chassis_only_the_differential_is_left(brick):
    modem = next(load for load in brick.loads if load.name == "modem").replace(bond=None)
    plain = brick.replace(converter=brick.converter.within, has_chassis=False, loads=(modem,), requirements=())
    found = conductor_currents(solve(plain), LAYOUT, 10e6)
    assert not found.common
    assert not found.taps
    assert found.chassis == ()
    assert found.differential["lead"] > 0
