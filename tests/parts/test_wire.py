"""Wire and pairs: sizes, temperature, and the loop that the circuit sees."""

import numpy as np
import pytest

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.wire import Lead, WirePair, awg_diameter, straight_wire_inductance, two_wire_inductance


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
    f = np.array([0.0, 1e5])
    z = circuit.impedance(f, "a")
    assert z[0].real == pytest.approx(2 * 2 * 84.21e-3 * (1 + 20 * 0.00393), rel=1e-4, abs=0)  # hand
    assert z[1].imag == pytest.approx(2 * np.pi * 1e5 * part.loop_inductance, rel=1e-9, abs=0)


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
