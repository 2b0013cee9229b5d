"""Transients that bend: values by closed form, by quadrature and by another solver, each with its source."""

import math

import numpy as np
import pytest

from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, capacitor_bend, constant_power, current_limit, diode
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import course

STEP = [(0.0, 24.0)]


def plugged(volts, ohms, henries):
    """A step onto a resistance and an inductance that end at node "c"."""
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, volts)])
    return circuit.resistor("R", "a", "b", ohms).inductor("L", "b", "c", henries)


@pytest.mark.parametrize(
    ("henries", "farads", "ohms", "volts", "amperes"),
    [
        (1e-6, 10e-6, 0.05, 42.71, 67.4),
        (1e-6, 10e-6, 0.1, 38.51, 60.5),
        (1e-6, 22e-6, 0.1, 35.25, 81.6),
        (10e-6, 22e-6, 0.1, 43.00, 31.85),
    ],
)
def test_step_on_a_series_circuit(henries, farads, ohms, volts, amperes):
    """V (1 + exp(-pi z / sqrt(1 - z^2))) and (V / Z0) exp(-z acos(z) / sqrt(1 - z^2)): textbook closed form, by hand."""
    run = course(plugged(24.0, ohms, henries).capacitor("C", "c", "0", farads), 3e-4)
    z = ohms / 2 * math.sqrt(farads / henries)
    root = math.sqrt(1 - z * z)
    assert run.peak("c")[0] == pytest.approx(24 * (1 + math.exp(-math.pi * z / root)), rel=1e-9, abs=0)
    exact = 24 / math.sqrt(henries / farads) * math.exp(-z * math.acos(z) / root)
    assert run.peak(Current("L"))[0] == pytest.approx(exact, rel=1e-9, abs=0)
    assert run.peak("c")[0] == pytest.approx(volts, rel=2e-4, abs=0)
    assert run.peak(Current("L"))[0] == pytest.approx(amperes, rel=1e-3, abs=0)


def test_half_wave_into_a_diode():
    """By quadrature and by energy balance: it stops at 15.158119 us with 34.219470 V; 79.212286 A; 0.0466020697 A2s."""
    circuit = plugged(23.3, 0.1, 1e-6).bend("D", "c", "d", diode(1e-9, 1e-9, 1e9)).capacitor("C", "d", "0", 22e-6)
    run = course(circuit, 40e-6)
    volts, time = run.peak("d")
    assert volts == pytest.approx(34.219470, rel=3e-8, abs=0)
    assert time == pytest.approx(15.158119e-6, rel=1e-7, abs=0)
    assert run.peak(Current("L"))[0] == pytest.approx(79.212286, rel=1e-8, abs=0)
    assert run.integral(Current("L"), Current("L")) == pytest.approx(0.0466020697, rel=1e-8, abs=0)


@pytest.mark.parametrize(
    ("knee", "volts", "rel"), [(math.inf, 48.0, 1e-6), (40.0, 60.0504, 1e-5), (12.0, 252.2155, 2e-4)]
)
def test_hot_plug_of_a_capacitance_that_falls(knee, volts, rel):
    """C0 / (1 + (v / v0)^2), lossless: the energy balance, integral of (V - v) C(v) dv = 0, by two methods."""
    bend = capacitor_bend(lambda v: 1e-5 / (1 + (v / knee) ** 2), 1.02 * volts, 300)
    run = course(plugged(24.0, 1e-9, 1e-6).capacitor("C", "c", "0", bend), 2.2e-5)
    assert run.peak("c")[0] == pytest.approx(volts, rel=rel, abs=0)


@pytest.mark.parametrize(("knee", "volts"), [(100.0, 52.5881), (50.0, 59.5505), (30.0, 79.8120)])
def test_hot_plug_of_an_exponential_capacitance(knee, volts):
    """C0 exp(-v / v0), lossless: the same energy balance, by two methods."""
    bend = capacitor_bend(lambda v: 1e-5 * np.exp(-v / knee), 1.02 * volts, 200)
    run = course(plugged(24.0, 1e-9, 1e-6).capacitor("C", "c", "0", bend), 2.2e-5)
    assert run.peak("c")[0] == pytest.approx(volts, rel=2e-5, abs=0)


