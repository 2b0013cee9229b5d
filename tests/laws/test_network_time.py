"""Poles, steps and limits of random circuits against arithmetic of many digits.

second method throughout: modified nodal equations, written here from the elements, solved and diagonalised by mpmath.
"""

import mpmath as mp
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, example, given, reject, settings
from hypothesis import strategies as st

from filterlib import Circuit, CircuitError, Current
from filterlib.network.equations import dense, elimination
from filterlib.network.equations.tableau import build

SLOW = settings(deadline=None, max_examples=25, suppress_health_check=list(HealthCheck))
SHIFT = mp.mpf(1234567) + mp.mpf(1) / 7  # no pole is there
seeds = st.integers(0, 2**32 - 1)


def random_circuit(seed, most, decades):
    """A tree and as many elements across it, a source at n1, and a few couplings, perfect ones among them."""
    rng = np.random.default_rng(seed)
    names = ["0", *(f"n{i}" for i in range(1, int(rng.integers(2, most + 1)) + 1))]
    pairs = [(names[i], names[rng.integers(i)]) for i in range(1, len(names))]
    pairs += [tuple(rng.choice(names, 2, replace=False)) for _ in names[1:]]
    touched = [node for pair in [*pairs, ("n1", "0")] for node in pair]
    pairs += [(name, "0") for name in names[1:] if touched.count(name) < 2]
    circuit = Circuit()
    getattr(circuit, rng.choice(["voltage_source", "current_source"]))("drive", "n1", "0")
    for number, (a, b) in enumerate(pairs):
        kind, base = [("resistor", 1.0), ("capacitor", 1e-9), ("inductor", 1e-6)][rng.integers(3)]
        getattr(circuit, kind)(f"e{number}", str(a), str(b), base * 10 ** rng.uniform(-decades / 2, decades / 2))
    coils = [e.name for e in circuit.elements if e.kind == "inductor"]
    for first, second in zip(coils[::4], coils[1::4], strict=False):
        circuit.couple(f"k{first}", first, second, rng.choice([1.0, 0.99, -0.5, -1.0]))
    return circuit


def equations(circuit):
    """G, C, b and the index of every node and current, in mpmath's numbers."""
    elements = [e for e in circuit.elements if e.kind != "couple"]
    branches = [e.name for e in elements if e.kind in ("inductor", "voltage_source", "resistor")]
    names = [node for node in circuit.nodes if node != "0"] + branches
    at = {name: i for i, name in enumerate(names)}
    g, c, b = mp.zeros(len(at)), mp.zeros(len(at)), mp.zeros(len(at), 1)
    for e in elements:
        ends = [(at[node], sign) for node, sign in zip(e.nodes, (1, -1), strict=True) if node != "0"]
        if e.name in at:
            row = at[e.name]
            for i, sign in ends:
                g[i, row] += sign
                g[row, i] += sign
            b[row] += e.kind == "voltage_source"
            matrix = c if e.kind == "inductor" else g
            matrix[row, row] -= mp.mpf(e.value or 0)
        elif e.kind == "current_source":
            for i, sign in ends:
                b[i] += sign
        else:
            for i, sign in ends:
                for j, other in ends:
                    c[i, j] += sign * other * mp.mpf(e.value)
    henries = {e.name: mp.mpf(e.value) for e in elements if e.kind == "inductor"}
    for e in circuit.elements:
        if e.kind == "couple":
            i, j = (at[name] for name in e.nodes)
            mutual = mp.mpf(float(e.value)) * mp.sqrt(henries[e.nodes[0]] * henries[e.nodes[1]])
            c[i, j] -= mutual
            c[j, i] -= mutual
    return g, c, b, at


def inverted(matrix):
    """The inverse; a loop of perfectly coupled windings has none, since nothing fixes its current."""
    try:
        inverse = matrix**-1
    except ZeroDivisionError:
        reject()
    assume(mp.mnorm(inverse, 1) < mp.mpf(10) ** 60)
    return inverse


