"""The numeric engine against computer algebra (lcapy), against ladder formulas by hand, and against scipy.signal."""

import random
import subprocess
import sys
from fractions import Fraction

import mpmath
import numpy as np
import pytest
import sympy
from numpy.testing import assert_allclose
from scipy import signal

from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit, Current
from filterlib.network.symbolic import evaluate, formula

S = sympy.Symbol("s")
SPEEDS = [Fraction(1, 100), Fraction(3, 7), Fraction(1), Fraction(17, 9), Fraction(250)]
"""Angular frequencies [rad/s] of the comparison; s = j times these is rational."""


def _random_network(seed):
    """A connected net of up to eight nodes besides the reference, of resistors, inductors, capacitors, conductances."""
    rng = random.Random(seed)
    nodes = ["0", *(f"node {i}" for i in range(1, rng.randint(3, 8) + 1))]
    circuit = Circuit().voltage_source("drive", nodes[1], "0").resistor("inside", nodes[1], nodes[2], 0.5)
    kinds = ["resistor", "inductor", "capacitor", "conductance"]
    pairs = [(nodes[i], nodes[rng.randrange(1, i)]) for i in range(2, len(nodes))]
    pairs += [tuple(rng.sample(nodes, 2)) for _ in range(len(nodes))]
    for i, (a, b) in enumerate(pairs):
        value = rng.randint(1, 64) / rng.choice([1, 2, 8, 32])
        getattr(circuit, rng.choice(kinds))(f"part.{i}", a, b, value)
    for node in nodes[1:]:
        circuit.resistor(f"leak {node}", node, "0", 64.0)
    return circuit, "drive", nodes[-1]


def _driven():
    return Circuit().voltage_source("V", "in", "0")


def _transformer(k, load=4.0):
    circuit = _driven().resistor("Rs", "in", "p", 0.5).inductor("L1", "p", "0", 2.0).inductor("L2", "q", "0", 8.0)
    return circuit.couple("K", "L1", "L2", k).resistor("RL", "q", "0", load).capacitor("C", "q", "p", 0.25)


def _twin_t():
    circuit = _driven().resistor("R1", "in", "x", 1.0).resistor("R2", "x", "out", 1.0).capacitor("C3", "x", "0", 2.0)
    circuit.capacitor("C1", "in", "y", 1.0).capacitor("C2", "y", "out", 1.0).resistor("R3", "y", "0", 0.5)
    return circuit.resistor("RL", "out", "0", 10.0)


def _bridge():
    circuit = _driven().resistor("A", "in", "x", 2.0).inductor("B", "x", "0", 0.75).capacitor("C", "in", "y", 0.5)
    return circuit.resistor("D", "y", "0", 3.0).conductance("E", "x", "y", 0.125)


def _common_mode_filter():
    circuit = (
        _driven().resistor("source", "in", "p", 0.25).capacitor("X1", "p", "r", 0.125).inductor("La", "p", "q", 4.0)
    )
    circuit.inductor("Lb", "r", "t", 4.0).couple("choke", "La", "Lb", 0.96875).capacitor("X2", "q", "t", 0.125)
    circuit.capacitor("Y1", "q", "0", 0.0078125).capacitor("Y2", "t", "0", 0.0078125).resistor("load", "q", "t", 5.0)
    return circuit.resistor("return", "r", "0", 0.03125)


def _three_windings():
    circuit = _driven().resistor("Rs", "in", "a", 1.0)
    circuit.inductor("L1", "a", "0", 1.0).inductor("L2", "b", "0", 4.0).inductor("L3", "c", "b", 2.0)
    circuit.couple("K12", "L1", "L2", 0.5).couple("K23", "L2", "L3", -0.25).couple("K13", "L1", "L3", 0.375)
    return circuit.resistor("Rb", "b", "0", 3.0).resistor("Rc", "c", "0", 2.0).capacitor("Cc", "c", "0", 0.5)


