"""The exact pieces against an integrator of another house: SUNDIALS CVODE, through scikit-sundae, on equations by hand.

A source behind R, a choke that saturates and a diode, into a capacitance that falls, with its ESR, beside a resistance.
"""

import os

import numpy as np
import pytest
from sksundae.cvode import CVODE

from filterlib.network.nonlinear.bend import Bend, capacitor_bend, current_limit, diode, inductor_bend
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import course

SEEDS = int(os.environ.get("FILTERLIB_SEEDS", "6"))
RISE, VOLTS, UNTIL = 3e-6, 24.0, 1.5e-4


def drawn(seed):
    draw = np.random.default_rng(seed)
    size, henries = 10 ** draw.uniform(-6, -4.7), 10 ** draw.uniform(-6, -4.5)
    knee, bend = draw.uniform(10, 60), draw.uniform(5, 40)
    return {
        "ohms": 10 ** draw.uniform(-2, -0.5),
        "choke": inductor_bend(lambda i: henries / (1 + (i / bend) ** 2), 300.0, 24),
        "diode": diode(0.5, 10 ** draw.uniform(-2.5, -1), 1e4),
        "capacitor": capacitor_bend(lambda v: size / (1 + (v / knee) ** 2), 120.0, 24),
        "esr": 10 ** draw.uniform(-3, -1),
        "load": 10 ** draw.uniform(0.3, 2),
    }


def by_sundials(of, times):
    """Node voltage (times,) from the two state equations, flux linkage and charge."""

    def out(state):
        return (of["capacitor"](state[1]) + of["esr"] * of["choke"](state[0])) / (1 + of["esr"] / of["load"])

    def rates(time, state, rate):
        amperes, volts = of["choke"](state[0]), out(state)
        rate[0] = VOLTS * min(time / RISE, 1.0) - of["ohms"] * amperes - of["diode"].back(amperes) - volts
        rate[1] = amperes - volts / of["load"]

    solver = CVODE(rates, method="BDF", rtol=1e-10, atol=1e-15, max_num_steps=200_000)
    found = solver.solve(np.concatenate([[0.0, RISE], times]), np.zeros(2))
    return np.array([out(state) for state in found.y[2:]])


@pytest.mark.parametrize("seed", [*range(SEEDS), 34, 38])  # the last two pass a corner and come back within one step
def test_the_same_course(seed):
    of, times = drawn(seed), np.linspace(2 * RISE, UNTIL, 12)
    circuit = (
        PiecewiseCircuit()
        .voltage_source("V", "a", "0", [(0.0, 0.0), (RISE, VOLTS)])
        .resistor("R", "a", "b", of["ohms"])
    )
    circuit.inductor("L", "b", "c", of["choke"]).bend("D", "c", "d", of["diode"]).resistor("load", "d", "0", of["load"])
    run = course(circuit.capacitor("C", "d", "e", of["capacitor"]).resistor("E", "e", "0", of["esr"]), UNTIL)
    expected = by_sundials(of, times)
    assert run.at(times, "d") == pytest.approx(expected, rel=0, abs=2e-6 * np.max(np.abs(expected)))
    assert len({id(piece) for piece in run.pieces}) > 3  # it bends on its way


def folding(seed):
    """The same behind a limit that folds back, with a capacitor where it ends."""
    draw = np.random.default_rng((seed, 1))
    amperes = 10 ** draw.uniform(0.3, 1)
    slope = draw.uniform(0.2, 0.9) * amperes / VOLTS
    return drawn(seed) | {
        "limit": current_limit(amperes, 10 ** draw.uniform(-1.5, -0.7), slope),
        "first": 10 ** draw.uniform(-5.5, -4.5), "first_esr": 10 ** draw.uniform(-3, -1.5),
    }  # fmt: skip


def behind(of, volts, charge, amperes):
    """Voltage behind the limit: its straight lines against the capacitor's resistance, whichever of them holds."""
    for piece in range(len(of["limit"].x) + 1):
        slope, offset = of["limit"].line(piece)
        given = slope * volts + offset - amperes + charge / of["first"] / of["first_esr"]
        found = given / (slope + 1 / of["first_esr"])
        low, high = of["limit"].limits(piece)
        if low - 1e-9 <= volts - found <= high + 1e-9:
            return found
    raise AssertionError("no line holds")


def folded_by_sundials(of, times):
    """Voltage at the load (times,) from charge, flux linkage and charge."""

    def out(state):
        return (of["capacitor"](state[2]) + of["esr"] * of["choke"](state[1])) / (1 + of["esr"] / of["load"])

    def rates(time, state, rate):
        amperes, volts = of["choke"](state[1]), out(state)
        first = behind(of, VOLTS * min(time / RISE, 1.0), state[0], amperes)
        rate[0] = (first - state[0] / of["first"]) / of["first_esr"]
        rate[1] = first - of["ohms"] * amperes - of["diode"].back(amperes) - volts
        rate[2] = amperes - volts / of["load"]

    solver = CVODE(rates, method="BDF", rtol=1e-10, atol=1e-15, max_num_steps=200_000)
    found = solver.solve(np.concatenate([[0.0, RISE], times]), np.zeros(3))
    return np.array([out(state) for state in found.y[2:]])


@pytest.mark.parametrize("seed", range(SEEDS))
def test_the_same_course_behind_a_limit_that_folds_back(seed):
    of, times = folding(seed), np.linspace(2 * RISE, UNTIL, 12)
    circuit = PiecewiseCircuit().voltage_source("V", "s", "0", [(0.0, 0.0), (RISE, VOLTS)])
    circuit.bend("F", "s", "a", of["limit"]).capacitor("C1", "a", "f", of["first"])
    circuit.resistor("E1", "f", "0", of["first_esr"]).resistor("R", "a", "b", of["ohms"])
    circuit.inductor("L", "b", "c", of["choke"]).bend("D", "c", "d", of["diode"]).resistor("load", "d", "0", of["load"])
    run = course(circuit.capacitor("C", "d", "e", of["capacitor"]).resistor("E", "e", "0", of["esr"]), UNTIL)
    expected = folded_by_sundials(of, times)
    assert run.at(times, "d") == pytest.approx(expected, rel=0, abs=2e-6 * np.max(np.abs(expected)))
    limited = run.steps(("s", "a")).max() > of["limit"].x[0]
    assert limited  # it comes to the falling part of its curve


def test_a_curve_read_backwards():
    """hand: 2 x + 1 behind a corner at 1."""
    curve = Bend((0.0, 1.0), (0.0, 3.0), 1.0, 2.0)
    assert curve.back(5.0) == 2.0
