"""Power from which a constant-power load rings, and what rules allow, to the digits of values computed by two other methods.

The values were computed from eigenvalues and from P = V^2 Re Y where Im Y = 0, which agreed to 1e-12. Formula of the undamped
row: s^2 + s (R/L - P/(C V^2)) + (1 - R P/V^2)/(L C) = 0, as R. D. Middlebrook, IEEE IAS annual meeting (1976), from memory.
"""

import numpy as np
import pytest

from filterlib import Circuit
from filterlib.analysis.stability.minor_loop import limits, loop_margins

ROWS = [  # V, L, R, C, Cb, Rb; critical power, its frequency, power at 0 dB, at -6 dB
    (28.0, 100e-6, 40e-3, 22e-6, 100e-6, 0.35, 255.3625, 1501.38, 250.152, 125.076),
    (12.0, 33e-6, 30e-3, 47e-6, 470e-6, 0.08, 208.7250, 1257.77, 206.835, 103.417),
]


def line(henries, ohms, farads, branch=None, damper=None):
    circuit = Circuit().resistor("R", "0", "a", ohms).inductor("L", "a", "b", henries).capacitor("C", "b", "0", farads)
    if branch is not None:
        circuit.resistor("Rb", "b", "d", damper).capacitor("Cb", "d", "0", branch)
    return circuit


def ideal(f):
    return -np.ones(len(f))


def limits_of(circuit):
    return limits(lambda f: circuit.impedance(f, "b"), ideal, 10.0, 1e6)


@pytest.mark.parametrize("row", ROWS)
def test_critical_power_and_rules_of_the_damped_rows(row):
    volts, *parts, power, frequency, at_0, at_6 = row
    found = limits_of(line(*parts))
    assert f"{found.exact * volts**2:.4f}" == f"{power:.4f}"
    assert f"{found.frequency:.2f}" == f"{frequency:.2f}"
    assert f"{found.magnitude * volts**2:.3f}" == f"{at_0:.3f}"
    assert f"{found.half_magnitude * volts**2:.3f}" == f"{at_6:.3f}"


def test_undamped_row_is_that_of_the_formula():
    found = limits_of(line(100e-6, 40e-3, 22e-6))
    assert f"{found.exact * 28**2:.4f}" == "6.8992"
    assert found.exact == pytest.approx(40e-3 * 22e-6 / 100e-6, rel=1e-9, abs=0)  # hand: R C / L


def test_a_capacitor_whose_esr_is_all_that_holds_the_load_collapses_from_its_conductance():
    """hand: behind 1.2 ohm of ESR, more than sqrt(L/C), no resonance is left; from 1/1.2 S on the load has no node to stand on."""
    circuit = Circuit().resistor("R", "0", "a", 10e-3).inductor("L", "a", "b", 10e-6)
    circuit.resistor("E", "b", "c", 1.2).capacitor("C", "c", "0", 10e-6)
    found = limits_of(circuit)
    assert found.exact == pytest.approx(1 / 1.2, rel=1e-3, abs=0)
    assert found.frequency == 0.0
    for share, holds in ((0.98, True), (1.02, False)):
        poles = circuit.copy().conductance("G", "b", "0", -share / 1.2).poles()
        assert (poles.real.max() < 0) == holds


def test_48_volt_row():
    """48 V, 100 W, 10 uH, 100 uF, 50 mohm: roots, least R, and the peak of a lightly damped filter, about Z0^2 / R."""
    circuit, siemens = line(10e-6, 50e-3, 100e-6), 100 / 48**2
    assert (f"{-1 / siemens:.2f}", f"{np.sqrt(10e-6 / 100e-6):.4f}") == ("-23.04", "0.3162")
    roots = circuit.copy().conductance("G", "b", "0", -siemens).poles()
    assert roots.real == pytest.approx([-2283.0, -2283.0], rel=1e-4, abs=0)
    assert np.abs(roots.imag) == pytest.approx([31505.8] * 2, abs=0.05)  # to the printed digits
    assert limits_of(circuit).exact > siemens
    least = 4.340e-3
    for ohms, holds in ((1.001 * least, True), (0.999 * least, False)):
        assert (limits_of(line(10e-6, ohms, 100e-6)).exact > siemens) == holds
    assert 1 / limits_of(circuit).magnitude == pytest.approx(0.3162**2 / 50e-3, rel=0.02, abs=0)


def test_textbook_input_filter_before_a_buck():
    """30 V to 15 V, 3 ohm, D = 0.5: -12 ohm at the input; damped with n = 2.5 its peak is 1 ohm, 21.6 dB below.

    R. W. Erickson and D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., section 10.4, from memory; checked by computation.
    """
    found = limits_of(line(330e-6, 1e-9, 470e-6, 1184e-6, 0.666))
    assert 1 / found.magnitude == pytest.approx(1.0, rel=1e-3, abs=0)
    loop = np.abs(-1 / 12 / found.magnitude)
    assert 20 * np.log10(loop) == pytest.approx(-21.6, abs=0.05)


def test_rules_are_what_they_say_at_the_power_that_they_allow():
    """hand: each rule drawn on the loop at the conductance that it allows just holds, and a hundredth more breaks it."""
    circuit = line(100e-6, 40e-3, 22e-6, 100e-6, 0.35)
    found = limits_of(circuit)
    f = np.geomspace(10, 1e6, 40001)
    z = circuit.impedance(f, "b")

    def holds(siemens):
        loop = -siemens * z
        size, off = np.abs(loop), np.abs(np.angle(-loop, deg=True))
        return {
            "magnitude": size.max() < 1,
            "half_magnitude": size.max() < 0.5,
            "region": not np.any((size > 0.5) & (off < 60)),
            "opposing": (-loop.real).max() < 0.5,
        }

    for name in ("magnitude", "half_magnitude", "region", "opposing"):
        allowed = getattr(found, name)
        assert (holds(0.995 * allowed)[name], holds(1.005 * allowed)[name]) == (True, False)
        assert allowed < found.exact


def test_gain_and_phase_margin_of_a_loop_by_hand():
    """hand: T = 2 / (1 + j x)^2 is 1 where x = 1, at -90 degrees, 90 from the negative axis."""
    x = np.geomspace(1e-2, 1e2, 4001)
    gain, phase = loop_margins(2 / (1 + 1j * x) ** 2, 3.0)
    assert gain == pytest.approx(20 * np.log10(3.0), rel=1e-12, abs=0)
    assert phase == pytest.approx(90.0, abs=0.01)
    assert loop_margins(0.1 / (1 + 1j * x), 3.0)[1] == np.inf
