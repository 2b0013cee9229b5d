"""The panels of the notebooks on capacitors and chokes: every control drives something; numbers by hand."""

import numpy as np
import pytest

from filterlib.parts.capacitor import Capacitor
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.show.explore import capacitor, choke, insertion
from filterlib.show.panels import parts


@pytest.mark.parametrize("make", [capacitor.one_panel, capacitor.pair_panel, choke.choke_panel])
def test_every_control_drives_result_and_picture(make):
    make().check()


def test_one_capacitor_by_hand():
    film = parts(Capacitor)["film-1u0-63V"]
    found = capacitor.one(capacitor.Mounted(film, 4e-9, 0.0))
    w = 2 * np.pi * 30e6
    assert found.at_spike == pytest.approx(w * (film.esl + 4e-9), rel=0.02, abs=0)  # hand
    assert found.resonance == pytest.approx(
        1 / (2 * np.pi * np.sqrt(1e-6 * (film.esl + 4e-9))), rel=1e-3, abs=0
    )  # hand
    assert found.at_switching == pytest.approx(1 / (2 * np.pi * 180e3 * 1e-6), rel=0.03, abs=0)  # hand


def test_two_capacitors_are_two_impedances_in_parallel():
    one, two = (parts(Capacitor)[name] for name in ("film-1u0-63V", "class2-100n-50V-0603"))
    pair = capacitor.Pair(capacitor.Mounted(one, 4e-9, 0.0), capacitor.Mounted(two, 2e-9, 0.0), 3e-9)
    f = capacitor.FREQUENCIES
    first = one.impedance(f, mounting_loop=4e-9)
    second = two.impedance(f, mounting_loop=2e-9) + 2j * np.pi * f * 3e-9
    expected = np.abs(first * second / (first + second))  # second method
    found = capacitor.both(pair)
    np.testing.assert_allclose(found.together, expected, rtol=1e-9, atol=0)
    assert found.peak is not None
    assert found.peak[1] > np.abs(first[f == found.peak[0]])  # worse than the first alone


def test_both_ways_of_measuring_a_choke():
    """Second method: the matrix of the two windings, without their capacitances, far below the resonance."""
    part = parts(CommonModeChoke)["cm-2m2-5A"].replace(winding_capacitance=0.0, interwinding_capacitance=0.0)
    found = choke.measured({"part": part, "unbalance": 2e-3, "current": 3.0})
    matrix = part.impedance(choke.FREQUENCIES, current=3.0, unbalance=2e-3)
    z11, z12, z22 = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 1]
    np.testing.assert_allclose(found.loop, np.abs(z11 + z22 - 2 * z12), rtol=1e-6, atol=0)
    parallel = (z11 * z22 - z12**2) / (z11 + z22 - 2 * z12)
    np.testing.assert_allclose(found.common, np.abs(parallel), rtol=1e-6, atol=0)
    assert found.coupling == pytest.approx(1 - found.loop_inductance / 2 / found.inductance, rel=1e-12, abs=0)


def test_insertion_loss_beside_the_circuit():
    """The numbers beside the picture are those of its curves."""
    panel = insertion.insertion_panel()
    found = panel.result
    at = [np.interp(np.log(f), np.log(insertion.FREQUENCIES), found.tested["50/50"]) for f in (found.switching, 1e6)]
    assert found.at["50/50"] == pytest.approx(at, rel=0.01, abs=0)
    panel.check()
