"""Loads: what each draws at DC, and what it is to a small signal."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.network.waveform import Waveform
from filterlib.parts.skin_effect import internal_impedance
from filterlib.parts.wire import WirePair
from filterlib.system.line.load import LEFT_OVER, LOOP_BANDWIDTH, Load
from filterlib.system.solution import solve
from filterlib.system.state import State
from tests.designs import design, film

AT = State(nominal_voltage=28.0)
POWER = {"kind": "constant_power", "power": "112 W"}
EACH = {
    "resistive": {"kind": "resistive", "resistance": "7 ohm"},
    "constant_current": {"kind": "constant_current", "current": "4 A"},
    "constant_power": POWER,
}


def load(**more):
    return Load(**{"name": "modem"} | more)


def admittance(one, frequencies, state=AT):
    """Seen into the load's terminals, beside 1 S that is taken off again."""
    circuit = Circuit().conductance("beside", one.plus, one.minus, 1.0)
    if one.minus != "0":
        circuit.resistor("reference", one.minus, "0", 0.0)
    one.add_input(circuit, state)
    return 1 / circuit.impedance(frequencies, one.plus, one.minus) - 1.0


def refused(**more):
    with pytest.raises(InputError) as caught:
        load(**more)
    return {problem.key: problem.why for problem in caught.value.problems}


@pytest.mark.parametrize("kind", EACH)
def test_every_kind_draws_4_a_from_28_v_and_its_slope_is_the_derivative(kind):
    one = load(**EACH[kind])
    assert one.draws(28.0, 1.0) == pytest.approx(4.0, rel=1e-12, abs=0)  # hand
    assert one.draws(28.0, 0.25) == pytest.approx(1.0, rel=1e-12, abs=0)  # hand
    step = 1e-3  # second method: central difference, exact to its square
    slope = (one.draws(28 + step, 0.5) - one.draws(28 - step, 0.5)) / (2 * step)
    assert one.slope(28.0, 0.5) == pytest.approx(slope, rel=1e-6, abs=1e-9)


def test_constant_power_is_a_negative_conductance_up_to_its_loop():
    """hand: -P/V^2 = -1/7 S at DC, -(1 - j)/2 of that at the loop's bandwidth, next to nothing far above."""
    seen = admittance(load(**POWER, loop_bandwidth="15 kHz"), [0.0, 15.0, 15e3, 15e7])
    assert_allclose(seen[:2], -1 / 7, rtol=2e-3, atol=0)
    assert seen[0] == pytest.approx(-1 / 7, rel=1e-12, abs=0)
    assert_allclose(seen[2], -(1 - 1j) / 2 / 7, rtol=2 * LEFT_OVER, atol=0)
    assert 0 < seen[3].real < 2 * LEFT_OVER / 7


def test_constant_power_follows_voltage_and_share():
    """hand: -0.5 * 112 W / (20 V)^2."""
    state = State(load_voltages={"modem": 20.0}, load_scale={"modem": 0.5})
    assert admittance(load(**POWER), [0.0], state)[0] == pytest.approx(-0.14, rel=1e-12, abs=0)


def test_the_loop_bandwidth_that_is_not_stated_is_the_default():
    stated, left = (admittance(load(**POWER, **more), [3e4]) for more in ({"loop_bandwidth": LOOP_BANDWIDTH}, {}))
    assert_allclose(left, stated, rtol=1e-12, atol=0)


def test_resistive_and_constant_current_loads_at_any_frequency():
    f = [0.0, 1e3, 1e8]
    assert_allclose(admittance(load(**EACH["resistive"]), f), 1 / 7, rtol=1e-12, atol=0)  # hand
    half = State(load_scale={"modem": 0.5})
    assert_allclose(admittance(load(**EACH["resistive"]), f, half), 0.5 / 7, rtol=1e-12, atol=0)  # hand
    assert_allclose(admittance(load(**EACH["constant_current"]), f), 0, rtol=0, atol=1e-12)  # against 1 S beside it


@pytest.mark.parametrize("kind", EACH)
def test_a_load_at_rest_is_an_open_end(kind):
    rest = State(load_scale={"modem": 0.0}, nominal_voltage=28.0)
    assert_allclose(admittance(load(**EACH[kind]), [0.0, 1e6], rest), 0, rtol=0, atol=1e-12)  # against 1 S beside it