def _parasitic_pi():
    circuit = (
        _driven().resistor("Rs", "in", "a", 0.125).capacitor("C1", "a", "m1", 1.0).inductor("ESL1", "m1", "n1", 2**-10)
    )
    circuit.resistor("ESR1", "n1", "0", 2**-6).inductor("L", "a", "b", 8.0).capacitor("CW", "a", "b", 2**-12)
    circuit.capacitor("C2", "b", "m2", 1.5).inductor("ESL2", "m2", "n2", 2**-10).resistor("ESR2", "n2", "0", 2**-6)
    return circuit.couple("K", "ESL1", "ESL2", 0.25).conductance("CPL", "b", "0", -0.03125)


def _inductor_star():
    circuit = (
        _driven().inductor("L1", "in", "star", 1.0).inductor("L2", "star", "b", 2.0).inductor("L3", "star", "c", 3.0)
    )
    return circuit.resistor("Rb", "b", "0", 1.0).resistor("Rc", "c", "0", 2.0).capacitor("C", "b", "c", 0.5)


def _current_driven():
    circuit = Circuit().current_source("I", "0", "a").resistor("R1", "a", "0", 2.0).inductor("L", "a", "b", 0.5)
    return circuit.capacitor("C", "b", "0", 0.25).voltage_source("other", "b", "c").resistor("R2", "c", "0", 7.0)


def _shorts_and_opens():
    circuit = _driven().resistor("none", "in", "a", 0.0).inductor("no L", "a", "b", 0.0).resistor("R", "b", "c", 3.0)
    circuit.capacitor("no C", "b", "0", 0.0).conductance("no G", "c", "a", 0.0).inductor("L", "c", "0", 2.0)
    return circuit.inductor("other", "c", "d", 0.0).couple("idle", "L", "other", 0.5).capacitor("C", "d", "0", 0.5)


CASES = {
    **{f"random {seed}": _random_network(seed) for seed in range(12)},
    "transformer": (_transformer(0.5), "V", "q"),
    "tight transformer": (_transformer(0.9921875), "V", Current("L2")),
    "perfect transformer": (_transformer(1.0), "V", "q"),
    "perfect transformer, dots apart": (_transformer(-1.0), "V", Current("L1")),
    "twin T": (_twin_t(), "V", "out"),
    "bridge": (_bridge(), "V", ("x", "y")),
    "current in a bridge": (_bridge(), "V", Current("E")),
    "common-mode filter": (_common_mode_filter(), "V", ("q", "t")),
    "common-mode current": (_common_mode_filter(), "V", Current("Y1")),
    "three windings": (_three_windings(), "V", "c"),
    "pi filter with parasitics": (_parasitic_pi(), "V", "b"),
    "source current of the pi filter": (_parasitic_pi(), "V", Current("V")),
    "inductors that meet in one node": (_inductor_star(), "V", ("b", "c")),
    "current source": (_current_driven(), "I", "b"),
    "second source": (_current_driven(), "other", Current("R1")),
    "current of a current source": (_current_driven(), "I", Current("I")),
    "capacitor across the source": (
        _driven().capacitor("C", "in", "0", 2.0).resistor("R", "in", "0", 4.0),
        "V",
        Current("C"),
    ),
    "shorts and opens": (_shorts_and_opens(), "V", "d"),
    "current of a short": (_shorts_and_opens(), "V", Current("no L")),
}


@pytest.mark.parametrize("name", CASES)
def test_transfer_against_computer_algebra(name):
    """To 1e-9 of the gain, or at a zero to what 45 roundings of the frequency explain."""
    circuit, source, output = CASES[name]
    step = Fraction(1, 10**12)
    points = [w * sympy.I * factor for factor in (1, 1 + step) for w in SPEEDS]
    values = evaluate(circuit, points, source, output)
    expected, beside = values[: len(SPEEDS)], values[len(SPEEDS) :]
    found = circuit.transfer([float(w) / (2 * np.pi) for w in SPEEDS], source, output)
    sensitivity = [float(abs((b - a) / float(step))) for a, b in zip(expected, beside, strict=True)]
    exact = np.array([complex(value) for value in expected])
    assert np.any(np.abs(exact) > 0)
    assert np.all(
        np.abs(found - exact) <= np.maximum(1e-9 * np.abs(exact), 1e-14 * np.array(sensitivity))
    )  # second method


