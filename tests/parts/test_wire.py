"""Wire and pairs: sizes, temperature, and the loop that the circuit sees."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.wire import (
    Lead,
    WirePair,
    awg_diameter,
    over_plane_mutual,
    pair_over_plane_capacitance,
    straight_wire_inductance,
    two_wire_inductance,
    wire_over_plane_inductance,
)


def pair(**changes):
    return WirePair(**{"length": "2 m", "awg": 24, "spacing": "1.5 mm"} | changes)


@pytest.mark.parametrize("gauge", [24, "24", "24 AWG", "AWG 24", "24AWG", "awg24"])
def test_a_gauge_is_read_in_every_usual_spelling(gauge):
    assert pair(awg=gauge).awg == 24


@pytest.mark.parametrize("gauge", [24.5, True, -1, 41, "24 mm", "0.5 mm²", "", "1/0 AWG", None])
def test_what_is_no_gauge_is_refused(gauge):
    with pytest.raises(InputError, match=r"awg|cross_section"):
        pair(awg=gauge)


def test_a_cross_section_or_a_gauge_but_not_both():
    assert pair(awg=None, cross_section="0.5 mm2").diameter == pytest.approx(0.79788e-3, rel=1e-4, abs=0)  # hand
    for wrong in ({"cross_section": "0.5 mm2"}, {"awg": None}):
        with pytest.raises(InputError, match=r"cross_section.*exactly one"):
            pair(**wrong)


@pytest.mark.parametrize(
    ("wrong", "key"),
    [
        ({"spacing": "0.4 mm"}, "spacing"),
        ({"length": "20 mm", "spacing": "30 mm"}, "spacing"),
        ({"length": "2 mm"}, "length"),
        ({"length": 2e6}, "length"),
        ({"awg": None, "cross_section": 0.5}, "cross_section"),
    ],
)
def test_a_pair_that_cannot_be_is_refused(wrong, key):
    with pytest.raises(InputError) as caught:
        pair(**wrong)
    assert caught.value.problems[0].key == key


def test_the_circuit_of_a_pair_has_its_resistance_and_its_loop_inductance():
    part = pair()
    circuit = part.add(Circuit(), "W", ("a", "b"), ("0", "c"), temperature=313.15).resistor("load", "b", "c", 0.0)
    f = np.array([0.0, 1e3, 1e9])
    z = circuit.impedance(f, "a")
    assert z[0].real == pytest.approx(2 * 2 * 84.21e-3 * (1 + 20 * 0.00393), rel=1e-4, abs=0)  # hand
    assert z[1].imag == pytest.approx(2 * np.pi * 1e3 * part.loop_inductance, rel=1e-4, abs=0)
    outside = part.loop_inductance - 2 * 2 * 50e-9  # hand: 50 nH for each metre of wire is inside it
    assert z[2].imag == pytest.approx(2 * np.pi * 1e9 * outside, rel=1e-2, abs=0)


def test_a_long_pair_is_the_line_formula_and_a_short_one_less():
    long = pair(length="100 m")
    per_metre = two_wire_inductance(1.5e-3, awg_diameter(24))  # second method
    assert long.loop_inductance / 100 == pytest.approx(per_metre, rel=1e-4, abs=0)
    short = pair(length="20 mm", spacing="10 mm")
    assert short.loop_inductance < 0.02 * two_wire_inductance(10e-3, awg_diameter(24))


def test_arrays_of_designs():
    many = pair(length=np.array([[1.0], [2.0]]), spacing=np.array([[1.5e-3], [3e-3]]))
    single = pair(length=2.0, spacing=3e-3)
    assert many.loop_inductance[1, 0] == pytest.approx(single.loop_inductance, rel=1e-12, abs=0)
    circuit = many.add(Circuit(), "W", ("a", "b"), ("0", "c")).resistor("load", "b", "c", 1.0)
    assert circuit.impedance([1e3], "a").shape == (2, 1)


def test_a_lead_is_a_resistor_and_an_inductor():
    lead = Lead(length="150 mm", awg=22)
    circuit = lead.add(Circuit(), "G", "a", "0")
    assert [(e.name, e.nodes) for e in circuit.elements] == [("G.r", ("a", "G:r")), ("G.l", ("G:r", "0"))]
    assert lead.inductance == pytest.approx(straight_wire_inductance(0.15, awg_diameter(22)), rel=1e-12, abs=0)
    assert lead.describe()["size"] == "22 AWG"


# ---- over a chassis plane -----------------------------------------------------------------------------------------

OVER = {"length": "1 m", "awg": None, "cross_section": "0.75 mm2", "spacing": "3 mm", "height": "20 mm"}


def between(one, frequency, *ties):
    """Impedance into the pair's near end, its far end and what else is named tied together."""
    circuit = Circuit()
    one.add(circuit, "W", ("a", "b"), ("c", "d"), chassis="plane")
    for number, (a, b) in enumerate(ties):
        circuit.resistor(f"tie{number}", a, b, 0.0)
    if one.reaches_chassis:
        circuit.resistor("insulation", "plane", "0", 1e12)
    return circuit.impedance([frequency], "a", "0")[0]


