"""Filter sections and converter ripple from textbooks, each through a circuit that is solved.

Sources: J. O. Bird, Electrical Circuit Theory and Technology, ch. 42; R. W. Erickson, Optimal Single Resistor Damping of
Input Filters, IEEE APEC 1999, pp. 1073-1079, and Erickson and Maksimovic, Fundamentals of Power Electronics, 2nd ed.,
ch. 10; M. H. Rashid, Power Electronics, 4th ed.; J. M. Jacob, Power Electronics: Principles and Applications;
D. W. Hart, Power Electronics. From memory where it is said.
"""

import numpy as np
import pytest

from filterlib.network.circuit import Circuit, Current
from filterlib.network.shapes import trapezoid
from filterlib.network.waveform import Waveform

# ---- constant-k low-pass sections (Bird ch. 42) -------------------------------------------------------------------


def _pi(inductance, end):
    circuit = Circuit().voltage_source("V", "in", "0").capacitor("C1", "in", "0", end)
    return circuit.inductor("L", "in", "out", inductance).capacitor("C2", "out", "0", end)


def _tee(half, capacitance):
    circuit = Circuit().voltage_source("V", "in", "0").inductor("L1", "in", "mid", half)
    return circuit.capacitor("C", "mid", "0", capacitance).inductor("L2", "mid", "out", half)


def _image_impedance(section, frequency):
    """Geometric mean of the impedances with the far end open and shorted."""
    port = Circuit()
    for element in section.elements[1:]:
        getattr(port, element.kind)(element.name, *element.nodes, element.value)
    opened = port.copy().resistor("far", "out", "0", 1e12)
    shorted = port.copy().resistor("far", "out", "0", 0.0)
    return np.sqrt(opened.impedance([frequency], "in") * shorted.impedance([frequency], "in"))[0]


def _open_gain(section, frequency):
    """1 / A of the section; -1 at the cut-off, where the image impedances turn from real to imaginary."""
    return section.copy().resistor("far", "out", "0", 1e12).transfer([frequency], "V", "out")[0]


SECTIONS = [  # published Bird ch. 42: section, cut-off [Hz], nominal impedance [ohm], rounding of the printed values
    pytest.param(_pi(0.2, 0.1e-6), 1591.55, 1000.0, 4e-6, id="Ex 1: 200 mH, 0.2 uF"),
    pytest.param(_pi(0.4, 200e-12), 25164.61, 31622.78, 1e-6, id="Ex 1: 0.4 H, 2 x 200 pF"),
    pytest.param(_pi(38.2e-6, 53.05e-12), 5e6, 600.0, 1e-3, id="Ex 2 pi"),
    pytest.param(_tee(19.1e-6, 106.1e-12), 5e6, 600.0, 1e-3, id="Ex 2 T"),
    pytest.param(_pi(636.62e-6, 318.31e-12), 500e3, 1000.0, 1e-5, id="Ex 14 pi"),
    pytest.param(_tee(318.31e-6, 636.62e-12), 500e3, 1000.0, 1e-5, id="Ex 14 T"),
]


@pytest.mark.parametrize(("section", "cutoff", "impedance", "rounding"), SECTIONS)
def test_constant_k_cutoff(section, cutoff, impedance, rounding):
    assert _open_gain(section, cutoff) == pytest.approx(-1, rel=5 * rounding, abs=0)  # published; 1 / (1 - 2 x^2)


@pytest.mark.parametrize(("section", "cutoff", "impedance", "rounding"), SECTIONS)
@pytest.mark.parametrize("x", [0.01, 0.5, 0.9])
def test_constant_k_image_impedance(section, cutoff, impedance, rounding, x):
    bend = np.sqrt(1 - x**2) ** (1 if section.elements[1].kind == "inductor" else -1)
    found = _image_impedance(section, x * cutoff)
    assert found == pytest.approx(impedance * bend, rel=10 * rounding, abs=0)  # published: R0, and its law by hand