def test_there_are_enough_cases():
    assert len(CASES) >= 20
    assert max(len(circuit.nodes) for circuit, _, _ in CASES.values()) >= 8


def test_an_open_part_carries_no_current():
    circuit = _shorts_and_opens()
    for part in ("no C", "no G"):
        assert evaluate(circuit, [1], "V", Current(part)) == [0]  # hand
        assert circuit.transfer([0.3], "V", Current(part))[0] == 0  # hand


def test_values_are_taken_as_the_numbers_that_they_are():
    circuit = _driven().resistor("R", "in", "out", 0.1).capacitor("C", "out", "0", 4.7e-6)
    (found,) = evaluate(circuit, [10**6], "V", "out", digits=40)
    expected = 1 / (1 + 10**6 * Fraction(0.1) * Fraction(4.7e-6))  # hand, exact
    with mpmath.workdps(60):
        assert abs(found.real * expected.denominator / expected.numerator - 1) < 1e-38


def test_irrational_coupling_keeps_its_digits():
    circuit = _driven().resistor("Rs", "in", "p", 1.0).inductor("L1", "p", "0", 2.0).inductor("L2", "q", "0", 3.0)
    circuit.couple("K", "L1", "L2", 0.75).resistor("RL", "q", "0", 5.0)
    (found,) = evaluate(circuit, [1], "V", "q", digits=50)
    with mpmath.workdps(60):
        m = mpmath.mpf(3) / 4 * mpmath.sqrt(6)
        expected = 5 * m / ((1 + 2) * (5 + 3) - m**2)  # hand: s M R / ((R1 + s L1)(R2 + s L2) - s^2 M^2)
        assert abs(found.real / expected - 1) < 1e-48


def _ladder_formula(s, series, shunts):
    """Open-circuit gain of a ladder by hand: from the far end, voltage 1, then current and voltage rung by rung."""
    voltage, current = 1, 0
    for z, y in zip(reversed(series), reversed(shunts), strict=True):
        current = current + y * voltage
        voltage = voltage + z * current
    return sympy.simplify(1 / voltage)


def _ladder(sections):
    circuit = Circuit().voltage_source("V", "n0", "0")
    for i in range(sections):
        circuit.resistor(f"r{i}", f"n{i}", f"m{i}", 0.1 + i).inductor(f"l{i}", f"m{i}", f"n{i + 1}", 1e-5 / (1 + i))
        circuit.capacitor(f"c{i}", f"n{i + 1}", "0", 1e-6 * (1 + i))
    return circuit


@pytest.mark.parametrize("sections", [1, 2, 3])
def test_formula_of_a_ladder_by_hand(sections):
    found = formula(_ladder(sections), "V", f"n{sections}")
    r, l, c = ([sympy.Symbol(f"{letter}{i}") for i in range(sections)] for letter in "rlc")  # noqa: E741
    series = [ri + S * li for ri, li in zip(r, l, strict=True)]
    expected = _ladder_formula(S, series, [S * ci for ci in c])  # hand
    assert sympy.simplify(found - expected) == 0


@pytest.mark.parametrize("sections", [1, 2, 5, 8])
def test_ladder_numbers_by_hand(sections):
    f = np.geomspace(1e2, 1e7, 31)
    s = 2j * np.pi * f
    voltage, current = np.ones_like(s), np.zeros_like(s)
    for i in reversed(range(sections)):
        current = current + s * 1e-6 * (1 + i) * voltage
        voltage = voltage + (0.1 + i + s * 1e-5 / (1 + i)) * current
    assert_allclose(_ladder(sections).transfer(f, "V", f"n{sections}"), 1 / voltage, rtol=1e-11, atol=0)  # hand