def modes(g, c, b):
    """Finite poles with the vectors of residues of (G + s C)^-1 b."""
    inverse = inverted(g + SHIFT * c)
    try:
        mu, left, right = mp.eig(inverse * c, left=True, right=True)
    except RuntimeError:  # mpmath's QR iteration does not always converge
        reject()
    start = inverse * b
    found = []
    for k, value in enumerate(mu):
        if abs(value) > mp.mpf(10) ** (-mp.mp.dps // 4):
            row, column = left[k, :], right[:, k]
            residue = (row * start)[0] / (row * column)[0] / value
            found.append((SHIFT - 1 / value, column * residue))
    return found


def matched(found, expected):
    """The largest relative distance between two sets of poles, each paired with the nearest that is left."""
    rest, worst = list(expected), 0.0
    for pole in found:
        other = rest.pop(min(range(len(rest)), key=lambda i: abs(rest[i] - pole)))
        worst = max(worst, abs(pole - other) / max(abs(other), 1e-30))
    return worst


@SLOW
@given(seeds, st.sampled_from([4.0, 8.0, 12.0]))
@example(100, 12.0)  # a turns ratio of 2e4 takes a pole beyond every R C and L / R
def test_poles(seed, decades):
    """As many as there are, each to 1e-9: also perfect coupling, loops of capacitors and cuts of inductors."""
    circuit = random_circuit(seed, 5, decades)
    found = circuit.poles()
    with mp.workdps(150):
        expected = [complex(s) if abs(s) > 1e-30 else 0j for s, _ in modes(*equations(circuit)[:3])]
    assert len(found) == len(expected)
    assert matched(found, expected) < 1e-9


@SLOW
@given(seeds)
@example(21)  # feeding residuals back moves unknowns by more than what is left of them
@example(223)
def test_backward_error_beside_perfect_coupling(seed):
    """Every row of the equations, at every frequency, to 1e-13 of its own terms."""
    circuit = random_circuit(seed, 12, 12.0)
    tableau, f = build(circuit.netlist), np.geomspace(1, 1e9, 40)
    s, sign = 2j * np.pi * f, 1.0 if circuit.elements[0].kind == "voltage_source" else -1.0
    right = (((tableau.layout.currents["drive", 1][0], sign),),)
    try:
        x = elimination.solve(tableau, f, s, right, tuple(range(tableau.pattern.size)))
    except CircuitError:  # a loop of perfectly coupled windings and the source
        reject()
    a = dense.assemble(tableau.pattern, tableau.values(f, s), len(f))
    error = dense.backward_error(a, np.moveaxis(x, 2, 0).swapaxes(1, 2), dense.right_sides(tableau.pattern.size, right))
    assert error.max() < 1e-13


@SLOW
@given(seeds, st.sampled_from([4.0, 7.0]))
def test_step_of_random_circuits(seed, decades):
    """The step against partial fractions of many digits, to 1e-9 of the largest voltage; an undamped pole adds the rounding
    of its turns."""
    circuit = random_circuit(seed, 5, decades)
    poles = circuit.poles()
    poles = poles[abs(poles) > 0]
    assume(len(poles) > 0)
    times = np.geomspace(0.01 / abs(poles).max(), 30 / abs(poles).min(), 8)
    with mp.workdps(100):
        g, c, b, at = equations(circuit)
        parts = modes(g, c, b)
    with mp.workdps(400):
        rest = mp.lu_solve(g + mp.mpf(10) ** -60 * c, b)
    nodes = [node for node in circuit.nodes if node != "0" and holds_no_impulse(circuit, node)]
    bounded = [node for node in nodes if np.isfinite(circuit.transfer([0.0], "drive", node)[0])]
    exact, sizes = [], []
    with mp.workdps(100):
        for k in (at[node] for node in bounded):
            shares = [(s, r[k] / s) for s, r in parts if abs(s) > 1e-30]
            sizes.append(float(abs(rest[k]) + sum(abs(share) for _, share in shares)))
            sums = (rest[k] + sum(share * mp.exp(s * mp.mpf(t)) for s, share in shares) for t in times.tolist())
            exact.append([float(mp.re(total)) for total in sums])
    turns = abs(poles).max() * times
    for node, values, size in zip(bounded, exact, sizes, strict=True):
        found = circuit.step_response(times, "drive", node)
        assert np.all(abs(found - values) <= 1e-14 * turns * size + 1e-9 * max(*sizes, 1e-12))


def holds_no_impulse(circuit, node):
    try:
        return len(circuit.step_response([1.0], "drive", node)) == 1
    except CircuitError:
        return False


@SLOW
@given(seeds, st.sampled_from([4.0, 8.0, 12.0]))
def test_limit_towards_dc(seed, decades):
    """f = 0 against s = 1e-60 with 400 digits: also nodes that capacitors alone hold, and loops of inductors."""
    circuit = random_circuit(seed, 7, decades)
    with mp.workdps(400):
        g, c, b, at = equations(circuit)
        inverted(g + SHIFT * c)
        near, nearer = (mp.lu_solve(g + mp.mpf(10) ** -n * c, b) for n in (60, 63))
        names = [name for name in at if name != "drive"]
        pairs = [(complex(near[at[name]]), complex(nearer[at[name]])) for name in names]
    outputs = [name if name in circuit.nodes else Current(name) for name in names]
    scale = max([1.0, *(abs(second) for first, second in pairs if abs(second) <= 30 * abs(first))])
    for answer, (first, second) in zip(circuit.transfer([0.0], "drive", outputs), pairs, strict=True):
        if abs(second) > 30 * abs(first):
            assert np.isinf(answer[0])
        elif abs(second) > 1e-40:
            assert abs(answer[0] - second) <= 1e-9 * max(abs(second), 1e-6 * scale)
        else:
            assert abs(answer[0]) <= 1e-10 * scale


def test_impulse_is_the_derivative_of_the_step():
    """second method: central differences of the step, to their own error of about (h s)^2."""
    circuit = Circuit().current_source("drive", "a", "0").capacitor("C", "a", "0", 1e-6).resistor("R", "a", "b", 3.0)
    circuit.inductor("L", "b", "0", 1e-5)
    t, h = np.linspace(1e-6, 4e-5, 9), 1e-10
    late, early = (circuit.step_response(t + d, "drive", "a") for d in (h, -h))
    slope = (late - early) / (2 * h)
    scale = abs(slope).max()
    np.testing.assert_allclose(circuit.impulse_response(t, "drive", "a"), slope, rtol=0, atol=1e-6 * scale)


def test_defective_pole_among_fast_and_slow_ones():
    """hand: a double pole at -1000 from series R-L-C, beside an R-C of 1 ns and one of 1000 s on the same source."""
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 2.0).inductor("L", "b", "c", 1e-3)
    circuit.capacitor("C", "c", "0", 1e-3).resistor("Rf", "a", "d", 1.0).capacitor("Cf", "d", "0", 1e-9)
    circuit.resistor("Rs", "a", "e", 1e6).capacitor("Cs", "e", "0", 1e-3)
    t = np.array([1e-9, 1e-4, 1e-3, 5e-3, 1e3])
    slow, fast, double = circuit.step_response(t, "V", ["e", "d", "c"])
    np.testing.assert_allclose(slow, -np.expm1(-t / 1e3), rtol=1e-6, atol=1e-15)
    np.testing.assert_allclose(fast, -np.expm1(-t / 1e-9), rtol=1e-11, atol=0)
    np.testing.assert_allclose(double, 1 - np.exp(-1e3 * t) * (1 + 1e3 * t), rtol=0, atol=1e-11)