# ---- damping of an input filter (Erickson, APEC 1999; formulas from memory) ---------------------------------------


# L from a stiff source and C are both 1, so that R0 = 1 ohm and f0 = 1 / (2 pi) Hz.


def _across_capacitor(n, r):
    circuit = Circuit().inductor("L", "out", "0", 1.0).capacitor("C", "out", "0", 1.0)
    return circuit.resistor("R", "out", "x", r).capacitor("Cb", "x", "0", n)


def _across_inductor(n, r):
    circuit = Circuit().inductor("L", "out", "0", 1.0).capacitor("C", "out", "0", 1.0)
    return circuit.resistor("R", "out", "x", r).inductor("Lb", "x", "0", n)


def _in_series(n, r):
    circuit = Circuit().inductor("L", "out", "x", 1.0).capacitor("C", "out", "0", 1.0)
    return circuit.resistor("R", "x", "0", r).inductor("Lb", "x", "0", n)


def _peaks(network, n, r):
    """Peak of the output impedance for each resistance (designs, 1): a parabola through the top of a fine grid."""
    speed = np.geomspace(0.1, 10, 6001)
    size = np.abs(network(n, r).impedance(speed / (2 * np.pi), "out"))
    top = np.clip(np.argmax(size, axis=1), 1, len(speed) - 2)
    rows = np.arange(len(size))
    left, mid, right = (size[rows, top + shift] for shift in (-1, 0, 1))
    return mid + (right - left) ** 2 / (8 * (2 * mid - left - right))


def _best_resistance(network, n):
    """Brute force: the resistance of the lowest peak, by four rounds of looking closer."""
    low, high = 0.02, 50.0
    for _ in range(4):
        r = np.geomspace(low, high, 41)[:, None]
        peaks = _peaks(network, n, r)
        best = int(np.clip(np.argmin(peaks), 1, len(r) - 2))
        low, high = r[best - 1, 0], r[best + 1, 0]
    return r[best, 0], peaks[best]


DAMPING = [  # published Erickson (formulas from memory), each confirmed by brute force: n, R / R0, peak / R0
    (_across_capacitor, {0.5: (2.4721, 4.4721), 1: (1.4491, 2.4495), 2: (0.9129, 1.4142)}),
    (_across_capacitor, {4: (0.6124, 0.8660), 10: (0.3817, 0.4899)}),
    (_across_inductor, {0.25: (0.6124, 0.8660), 0.5: (0.9129, 1.4142), 1: (1.4491, 2.4495)}),
    (_across_inductor, {2: (2.4721, 4.4721), 4: (4.4853, 8.4853)}),
    (_in_series, {0.25: (0.2006, 9.4868), 0.5: (0.3364, 5.4772), 1: (0.5123, 3.4641)}),
    (_in_series, {2: (0.7027, 2.4495), 4: (0.8764, 1.9365)}),
]
ROWS = [
    pytest.param(network, n, *row, id=f"{network.__name__[1:]} n={n}")
    for network, rows in DAMPING
    for n, row in rows.items()
]


@pytest.mark.parametrize(("network", "n", "resistance", "peak"), ROWS)
def test_damping_table_by_brute_force(network, n, resistance, peak):
    best, lowest = _best_resistance(network, n)
    assert lowest == pytest.approx(peak, rel=0.6e-4 / peak, abs=0)
    assert best == pytest.approx(resistance, rel=1e-3, abs=0)  # the peak is flat about its minimum


@pytest.mark.parametrize(("network", "n", "resistance", "peak"), ROWS)
def test_damping_table_at_its_resistance(network, n, resistance, peak):
    found = _peaks(network, n, np.array([[resistance]]))[0]
    assert found == pytest.approx(peak, rel=1e-4, abs=0)


@pytest.mark.parametrize("n", [1, 2, 4])
def test_half_the_resistance_or_twice_it_is_worse(n):
    best, lowest = _best_resistance(_across_capacitor, n)
    assert np.all(_peaks(_across_capacitor, n, np.array([[best / 2], [2 * best]])) > 1.1 * lowest)