@pytest.mark.parametrize("circuit", [_ladder(1), _ladder(2), _ladder(3)])
def test_step_response_against_scipy(circuit):
    output = circuit.nodes[-1]
    top, bottom = (
        sympy.Poly(part, S).all_coeffs() for part in sympy.fraction(formula(circuit, "V", output, numeric=True))
    )
    scale = 1e6  # time in microseconds keeps scipy's companion matrix in range
    weights = [scale ** (len(bottom) - 1 - i) for i in range(len(bottom))]
    system = signal.TransferFunction(
        [float(c * w) for c, w in zip(top, weights[-len(top) :], strict=True)],
        [float(c * w) for c, w in zip(bottom, weights, strict=True)],
    )
    times = np.linspace(0, 200, 401)
    _, expected = signal.step(system, T=times)
    found = circuit.step_response(times / scale, "V", output)
    assert_allclose(found, expected, rtol=0, atol=1e-8)  # second method; scale 1 V


def test_names_of_every_kind_come_back():
    circuit = Circuit().voltage_source("V in", "p:+", "0").resistor("R.a/b", "p:+", "load_plus", 1.0)
    circuit.conductance("I", "load_plus", "0", 1.0).capacitor("E", "load_plus", "0", 1.0)
    found = formula(circuit, "V in", "load_plus")
    assert {symbol.name for symbol in found.free_symbols} == {"R.a/b", "I", "E", "s"}
    r, g, c = sympy.Symbol("R.a/b"), sympy.Symbol("I"), sympy.Symbol("E")
    assert sympy.simplify(found - 1 / (1 + r * (g + S * c))) == 0  # hand


def test_formula_survives_perfect_coupling():
    circuit = _driven().resistor("Rs", "in", "p", 1.0).inductor("L1", "p", "0", 1.0).inductor("L2", "q", "0", 1.0)
    found = formula(circuit.couple("K", "L1", "L2", 0.5).resistor("RL", "q", "0", 1.0), "V", "q")
    perfect = found.subs({"K": 1, "L1": 2, "L2": 8, "Rs": sympy.Rational(1, 2), "RL": 4})
    expected = 4 * S * 4 / ((sympy.Rational(1, 2) + 2 * S) * (4 + 8 * S) - 16 * S**2)  # hand
    assert sympy.simplify(perfect - expected) == 0


def test_formula_survives_zero_values():
    assert formula(_ladder(1), "V", "n1").subs({"r0": 0, "l0": 0}) == 1  # hand


def test_numeric_formula_is_exact():
    circuit = _driven().inductor("L", "in", "out", 0.5).resistor("R", "out", "0", 3.0)
    assert sympy.simplify(formula(circuit, "V", "out", numeric=True) - 6 / (S + 6)) == 0  # hand


def test_functions_of_frequency_are_refused_by_name():
    ladder = Circuit().resistor("r", "a", "b", 1.0)
    circuit = _driven().immittance("bead", "in", "out", lambda f: 1 + 0 * f, ladder).resistor("R", "out", "0", 1.0)
    with pytest.raises(CircuitError, match=r"^bead: .* Circuit\.laddered"):
        formula(circuit, "V", "out")
    assert formula(circuit.laddered(), "V", "out", numeric=True) == sympy.Rational(1, 2)  # hand
    pair = _driven().resistor("R", "in", "x", 1.0)
    pair.coupled("windings", ("x", "0"), ("y", "0"), lambda f: np.ones((*np.shape(f), 2, 2))).resistor(
        "S", "y", "0", 1.0
    )
    with pytest.raises(CircuitError, match=r"^windings: an impedance given as a function has no formula$"):
        formula(pair, "V", "y")


@pytest.mark.parametrize(
    ("source", "output", "says"),
    [
        ("W", "out", 'unknown source "W": valid: V'),
        ("R", "out", 'unknown source "R"'),
        ("V", "outt", 'unknown node "outt": did you mean "out"'),
        ("V", ("out", "nowhere"), 'unknown node "nowhere"'),
        ("V", Current("RR"), 'unknown element "RR": did you mean "R"'),
    ],
)
def test_unknown_names_are_refused(source, output, says):
    circuit = _driven().resistor("R", "in", "out", 1.0).capacitor("C", "out", "0", 1.0)
    with pytest.raises(CircuitError, match=says):
        formula(circuit, source, output)


