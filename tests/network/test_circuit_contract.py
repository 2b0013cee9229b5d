"""The contract of Circuit: what each method gives, in which shape, and which error names which culprit."""

import copy
import pickle

import numpy as np
import pytest

from filterlib import Circuit, CircuitError, Current, UnstableError, Waveform

ONES = np.ones((3, 1))


def divider(ohms=1e3):
    return Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", ohms).capacitor("C", "out", "0", 1e-6)


CULPRITS = {  # what is wrong: (how, words of the message)
    "one element": (lambda: divider().resistor("X", "out", "end", 1.0).transfer([1.0], "V", "out"), ['"end"', "X"]),
    "no path": (
        lambda: divider().resistor("X", "p", "q", 1.0).resistor("Y", "p", "q", 1.0).transfer([1.0], "V", "out"),
        ["no path", '"0"'],
    ),
    "no reference": (
        lambda: Circuit().resistor("X", "p", "q", 1).resistor("Y", "p", "q", 1).impedance([1.0], "p"),
        ['"0"'],
    ),
    "loop of sources": (lambda: divider().voltage_source("W", "in", "0").transfer([1.0], "V", "out"), ["W", "loop"]),
    "cut of sources": (
        lambda: divider().current_source("I", "x", "0").current_source("J", "x", "0").transfer([1.0], "V", "out"),
        ['"x"', "current sources"],
    ),
    "tight coupling": (
        lambda: Circuit().inductor("L", "a", "0", 1).inductor("M", "b", "0", 1).couple("k", "L", "M", 1.01),
        ["k", "1.01"],
    ),
    "coupling of a resistor": (lambda: divider().inductor("L", "out", "0", 1).couple("k", "L", "R", 0.5), ["R"]),
    "two of one name": (lambda: divider().resistor("R", "in", "0", 1.0), ["R", "name"]),
    "negative": (lambda: divider(-4.7), ["R", "-4.7"]),
    "NaN": (lambda: divider(float("nan")), ["R", "nan"]),
    "infinite": (lambda: divider(float("inf")), ["R", "inf"]),
    "text": (lambda: divider("4.7"), ["R", "quantity"]),
    "bool": (lambda: divider(True), ["R", "True"]),
    "shape": (lambda: divider(np.ones(3)), ["R", "(designs, 1)"]),
    "lengths": (
        lambda: divider(ONES).resistor("X", "out", "0", np.ones((2, 1))).transfer([1.0], "V", "out"),
        ["X", "2"],
    ),
    "both ends": (lambda: divider().resistor("X", "out", "out", 1.0), ["X", '"out"']),
    "unknown node": (lambda: divider().transfer([1.0], "V", "ouf"), ['"ouf"', '"out"']),
    "unknown source": (lambda: divider().transfer([1.0], "W", "out"), ['"W"']),
    "unknown element": (lambda: divider().transfer([1.0], "V", Current("Q")), ['"Q"']),
    "negative frequency": (lambda: divider().transfer([-2.0], "V", "out"), ["-2"]),
    "impulse": (lambda: divider(0.0).step_response([1.0], "V", Current("C")), ["impulse"]),
    "no ladder": (lambda: divider().immittance("Z", "out", "0", lambda f: 1 + 0j * f).poles(), ["Z", "ladder"]),
}


@pytest.mark.parametrize("wrong", CULPRITS)
def test_error_names_the_culprit(wrong):
    make, words = CULPRITS[wrong]
    with pytest.raises(CircuitError) as caught:
        make()
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(("ohms", "lead"), [(1e3, ()), (1e3 * ONES, (3,))])
def test_shapes(ohms, lead):
    circuit = divider(ohms)
    assert circuit.transfer([1.0, 2.0], "V", "out").shape == (*lead, 2)
    assert circuit.impedance([0.0, 2.0], "out").shape == (*lead, 2)
    assert circuit.poles().shape == (*lead, 1)
    assert circuit.step_response([0.0, 1e-3, 1e-2], "V", "out").shape == (*lead, 3)
    nested = circuit.transfer([1.0], ["V"], ["out", Current("R")])
    assert len(nested) == 1
    assert [answer.shape for answer in nested[0]] == [(*lead, 1)] * 2


def test_poles_of_several_designs_are_padded():
    """hand: without a capacitance there is no pole; the other design has -1/(RC)."""
    circuit = divider()
    circuit.resistor("P", "out", "x", 1e3).capacitor("D", "x", "0", np.array([[0.0], [1e-6]]))
    poles = circuit.poles()
    assert poles.shape == (2, 2)
    assert np.isnan(poles[0, 1])
    assert np.isfinite(poles[1]).all()


CURRENTS = {"R": 1.0, "C": 1.0, "V": -1.0}