def test_a_wire_over_a_plane_has_half_the_inductance_and_twice_the_capacitance_of_a_pair():
    """published J. O. Bird, Electrical Circuit Theory and Technology, ch. 40, example 20: 2.13 mH and 5.48 nF for 1 km of
    pair, 0.8 m apart, of 10 mm; its middle plane changes nothing."""
    assert wire_over_plane_inductance(0.4, 0.01) * 1e3 == pytest.approx(2.13e-3 / 2, rel=3e-3, abs=0)
    alone = pair_over_plane_capacitance(0.4, 0.01, 1e4)
    assert alone * 1e3 == pytest.approx(2 * 5.48e-9, rel=2e-3, abs=0)


def test_two_wires_over_a_plane_solved_as_line_charges_and_their_images():
    """second method: potential coefficients of two line charges and their images, inverted."""
    h, d, s = 0.02, 1e-3, 0.006
    mean, cross = np.log(4 * h / d), 0.5 * np.log((s**2 + 4 * h**2) / s**2)
    charge = np.linalg.solve(np.array([[mean, cross], [cross, mean]]) / (2 * np.pi * 8.8541878e-12), [1.0, 1.0])
    assert pair_over_plane_capacitance(h, d, s) == pytest.approx(charge[0], rel=1e-6, abs=0)
    assert over_plane_mutual(h, s) == pytest.approx(2e-7 * cross, rel=1e-9, abs=0)


def test_a_pair_close_together_hardly_knows_of_the_plane():
    """hand: the loop of a long pair far over the plane is that without it."""
    over = WirePair(**OVER | {"height": "0.5 m", "length": "100 m"})
    assert over.loop_inductance / 100 == pytest.approx(two_wire_inductance(3e-3, over.diameter), rel=1e-3, abs=0)


def test_the_capacitance_stands_half_at_each_end_and_may_be_stated():
    """hand: both lines tied at the near end see twice one conductor's capacitance at 1 kHz."""
    for one, each in ((WirePair(**OVER), None), (WirePair(**OVER, chassis_capacitance="40 pF"), 40e-12)):
        seen = between(one, 1e3, ("a", "c"), ("b", "d"), ("plane", "0"))
        expected = 2 * (one.capacitance_to_chassis if each is None else each)
        assert -1 / (2 * np.pi * 1e3 * seen.imag) == pytest.approx(expected, rel=1e-6, abs=0)
    assert WirePair(**OVER | {"height": None}).capacitance_to_chassis == 0
    assert not WirePair(**OVER | {"height": None}).reaches_chassis


def test_unequal_conductors_differ_by_the_stated_share():
    """hand: 10 % imbalance is 1.05 and 0.95 of the mean, of everything; the loop as the circuit sees it is the stated one."""
    one = WirePair(**OVER | {"imbalance": "10 %"})
    circuit = Circuit()
    one.add(circuit, "W", ("a", "b"), ("c", "0"))
    held = {element.name: element.value for element in circuit.elements}
    for what in ("l1", "c1a", "c1b"):
        assert held[f"W.{what}"] / held[f"W.{what.replace('1', '2')}"] == pytest.approx(1.05 / 0.95, rel=1e-12, abs=0)
    first, second = (held[f"W.r{number}"](np.array([0.0, 1e6])) for number in (1, 2))
    assert_allclose(first / second, 1.05 / 0.95, rtol=1e-12, atol=0)
    assert first[0] == pytest.approx(1.05 * one.resistance(), rel=1e-12, abs=0)
    far = WirePair(**OVER | {"imbalance": "10 %", "height": None})
    loop = between(far, 1e3, ("b", "d"), ("c", "0"))
    assert loop.imag == pytest.approx(2 * np.pi * 1e3 * far.loop_inductance, rel=1e-4, abs=0)  # a little skin effect


@pytest.mark.parametrize(
    ("wrong", "key"),
    [({"height": "0.4 mm"}, "height"), ({"height": "2 m"}, "height"), ({"height": "20 V"}, "height"),
     ({"imbalance": "60 %"}, "imbalance"), ({"chassis_capacitance": "-1 pF"}, "chassis_capacitance")],
)  # fmt: skip
def test_what_cannot_be_over_a_plane_is_named(wrong, key):
    with pytest.raises(InputError, match=key):
        WirePair(**OVER | wrong)