def test_other_refusals():
    circuit = _driven().resistor("R", "in", "out", np.array([[1.0], [2.0]])).capacitor("C", "out", "0", 1.0)
    with pytest.raises(CircuitError, match=r"^R: holds values for several designs"):
        evaluate(circuit, [1], "V", "out")
    assert formula(circuit, "V", "out").free_symbols == {S, sympy.Symbol("R"), sympy.Symbol("C")}
    with pytest.raises(CircuitError, match=r"^s: is the complex frequency"):
        formula(_driven().resistor("s", "in", "0", 1.0), "V", "in")
    with pytest.raises(CircuitError, match=r"has a pole at s = \(-1\.0"):
        evaluate(_driven().resistor("R", "in", "a", 1.0).capacitor("C", "a", "0", 1.0), [-1], "V", "a")
    with pytest.raises(CircuitError, match="has only one element"):
        formula(_driven().resistor("R", "in", "loose", 1.0), "V", "in")
    shorts = _driven().resistor("a", "in", "x", 0.0).resistor("b", "in", "x", 0.0).resistor("R", "x", "0", 1.0)
    with pytest.raises(CircuitError, match="lcapy finds no single solution"):
        evaluate(shorts, [1], "V", Current("a"))


def test_the_interpreter_shows_values_as_before():
    """In a process of its own, since only the first import of lcapy takes over the display."""
    lines = (
        "import sys",
        "from filterlib.network.circuit import Circuit",
        "from filterlib.network.symbolic import formula",
        "before = sys.displayhook",
        "formula(Circuit().voltage_source('V', 'a', '0').resistor('R', 'a', '0', 1.0), 'V', 'a')",
        "assert 'lcapy' in sys.modules and sys.displayhook is before",
    )
    subprocess.run([sys.executable, "-c", "\n".join(lines)], check=True)


def test_formula_of_a_circuit_shows_as_mathematics():
    """hand: a divider of R over C, and what JupyterLab gets to see."""
    circuit = _driven().resistor("R1", "in", "out", 2.0).capacitor("C.loop_1", "out", "0", 0.5)
    found = circuit.formula("V", "out")
    assert str(found) == "1/(C.loop_1*R1*s + 1)"
    assert found._repr_latex_() == (
        r"$\displaystyle \frac{\text{V(out)}}{V} = \frac{1}{\text{C.loop\_1} R_{\mathrm{1}} s + 1}$"
    )
    assert found.values == {"R1": 2.0, "C.loop_1": 0.5}


@pytest.mark.parametrize("output", ["n2", ("n1", "n2"), Current("l1"), Current("V")])
def test_formula_of_a_circuit_against_the_engine(output):
    """second method: the elimination, with the same values, also as several designs."""
    f = np.geomspace(1e2, 1e6, 25)
    circuit = _ladder(2)
    assert_allclose(circuit.formula("V", output).at(f), circuit.transfer(f, "V", output), rtol=1e-9, atol=0)
    several = circuit.copy().resistor("load", "n2", "0", np.array([[1.0], [50.0]]))
    found = several.formula("V", output).at(f)
    assert found.shape == (2, 25)
    assert_allclose(found, several.transfer(f, "V", output), rtol=1e-9, atol=0)


def test_formula_with_coupling_against_the_engine():
    f = np.geomspace(1e-3, 1e1, 9)
    circuit = _transformer(0.7)
    assert_allclose(circuit.formula("V", "q").at(f), circuit.transfer(f, "V", "q"), rtol=1e-9, atol=0)


def test_formula_of_too_much_is_refused():
    with pytest.raises(CircuitError, match="a formula of 15 elements would fill pages"):
        _ladder(5).formula("V", "n5")
    with pytest.raises(CircuitError, match=r"^bead: an impedance given as a function has no formula$"):
        _driven().immittance("bead", "in", "out", lambda f: 1 + 0 * f).resistor("R", "out", "0", 1.0).formula(
            "V", "out"
        )
