"""Published filters and converters, through the circuit engine."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from filterlib import Circuit, Waveform


def test_constant_k_pi_section():
    """published: J. O. Bird, Electrical Circuit Theory and Technology, ch. 42, ex. 2: R0 = 600 ohm, fc = 5 MHz: 53.05 pF at
    each end and 38.2 uH. The section, closed by 600 ohm at f = 0, passes to fc and cuts above."""
    r0, fc = 600.0, 5e6
    henries, farads = r0 / (np.pi * fc), 1 / (np.pi * r0 * fc)
    assert farads / 2 == pytest.approx(53.05e-12, rel=1e-4, abs=0)
    assert henries == pytest.approx(38.2e-6, rel=1e-3, abs=0)
    section = Circuit().capacitor("C1", "a", "0", farads / 2).inductor("L", "a", "b", henries)
    section.capacitor("C2", "b", "0", farads / 2)
    f = np.array([1e5, 4.9e6, 5.1e6])
    shorted = Circuit().capacitor("C1", "a", "0", farads / 2).inductor("L", "a", "0", henries)
    characteristic = np.sqrt(section.impedance(f, "a") * shorted.impedance(f, "a"))
    assert abs(characteristic[0]) == pytest.approx(r0, rel=1e-3, abs=0)
    assert abs(characteristic[1].imag) < 1e-6 * abs(characteristic[1])  # real: passes
    assert abs(characteristic[2].real) < 1e-6 * abs(characteristic[2])  # imaginary: cuts


@pytest.mark.parametrize(
    ("henries", "farads", "fc", "r0"), [(0.2, 0.2e-6, 1591.55, 1000.0), (0.4, 400e-12, 25164.61, 31622.78)]
)
def test_cut_off_of_constant_k(henries, farads, fc, r0):
    """published: Bird, ch. 42, ex. 1: fc = 1 / (pi sqrt(LC)), R0 = sqrt(L/C); the resonance of L with both C/2 in series."""
    section = Circuit().capacitor("C1", "a", "0", farads / 2).inductor("L", "a", "b", henries)
    section.capacitor("C2", "b", "0", farads / 2)
    top = max(abs(section.poles().imag)) / (2 * np.pi)
    assert top == pytest.approx(fc, rel=1e-5, abs=0)
    assert np.sqrt(henries / farads) == pytest.approx(r0, rel=1e-6, abs=0)


DAMPING = [  # n = Cb/C, R/R0 and peak/R0 of a series R-Cb across C
    (0.5, 2.4721, 4.4721), (1, 1.4491, 2.4495), (2, 0.9129, 1.4142), (4, 0.6124, 0.8660), (10, 0.3817, 0.4899),
]  # fmt: skip


@pytest.mark.parametrize(("n", "ratio", "peak"), DAMPING)
def test_optimum_damping(n, ratio, peak):
    """published: R. W. Erickson, "Optimal Single Resistor Damping of Input Filters", APEC 1999 (formulas from memory):
    the least peak of the output impedance, found here by search over R on the circuit itself."""
    f = np.linspace(0.2, 2, 4000) / (2 * np.pi)  # normalised: L = C = R0 = 1

    def highest(ohms):
        circuit = Circuit().inductor("L", "a", "0", 1.0).capacitor("C", "a", "0", 1.0)
        circuit.resistor("R", "a", "b", ohms).capacitor("B", "b", "0", n)
        return float(np.max(np.abs(circuit.impedance(f, "a"))))

    found = minimize_scalar(highest, bounds=(0.3 * ratio, 3 * ratio), method="bounded", options={"xatol": 1e-5})
    assert found.fun == pytest.approx(peak, rel=2e-4, abs=0)
    assert found.x == pytest.approx(ratio, rel=1e-2, abs=0)  # the minimum is flat


def ripple_of(current, farads):
    """The steady state of a current into a capacitor; a bleeder holds its mean."""
    circuit = Circuit().current_source("I", "out", "0").capacitor("C", "out", "0", farads)
    circuit.resistor("bleeder", "out", "0", 1e5)
    return circuit.periodic_response(current, "I", "out").peak_to_peak


def test_step_down_ripple_of_rashid():
    """published: M. H. Rashid, Power Electronics, 4th ed., ex. 5.5: 12 V to 5 V at 25 kHz, 0.8 A of ripple current and
    200 uF: 20 mV; the triangle of the choke into the capacitor."""
    period, duty = 1 / 25e3, 5 / 12
    triangle = Waveform.lines(period, [0, duty * period, period], [-0.4, 0.4, -0.4])
    assert ripple_of(triangle, 200e-6) == pytest.approx(20e-3, rel=2e-3, abs=0)


def test_step_up_ripple_of_rashid():
    """published: the same, ex. 5.6: 5 V to 15 V, 0.5 A, 25 kHz, 220 uF: 60.61 mV (the diode's pulse, its top flat)."""
    period, duty = 1 / 25e3, 2 / 3
    pulse = Waveform.lines(period, [0, duty * period, duty * period, period], [-0.5, -0.5, 1.0, 1.0])
    assert ripple_of(pulse, 220e-6) == pytest.approx(60.61e-3, rel=5e-3, abs=0)


def test_step_down_ripple_of_hart():
    """published: D. W. Hart, Power Electronics, ex. 6-1 (from memory): 50 V, duty 0.4, 400 uH, 100 uF, 20 kHz: 0.469 %."""
    period, duty, volts = 1 / 20e3, 0.4, 20.0
    swing = volts * (1 - duty) * period / 400e-6
    triangle = Waveform.lines(period, [0, duty * period, period], [-swing / 2, swing / 2, -swing / 2])
    assert ripple_of(triangle, 100e-6) / volts == pytest.approx(0.469e-2, rel=2e-3, abs=0)


def test_capacitor_of_jacob():
    """published: J. M. Jacob, Power Electronics: Principles and Applications, ex. 7.8: 1 A, duty 0.34, 10 us, 20 mV: 170 uF."""
    period, duty = 10e-6, 0.34
    pulse = Waveform.lines(
        period, [0, duty * period, duty * period, period], [-1.0, -1.0, duty / (1 - duty), duty / (1 - duty)]
    )
    assert ripple_of(pulse, 170e-6) == pytest.approx(20e-3, rel=5e-3, abs=0)
