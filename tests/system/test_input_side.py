"""The converter's input: what it draws, by the closed forms of each stage; what is missing is refused."""

import numpy as np
import pytest

from filterlib.errors import FilterlibError, InputError
from filterlib.network.circuit import Circuit
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import SOURCE, InputSide, input_current, steps_up

K = np.arange(1, 2001)


def converter(**more):
    given = {
        "name": "Tarn (invented)", "output_voltage": 28, "input_voltage": 24, "switching_frequency": 1e5,
        "edge_time": 1e-9, "ripple": {"peak_to_peak": 0.1}, "duty": 0.4,
    }  # fmt: skip
    return Converter(**{**given, **more})


def drawn(one, side=None, *, power=54.0, full=108.0, voltage=24.0):
    return input_current(one, side or InputSide(), K, power=power, full_power=full, voltage=voltage)


def peak_to_peak(coefficients):
    wave = np.fft.irfft(np.concatenate([[0], coefficients, np.zeros(6000)])) * 2 * 8000
    return np.percentile(wave, 98) - np.percentile(wave, 2)


CASES = {  # hand: the ideal stages at 90 % efficiency
    "step-up, triangle, 30 % of 108 W / (0.9 x 24 V)": ({"shape": "pulse"}, 0.3 * 108 / 0.9 / 24),
    "step-down, pulse of the output current": ({"output_voltage": 12, "shape": "triangle"}, 54 / 0.9 / 12),
    "isolated, pulse of the mean over the duty": ({"isolated": True, "shape": "pulse"}, 54 / 0.9 / 24 / 0.4),
    "isolated with an output choke, the same": ({"isolated": True, "shape": "triangle"}, 54 / 0.9 / 24 / 0.4),
    "inverting or flyback below the input, the same": ({"output_voltage": 12, "shape": "pulse"}, 54 / 0.9 / 24 / 0.4),
}


@pytest.mark.parametrize("name", CASES)
def test_height_of_the_input_current(name):
    changes, height = CASES[name]
    assert peak_to_peak(drawn(converter(**changes))) == pytest.approx(height, rel=0.06, abs=0)


def test_fundamentals_in_closed_form():
    """hand: |c_1| of a pulse is height x sin(pi d)/pi, of a triangle pp x sin(pi d)/(pi^2 2 d (1 - d))."""
    pulse = drawn(converter(isolated=True, shape="pulse"))[0]
    assert abs(pulse) == pytest.approx(54 / 0.9 / 24 / 0.4 * np.sin(0.4 * np.pi) / np.pi, rel=1e-6, abs=0)
    triangle = drawn(converter(shape="pulse"))[0]
    expected = 1.5 * np.sin(0.4 * np.pi) / np.pi**2 / (2 * 0.4 * 0.6)
    assert abs(triangle) == pytest.approx(expected, rel=1e-6, abs=0)


def test_capacitors_named_as_parts_are_one_in_parallel():
    """hand: three of 10 µF with 5 nH each and 3 nH of their loops are 30 µF with 8/3 nH; a fourth kind comes beside them."""
    part = {"kind": "film", "capacitance": "10 µF", "rated_voltage": "63 V", "loss_angle": 0.005, "esl": "5 nH"}
    three = {"part": part, "count": 3, "mounting_loop": "3 nH"}
    alone = InputSide(capacitors=[three])
    assert float(alone.capacitance.value) == pytest.approx(30e-6, rel=1e-9, abs=0)
    assert float(alone.esl.value) == pytest.approx(8e-9 / 3, rel=1e-9, abs=0)
    both = InputSide(capacitors=[three, {"part": part, "count": 1, "mounting_loop": "15 nH"}])
    assert float(both.esl.value) == pytest.approx(1 / (3 / 8e-9 + 1 / 20e-9), rel=1e-9, abs=0)
    assert float(both.esr.value) == pytest.approx(float(alone.esr.value) * 3 / 4, rel=1e-9, abs=0)


def test_a_stated_ripple_current_is_taken():
    side = InputSide(ripple_current="2 A")
    assert peak_to_peak(drawn(converter(shape="pulse"), side)) == pytest.approx(2.0, rel=0.06, abs=0)
    assert not {"converter.efficiency", "input_side.ripple_ratio"} & {
        u.key for u in side.uncertain_parameters(converter())
    }


def test_a_triangle_does_not_fall_with_the_load_and_a_pulse_does():
    """hand: in continuous conduction the choke's ripple follows from its voltage alone."""
    up, isolated = converter(shape="pulse"), converter(isolated=True, shape="pulse")
    assert abs(drawn(up, power=5.4)[0]) == pytest.approx(abs(drawn(up)[0]), rel=1e-12, abs=0)
    assert abs(drawn(isolated, power=5.4)[0]) == pytest.approx(abs(drawn(isolated)[0]) / 10, rel=1e-12, abs=0)


def test_which_stage_steps_up():
    """hand: a non-isolated stage with more at its output than at its input, and no output choke."""
    assert steps_up(converter())
    assert not any(
        steps_up(converter(**c)) for c in ({"isolated": True}, {"shape": "triangle"}, {"output_voltage": 12})
    )


def test_a_missing_input_voltage_is_named_where_it_is_needed():
    with pytest.raises(FilterlibError, match=r"converter\.input_voltage: missing.*ripple_current"):
        drawn(converter(isolated=True, input_voltage=None), voltage=None)
    assert np.all(np.isfinite(drawn(converter(shape="triangle", output_voltage=12, input_voltage=None), voltage=None)))
    assert np.all(np.isfinite(drawn(converter(isolated=True), InputSide(ripple_current=1.0), voltage=None)))


def test_the_capacitor_takes_what_the_lead_does_not():
    """hand: with 1 A drawn, current in the lead / current in the capacitor = Zc / Zlead, the lines being shorted."""
    side, f = InputSide(), np.array([1e5, 1e6])
    circuit = Circuit().resistor("short", "a", "b", 0.0).resistor("reference", "r", "0", 0.0)
    side.add(circuit, ("a", "b"), "r")
    w = 2j * np.pi * f
    capacitor, lead = 10e-3 + w * 5e-9 + 1 / (w * 10e-6), w * 0.6e-6
    found = circuit.transfer(f, SOURCE, ("input:bus", "r"))
    np.testing.assert_allclose(found, -1 / (1 / capacitor + 1 / lead), rtol=1e-12, atol=0)


def test_unknowns_are_those_that_matter_and_can_be_moved():
    side = InputSide(capacitance="22 µF", esr="10 mΩ ± 50 %")
    keys = {u.key: u for u in side.uncertain_parameters(converter(isolated=True))}
    assert "input_side.capacitance" not in keys
    assert "input_side.ripple_ratio" not in keys
    assert keys["input_side.esr"].stated
    assert not keys["input_side.esl"].stated
    moved = side.at({"input_side.esr": np.array([[1e-3], [2e-3]]), "converter.duty": 0.5})
    assert moved.esr.value.tolist() == [[1e-3], [2e-3]]
    assert moved.esl.value == side.esl.value


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("capacitance", "10 µH"),
        ("capacitance", -1e-6),
        ("efficiency", "120 %"),
        ("ripple_current", 0),
        ("esr", "1,5 mΩ"),
        ("lead", 1e-6),
    ],
)
def test_bad_input_is_named(key, value):
    with pytest.raises(InputError) as caught:
        InputSide(**{key: value})
    assert [problem.key for problem in caught.value.problems] == [key]
