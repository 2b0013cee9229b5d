"""What the result of insertion loss holds, for designs that reach the chassis and for those that do not."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from filterlib.analysis.linear.frequency_response import bode
from filterlib.analysis.linear.insertion_loss import SYSTEMS, in_system, insertion
from filterlib.analysis.linear.port_impedance import impedance
from filterlib.system.solution import solve
from filterlib.system.state import State
from filterlib.units import decibels
from tests.designs import common_mode, converter, design, resistive, series, shunt

BONDED = {"common_mode": {"swing": "28 V"}, "bond": {}}


def test_a_result_holds_every_system_and_every_load():
    """second method: the real effect between the lines is the Bode plot's third ratio."""
    made = design(shunt(), common_mode(), load=[resistive(), resistive(name="logger")], source=converter(**BONDED))
    state = made.state()
    found = insertion(solve(made, state))
    assert list(found.symmetrical) == list(found.asymmetrical) == list(SYSTEMS)
    assert list(found.real_symmetrical) == list(found.real_asymmetrical) == ["modem", "logger"]
    curves = (*found.symmetrical.values(), *found.asymmetrical.values(), *found.real_asymmetrical.values())
    assert all(curve.shape == found.frequencies.shape and np.isfinite(curve).all() for curve in curves)
    for load, real in found.real_symmetrical.items():
        ratio = bode(solve(made, state), load).with_over_without
        np.testing.assert_allclose(real, -decibels(ratio), rtol=1e-9, atol=1e-9)
    with pytest.raises(FrozenInstanceError):
        found.point = "other"


def test_without_a_drive_there_is_no_real_asymmetrical_effect():
    made = design(common_mode())
    found = insertion(solve(made))
    assert found.real_asymmetrical == {}


def test_the_parts_stand_at_the_operating_point():
    """hand: at 30 A of saturation current 70 % of the inductance is left, so far above the corner 3.10 dB less loss."""
    made = design(series("100 µH", "0 mΩ", line="plus"))
    loaded = State(currents={made.filter[0].name: 30.0})
    top = np.array([300e3])
    loss = [float(in_system(made, at, 0.1, 0.1, mode="symmetrical", frequencies=top)[0]) for at in (State(), loaded)]
    assert loss[0] - loss[1] == pytest.approx(-20 * np.log10(0.7), rel=2e-2, abs=0)


def test_the_common_mode_choke_differs_between_the_modes():
    """hand: at 10 kHz 995 uH with the core's loss and 2.5 uH for both tied windings; 10 uH of leakage and 20 mohm from line to line."""
    made = design(common_mode("1 mH", "10 µH"))
    at = np.array([10e3])
    loss = {
        mode: float(in_system(made, State(), 50.0, 50.0, mode=mode, frequencies=at)[0])
        for mode in ("symmetrical", "asymmetrical")
    }
    w = 2j * np.pi * 1e4
    assert loss["asymmetrical"] == pytest.approx(
        20 * np.log10(abs(1 + (0.005 + w * 2.5e-6 + w * 0.995e-3 / (1 + 0.01j)) / 100)), rel=1e-3, abs=0
    )
    assert loss["symmetrical"] == pytest.approx(20 * np.log10(abs(1 + (0.02 + w * 10e-6) / 100)), rel=1e-3, abs=0)


def test_a_load_without_impedance_is_infinite():
    made = design(shunt(), load={"name": "modem", "kind": "constant_current", "current": 1.0})
    assert np.isinf(insertion(solve(made)).load_impedance).all()
    made = design(series(), load={"name": "modem", "kind": "constant_current", "current": 1.0})
    assert np.isinf(impedance(solve(made), "modem").seen_by_converter).all()


def test_arrays_of_values_give_a_row_for_each_design():
    """second method: each row as that value alone."""
    values = np.array([[1e-6], [2e-6]])
    made = design(shunt())
    many = made.model_copy(
        update={"filter": (made.filter[0].replace(part=made.filter[0].part.replace(capacitance=values)),)}
    )
    at = np.array([1e5, 1e6])
    rows = in_system(many, State(), 50.0, 50.0, mode="symmetrical", frequencies=at)
    assert rows.shape == (2, 2)
    alone = in_system(design(shunt("2 µF")), State(), 50.0, 50.0, mode="symmetrical", frequencies=at)
    np.testing.assert_allclose(rows[1], alone, rtol=1e-12, atol=0)


def test_loops_that_couple_pass_the_choke_by():
    """hand: at 30 MHz 1 nH between two loops of 9 nH, the choke as good as open: j w M between two ends of 50 ohm."""
    choke = {key: value for key, value in series("1 mH")["part"].items() if key != "parallel_resistance"}
    stages = shunt(name="C1"), series() | {"part": choke | {"winding_capacitance": 0.0}}, shunt(name="C2")
    made = design(*stages, coupling=[{"first": "C1", "second": "C2", "mutual": "1 nH"}])
    loss = in_system(made, State(), 50.0, 50.0, mode="symmetrical", frequencies=np.array([30e6]))
    w = 2j * np.pi * 30e6
    passed = w * 1e-9 / (50 + w * 9e-9) * 50 / (50 + w * 9e-9)
    assert float(loss[0]) == pytest.approx(-20 * np.log10(2 * abs(passed)), rel=2e-3, abs=0)