def test_currents_of_every_kind():
    """hand: 1 V over R and C in series at the corner drives 1 / (R (1 - j)); a source's own current is from its first
    node to its second through itself, so it is minus that."""
    f = [1 / (2 * np.pi * 1e-3)]
    flow = 1 / (1e3 * (1 - 1j))
    for name, sign in CURRENTS.items():
        (answer,) = divider().transfer(f, "V", Current(name))
        assert abs(answer - sign * flow) < 1e-12 * abs(flow)
    circuit = Circuit().current_source("I", "a", "0").resistor("R", "a", "0", 5.0).inductor("L", "a", "0", 1e-3)
    circuit.conductance("G", "a", "0", -0.01).immittance("Z", "a", "0", lambda f: 2.0 + 0j * f)
    parts = circuit.transfer([50.0], "I", [Current(n) for n in ("R", "L", "G", "Z", "I")])
    assert abs(sum(part[0] for part in parts)) < 1e-12
    assert abs(parts[-1][0] + 1) < 1e-15


def test_coupled_windings():
    """hand: a 1:1 pair of 1 mH with k = 1 and 1 ohm on its second winding shows 1 ohm beside 1 mH; as inductors, and as a
    coupled pair known by its impedance."""
    f = np.array([100.0, 1e4])
    w = 2j * np.pi * f
    expected = 1 / (1 / (w * 1e-3) + 1)
    inductors = Circuit().inductor("P", "a", "0", 1e-3).inductor("S", "b", "0", 1e-3).couple("k", "P", "S", 1.0)
    inductors.resistor("R", "b", "0", 1.0)
    matrix = Circuit().coupled(
        "T", ("a", "0"), ("b", "0"), lambda f: (2j * np.pi * f * 1e-3)[:, None, None] * np.ones((2, 2))
    )
    matrix.resistor("R", "b", "0", 1.0)
    for circuit in (inductors, matrix):
        np.testing.assert_allclose(circuit.impedance(f, "a"), expected, rtol=1e-12, atol=0)
    matrix.voltage_source("V", "a", "0")
    first, second = matrix.transfer(f, "V", [Current("T"), Current("T", winding=2)])
    np.testing.assert_allclose(second, -1.0 + 0 * f, rtol=1e-12, atol=0)
    np.testing.assert_allclose(first, 1 + 1 / (w * 1e-3), rtol=1e-12, atol=0)


ZERO = {
    "short resistor": (lambda c: c.resistor("X", "out", "0", 0.0), 0.0),
    "short inductor": (lambda c: c.inductor("X", "out", "0", 0.0), 0.0),
    "open capacitor": (lambda c: c.capacitor("X", "out", "0", 0.0), 1.0),
    "open conductance": (lambda c: c.conductance("X", "out", "0", 0.0), 1.0),
    "short immittance": (lambda c: c.immittance("X", "out", "0", lambda f: 0j * f), 0.0),
    "open immittance": (lambda c: c.immittance("X", "out", "0", lambda f: np.inf + 0j * f), 1.0),
}


@pytest.mark.parametrize("kind", ZERO)
def test_zero_is_a_value(kind):
    add, share = ZERO[kind]
    f = [0.0, 10.0, 1e6]
    plain = divider().transfer(f, "V", "out")
    answer = add(divider()).transfer(f, "V", "out")
    np.testing.assert_allclose(answer, share * plain, rtol=1e-12, atol=1e-15)


def test_exact_at_rest():
    """hand: capacitors alone divide by their ratio at f = 0 as well; a capacitor's impedance there is infinite."""
    circuit = (
        Circuit().voltage_source("V", "in", "0").capacitor("A", "in", "mid", 1e-9).capacitor("B", "mid", "0", 3e-9)
    )
    assert circuit.transfer([0.0], "V", "mid")[0] == pytest.approx(0.25, rel=1e-9, abs=0)
    assert np.isinf(Circuit().capacitor("A", "a", "0", 1e-9).capacitor("B", "a", "0", 1e-9).impedance([0.0], "a")[0])
    assert divider().transfer([0.0], "V", "out")[0] == 1.0


def test_index_two_circuit_has_no_spurious_pole():
    """hand: a capacitor across an ideal source adds no pole to R C; two inductors that meet in one node make one."""
    circuit = divider().capacitor("X", "in", "0", 1e-6)
    np.testing.assert_allclose(circuit.poles(), [-1e3], rtol=1e-12, atol=0)
    tee = Circuit().voltage_source("V", "a", "0").inductor("L", "a", "m", 1e-3).inductor("M", "m", "b", 1e-3)
    tee.resistor("R", "b", "0", 2.0)
    np.testing.assert_allclose(tee.poles(), [-1e3], rtol=1e-12, atol=0)


