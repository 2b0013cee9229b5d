"""One part as examined: impedances, faces and curves against hand values."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.analysis.linear.part_curves import examine
from filterlib.network.circuit import Circuit
from filterlib.parts.base import Part, Quantity
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.tables import standard_tables
from filterlib.parts.values import Value
from filterlib.parts.wire import WirePair

EVERY = [part for table in standard_tables() for part in table.values()]
CERAMIC = {
    "kind": "ceramic_class_2", "name": "C", "capacitance": "1 µF", "rated_voltage": "50 V", "loss_angle": 0, "esl": "1 nH",
    "esr": "10 mΩ", "bias_curve": [[0, 1], ["25 V", 0.5], ["50 V", 0.25]],
}  # fmt: skip
CHOKE = {
    "inductance": "10 µH", "saturation_current": "6 A", "rated_current": "6 A", "dc_resistance": "20 mΩ",
    "self_resonance": "20 MHz", "saturation": "hard",
}  # fmt: skip
BOTH_LINES = {
    "inductance": "1 mH", "leakage": "10 µH", "leakage_measured": "loop", "rated_current": "5 A", "saturation_current": "0.1 A",
    "dc_resistance": "15 mΩ", "relaxation_frequency": "100 MHz",
    "winding_capacitance": 0,
}  # fmt: skip


def at(found, words, frequency, mode=""):
    one = next(one for one in found.impedances if one.words == words and one.mode == mode)
    return float(np.interp(np.log(frequency), np.log(found.frequencies), np.abs(one.exact)))


def test_bias_of_a_capacitor():
    found = examine(Capacitor(**CERAMIC))
    reactance = 1 / (2 * np.pi * 10e3 * 1e-6)  # hand
    assert at(found, "", 10e3) == pytest.approx(reactance, rel=1e-3, abs=0)
    assert at(found, "bias 25 V", 10e3) == pytest.approx(2 * reactance, rel=1e-3, abs=0)  # hand: half is left
    assert at(found, "bias 50 V", 10e3) == pytest.approx(4 * reactance, rel=1e-3, abs=0)  # hand: a quarter
    assert {one.condition for one in found.impedances} == {"", "bias"}  # nothing is stated of temperature
    curve = next(curve for curve in found.curves if curve.against == "bias")
    assert (curve.unit, curve.x_unit) == ("F", "V")
    assert_allclose(np.interp([0, 25, 50], curve.x, curve.y), [1e-6, 0.5e-6, 0.25e-6], rtol=1e-9, atol=0)  # hand


def test_current_and_temperature_of_a_choke():
    found = examine(DifferentialChoke(**CHOKE))
    reactance = 2 * np.pi * 100e3 * 10e-6  # hand
    assert at(found, "", 100e3) == pytest.approx(reactance, rel=2e-3, abs=0)
    assert at(found, "direct current 6 A", 100e3) == pytest.approx(0.7 * reactance, rel=2e-3, abs=0)  # hand
    resistance = next(curve for curve in found.curves if curve.unit == "ohm")
    hot = 20e-3 * (1 + 0.00393 * (85 - 20))  # hand: copper, IEC 60028 (from memory)
    assert np.interp(358.15, resistance.x, resistance.y) == pytest.approx(hot, rel=1e-6, abs=0)
    assert found.difference(found.impedances[0]) < 1e-9  # its ladder is exact


def test_a_choke_in_both_lines_is_seen_in_both_ways():
    found = examine(CommonModeChoke(**BOTH_LINES))
    assert found.modes == ("both lines together", "out and back")
    together, back = 2 * np.pi * 100e3 * (1e-3 - 2.5e-6), 2 * np.pi * 100e3 * 10e-6  # hand: (L + M)/2 and 2 (L - M)
    assert at(found, "", 100e3, "both lines together") == pytest.approx(together, rel=2e-3, abs=0)
    assert at(found, "", 100e3, "out and back") == pytest.approx(back, rel=2e-3, abs=0)
    left = at(found, "unbalanced current 100 mA", 100e3, "both lines together")
    assert left == pytest.approx(2 * np.pi * 100e3 * (0.7 * 995e-6 + 2.5e-6), rel=2e-3, abs=0)  # hand
    assert not any(one.condition == "unbalance" for one in found.impedances if one.mode == "out and back")


def test_a_pair_of_wires_shows_its_loop():
    pair = WirePair(length="2 m", awg=24, spacing="1.5 mm")
    found = examine(pair)
    loop = (
        2 * np.pi * 1e8 * (1.616e-6 - 4 * 50e-9)
    )  # hand: two-wire line, and the 50 nH/m inside each wire have vanished
    assert at(found, "", 1e8, "out and back") == pytest.approx(loop, rel=2e-2, abs=0)
    plain = found.impedances[0]
    assert found.difference(plain) < 0.02  # the error that both faces are allowed


@pytest.mark.parametrize("part", EVERY, ids=lambda part: part.name)
def test_every_part_of_the_tables_can_be_examined(part):
    found = examine(part)
    assert found.impedances
    assert found.remark == ""
    assert found.impedances[0].condition == ""
    for one in found.impedances:
        assert np.all(np.isfinite(one.exact))
        assert found.difference(one) < 0.02  # the error that both faces are allowed
    for curve in found.curves:
        assert curve.x.shape == curve.y.shape
        assert np.ptp(curve.y) > 0


class Bead(Part):
    """A kind that nobody foresaw: a resistance that grows with the direct current, with an exact face alone."""

    kind: Literal["bead"] = "bead"
    resistance: Annotated[Value, Quantity("ohm", above=0)]
    rated_current: Annotated[Value, Quantity("A", above=0)] = 2.0

    def add(self, circuit: Circuit, name: str, a: str, b: str, *, current: Value = 0.0) -> Circuit:
        return circuit.immittance(name, a, b, lambda f: self.resistance * (1 + current) * np.ones(len(f), complex))


def test_a_part_of_tomorrow_is_shown_by_what_it_takes():
    found = examine(Bead(resistance="5 ohm"))
    assert [one.words for one in found.impedances] == ["", "direct current 1 A", "direct current 2 A"]
    assert at(found, "direct current 2 A", 1e6) == pytest.approx(15, rel=1e-9, abs=0)  # hand
    assert found.difference(found.impedances[0]) is None  # it has no ladder


def test_a_part_without_a_port_is_shown_by_its_values_alone():
    class Screw(Part):
        kind: Literal["screw"] = "screw"
        length: Annotated[Value, Quantity("m", above=0)]

    found = examine(Screw(length="5 mm"))
    assert found.impedances == ()
    assert "screw has no port" in found.remark
    assert [field.name for field in found.fields if field.stated] == ["length"]


def test_a_capacitor_without_curves_has_none():
    plain = {key: value for key, value in CERAMIC.items() if key != "bias_curve"}
    assert examine(Capacitor(**plain)).curves == ()