def test_common_rule_of_four_times_the_capacitance():
    """Common practice, no source: Cb = 4 C with R = sqrt(L / C); its peak follows from the network (hand)."""
    found = _peaks(_across_capacitor, 4, np.array([[1.0]]))[0]
    assert found == pytest.approx(1.0848, rel=0.6e-4, abs=0)
    assert found / 0.8660 == pytest.approx(1.253, rel=5e-4, abs=0)


def _erickson_parts(inductance, capacitance, peak):
    """Inverse design of the R-Cb branch: resistance and capacitance for a wanted peak (Erickson, from memory)."""
    r0 = np.sqrt(inductance / capacitance)
    n = (r0 / peak) ** 2 * (1 + np.sqrt(1 + 4 * (peak / r0) ** 2))
    return r0 * np.sqrt((2 + n) * (4 + 3 * n) / (2 * n**2 * (4 + n))), n * capacitance


EXACT = _erickson_parts(330e-6, 470e-6, 1.0)


@pytest.mark.parametrize(
    ("resistance", "added", "peak", "frequency"),
    [  # published Erickson and Maksimovic, ch. 10, example (from memory): exact parts, then the rounded ones
        (*EXACT, 1.0000, 268.8),
        (0.67, 1200e-6, 0.9905, 269.9),
    ],
)
def test_buck_input_filter_of_330_microhenry(resistance, added, peak, frequency):
    circuit = Circuit().inductor("Lf", "out", "0", 330e-6).capacitor("Cf", "out", "0", 470e-6)
    circuit.resistor("R", "out", "x", resistance).capacitor("Cb", "x", "0", added)
    f = np.linspace(200, 400, 20001)
    size = np.abs(circuit.impedance(f, "out"))
    assert size.max() == pytest.approx(peak, rel=0.6e-4, abs=0)
    assert f[np.argmax(size)] == pytest.approx(frequency, rel=3e-4, abs=0)


def test_parts_of_that_filter():
    assert EXACT[0] == pytest.approx(0.666, rel=1e-3, abs=0)  # published (from memory)
    assert EXACT[1] == pytest.approx(1184e-6, rel=5e-4, abs=0)  # published (from memory)


# ---- ripple of converters -----------------------------------------------------------------------------------------


def _rectangle(frequency, high, duty):
    return trapezoid(1 / frequency, high, duty)


def _buck(inductance, capacitance, load):
    circuit = Circuit().voltage_source("V", "switch", "0").inductor("L", "switch", "out", inductance)
    return circuit.capacitor("C", "out", "0", capacitance).resistor("R", "out", "0", load)


def _buck_waves(circuit, wave):
    return circuit.periodic_response(wave, "V", [Current("L"), "out"])


def test_buck_of_rashid_example_5_5():
    """12 V to 5 V at 25 kHz; the book neglects the ripple of the output in that of the current, (f0/f)^2 = 0.1 %."""
    current, volts = _buck_waves(_buck(145.83e-6, 200e-6, 5.0), _rectangle(25e3, 12.0, 5 / 12))
    assert volts.mean == pytest.approx(5.0, rel=1e-6, abs=0)  # published: k = 41.67 %
    assert current.peak_to_peak == pytest.approx(0.8, rel=2e-3, abs=0)  # published
    assert volts.peak_to_peak == pytest.approx(20e-3, rel=5e-3, abs=0)  # published


