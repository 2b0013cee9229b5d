"""The capacitor: what its fields say it does, at the reference, towards the ends, under bias and temperature."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.capacitor import Capacitor

ROOM = 293.15


def capacitor(**changes):
    stated = {
        "kind": "ceramic_class_2",
        "capacitance": "1 µF",
        "rated_voltage": "50 V",
        "loss_angle": 0.02,
        "esl": "1 nH",
    }
    return Capacitor(**stated | {"esr": "5 mΩ"} | changes)


CURVES = {
    "bias_curve": [[0, 1], [10, 0.9], [50, 0.3]],
    "temperature_curve": [["-40 °C", 0.8], ["25 °C", 1.0], ["125 °C", 0.9]],
    "esr_temperature_curve": [["-40 °C", 4.0], ["25 °C", 1.0], ["125 °C", 0.5]],
}


def test_at_the_reference_frequency_it_is_what_is_stated():
    z = capacitor().impedance([1e3])[0] - 2j * np.pi * 1e3 * 1e-9
    assert -1 / (2 * np.pi * 1e3 * z.imag) == pytest.approx(1e-6, rel=1e-12, abs=0)  # hand
    assert z.real == pytest.approx(5e-3 + 0.02 / (2 * np.pi * 1e3 * 1e-6), rel=1e-12, abs=0)  # hand


def test_the_loss_angle_is_the_same_at_every_frequency_and_the_capacitance_falls_as_causality_asks():
    part = capacitor(esr=0, esl=0, loss_angle=0.1)
    f = np.geomspace(1e2, 1e8, 13)
    z = part.impedance(f)
    assert_allclose(-z.real / z.imag, 0.1, rtol=1e-12, atol=0)  # hand
    # hand: Bode's relation for a constant phase, d ln|Z| / d ln f = phase/(pi/2) = -1 + 2 delta/pi
    slope = np.diff(np.log(np.abs(z))) / np.diff(np.log(f))
    assert_allclose(slope, -1 + 2 / np.pi * np.arctan(0.1), rtol=1e-9, atol=0)


def test_without_loss_it_is_a_capacitor_and_an_inductor_and_so_is_its_ladder():
    part, f = capacitor(loss_angle=0, esr=0), np.geomspace(1e3, 1e8, 21)
    w = 2 * np.pi * f
    assert_allclose(part.impedance(f), 1 / (1j * w * 1e-6) + 1j * w * 1e-9, rtol=1e-12, atol=0)  # hand
    ladder = part.add(Circuit(), "C", "a", "0").laddered()
    assert_allclose(ladder.impedance(f, "a"), part.impedance(f), rtol=1e-9, atol=0)


def test_a_direct_voltage_sees_an_open_circuit():
    assert capacitor().impedance([0.0])[0] == complex(np.inf, 0)
    assert capacitor().impedance(0.0).shape == (1,)


def test_the_self_resonance_with_and_without_its_loop():
    assert capacitor().self_resonance() == pytest.approx(5.0329e6, rel=1e-4, abs=0)  # hand: 1/(2 pi sqrt(1 uF 1 nH))
    assert capacitor().self_resonance(mounting_loop=3e-9) == pytest.approx(2.5165e6, rel=1e-4, abs=0)  # hand


def test_several_in_parallel_share_the_loop_too():
    part, f = capacitor(), np.array([1e4, 1e7])
    one = part.impedance(f, mounting_loop=2e-9)
    assert_allclose(part.impedance(f, mounting_loop=2e-9, count=4), one / 4, rtol=1e-12, atol=0)  # hand
    assert_allclose(one - part.impedance(f), 2j * np.pi * f * 2e-9, rtol=1e-9, atol=0)  # hand


def test_bias_and_temperature_move_the_capacitance_through_the_stated_points():
    part = capacitor(**CURVES)
    assert part.capacitance_at(10.0, 298.15) == pytest.approx(0.9e-6, rel=1e-12, abs=0)  # hand
    assert part.capacitance_at(-10.0, 298.15) == pytest.approx(0.9e-6, rel=1e-12, abs=0)  # hand: either sign
    assert part.capacitance_at(50.0, 233.15) == pytest.approx(0.24e-6, rel=1e-12, abs=0)  # hand
    assert part.resistance_at(233.15) == pytest.approx(20e-3, rel=1e-12, abs=0)  # hand
    assert_allclose(part.capacitance_at(np.array([[0.0], [50.0]]), 298.15), [[1e-6], [0.3e-6]], rtol=1e-12, atol=0)
    z = part.impedance([1e3], bias=50.0, temperature=398.15)[0]
    assert z.imag == pytest.approx(-1 / (2 * np.pi * 1e3 * 0.27e-6), rel=1e-6, abs=0)  # hand, ESL left out


def test_it_says_where_a_curve_ends_and_where_none_was_stated():
    part = capacitor(**CURVES)
    assert part.capacitance_at(80.0, 298.15) == part.capacitance_at(50.0, 298.15)
    assert part.beyond_curve(80.0) is True
    assert part.beyond_curve(-50.0) is False
    assert part.beyond_curve(0.0, 220.0) is True
    assert part.beyond_curve(np.array([[20.0], [51.0]])).tolist() == [[False], [True]]
    assert not part.bias_curve_missing
    assert capacitor().bias_curve_missing
    assert not capacitor(kind="film").bias_curve_missing
    assert capacitor().beyond_curve(50.0) is False


def test_it_adds_its_body_and_its_loop():
    circuit = capacitor().add(Circuit(), "C1", "plus", "0", mounting_loop=2e-9, count=2)
    assert [(e.kind, e.name, e.nodes) for e in circuit.elements] == [
        ("immittance", "C1", ("plus", "C1:x")),
        ("inductor", "C1.loop", ("C1:x", "0")),
    ]
    assert circuit.elements[1].value == pytest.approx(1.5e-9, rel=1e-12, abs=0)  # hand


def test_its_ladder_is_a_finite_capacitor_towards_direct_voltage():
    ladder = capacitor().add(Circuit(), "C1", "plus", "0").laddered()
    low = ladder.impedance([1e-3, 1e-2], "plus")
    series = -1 / (2 * np.pi * np.array([1e-3, 1e-2]) * low.imag)
    assert series[0] == pytest.approx(series[1], rel=1e-6, abs=0)
    assert 1e-6 < series[0] < 1.1e-6  # hand: 3.5 decades below 1 kHz at 1.3 % a decade, held at 316 Hz


def test_a_parts_list_shows_what_matters():
    shown = capacitor(**CURVES, ripple_current="1 A").describe()
    assert shown["capacitance"] == "1 µF ± 20 %"
    assert shown["bias curve"] == "to 50 V"
    assert shown["ripple current"] == "1 A"


def test_the_rated_ripple_current_follows_frequency_and_temperature():
    part = capacitor(
        ripple_current="2 A",
        ripple_frequency_curve=[["100 Hz", 0.5], ["10 kHz", 0.9], ["100 kHz", 1.0]],
        ripple_temperature_curve=[["65 °C", 1.5], ["105 °C", 1.0]],
    )
    assert_allclose(part.ripple_factor(np.array([100.0, 1e4, 1e5, 1e7])), [0.5, 0.9, 1, 1], rtol=1e-12, atol=0)  # hand
    assert 0.5 < part.ripple_factor(1e3) < 0.9
    assert part.ripple_factor(1e3) == pytest.approx(0.75, rel=0.1, abs=0)  # hand: near the middle of 100 Hz and 10 kHz
    assert part.rated_ripple(338.15) == pytest.approx(3.0, rel=1e-12, abs=0)  # hand
    assert part.rated_ripple(300.0) == pytest.approx(3.0, rel=1e-12, abs=0)  # held
    assert capacitor(ripple_current="2 A").rated_ripple(338.15) == 2.0
    assert capacitor().rated_ripple() is None
    assert capacitor().ripple_factor(1e3) == 1.0


def test_a_frequency_curve_is_one_at_100_kilohertz():
    with pytest.raises(InputError, match="must be 1 at 100 kHz"):
        capacitor(ripple_frequency_curve=[["100 Hz", 0.5], ["1 kHz", 1.0], ["100 kHz", 1.6]])


def test_leakage_of_what_has_an_insulation_follows_the_voltage():
    part = capacitor(capacitance="10 µF", insulation_time="500 s")
    assert part.leakage_current(50.0) == pytest.approx(1e-6, rel=1e-12, abs=0)  # hand: 50 MΩ
    assert part.leakage_current(-25.0) == pytest.approx(0.5e-6, rel=1e-12, abs=0)  # hand
    both = part.replace(insulation_resistance="10 MΩ")
    assert both.leakage_current(50.0) == pytest.approx(5e-6, rel=1e-12, abs=0)  # hand: the lesser of 10 and 50 MΩ
    assert capacitor().leakage_current(50.0) is None


def test_leakage_of_an_electrolytic_is_a_figure_of_the_part():
    part = capacitor(kind="aluminium", leakage_factor="0.01 1/s", leakage_least="3 µA", capacitance="100 µF")
    assert part.leakage_current(5.0) == pytest.approx(50e-6, rel=1e-12, abs=0)  # hand: 0.01 * 100 * 50 µA
    assert part.replace(capacitance="1 µF").leakage_current(5.0) == pytest.approx(3e-6, rel=1e-12, abs=0)  # hand


def test_the_dissipation_factor_of_the_whole():
    # hand: 0.02 of the dielectric and 2 pi 10 kHz 1 uF 5 mohm; the dielectric's C falls 1.27 % in the decade from 1 kHz
    found = capacitor(esl=0).dissipation_factor_at(1e4)
    assert found == pytest.approx(0.02 + 2 * np.pi * 1e4 * 1e-6 * 5e-3, rel=0.03, abs=0)