def test_pole_at_zero_and_repeated_poles():
    """hand: a current source into a capacitor integrates: a ramp; two equal buffered corners repeat a pole."""
    ramp = Circuit().current_source("I", "a", "0").capacitor("C", "a", "0", 1e-6).capacitor("D", "a", "0", 0.0)
    assert ramp.poles()[0] == 0
    np.testing.assert_allclose(ramp.step_response([0.0, 1e-3], "I", "a"), [0.0, 1e3], rtol=1e-9, atol=1e-9)
    critical = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 2.0).inductor("L", "b", "c", 1e-3)
    critical.capacitor("C", "c", "0", 1e-3)  # s^2 + 2000 s + 1e6: twice -1000
    np.testing.assert_allclose(critical.poles(), [-1e3, -1e3], rtol=1e-6, atol=0)
    t = np.linspace(0, 8e-3, 50)
    expected = 1 - np.exp(-1e3 * t) * (1 + 1e3 * t)
    np.testing.assert_allclose(critical.step_response(t, "V", "c"), expected, rtol=0, atol=1e-9)


def test_impulse_is_the_slope_of_the_step():
    """hand: exp(-t / RC) / RC, and nothing before t = 0."""
    t = np.array([-1.0, 0.0, 1e-3, 2e-3])
    np.testing.assert_allclose(
        divider().impulse_response(t, "V", "out"), [0, 1e3, 1e3 * np.exp(-1), 1e3 * np.exp(-2)], rtol=1e-9, atol=0
    )


def test_periodic_response_and_instability():
    """hand: a 1 kHz square wave through 1 kohm and 1 uF: the steady state of one exponential, tanh(T / 4 RC) at its turns."""
    square = Waveform.lines(1e-3, [0, 5e-4, 5e-4, 1e-3], [1, 1, -1, -1])
    answer = divider().periodic_response(square, "V", "out", harmonics=20000)
    assert answer.peak_to_peak == pytest.approx(2 * np.tanh(1e-3 / (4 * 1e-3)), rel=1e-4, abs=0)
    with pytest.raises(UnstableError):
        divider().conductance("G", "out", "0", -2e-3).periodic_response(square, "V", "out")


def test_builder_returns_itself_and_copies():
    circuit = divider()
    assert circuit.resistor("X", "out", "0", 1e3) is circuit
    before = circuit.transfer([0.0], "V", "out")[0]
    twin, loaded = pickle.loads(pickle.dumps(circuit)), copy.copy(circuit)
    circuit.resistor("Y", "out", "0", 1e3)  # an element added later counts
    assert circuit.transfer([0.0], "V", "out")[0] == pytest.approx(1 / 3, rel=1e-12, abs=0)
    for same in (twin, loaded):
        assert same.transfer([0.0], "V", "out")[0] == before == 0.5


def test_steps_are_not_kept_beyond_an_added_element():
    """hand: 1 kohm to the output's end value of 1; 1 kohm across it halves both the end and the time constant."""
    circuit = divider()
    first = circuit.step_response([1e-3, 1.0], "V", "out")
    np.testing.assert_allclose(first, circuit.step_response([1e-3, 1.0], "V", "out"), rtol=0, atol=0)
    circuit.resistor("X", "out", "0", 1e3)
    expected = [(1 - np.exp(-2.0)) / 2, 0.5]
    np.testing.assert_allclose(circuit.step_response([1e-3, 1.0], "V", "out"), expected, rtol=1e-9, atol=0)


def test_many_designs_are_many_circuits():
    ohms = np.array([[10.0], [1e3], [47e3]])
    together = divider(ohms).transfer([0.0, 159.0, 1e6], "V", "out")
    for row, value in zip(together, ohms[:, 0], strict=True):
        np.testing.assert_allclose(row, divider(value).transfer([0.0, 159.0, 1e6], "V", "out"), rtol=1e-12, atol=0)


def test_a_wave_without_a_mean_needs_no_bound_at_dc():
    """hand: 1 A of sine into 1 uF at 1 kHz is 1 / (2 pi 1e3 1e-6) = 159.15 V; with a mean, the voltage has no bound."""
    made = Circuit().current_source("I", "a", "0").capacitor("C", "a", "0", 1e-6)
    answer = made.periodic_response(Waveform.from_coefficients(1e-3, [0.0, 0.5]), "I", "a")
    assert abs(answer.coefficients(1)[1]) == pytest.approx(159.154943 / 2, rel=1e-8, abs=0)
    assert answer.mean == 0
    with pytest.raises(CircuitError, match="no bound at DC"):
        made.periodic_response(Waveform.from_coefficients(1e-3, [0.1, 0.5]), "I", "a")


@pytest.mark.parametrize(("ohms", "before"), [(50.0, ()), (np.array([[50.0], [60.0]]), (2,))])
def test_between_a_node_and_itself_there_is_nothing_in_the_shape_of_all_else(ohms, before):
    """hand: zero at every frequency and time."""
    one = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", ohms).capacitor("C", "b", "0", 1e-6)
    for output in ("0", ("b", "b")):
        for found, count in ((one.transfer([1e3, 1e4, 1e5], "V", output), 3), (one.transfer([0.0], "V", output), 1),
                             (one.step_response([0.0, 1e-3], "V", output), 2)):  # fmt: skip
            assert found.shape == (*before, count)
            assert not found.any()
