"""Stability: the constant-power load behind a filter, by poles and by the Nyquist count."""

import numpy as np
import pytest

from filterlib import Circuit
from filterlib.analysis.review import review
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.stability.operating_point import operating
from filterlib.analysis.stability.stability import _by_nyquist, rings_most, stability, unstable_poles
from filterlib.system.solution import solve
from filterlib.words.review.review_sentences import headline
from filterlib.words.stability_sentences import stability_sentence
from tests.designs import converter, design, film, series, shunt

MODEM = {"name": "modem", "kind": "constant_power", "power": "112 W", "loop_bandwidth": "500 kHz"}  # 28 V, 4 A
STIFF = converter(shape="triangle", output_capacitance="470 µF", output_esr="10 mΩ", output_resistance="2 mΩ")
DAMPED = {"kind": "damping", "part": film("10 µF"), "resistance": "2 ohm"}


def test_28_volts_4_amperes_behind_10_uH_and_1_uF():
    """hand: -28 V / 4 A = -7 ohm; L/(C r) = 10 uH / (1 uF * 7 ohm) = 1.43 ohm of series resistance would be needed."""
    one = design(shunt(), series(), shunt(), source=STIFF, load=MODEM)
    found = operating(solve(one))
    bad = unstable_poles(found.poles)
    assert not found.stable
    assert len(bad) == 2
    assert "right half plane" in stability_sentence(found.stability)
    assert abs(bad[0].imag) / (2 * np.pi) == pytest.approx(50e3, rel=0.15, abs=0)  # hand: 1 / (2 pi sqrt(10 uH 1 uF))


def test_damping_makes_it_stable():
    assert operating(solve(design(shunt(), series(), shunt(), DAMPED, source=STIFF, load=MODEM))).stable


def test_unstable_review_gives_no_ripple_and_says_why():
    result = review(design(shunt(), series(), shunt(), source=STIFF, load=MODEM))
    point = result.points[0]
    assert result.exit_code == 1
    assert point.ripple.figures == {}
    assert "right half plane" in stability_sentence(point.ripple.reason)
    assert "right half plane" in stability_sentence(point.steps["modem"].reason)
    assert "unstable" in headline(result)


def test_48_volt_row():
    """published: the constant-power stability criterion (R. D. Middlebrook, IEEE IAS 1976), roots of
    s^2 + s (R/L - P/(C V^2)) + (1 - R P/V^2)/(L C) for 48 V, 100 W, 10 uH, 100 uF, 50 mohm: -2283.0 +- j31505.8."""
    circuit = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "a", 50e-3).inductor("L", "a", "out", 10e-6)
    circuit.capacitor("C", "out", "0", 100e-6).conductance("P", "out", "0", -100 / 48**2)
    poles = circuit.poles()
    np.testing.assert_allclose(poles, [-2283.0 - 31505.8j, -2283.0 + 31505.8j], rtol=5e-6, atol=0)
    assert not unstable_poles(poles).size


@pytest.mark.parametrize("resistance", ["3 mΩ", "6 mΩ"])
def test_least_series_resistance(resistance):
    """published, same source: stable only above L P / (C V^2) = 4.340 mohm."""
    ohms = float(resistance.split()[0]) * 1e-3
    circuit = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "a", ohms).inductor("L", "a", "out", 10e-6)
    circuit.capacitor("C", "out", "0", 100e-6).conductance("P", "out", "0", -100 / 48**2)
    assert bool(unstable_poles(circuit.poles()).size) == (ohms < 4.340e-3)


@pytest.mark.parametrize("stages", [(shunt(), series(), shunt()), (shunt(), series(), shunt(), DAMPED)])
def test_nyquist_agrees_with_the_poles(stages):
    """second method: encirclements of -1 at the load's port against the poles."""
    one = design(*stages, source=STIFF, load=MODEM)
    solution = solve(one)
    assert _by_nyquist(solution).stable == stability(solution).stable


def test_pole_at_zero_is_no_instability():
    assert not unstable_poles(np.array([0.0, 1e-7, -1e6 + 1e7j])).size
    assert unstable_poles(np.array([-1.0, 3.0 + 1e5j, 3.0 - 1e5j])).size == 2


def test_least_damped():
    """hand: poles -w/(2 Q) +- j w sqrt(1 - 1/(4 Q^2)) of w = 2 pi 10 kHz and Q = 5."""
    w, q = 2 * np.pi * 10e3, 5.0
    pole = -w / (2 * q) + 1j * w * np.sqrt(1 - 1 / (4 * q**2))
    frequency, quality = rings_most(np.array([pole, np.conj(pole), -1e9]))
    assert frequency == pytest.approx(10e3, rel=1e-9, abs=0)
    assert quality == pytest.approx(5.0, rel=1e-9, abs=0)


def test_stable_design_rests():
    one = design(shunt(), series(), shunt(), source=converter(shape="triangle"))
    assert operating(solve(one)).stable
    assert ripple(solve(one), interval=False).reason is None
