"""The converter: what is stated, what is left to defaults with a range, and what lies behind its terminals."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.system.inside import converter as module
from filterlib.system.inside.converter import PLUS, RETURN, Converter
from filterlib.system.inside.ways import Bond
from filterlib.system.ranges.ranged import Ranged
from tests.designs import converter

IDEAL = {"output_esr": 0.0, "output_esl": 0.0, "lead_inductance": 0.0, "output_resistance": 0.0}


def made(**more):
    return Converter(**converter(**more))


def refused(**more):
    with pytest.raises(InputError) as caught:
        made(**more)
    return {problem.key: problem.why for problem in caught.value.problems}


def test_two_numbers_are_enough_and_all_the_rest_has_a_range_with_its_origin():
    one = made()
    fields = {name: getattr(one, name) for name in Converter.model_fields}
    left_open = {name: value for name, value in fields.items() if isinstance(value, Ranged)}
    assert set(left_open) == {"duty", "edge_time", "efficiency", "pulse_fall", "spike_share", *module.INSIDE}
    for value in left_open.values():
        assert not value.stated
        assert value.low < value.value < value.high or value in (left_open["pulse_fall"], left_open["spike_share"])
        assert "no source" in value.why
    assert left_open["spike_share"].low == left_open["spike_share"].value == 0  # a ripple alone
    assert left_open["pulse_fall"].low == left_open["pulse_fall"].value < left_open["pulse_fall"].high  # a flat pulse
    assert left_open["bulk_esr_ratio"].value == 1  # capacitors of one kind, as for all of its range below


def test_spikes_in_the_ripples_reading_are_said_once():
    """A spike that is stated tells how much of it is in the ripple's reading; that there is none may be said beside it."""
    spike = {"peak_to_peak": "1 V"}
    assert made(spike=spike).spike_share.known
    assert made(spike=spike, spike_share=0).spike_share.known
    with pytest.raises(InputError, match=r"spike_share = '20 %': a stated spike or recording tells"):
        made(spike=spike, spike_share="20 %")


@pytest.mark.parametrize("more", [{"spike": {"peak_to_peak": "1 V"}}, {"common_mode": {"swing": "28 V"}}])
def test_the_nested_defaults_say_their_origin_too(more):
    (held,) = [getattr(made(**more), key) for key in more]
    ranges = [value for name in type(held).model_fields if isinstance(value := getattr(held, name), Ranged)]
    assert [value for value in ranges if not value.stated]
    assert all("no source" in value.why for value in ranges if not value.stated)


@pytest.mark.parametrize(
    ("more", "duty"),
    [
        ({"input_voltage": "24 V"}, 1 - 24 / 28),  # hand: step-up, switch closed 1 - Vin/Vout
        ({"input_voltage": "24 V", "shape": "pulse"}, 1 - 24 / 28),
        ({"input_voltage": "56 V"}, 0.5),  # hand: step-down, Vout/Vin
        ({"input_voltage": "56 V", "shape": "triangle"}, 0.5),
        ({}, 0.45),  # pin: nothing fixes it
        ({"input_voltage": "28 V"}, 0.45),
        ({"input_voltage": "24 V", "isolated": True}, 0.45),
        ({"input_voltage": "24 V", "shape": "triangle"}, 0.45),  # a step-down stage from 24 V does not reach 28 V
        ({"input_voltage": "56 V", "shape": "pulse"}, 0.45),
    ],
)
def test_duty_follows_from_the_voltages_where_they_fix_it(more, duty):
    found = made(**more).duty
    assert found.value == pytest.approx(duty, rel=1e-12, abs=0)
    assert 0 < found.low < found.value < found.high < 1


@pytest.mark.parametrize("frequency", [5e3, 180e3, 2.4e6, 2.6e6, 2e7])
def test_defaults_fit_every_switching_frequency(frequency):
    one = made(switching_frequency=frequency)
    assert one.edge_time.high <= 0.2 / frequency * (1 + 1e-12)
    assert one.loop_bandwidth.high < frequency / 2


def test_the_loop_is_critically_damped_with_its_capacitor(monkeypatch):
    """hand: sC + 1/R + 1/(sL) = 0 with R = 1/(wc C), L = 4 R/wc gives (s + wc/2)^2 = 0, with the loop's delay left out."""
    monkeypatch.setattr(module, "LOOP_DELAY", 1e9)
    one = made(output_capacitance="22 µF", loop_bandwidth="9 kHz", **IDEAL)
    crossover = 2 * np.pi * 9e3
    resistance, inductance, _ = one.loop_elements
    assert resistance == pytest.approx(1 / (crossover * 22e-6), rel=1e-12, abs=0)  # hand: 0.804 ohm
    assert inductance == pytest.approx(4 * resistance / crossover, rel=1e-12, abs=0)
    circuit = Circuit().resistor("reference", RETURN, "0", 0.0).resistor("idle", PLUS, RETURN, 1e9)
    one.add(circuit)
    slow = [pole for pole in circuit.poles() if abs(pole) < 1e8]
    assert len(slow) == 2
    assert_allclose(slow, -crossover / 2, rtol=1e-3, atol=0)  # a double pole is known to the root of the rounding


