"""How long a bank holds: published formulas, charge balance by hand, and the same by the course in time."""

import math

import pytest

from filterlib.analysis.hold_up.fuses_and_limits import bleeder, melting_needed, withstand
from filterlib.analysis.hold_up.holding import Demand, held, needed, recharged
from filterlib.errors import FilterlibError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, constant_power
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import course
from filterlib.system.line.load import Load


def power(watts, supply=0.0):
    return Demand(Load(name="modem", kind="constant_power", power=watts), 1.0, supply)


def current(amperes, supply=0.0):
    return Demand(Load(name="modem", kind="constant_current", current=amperes), 1.0, supply)


@pytest.mark.parametrize(
    ("farads", "ohms", "watts", "volts", "lowest", "begins", "seconds"),
    [
        (30e-3, 30e-3, 60.0, 28.0, 22.0, 27.93557, 73.88399e-3),
        (50.0, 20e-3, 40.0, 26.0, 20.0, None, 171.23823),
        (1.4, 1.5, 0.165, 2.0, 1.0, None, 9.241130),
    ],
)
def test_constant_power_with_resistance(farads, ohms, watts, volts, lowest, begins, seconds):
    """v0 = (Voc + sqrt(Voc^2 - 4 P R)) / 2, t = C (v0^2 - v1^2) / (2 P) - R C ln(v0 / v1): by formula and by integration."""
    v0 = (volts + math.sqrt(volts**2 - 4 * watts * ohms)) / 2
    assert power(watts).begins(volts, ohms) == pytest.approx(v0, rel=1e-12, abs=0)
    assert begins is None or v0 == pytest.approx(begins, rel=5e-7, abs=0)
    formula = farads * (v0**2 - lowest**2) / 2 / watts - ohms * farads * math.log(v0 / lowest)
    assert held(farads, ohms, volts, lowest, power(watts)) == pytest.approx(formula, rel=1e-12, abs=0)
    assert formula == pytest.approx(seconds, rel=1e-7, abs=0)


def test_a_deficit_of_an_ampere():
    """1 A with 6 V of sag: 30 mF hold 0.18 s, 8 s ask for 1.333 F; C = I t / (sag - I R) with R C kept. By hand."""
    assert held(30e-3, 0.0, 28.0, 22.0, current(3.0, 2.0)) == pytest.approx(0.18, rel=1e-12, abs=0)
    assert needed(8.0, 0.0, 28.0, 22.0, current(1.0)) == pytest.approx(8 / 6, rel=1e-9, abs=0)
    assert needed(8.0, 0.6, 28.0, 22.0, current(1.0)) == pytest.approx((8 + 0.6) / 6, rel=1e-9, abs=0)


def test_it_agrees_with_the_course_in_time():
    """84 W, of which a converter gives 2 A, from 4.7 mF of 20 mohm: to 1e-6."""
    expected = held(4.7e-3, 20e-3, 28.0, 22.0, power(84.0, 2.0))
    circuit = PiecewiseCircuit().resistor("R", "c", "out", 20e-3).capacitor("C", "c", "0", 4.7e-3)
    circuit.current_source("supply", "out", "0", [(0.0, 2.0)])
    circuit.bend("load", "out", "0", constant_power(84.0, 20.0, 29.0, 400))
    assert course(circuit, expected * 1.1, {"C": 28.0}).at(expected, "out")[0] == pytest.approx(22.0, rel=1e-6, abs=0)


def test_a_resistive_load_and_its_recharge():
    """R C ln(28 / 22) down; up with 3 A less what 20 ohm draw: R C ln((60 - 22) / (60 - 28)). By hand."""
    load = Load(name="lamp", kind="resistive", resistance=20.0)
    assert held(0.01, 0.0, 28.0, 22.0, Demand(load, 1.0, 0.0)) == pytest.approx(
        0.2 * math.log(28 / 22), rel=1e-12, abs=0
    )
    assert recharged(0.01, 0.0, 22.0, 28.0, Demand(load, 1.0, 3.0)) == pytest.approx(
        0.2 * math.log(38 / 32), rel=1e-12, abs=0
    )
    assert recharged(0.01, 0.0, 22.0, 28.0, Demand(load, 1.0, 1.2)) == math.inf


def test_what_needs_no_bank_and_what_none_holds():
    assert held(1e-3, 0.0, 28.0, 22.0, power(50.0, 3.0)) == math.inf  # 3 A carry 50 W above 16.7 V
    assert held(1e-3, 5.0, 28.0, 22.0, power(50.0)) == 0.0  # 5 ohm take more than 6 V at once
    assert needed(1e-3, 10.0, 28.0, 22.0, current(1.0)) == pytest.approx(10.001 / 6, rel=1e-9, abs=0)
    with pytest.raises(FilterlibError, match="the lowest voltage below the first"):
        held(1e-3, 0.0, 28.0, 28.0, power(50.0))


def test_fuses_for_pulses():
    """8 A, 4 ms of the form kt^2: 8^2 * 4e-3 / 5 = 0.0512 A2s; for 100,000 pulses / 0.22 = 0.2327 A2s: a maker's guide."""
    assert melting_needed(8.0**2 * 4e-3 / 5, 1e5) == pytest.approx(0.2327, rel=2e-4, abs=0)
    assert withstand(50.0) == 0.48
    with pytest.raises(FilterlibError, match="ends at 100000"):
        withstand(2e5)


def test_bleeding_ten_millifarad():
    """10 mF, 1 kohm, 57 V to 10 V: 17.40 s, R C ln(V0 / V). By hand."""
    assert bleeder(10e-3, 57.0, 10.0, 17.40)[0] == pytest.approx(1000, rel=5e-4, abs=0)
    with pytest.raises(FilterlibError, match="a lower voltage"):
        bleeder(10e-3, 10.0, 57.0, 1.0)


def test_the_charge_of_a_bank_through_its_wire():
    """30 mF to 28 V through 0.1 ohm: I2t = C V^2 / (2 R) = 117.6 A2s; 11.76 J; 0.84 C. By hand."""
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 28.0)]).resistor("R", "a", "b", 0.1)
    run = course(circuit.capacitor("C", "b", "0", 30e-3).bend("D", "b", "0", Bend((1.0,), (1e-12,), 1e-12, 1e-12)), 0.2)
    assert run.integral(Current("R"), Current("R")) == pytest.approx(117.6, rel=1e-6, abs=0)
    assert run.integral(Current("R")) == pytest.approx(0.84, rel=1e-6, abs=0)
