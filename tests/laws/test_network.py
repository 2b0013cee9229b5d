"""Laws that every passive circuit keeps, on random circuits of up to 30 nodes over 12 decades of values."""

import mpmath
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib import Circuit, Current
from filterlib.network.equations import dense
from filterlib.network.equations.elimination import solve
from filterlib.network.equations.tableau import build

SLOW = settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
KINDS = ("resistor", "capacitor", "inductor", "conductance")
F = np.geomspace(100e3, 200e6, 7)
BASE = {"resistor": 1e2, "capacitor": 1e-7, "inductor": 1e-5, "conductance": 1e-2}


@st.composite
def passive(draw, most=30, decades=6.0, kinds=KINDS):
    """A connected passive circuit: a random tree to the reference and as many elements again across it."""
    seed = draw(st.integers(0, 2**32 - 1))
    count = draw(st.integers(2, most))
    return random_circuit(seed, count, decades, kinds)


def random_circuit(seed, count, decades, kinds):
    rng = np.random.default_rng(seed)
    names = ["0", *(f"n{i}" for i in range(1, count + 1))]
    pairs = [(names[i], names[rng.integers(0, i)]) for i in range(1, count + 1)]
    pairs += [tuple(rng.choice(names, 2, replace=False)) for _ in range(count)]
    leaves = [name for name in names[1:] if sum(name in pair for pair in pairs) < 2]
    pairs += [(name, "0") for name in leaves]
    circuit = Circuit()
    for number, (a, b) in enumerate(pairs):
        kind = kinds[rng.integers(len(kinds))]
        value = BASE[kind] * 10 ** rng.uniform(-decades, decades)
        getattr(circuit, kind)(f"e{number}", str(a), str(b), value)
    return circuit


def frequencies(seed):
    return np.sort(10 ** np.random.default_rng(seed).uniform(0, 9, 7))


@SLOW
@given(passive(), st.integers(0, 1000))
def test_backward_error(circuit, seed):
    """Kirchhoff's residual put back into the matrices: componentwise backward error under 1e-13."""
    f = frequencies(seed)
    s = 2j * np.pi * f
    tableau = build(circuit.netlist)
    right = (((tableau.node("n1"), 1.0),),)
    x = solve(tableau, f, s, right, tuple(range(tableau.pattern.size)))[0]
    values = tableau.values(f, s)
    at = [[v[i] if isinstance(v, np.ndarray) else v for v in values] for i in range(len(f))]
    b = np.zeros(tableau.pattern.size)
    b[tableau.node("n1")] = 1.0
    for i, point in enumerate(at):
        a = dense.assemble(tableau.pattern, point, 1)[0]
        error = np.abs(b - a @ x[:, i]) / (np.abs(a) @ np.abs(x[:, i]) + np.abs(b) + 1e-300)
        assert error.max() < 1e-13


@SLOW
@given(passive(), st.integers(0, 1000))
def test_power_into_a_port_is_the_heat(circuit, seed):
    """Re(V I*) at the port equals the sum over the resistors, scaled by the largest term (reactive ones included)."""
    f = frequencies(seed)
    circuit.current_source("drive", "n1", "0")
    elements = [e for e in circuit.elements if e.name != "drive"]
    outputs = [out for e in elements for out in (e.nodes, Current(e.name))]
    answers = circuit.transfer(f, "drive", ["n1", *outputs])
    powers = [v * np.conj(i) for v, i in zip(answers[1::2], answers[2::2], strict=True)]
    heat = sum(p.real for p, e in zip(powers, elements, strict=True) if e.kind in ("resistor", "conductance"))
    largest = np.max(np.abs([*powers, answers[0]]), axis=0)
    assert np.all(np.abs(answers[0].real - heat) <= 1e-9 * largest)