def test_the_input_capacitor_is_the_part_with_its_loop_as_often_as_it_is_fitted():
    """second method: the part's own impedance, at the load's voltage as bias."""
    part = {**film(), "kind": "ceramic_class_2", "bias_curve": [["0 V", 1], ["50 V", 0.2]]}
    one = load(**EACH["constant_current"], input_capacitor={"part": part, "count": 3, "mounting_loop": "6 nH"})
    f = np.array([1e3, 1e6, 1e7])
    part = one.input_capacitor.part
    assert_allclose(
        admittance(one, f), 1 / part.impedance(f, bias=28.0, mounting_loop=6e-9, count=3), rtol=1e-9, atol=0
    )


def test_a_lead_moves_the_load_behind_it():
    pair = {"length": "0.4 m", "cross_section": "0.75 mm2", "spacing": "3 mm"}
    one = load(**EACH["resistive"], lead=pair)
    assert one.port == ("modem_plus", "modem_return")
    assert load(**EACH["resistive"]).port == ("load_plus", "0")
    circuit = Circuit()
    one.add(circuit, AT)
    wire = WirePair(**pair)
    f = np.array([0.0, 1e5])
    inside = internal_impedance(f, wire.resistance(), wire.internal_inductance)
    outside = wire.loop_inductance - 2 * wire.internal_inductance
    expected = 7 + 2 * inside + 2j * np.pi * f * outside  # hand: out and back in series
    assert_allclose(circuit.impedance(f, "load_plus"), expected, rtol=1e-9, atol=0)


def test_a_positive_current_of_the_source_is_drawn_from_the_line():
    circuit = Circuit().resistor("line", "load_plus", "0", 10.0)
    one = load(**EACH["constant_current"])
    one.add(circuit, AT)
    assert circuit.transfer([0.0], one.source, "load_plus")[0] == pytest.approx(-10.0, rel=1e-12, abs=0)  # hand


def test_a_bond_joins_the_loads_return_to_the_chassis():
    circuit = Circuit().resistor("reference", "chassis", "0", 0.0)
    load(**EACH["resistive"], lead={"length": "1 m", "awg": 20, "spacing": "2 mm"}, bond={"resistance": "3 ohm"}).add(
        circuit, AT
    )
    nodes = {element.name: element.nodes for element in circuit.elements}
    assert nodes["modem.bond.inductance"][0] == "modem_return"
    assert nodes["modem.bond.resistance"][1] == "chassis"


@pytest.mark.parametrize("duty", [0.5, 0.2])
def test_reflected_ripple_is_a_triangle_of_current_drawn_from_the_line(duty):
    """second method: the same triangle from straight lines, through the circuit's own response."""
    drawn = {"peak_to_peak": "200 mA", "frequency": "1 MHz", "duty": duty}
    one = design(load={"name": "modem", "kind": "resistive", "resistance": "7 ohm", "ripple": drawn})
    state = one.state()
    found = spectra(solve(one, state))
    k = np.arange(1, 11)
    wave = Waveform.lines(1e-6, [0.0, duty * 1e-6], [-0.1, 0.1]).coefficients(10)[1:]
    response = one.circuit(state).transfer(k * 1e6, "modem.current", "load_plus")
    assert_allclose(found.reflected["modem", "modem"][:10], wave * response, rtol=1e-9, atol=1e-9 * 0.1)
    assert_allclose(found.reflected_frequencies["modem"][:10], k * 1e6, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("more", "keys"),
    [
        ({"kind": "constant_power"}, {"power"}),
        ({"kind": "constant_power", "current": "3 A"}, {"power", "current"}),
        ({**POWER, "resistance": "7 ohm"}, {"resistance"}),
        ({"kind": "resistive", "resistance": "7 V", "power": "3 W"}, {"resistance", "power"}),
        ({"kind": "resistive", "resistance": 0}, {"resistance"}),
        ({"kind": "inductive"}, {"kind"}),
        ({**POWER, "name": "a:b"}, {"name"}),
        ({**POWER, "input_capacitor": {"part": film(), "count": 0}}, {"input_capacitor.count"}),
        ({**POWER, "ripple": {"frequency": "1 MHz"}}, {"ripple.peak_to_peak"}),
    ],
)
def test_what_cannot_be_is_named_all_at_once(more, keys):
    assert set(refused(**more)) == keys


@pytest.mark.parametrize(("stray", "reaches"), [("10 pF", True), (0, False), (None, False)])
def test_a_stray_capacitance_that_is_stated_brings_the_chassis_into_the_design(stray, reaches):
    """hand: nothing else reaches it."""
    one = load(**EACH["resistive"], **({} if stray is None else {"stray_capacitance": stray}))
    assert one.reaches_chassis is reaches
    assert design(load=one).chassis is reaches
