"""Ceramics beside an electrolytic inside a converter: against hand values, its own ladder, and a circuit of its elements."""

import numpy as np
import pytest

from filterlib.network.circuit import Circuit
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.unequal import ESL, unequal
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from tests.designs import KNOWN, converter, shunt
from tests.designs import design as made

F = np.geomspace(1e3, 3e7, 60)
BANK = {"output_capacitance": "220 µF", "output_esr": "20 mΩ", "output_esl": "5 nH", "bulk_esr_ratio": 4}


def inside(**more):
    return Converter(**converter(**KNOWN | BANK | more))


def test_capacitance_together_is_what_was_stated_and_resistance_nearly():
    """hand: far below resonance all capacitances add; at the switching frequency the ceramics leave a quarter of 80 mΩ."""
    one = inside()
    at = np.array([10.0, one.switching_frequency])
    low, high = one.capacitor_impedance(at)
    assert -1 / (2 * np.pi * at[0] * low.imag) == pytest.approx(220e-6, rel=1e-3, abs=0)
    assert high.real == pytest.approx(20e-3, rel=0.2, abs=0)


def test_impedance_ladder_and_transfer_are_those_of_its_elements():
    """second method: the elements one by one, the current into the ceramics; poles by the ladder."""
    both = inside().unequal
    whole = Circuit().current_source("in", "p", "0").resistor("far", "b", "0", 0.0)
    for add, name, a, b, value in (
        ("capacitor", "c", "a", "x", both.capacitance), ("resistor", "r", "x", "y", both.esr), ("inductor", "l", "y", "b", both.esl),
        ("inductor", "track", "a", "p", both.esl), ("capacitor", "cc", "p", "q", both.ceramic),
        ("resistor", "rc", "q", "s", both.ceramic_esr), ("inductor", "lc", "s", "b", ESL),
    ):  # fmt: skip
        getattr(whole, add)(name, a, b, value)
    terminals = whole.transfer(F, ["in"], [("a", "0")])[0][0]
    assert np.abs(terminals / (both.impedance(2j * np.pi * F) * both.passed(2j * np.pi * F)) - 1).max() < 1e-9
    seen = np.array([Circuit.of(both.ladder().netlist).resistor("far", "b", "0", 0.0).impedance(F, "a")]).ravel()
    assert seen == pytest.approx(both.impedance(2j * np.pi * F), rel=1e-9, abs=0)


def test_at_a_ratio_of_1_it_is_one_capacitor():
    one, plain = inside(bulk_esr_ratio=1), Converter(**converter(**KNOWN | BANK | {"bulk_esr_ratio": 1}))
    assert one.unequal is None
    many = plain.model_copy(update={"bulk_esr_ratio": plain.bulk_esr_ratio.at(np.array([[1.0], [4.0]]))})
    z = many.capacitor_impedance(F)
    assert z[0] == pytest.approx(one.capacitor_impedance(F), rel=1e-12, abs=0)
    assert many.transfer_impedance(F)[0] == pytest.approx(one.transfer_impedance(F), rel=1e-12, abs=0)
    assert np.abs(z[1] / z[0] - 1).max() > 0.5


def test_without_resistance_above_resonance_most_of_it_is_ceramics():
    """hand: any susceptance takes more than a third of nothing, so that only `MOST`, nine tenths of C, bounds it; a ratio of 1 leaves none."""
    assert unequal(22e-6, 0.0, 50e-9, 1.5, 1e6).ceramic == pytest.approx(0.9 * 22e-6, rel=1e-9, abs=0)
    assert unequal(22e-6, 0.0, 50e-9, 1.0, 1e6).ceramic == 0.0


def test_it_is_open_where_nothing_is_said_of_the_inductance():
    """hand: who states C, ESR and ESL states one capacitor; who states less may have ceramics beside it."""
    stated = {key: value for key, value in (KNOWN | BANK).items() if key not in ("output_esl", "bulk_esr_ratio")}

    def keys(**source):
        whole: Design = made(shunt(), source=converter(**source))
        return [one.key for one in uncertain_parameters(whole)]

    assert "converter.bulk_esr_ratio" in keys(**stated)
    assert "converter.bulk_esr_ratio" not in keys(**stated, output_esl="5 nH")
    assert "converter.bulk_esr_ratio" not in keys(**stated, bulk_esr_ratio=1)


def test_many_at_once_are_each_alone():
    ratios = np.array([[1.5], [3.0], [12.0]])
    many = unequal(220e-6, 20e-3, 5e-9, ratios, 180e3).impedance(2j * np.pi * F)
    for row, ratio in zip(many, ratios.ravel(), strict=True):
        assert row == pytest.approx(
            unequal(220e-6, 20e-3, 5e-9, ratio, 180e3).impedance(2j * np.pi * F), rel=1e-12, abs=0
        )


def test_up_to_a_ratio_of_one_there_are_no_ceramics():
    """law: all below is the one capacitor, alone and among several designs."""
    plain = Converter(**converter(**KNOWN | BANK | {"bulk_esr_ratio": 1}))
    f = np.array([200e3, 5e6])
    for ratios in (0.5, np.array([[0.5], [1.0]])):
        below = plain.model_copy(update={"bulk_esr_ratio": plain.bulk_esr_ratio.at(ratios)})
        assert np.allclose(below.transfer_impedance(f), plain.transfer_impedance(f), rtol=1e-12, atol=0)
    mixed = plain.model_copy(update={"bulk_esr_ratio": plain.bulk_esr_ratio.at(np.array([[0.5], [4.0]]))})
    assert np.allclose(mixed.transfer_impedance(f)[0], plain.transfer_impedance(f), rtol=1e-12, atol=0)
