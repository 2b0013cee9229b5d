"""Certificates: never contradicted by draws, counter-examples real, and a box that only its inside turns."""

import numpy as np
import pytest

from filterlib import Circuit
from filterlib.errors import CircuitError
from filterlib.network.multiaffine.certificate import _alike, _Proof, certify
from filterlib.network.multiaffine.characteristic import Factors, characteristic
from tests.pencils import hand_roots, random_circuit

DRAWS = 400  # ten thousand in the benchmark


def _tried(circuit, ranges, draws=DRAWS):
    rng = np.random.default_rng(7)
    values = {name: rng.uniform(*ends, draws) for name, ends in ranges.items()}
    return hand_roots(circuit, values, 1e5)


@pytest.mark.parametrize("seed", range(16))
def test_no_draw_contradicts_a_certificate_and_every_counter_example_is_real(seed):
    """second method: eigenvalues of a matrix written by hand, and the engine's poles."""
    circuit, ranges = random_circuit(seed)
    found = certify(circuit, ranges)
    assert found.verdict != "undecided"
    if found.verdict == "stable":
        assert _tried(circuit, ranges).real.max() < 0
        return
    changed = Circuit()
    for element in circuit.elements:
        getattr(changed, element.kind)(element.name, *element.nodes, found.values.get(element.name, element.value))
    assert changed.poles().real.max() > 0
    assert all(low <= found.values[name] <= high for name, (low, high) in ranges.items())


def test_both_verdicts_are_among_the_random_circuits():
    verdicts = [certify(*random_circuit(seed)).verdict for seed in range(16)]
    assert min(verdicts.count("stable"), verdicts.count("unstable")) >= 4


def test_the_border_is_that_of_the_formula():
    """hand: R > L P / (C V^2) is stable; the worst corner is least R, most L, least C."""
    line = Circuit().resistor("R", "0", "a", 50e-3).inductor("L", "a", "b", 10e-6).capacitor("C", "b", "0", 100e-6)
    for power, verdict in ((0.999, "stable"), (1.001, "unstable")):
        most = power * (0.8 * 50e-3) * (0.7 * 100e-6) / (1.1 * 10e-6)  # [S]
        loaded = line.copy().conductance("G", "b", "0", -most)
        found = certify(loaded, {"R": (40e-3, 60e-3), "L": (9e-6, 11e-6), "C": (70e-6, 130e-6)})
        assert found.verdict == verdict


def _with_trap(siemens):
    """A damped filter under a load of constant power, and a resonance beside it that the load turns unstable where nothing else damps."""
    made = Circuit().resistor("R", "a", "0", 10e-3).inductor("L", "a", "b", 10e-6).capacitor("C", "b", "0", 10e-6)
    made.resistor("Rb", "b", "d", 1.0).capacitor("Cb", "d", "0", 5e-6).inductor("M", "b", "e", 200e-6)
    return made.capacitor("D", "e", "0", 5e-6).conductance("G", "b", "0", -siemens)


def test_a_range_that_is_unstable_only_inside_is_not_certified():
    """second method: the matrix written by hand says that both ends are stable, and that 0.1 S turns a twentieth of the range."""
    ends = {"D": (0.1e-6, 300e-6), "M": (199e-6, 201e-6)}
    sweep = np.geomspace(*ends["D"], 121)
    for siemens, verdict in ((0.095, "stable"), (0.1, "unstable")):
        worst = hand_roots(_with_trap(siemens), {"D": sweep}, 1e5).real.max(axis=1)
        assert worst[0] < 0 > worst[-1]
        assert (worst.max() > 0) == (verdict == "unstable")
        assert certify(_with_trap(siemens), ends).verdict == verdict


def test_too_few_halvings_leave_it_undecided():
    """The same range needs some; one that is stopped before claims nothing."""
    ends = {"D": (0.1e-6, 300e-6), "M": (199e-6, 201e-6)}
    assert certify(_with_trap(0.095), ends, halvings=3).verdict == "undecided"


@pytest.mark.parametrize(
    ("ranges", "words"),
    [({}, "nothing is uncertain"), ({"R": (2.0, 1.0)}, "R: 2 to 1"), ({"G": (-0.1, 0.1)}, "0 is not in it")],
)
def test_what_is_no_range_is_said(ranges, words):
    line = Circuit().resistor("R", "0", "b", 1.0).capacitor("C", "b", "0", 1e-6).conductance("G", "b", "0", -0.1)
    with pytest.raises(CircuitError, match=words):
        certify(line, ranges)


def test_a_natural_frequency_at_zero_is_said():
    held = Circuit().resistor("R", "a", "b", 1.0).capacitor("C", "b", "0", 1e-6).capacitor("D", "a", "0", 1e-6)
    with pytest.raises(CircuitError, match="zero"):
        certify(held, {"R": (1.0, 2.0)})


def test_between_frequencies_every_image_is_within_its_bound_of_a_straight_line():
    """law: over an interval the corners' images stay within the bound, and where it is wide come near enough to need it."""
    circuit, ranges = random_circuit(0)
    box = np.array(list(ranges.values()))
    corners = np.array(np.meshgrid(*box, indexing="ij")).reshape(len(box), -1).T
    whole = characteristic(circuit.netlist, list(ranges))
    proof = _Proof(whole, box, corners)
    centre = float(np.abs(whole.factors(whole.nominal[None]).roots[0]).min())
    found, middle = whole.factors(corners), whole.factors(box.mean(axis=1)[None])
    used = []
    for half in (1e-3 * centre, 3e-2 * centre):
        image, way, bound = proof._tensor(centre, half).reshape(3, -1)
        for share in np.linspace(-1, 1, 9):
            s = 1j * (centre + share * half)
            off = np.abs(found.at(s) / middle.at(s) - image - share * way)
            assert np.all(off <= bound.real * (1 + 1e-6) + 1e-12 * np.abs(image))
            used.append((off / bound.real).max())
    assert max(used) > 1e-3


def test_roots_of_all_corners_stand_in_one_order():
    """hand: roots of -1, -10 and -100 in three orders, their slopes of any size; what is no root for all is left out."""
    roots = np.array([[1.0, 10.0, 100.0, 0.0], [100.0, 0.0, 1.0, 10.0], [10.0, 1.0, 0.0, 100.0]])
    slopes = np.where(roots > 0, np.array([[1e3, 1.0, 1e-3, 1.0], [1.0, 1.0, 1e6, 1e-6], [1e-2, 1.0, 1.0, 1.0]]), 0.0)
    constants = np.where(roots > 0, roots * slopes, 1.0)
    found = _alike(Factors(np.ones(3), constants.astype(complex), slopes.astype(complex)))
    np.testing.assert_allclose(found[0] / found[1], [[1.0, 10.0, 100.0]] * 3, rtol=1e-12, atol=0)