@SLOW
@given(passive(), st.integers(0, 1000))
def test_reciprocity(circuit, seed):
    """A current into n1 makes at n2 what the same current into n2 makes at n1, scaled by the impedances there."""
    f = frequencies(seed)
    circuit.current_source("one", "n1", "0").current_source("two", "n2", "0")
    (z11, z12), (z21, z22) = circuit.transfer(f, ["one", "two"], ["n1", "n2"])
    scale = np.maximum(np.abs(z12), np.sqrt(np.abs(z11 * z22)))
    assert np.all(np.abs(z12 - z21) <= 1e-9 * scale)


@SLOW
@given(passive(most=12, decades=3.0), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3), st.integers(0, 1000))
def test_impedance_and_frequency_scaling(circuit, ohms, hertz, seed):
    """All impedances times a: Z times a. All L and C divided by b: the same Z at b times the frequency."""
    f = frequencies(seed)
    factor = {"resistor": ohms, "conductance": 1 / ohms, "inductor": ohms / hertz, "capacitor": 1 / (ohms * hertz)}
    scaled = Circuit()
    for e in circuit.elements:
        getattr(scaled, e.kind)(e.name, *e.nodes, e.value * factor[e.kind])
    plain = circuit.impedance(f, "n1")
    np.testing.assert_allclose(scaled.impedance(f * hertz, "n1"), ohms * plain, rtol=1e-7, atol=0)


@SLOW
@given(passive(most=20, decades=3.0), st.integers(0, 1000))
def test_passive_ports_take_no_power_from_nowhere(circuit, seed):
    z = circuit.impedance(frequencies(seed), "n1")
    assert np.all(z.real >= -1e-9 * np.abs(z))


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 2**32 - 1), st.integers(2, 5))
def test_small_ones_against_fifty_digits(seed, count):
    """second method: nodal analysis solved by mpmath with 50 digits."""
    circuit, f = random_circuit(seed, count, 6.0, ("resistor", "capacitor", "inductor")), frequencies(seed % 1000)
    names = [node for node in circuit.nodes if node != "0"]
    answers = circuit.impedance(f, "n1")
    with mpmath.workdps(50):
        for at, answer in zip(f, answers, strict=True):
            s = mpmath.mpc(0, 2 * mpmath.pi * mpmath.mpf(float(at)))
            y = mpmath.zeros(len(names))
            for e in circuit.elements:
                value = mpmath.mpf(e.value)
                g = {"resistor": 1 / value, "capacitor": s * value, "inductor": 1 / (s * value)}[e.kind]
                ends = [names.index(node) for node in e.nodes if node != "0"]
                for a in ends:
                    y[a, a] += g
                if len(ends) == 2:
                    y[ends[0], ends[1]] -= g
                    y[ends[1], ends[0]] -= g
            b = mpmath.zeros(len(names), 1)
            b[names.index("n1")] = 1
            exact = complex(mpmath.lu_solve(y, b)[names.index("n1")])
            inverse = y**-1
            k = names.index("n1")
            amplified = sum(
                abs(inverse[k, i]) * abs(y[i, j]) * abs(inverse[j, k])
                for i in range(len(names))
                for j in range(len(names))
            )
            assert abs(answer - exact) <= max(1e-9 * abs(exact), 1e-12 * float(amplified))


LADDERS = {  # decades between the poles: elements (resistor, capacitor) of an R-C ladder
    "7 decades": [(1.0, 1e-9), (1e2, 1e-6), (1e3, 1e-3)],
}


@pytest.mark.parametrize("name", LADDERS)
def test_step_against_the_inverse_transform(name):
    """second method: mpmath's numerical inverse Laplace transform (Talbot) of H(s)/s, H by mpmath's own nodal solve."""
    circuit = Circuit().voltage_source("V", "n0", "0")
    for i, (ohms, farads) in enumerate(LADDERS[name]):
        circuit.resistor(f"R{i}", f"n{i}", f"n{i + 1}", ohms).capacitor(f"C{i}", f"n{i + 1}", "0", farads)
    poles = circuit.poles()
    assert np.log10(abs(poles[-1] / poles[0])) > 7
    end = f"n{len(LADDERS[name])}"

    def transformed(s):
        chain = mpmath.eye(2)
        for ohms, farads in LADDERS[name]:
            chain = chain * mpmath.matrix([[1 + s * ohms * mpmath.mpf(farads), ohms], [s * mpmath.mpf(farads), 1]])
        return 1 / (chain[0, 0] * s)

    with mpmath.workdps(30):
        for t in (1e-8, 1e-5, 1e-3, 0.3, 3.0):
            expected = float(mpmath.invertlaplace(transformed, t, method="talbot"))
            (answer,) = circuit.step_response([t], "V", end)
            assert answer == pytest.approx(expected, rel=0, abs=1e-9)
    assert circuit.step_response([1e3], "V", end)[0] == pytest.approx(1.0, rel=1e-9, abs=0)