def test_the_loop_lets_go_above_its_bandwidth():
    """hand: far above, the regulating branch is its delay inductance, so the capacitor is alone."""
    one = made(output_capacitance="22 µF", loop_bandwidth="9 kHz", output_resistance=0.0)
    high = np.array([50e6])
    assert_allclose(one.inner_impedance(high), one.capacitor_impedance(high), rtol=0.01, atol=0)


def test_at_dc_the_loop_leaves_the_output_resistance():
    one = made(output_resistance="15 mΩ")
    assert one.inner_impedance(np.array([0.0])) == pytest.approx(0.015, rel=1e-12, abs=0)  # hand


def test_both_faces_of_the_inside_agree():
    """second method: the impedance in closed form against the ladder that poles and steps use."""
    frequencies = np.array([0.0, 10.0, 1e4, 1e6, 5e7])
    circuit = Circuit().resistor("reference", RETURN, "0", 0.0)
    made().add(circuit)
    assert_allclose(
        circuit.laddered().impedance(frequencies, PLUS), circuit.impedance(frequencies, PLUS), rtol=1e-9, atol=0
    )


def test_the_capacitor_rings_where_it_should():
    """hand: at 1 / (2 pi sqrt(L C)) only the ESR is left."""
    one = made(output_capacitance="10 µF", output_esl="4 nH", output_esr="3 mΩ")
    resonance = 1 / (2 * np.pi * np.sqrt(10e-6 * 4e-9))
    assert_allclose(one.capacitor_impedance(np.array([resonance])), 3e-3, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"edge_time": "2 µs"}, "edge_time"),
        ({"edge_time": {"low": "10 ns", "high": "2 µs"}}, "edge_time"),
        ({"loop_bandwidth": "95 kHz"}, "loop_bandwidth"),
        ({"loop_bandwidth": "60 kHz ± 60 %"}, "loop_bandwidth"),
        ({"shape": "square"}, "shape"),
        ({"isolated": "yes"}, "isolated"),
        ({"isolated": 1}, "isolated"),
        ({"name": "two\nlines"}, "name"),
        ({"ripple": {"peak_to_peak": "110 mV", "order": 2.5}}, "ripple.order"),
        ({"ripple": {"peak_to_peak": "110 mV", "order": True}}, "ripple.order"),
        ({"ripple": {"peak_to_peak": "110 mV", "bandwidth": "none"}}, "ripple.bandwidth"),
        ({"spike": {"peak_to_peak": "1 V", "capacitors": [{"esr": 1}]}}, "spike.capacitors[1].capacitance"),
    ],
)
def test_what_cannot_be_is_named(more, key):
    assert list(refused(**more)) == [key]


def test_several_wrong_fields_are_all_named():
    assert set(refused(shape="square", edge_time="2 µs", ripple={"order": 0}, colour="red")) == {
        "shape", "edge_time", "ripple.order", "ripple.peak_to_peak", "colour",
    }  # fmt: skip


def test_bandwidths_default_to_what_the_figures_usually_mean():
    one = made(spike={"peak_to_peak": "1 V"})
    assert (one.ripple.bandwidth, one.spike.bandwidth) == (20e6, None)
    assert made(ripple={"peak_to_peak": "1 V", "bandwidth": "full"}).ripple.bandwidth is None


def test_a_bond_is_a_strap_or_a_capacitor():
    """hand: at 1 kHz 2 ohm and 1 uH in series, then with 1 nF too."""
    w = 2j * np.pi * 1e3
    for more, expected in (({}, 2 + w * 1e-6), ({"capacitance": "1 nF"}, 2 + w * 1e-6 + 1 / (w * 1e-9))):
        circuit = Circuit().resistor("reference", "chassis", "0", 0.0)
        Bond(inductance="1 µH", resistance="2 ohm", **more).add(circuit, "bond", "node")
        assert_allclose(circuit.impedance([1e3], "node"), expected, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("isolated", "swings_against", "reaches"),
    [(False, "converter_return", "chassis"), (True, "converter_input", "converter_return")],
)
def test_the_common_mode_drive_swings_against_the_shared_return_or_the_inputs(isolated, swings_against, reaches):
    circuit = Circuit()
    made(common_mode={"swing": "28 V", "coupling": "40 pF"}, isolated=isolated).add(circuit)
    elements = {element.name: element.nodes for element in circuit.elements}
    assert elements["common_mode"] == ("converter:switch", swings_against)
    assert elements["converter.coupling"] == ("converter:sink", reaches)
    assert ("converter.supply.inductance" in elements) == isolated


def test_replace_keeps_what_was_left_open_and_checks_again():
    one = made()
    assert not one.replace(output_esr="5 mΩ").output_esl.stated
    assert one.replace(output_esr="5 mΩ").output_esr.stated
    with pytest.raises(InputError, match="output_esr"):
        one.replace(output_esr="5 mV")
