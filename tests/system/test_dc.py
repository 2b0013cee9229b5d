"""The operating point against hand-computed ones."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.system.dc import OperatingError
from tests.designs import common_mode, converter, design, resistive, series, shunt

LINE = {"source": converter(output_resistance="20 mΩ")}
CURRENT = {"name": "modem", "kind": "constant_current", "current": "4 A"}


def power(watts, **more):
    return {"name": "modem", "kind": "constant_power", "power": watts, **more}


def volts(*stages, load, point=None, **more):
    return design(*stages, load=load, **(LINE | more)).state(point).load_voltages["modem"]


def test_a_resistive_load_divides():
    """hand: 28 V over 20 + 80 mohm and 7 ohm."""
    assert volts(series(resistance="80 mΩ"), load=resistive()) == pytest.approx(28 * 7 / 7.1, rel=1e-12, abs=0)


def test_a_resistive_load_behind_more_resistance_than_its_own():
    """hand: the operating point exists although a plain iteration would swing."""
    weak = converter(output_resistance="20 ohm")
    assert volts(load=resistive(), source=weak) == pytest.approx(28 * 7 / 27, rel=1e-12, abs=0)


def test_a_constant_current_drops():
    """hand: 28 V - 4 A x 0.1 ohm; a choke in both lines drops twice."""
    assert volts(series(resistance="80 mΩ"), load=CURRENT) == pytest.approx(27.6, rel=1e-12, abs=0)
    assert volts(series(resistance="80 mΩ", line="both"), load=CURRENT) == pytest.approx(27.28, rel=1e-12, abs=0)


@pytest.mark.parametrize("watts", [0.0, 10.0, 112.0, 1000.0, 1959.9])
def test_a_constant_power_takes_the_upper_root(watts):
    """hand: V^2 - 28 V + P R = 0; P R must stay below 28^2/4 = 196, so 0.1 ohm delivers 1960 W at most."""
    expected = (28 + np.sqrt(28**2 - 4 * 0.1 * watts)) / 2
    assert volts(series(resistance="80 mΩ"), load=power(watts)) == pytest.approx(expected, rel=1e-9, abs=0)


@pytest.mark.parametrize("watts", [1961.0, 3000.0, 99e3])
def test_more_than_the_line_can_deliver_is_refused_by_name(watts):
    with pytest.raises(OperatingError, match=r"load modem: .* from 28 V cannot deliver"):
        volts(series(resistance="80 mΩ"), load=power(watts))


def test_a_search_that_starts_at_the_very_point_of_most_power_is_refused_too():
    """hand: at 28 V behind 1 ohm the slope of 784 W is -1 S, which cancels the line's to the last digit."""
    with pytest.raises(OperatingError, match="load modem"):
        volts(load=power(784.0), source=converter(output_resistance=1.0))


def test_a_current_that_leaves_nothing_is_refused():
    with pytest.raises(OperatingError, match="load modem"):
        volts(series(resistance="80 mΩ"), load={**CURRENT, "current": "279 A"})


def test_a_power_that_settles_below_half_the_supply_because_of_another_load():
    """hand: 150 A through 0.1 ohm leave 13 V, of which 1 W takes (13 + sqrt(13^2 - 0.4)) / 2."""
    other = {"name": "heater", "kind": "constant_current", "current": "150 A"}
    found = volts(series(resistance="80 mΩ"), load=[power(1.0), other])
    assert found == pytest.approx((13 + np.sqrt(169 - 0.4)) / 2, rel=1e-9, abs=0)


def test_three_kinds_on_one_line_balance():
    """hand: Kirchhoff's laws at the answer."""
    loads = [power(30.0), {**resistive("9 ohm"), "name": "b"}, {**CURRENT, "name": "c"}]
    state = design(series(resistance="480 mΩ"), load=loads, **LINE).state()
    v = state.load_voltages["modem"]
    drawn = 30 / v + v / 9 + 4
    assert 28 - 0.5 * drawn == pytest.approx(v, rel=1e-12, abs=0)
    assert state.converter_current == pytest.approx(drawn, rel=1e-9, abs=0)
    assert state.currents["L1"] == pytest.approx(drawn, rel=1e-9, abs=0)
    assert state.terminal_voltage == pytest.approx(28 - 0.02 * drawn, rel=1e-9, abs=0)