def test_a_diode_into_a_ceramic_beside_an_electrolytic():
    """86.524 A: SUNDIALS IDA at three tolerances."""
    circuit = plugged(24.0, 0.15, 10e-6).bend("D", "c", "d", diode(0.5, 0.02)).capacitor("C", "d", "0", 2.2e-6)
    run = course(circuit.resistor("E", "d", "e", 0.03).capacitor("B", "e", "0", 1e-3), 5e-4)
    assert run.peak(Current("L"))[0] == pytest.approx(86.524, abs=1.5e-3, rel=0)


def start_of_a_bank(limit):
    """A source of 60 V behind a limiter, into 30 mF that a load of 2 A discharges once it is above 0 V."""
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 60.0)]).bend("limit", "a", "b", limit)
    return circuit.capacitor("C", "b", "0", 30e-3)


def reached(run, output, value):
    """The first time at which an output is at a value, by bisection [s]."""
    low, high = 0.0, float(run.times[-1])
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if run.at(middle, output)[0] < value else (low, middle)
    return low


def test_start_into_a_bank():
    """30 mF to 28 V at 6 A less 2 A: 30e-3 * 28 / 4 = 0.21 s, by hand."""
    circuit = start_of_a_bank(current_limit(6.0, 1e-3)).current_source("load", "0", "b", [(0.0, 2.0)])
    assert reached(course(circuit, 0.3), "b", 28.0) == pytest.approx(0.21, rel=1e-7, abs=0)


def test_start_with_a_limit_that_rises():
    """From 2 A at 0 V to 6 A at 28 V, no load: 30e-3 * 28 / 4 * ln(3) = 0.230709 s, by hand."""
    rising = Bend((32.0, 60.0), (6.0, 2.0), 6.0 / 32.0, -1 / 7)  # over what the limiter takes of 60 V
    assert reached(course(start_of_a_bank(rising), 0.3), "b", 28.0) == pytest.approx(
        0.21 * math.log(3), rel=1e-7, abs=0
    )


def test_a_constant_power_load_holds_the_start_down():
    """Above the limit's 3 A at 8 V, where it begins: 40 W takes 5 A, and the bank stays there; by hand, P / V > I."""
    circuit = start_of_a_bank(current_limit(3.0, 1e-3)).bend("load", "b", "0", constant_power(40.0, 8.0, 60.0))
    held = course(circuit, 2.0).at([1.9, 2.0], "b")
    assert held[0] == pytest.approx(held[1], rel=1e-3, abs=0)
    assert held[1] == pytest.approx(3.0 * 8.0**2 / 40.0, rel=1e-3, abs=0)  # on the line below 8 V: 40 W / (8 V)^2


@pytest.mark.parametrize(
    ("farads", "ohms", "watts", "open_circuit", "lowest", "begins", "seconds"),
    [(30e-3, 30e-3, 60.0, 28.0, 22.0, 27.93557, 73.88399e-3), (50.0, 20e-3, 40.0, 26.0, 20.0, None, 171.23823)],
)
def test_hold_up_at_constant_power(farads, ohms, watts, open_circuit, lowest, begins, seconds):
    """C (v0^2 - v1^2) / (2 P) - R C ln(v0 / v1), v at the terminals: by formula and by integration."""
    circuit = PiecewiseCircuit().resistor("R", "c", "out", ohms).capacitor("C", "c", "0", farads)
    circuit.bend("load", "out", "0", constant_power(watts, 0.9 * lowest, 1.02 * open_circuit, 256))
    run = course(circuit, 1.1 * seconds, {"C": open_circuit})
    if begins is not None:
        assert run.at(0.0, "out")[0] == pytest.approx(begins, rel=1e-6, abs=0)
    low, high = 0.0, 1.1 * seconds
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if run.at(middle, "out")[0] > lowest else (low, middle)
    assert low == pytest.approx(seconds, rel=2e-6, abs=0)