def test_bank_with_its_inductance_over_14_decades():
    """A bank of 10 mF behind 0.1 ohm, a 100 nF with 1 nH and a bleeder of 1 Gohm: poles over 14 decades, each to 1e-6 of
    mpmath's roots; value at infinity against f = 0."""
    circuit = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "a", 1e9).capacitor("bank", "a", "b", 10e-3)
    circuit.resistor("esr", "b", "c", 5e-3).inductor("esl", "c", "0", 10e-9).capacitor("film", "a", "d", 100e-12)
    circuit.resistor("loss", "d", "e", 1e-2).inductor("loop", "e", "0", 1e-9)
    poles = circuit.poles()
    assert np.log10(abs(poles[-1] / poles[0])) > 14
    with mpmath.workdps(60):
        m = mpmath.mpf

        def one(c, r, ind):  # admittance of series C R L: numerator s C, denominator
            return [m(c), m(0)], [m(ind) * m(c), m(r) * m(c), m(1)]

        (n1, d1), (n2, d2) = one("10e-3", "5e-3", "10e-9"), one("100e-12", "1e-2", "1e-9")

        def times(p, q):
            out = [m(0)] * (len(p) + len(q) - 1)
            for i, a in enumerate(p):
                for j, b in enumerate(q):
                    out[i + j] += a * b
            return out

        def plus(*parts):
            longest = max(map(len, parts))
            padded = [[m(0)] * (longest - len(p)) + p for p in parts]
            return [sum(column) for column in zip(*padded, strict=True)]

        total = plus([c * m("1e-9") for c in times(d1, d2)], times(n1, d2), times(n2, d1))
        roots = sorted(
            (complex(r) for r in mpmath.polyroots(total, maxsteps=500, extraprec=400)), key=lambda r: (abs(r), r.imag)
        )
    for pole, root in zip(poles, roots, strict=True):
        assert abs(pole - root) < 1e-6 * abs(root)
    assert circuit.step_response([1e9], "V", "a")[0] == pytest.approx(1.0, rel=1e-6, abs=0)


@given(mutual=st.floats(-1e-9, 1e-9), choke=st.floats(-5.5, -4), far=st.floats(1.0, 9.0))
@settings(deadline=None, max_examples=40)
def test_a_choke_that_couples_into_a_capacitors_loop_changes_that_loop_by_as_much(mutual, choke, far):
    """second method: with M into the loop, or M more in the loop and in the choke and M less in the wire that leads on (T of coupled
    inductors, by hand); and next to all of it is in the loop, which is why its range alone holds it."""
    loop, wire, inductance = 4e-9, 400e-9, 10**choke

    def left(series, shunt, onward, k=0.0):
        circuit = (
            Circuit().voltage_source("in", "a", "0").inductor("L", "a", "b", series).inductor("loop", "b", "c", shunt)
        )
        circuit.resistor("esr", "c", "d", 5e-3).capacitor("C", "d", "0", 10e-6).inductor("wire", "b", "e", onward)
        circuit.resistor("load", "e", "0", far)
        if k:
            circuit.couple("stray", "L", "loop", k)
        return circuit.transfer(F, "in", "e")

    there = left(inductance, loop, wire, mutual / np.sqrt(inductance * loop))
    assert_allclose(there, left(inductance + mutual, loop + mutual, wire - mutual), rtol=1e-9, atol=0)
    assert_allclose(there, left(inductance, loop + mutual, wire), rtol=0.01, atol=0)