def test_current_into_a_ladder_is_the_current_of_its_element():
    """hand: an immittance of R-C whose ladder is that R and C has the same poles and step as the elements."""
    ladder = Circuit().resistor("r", "a", "x", 50.0).capacitor("c", "x", "b", 1e-6)
    circuit = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 50.0)
    circuit.immittance("Z", "out", "0", lambda f: np.full(f.shape, 50.0 + 0j), ladder=ladder)
    np.testing.assert_allclose(circuit.poles(), [-1e4], rtol=1e-12, atol=0)
    current = circuit.step_response([0.0, 1e-4], "V", Current("Z"))
    np.testing.assert_allclose(current, [0.01, 0.01 * np.exp(-1)], rtol=1e-12, atol=0)


def test_ladder_of_a_coupled_pair_keeps_both_currents():
    """hand: two separate resistors as a pair: 1 V drives 1 / 2 A, and 1 / 10 A through 5 ohm more."""
    ladder = Circuit().resistor("p", "a1", "b1", 2.0).resistor("q", "a2", "b2", 5.0)
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "c", 5.0)
    circuit.coupled("T", ("a", "0"), ("c", "0"), lambda f: np.ones((len(f), 2, 2)), ladder=ladder)
    answers = circuit.step_response([1.0], "V", [Current("T"), Current("T", winding=2)])
    np.testing.assert_allclose([x[0] for x in answers], [0.5, 0.1], rtol=1e-12, atol=0)
    with pytest.raises(CircuitError, match="winding 3"):
        circuit.transfer([1.0], "V", Current("T", winding=3))
