"""Branches that their own current changes, a clamp, and what no event may do: chatter."""

import math

import numpy as np
import pytest
from sksundae.cvode import CVODE

from filterlib.errors import CircuitError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, capacitor_bend, clamp, diode
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.course import course
from filterlib.network.nonlinear.hot_branch import fuse, thermistor, thermistor_resistance


def test_a_fuse_melts_in_a_constant_current():
    """hand: 10 A for t have 100 t A2s: 0.5 A2s after 5 ms, and the source of 10 V behind 1 ohm gives no more."""
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 10.0)]).resistor("R", "a", "b", 0.9)
    fuse(circuit, "F", ("b", "c"), 0.1, 0.5).capacitor("C", "c", "d", 1e6).resistor("E", "d", "0", 1e-6)
    run = course(circuit, 0.02)
    assert run.events == [(pytest.approx(5e-3, rel=1e-5, abs=0), "F: melted")]
    assert run.at(0.01, Current("F"))[0] < 1e-5


def test_a_fuse_melts_in_the_charge_of_a_bank():
    """hand: of C V^2 / (2 R) = 117.6 A2s the part 1 - exp(-2 t / RC) has passed: 50 A2s after -RC/2 ln(1 - 50 / 117.6)."""
    circuit = PiecewiseCircuit().capacitor("C", "a", "0", 30e-3)
    fuse(circuit, "F", ("a", "b"), 0.02, 50.0).resistor("short", "b", "0", 0.08)
    run = course(circuit, 0.05, {"C": 28.0})
    assert run.events[0][0] == pytest.approx(-30e-3 * 0.1 / 2 * math.log(1 - 50 / 117.6), rel=1e-9, abs=0)
    assert run.integral(Current("short"), Current("short")) == pytest.approx(50.0, rel=1e-6, abs=0)
    with pytest.raises(CircuitError, match="F: -1 ohm"):
        fuse(PiecewiseCircuit(), "F", ("a", "b"), -1, 1.0)


def by_sundials(cold, beta, heat, farads, volts, until):
    """Voltage of the capacitor and temperature of the thermistor that charges it: CVODE, on equations by hand."""

    def rates(_, state, rate):
        ohms = thermistor_resistance(cold, beta, state[1])
        amperes = (volts - state[0]) / ohms
        rate[0], rate[1] = amperes / farads, amperes**2 * ohms / heat

    found = CVODE(rates, method="BDF", rtol=1e-10, atol=1e-12).solve(np.array([0.0, until]), np.array([0.0, 298.15]))
    return found.y[-1]


@pytest.mark.parametrize("pieces", [32, 256])
def test_a_thermistor_warms_as_it_charges_a_bank(pieces):
    """10 ohm charge 30 mF to 28 V: against SUNDIALS, and nearer with more steps."""
    volts, kelvin = by_sundials(10.0, 3000.0, 0.15, 30e-3, 28.0, 0.3)
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 28.0)])
    thermistor(circuit, "N", ("a", "b"), 10.0, 3000.0, 0.15, pieces=pieces).capacitor("C", "b", "0", 30e-3)
    run = course(circuit, 0.3)
    assert run.at(0.3, "b")[0] == pytest.approx(volts, rel=0.03 / pieces, abs=0)
    assert 298.15 + run.integral(("a", "b"), Current("N")) / 0.15 == pytest.approx(kelvin, rel=0.01 / pieces, abs=0)
    with pytest.raises(CircuitError, match="hottest temperature"):
        thermistor(PiecewiseCircuit(), "N", ("a", "b"), 10.0, 3000.0, 0.15, hottest=200.0)


@pytest.mark.parametrize("both_ways", [False, True])
def test_a_clamp_holds_a_plug_and_swallows_its_energy(both_ways):
    """24 V, 1 uH, 10 uF, 50 mohm would go to 42.71 V (textbook closed form): 33 V with 0.1 ohm hold it below."""
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 24.0)]).resistor("R", "a", "b", 0.05)
    circuit.inductor("L", "b", "c", 1e-6).capacitor("C", "c", "0", 1e-5)
    run = course(circuit.bend("T", "c", "0", clamp(33.0, 0.1, both_ways=both_ways)), 1e-4)
    peak, _ = run.peak("c")
    assert 33.0 < peak < 37.0
    assert peak == pytest.approx(33.0 + 0.1 * run.peak(Current("T"))[0], rel=1e-5, abs=0)
    assert clamp(33.0, 0.1, both_ways=both_ways)(-20.0) == pytest.approx(
        -2e-6 if both_ways else -193.0, rel=1e-6, abs=0
    )


@pytest.mark.parametrize("seed", range(6))
def test_no_event_chatters(seed):
    """A ringing circuit crosses the corners of a diode and of a falling capacitance at most twice a period each."""
    draw = np.random.default_rng(seed)
    henries, farads = 10 ** draw.uniform(-6, -5), 10 ** draw.uniform(-6, -5)
    bend = capacitor_bend(lambda v: farads / (1 + (v / 20) ** 2), 90, 8)
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 24.0)]).resistor("R", "a", "b", 0.05)
    circuit.inductor("L", "b", "c", henries).bend("D", "c", "d", diode(0.5, 0.01, 1e3)).capacitor("C", "d", "0", bend)
    run = course(circuit.resistor("load", "d", "0", 50.0), 1e-3)
    least = farads / (1 + (90 / 20) ** 2)
    periods = 1e-3 / (2 * math.pi * math.sqrt(henries * least))
    changes = sum(a is not b for a, b in zip(run.pieces, run.pieces[1:], strict=False))
    assert 2 < changes <= 2 * (len(bend.x) + 1) * periods
    assert np.diff(run.times).min() > 0


def test_a_threshold_of_its_own_stays_a_bounded_number_of_events():
    """A load that switches on at 20 V and off at 19.999 V: hand, R C times ln of the voltages' ratios between them."""
    curves = {"off": Bend((0.0,), (0.0,), 1e-9, 1e-9), "on": Bend((0.0,), (0.0,), 1.0, 1.0)}
    rules = [Rule("off", "on", "b", 20.0), Rule("on", "off", "b", 19.99, above=False)]
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 24.0)]).resistor("R", "a", "b", 10.0)
    run = course(circuit.capacitor("C", "b", "0", 1e-4).switched("load", "b", "0", curves, "off", rules), 2e-3)
    up = 1e-3 * math.log(4.01 / 4.0)
    down = 1e-3 / 11 * math.log((20 - 24 / 11) / (19.99 - 24 / 11))
    expected = 2 * (2e-3 - 1e-3 * math.log(24 / 4)) / (up + down)
    assert len(run.events) == pytest.approx(expected, rel=0, abs=2.5)