def test_boost_of_rashid_example_5_6():
    """5 V to 15 V, 0.5 A, 25 kHz, 150 uH, 220 uF: k = 2/3."""
    period, duty = 40e-6, 2 / 3
    choke = (
        Circuit().voltage_source("V", "switch", "0").inductor("L", "switch", "x", 150e-6).resistor("r", "x", "0", 1e-6)
    )
    switch = _rectangle(25e3, 15.0, 1 - duty)
    current = choke.periodic_response(switch - Waveform.lines(period, [0], [5.0]), "V", Current("L"))
    assert current.peak_to_peak == pytest.approx(0.889, rel=6e-4, abs=0)  # published
    assert 0.5 / (1 - duty) + current.peak_to_peak / 2 == pytest.approx(1.944, rel=3e-4, abs=0)  # published: peak
    low, high = 1.5 - 0.4444, 1.5 + 0.4444
    diode = Waveform.lines(period, [0, duty * period, duty * period, period], [0, 0, high, low])
    output = Circuit().current_source("I", "out", "0").capacitor("C", "out", "0", 220e-6).resistor("R", "out", "0", 1e6)
    ripple = output.periodic_response(diode - Waveform.lines(period, [0], [0.5]), "I", "out")
    assert ripple.peak_to_peak == pytest.approx(60.61e-3, rel=3e-4, abs=0)  # published


def test_buck_of_jacob_example_7_2():
    """12 V to 5 V, 10 ohm, 100 kHz, 220 uH. The book rounds the on-time to 4.2 us and prints 133.6 and 566.8 mA."""
    current, _ = _buck_waves(_buck(220e-6, 470e-6, 10.0), _rectangle(100e3, 12.0, 5 / 12))
    assert current.peak_to_peak == pytest.approx(132.6e-3, rel=5e-4, abs=0)  # hand: with the on-time of 4.1667 us
    assert current.peak_to_peak == pytest.approx(133.6e-3, rel=0.01, abs=0)  # published, within its rounding
    assert current.mean + current.peak_to_peak / 2 == pytest.approx(566.3e-3, rel=2e-4, abs=0)  # hand
    assert current.mean + current.peak_to_peak / 2 == pytest.approx(566.8e-3, rel=2e-3, abs=0)  # published


def test_switch_current_of_jacob_example_7_3():
    """0.5 A with 134 mA peak to peak during 42 % of the period."""
    trapezium = Waveform.lines(1e-5, [0, 0, 4.2e-6, 4.2e-6], [0, 0.433, 0.567, 0])
    assert trapezium.rms == pytest.approx(325.0e-3, rel=3e-4, abs=0)  # published
    assert (0.5 * trapezoid(1e-5, 1.0, 0.42)).rms == pytest.approx(324.0e-3, rel=2e-4, abs=0)  # published


def test_flyback_output_of_jacob_example_7_8():
    """5 V, 1 A, duty 0.34, 10 us, 170 uF: 20 mV; the secondary carries 1.23 A rms."""
    secondary = trapezoid(1e-5, 1 / 0.66, 0.66)
    assert secondary.mean == pytest.approx(1.0, rel=1e-12, abs=0)  # hand
    assert secondary.rms == pytest.approx(1.23, rel=2e-3, abs=0)  # published
    output = Circuit().current_source("I", "out", "0").capacitor("C", "out", "0", 170e-6).resistor("R", "out", "0", 1e6)
    ripple = output.periodic_response(secondary - Waveform.lines(1e-5, [0], [1.0]), "I", "out")
    assert ripple.peak_to_peak == pytest.approx(20e-3, rel=1e-4, abs=0)  # published


def test_buck_of_hart_example_6_1():
    """50 V, D = 0.4, 400 uH, 100 uF, 20 kHz, 20 ohm (from memory, agrees with the formula)."""
    current, volts = _buck_waves(_buck(400e-6, 100e-6, 20.0), _rectangle(20e3, 50.0, 0.4))
    assert volts.mean == pytest.approx(20.0, rel=1e-9, abs=0)  # published
    assert volts.peak_to_peak / volts.mean == pytest.approx(0.469e-2, rel=3e-3, abs=0)  # published
    assert current.mean + current.peak_to_peak / 2 == pytest.approx(1.75, rel=2e-3, abs=0)  # published
    assert current.mean - current.peak_to_peak / 2 == pytest.approx(0.25, rel=5e-3, abs=0)  # published
