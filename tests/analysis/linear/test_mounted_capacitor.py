"""Mounted capacitors: one by hand, two as two impedances in parallel."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib.analysis.linear.mounted_capacitor import (
    CapacitorPair,
    MountedCapacitor,
    mounted_capacitor,
    parallel_capacitors,
)
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import find_part, standard_tables


def part(name):
    return find_part(name, Capacitor, standard_tables())


def test_one_capacitor_by_hand():
    film = part("film-1u0-63V")
    found = mounted_capacitor(MountedCapacitor(film, 4e-9), switching=180e3, spike=30e6)
    w = 2 * np.pi * 30e6
    assert found.at_spike == pytest.approx(w * (film.esl + 4e-9), rel=0.02, abs=0)  # hand
    assert found.resonance == pytest.approx(
        1 / (2 * np.pi * np.sqrt(1e-6 * (film.esl + 4e-9))), rel=1e-3, abs=0
    )  # hand
    assert found.at_switching == pytest.approx(1 / (2 * np.pi * 180e3 * 1e-6), rel=0.03, abs=0)  # hand


def test_the_curve_of_the_capacitance_alone_is_that_at_the_bias():
    """hand: far below its resonance a part is its capacitance and next to nothing else."""
    ceramic = part("class2-2u2-50V-1206")
    found = mounted_capacitor(MountedCapacitor(ceramic, 4e-9, bias=28.0), switching=180e3, spike=30e6)
    low = found.frequencies < found.resonance / 30
    np.testing.assert_allclose(found.ideal[low], found.impedance[low], rtol=0.07, atol=0)  # its losses
    assert found.capacitance < 0.7 * ceramic.capacitance


def test_two_capacitors_are_two_impedances_in_parallel():
    one, two = (part(name) for name in ("film-1u0-63V", "class2-100n-50V-0603"))
    found = parallel_capacitors(
        CapacitorPair(MountedCapacitor(one, 4e-9), MountedCapacitor(two, 2e-9), 3e-9), spike=30e6
    )
    f = found.frequencies
    first = one.impedance(f, mounting_loop=4e-9)
    second = two.impedance(f, mounting_loop=2e-9) + 2j * np.pi * f * 3e-9
    expected = np.abs(first * second / (first + second))  # second method
    np.testing.assert_allclose(found.together, expected, rtol=1e-9, atol=0)
    assert found.peak is not None
    assert found.peak[1] > np.abs(first[f == found.peak[0]])  # worse than the first alone
    at_spike = {name: abs(one) for name, one in (("first", first), ("both", first * second / (first + second)))}
    expected = {name: np.interp(30e6, f, value) for name, value in at_spike.items()}
    assert found.at_spike == pytest.approx(expected["both"], rel=0.01, abs=0)
    assert found.better == pytest.approx(expected["first"] / expected["both"], rel=0.01, abs=0)