def test_shares_of_an_operating_point():
    points = [{"name": "half", "load": "50 %"}, {"name": "named", "loads": {"modem": "25 %"}}]
    one = design(series(resistance="80 mΩ"), load=[CURRENT], operating_point=points, **LINE)
    assert one.state("half").load_voltages["modem"] == pytest.approx(27.8, rel=1e-12, abs=0)  # hand
    assert one.state("named").load_voltages["modem"] == pytest.approx(27.9, rel=1e-12, abs=0)  # hand
    assert one.state().point == "half"


def test_copper_is_colder_at_a_cold_point():
    """hand: 0.393 %/K for copper, from 20 °C to -20 °C."""
    points = [{"name": "cold", "temperature": "-20 °C"}]
    state = design(series(resistance="80 mΩ"), load=CURRENT, operating_point=points, **LINE).state()
    found = state.load_voltages["modem"]
    assert state.temperature == pytest.approx(253.15, rel=1e-12, abs=0)
    assert 28 - found == pytest.approx(4 * (0.02 + 0.08 * (1 - 40 * 0.00393)), rel=1e-4, abs=0)


def test_bias_is_the_voltage_at_each_capacitor():
    state = design(shunt(), series(resistance="80 mΩ"), shunt(), load=CURRENT, **LINE).state()
    assert state.biases["C1"] == pytest.approx(28 - 4 * 0.02, rel=1e-9, abs=0)  # hand
    assert state.biases["C2"] == pytest.approx(28 - 4 * 0.1, rel=1e-9, abs=0)  # hand


def test_balanced_current_without_bonds():
    state = design(common_mode(), load=CURRENT, **LINE).state()
    assert state.currents["L1"] == pytest.approx(4.0, rel=1e-9, abs=0)  # hand
    assert state.unbalances["L1"] == pytest.approx(0.0, rel=0, abs=1e-6 * 4)


def test_two_bonds_take_return_current_away_from_the_choke():
    """hand: 4 A divide between the return winding (10 mohm) and both bonds (2 x 15 mohm): 3 A and 1 A."""
    source = converter(output_resistance=0.0, bond={"resistance": "15 mΩ"})
    load = {**CURRENT, "bond": {"resistance": "15 mΩ"}}
    state = design(common_mode(), source=source, load=load).state()
    assert state.unbalances["L1"] == pytest.approx(1.0, rel=1e-5, abs=0)
    assert state.currents["L1"] == pytest.approx((4 + 3) / 2, rel=1e-5, abs=0)


def test_one_bond_takes_none():
    source = converter(bond={"resistance": "15 mΩ"})
    state = design(common_mode(), source=source, load=CURRENT).state()
    assert abs(state.unbalances["L1"]) < 1e-4 * 4  # the insulation alone


@pytest.mark.parametrize("load", [resistive(), CURRENT, power(112.0)])
def test_many_designs_give_the_same_as_each_alone(load):
    values = [0.005, 0.02, 0.09]
    one = design(series(resistance="80 mΩ"), common_mode(), shunt(), load=load)
    source = one.converter
    many = source.replace(output_resistance=source.output_resistance.at(np.array(values)[:, None]))
    state = one.replace(converter=many).state()
    assert state.load_voltages["modem"].shape == (3, 1)
    for place, value in enumerate(values):
        alone = one.replace(converter=source.replace(output_resistance=value)).state()
        for read in ("load_voltages", "load_currents", "biases", "currents"):
            for name, level in getattr(alone, read).items():
                assert_allclose(getattr(state, read)[name][place, 0], level, rtol=1e-9, atol=0)


def test_loads_may_hold_many_designs_too():
    """hand: the upper root for each."""
    watts = np.array([[10.0], [112.0]])
    found = volts(series(resistance="80 mΩ"), load=power(watts))
    assert_allclose(found, (28 + np.sqrt(28**2 - 0.4 * watts)) / 2, rtol=1e-9, atol=0)
