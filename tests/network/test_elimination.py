"""The list of updates, its guard, and what zeros and perfect couplings leave to the dense way."""

import numpy as np
import pytest

from filterlib import Circuit, CircuitError, Current
from filterlib.network.counts import COUNTS
from filterlib.network.equations import dense, elimination, response
from filterlib.network.equations.plan import Plan
from filterlib.network.equations.tableau import build
from filterlib.network.equations.tape import Tape
from filterlib.network.solver import forget
from tests.dense import dense_transfer

FREQUENCIES = np.geomspace(10, 1e9, 120)


def line_filter(farads=4.7e-9, k=0.99):
    """Three conductors: a common-mode drive through a choke to a load, a little lopsided."""
    made = Circuit().voltage_source("V", "cm", "chassis").capacitor("Cs", "cm", "m", 100e-12)
    made.resistor("e1", "m", "p", 1e-3).resistor("e2", "m", "n", 1.1e-3).capacitor("Cx", "p", "x", 1e-6)
    made.resistor("Rx", "x", "y", 1e-2).inductor("Lx", "y", "n", 1e-8)
    made.inductor("La", "p", "p2", 1e-3).inductor("Lb", "n", "n2", 1.01e-3).couple("k", "La", "Lb", k)
    made.capacitor("Cx2", "p2", "n2", 1e-6).capacitor("Cy1", "p2", "chassis", farads)
    made.capacitor("Cy2", "n2", "chassis", 4.7e-9).inductor("w1", "p2", "lp", 1e-6).inductor("w2", "n2", "0", 1e-6)
    return made.resistor("load", "lp", "0", 7.0).resistor("insulation", "chassis", "0", 1e7)


def problem(circuit):
    tableau, s = build(circuit.netlist), 2j * np.pi * FREQUENCIES
    values = [np.asarray(v, complex) if np.ndim(v) else v for v in tableau.values(FREQUENCIES, s)]
    right = (((tableau.layout.currents["V", 1][0], 1.0),),)
    return tableau, s, values, right


def errors(tableau, values, right, x):
    a = dense.assemble(tableau.pattern, values, len(FREQUENCIES))
    return dense.backward_error(a, np.moveaxis(x, 2, 0).swapaxes(1, 2), dense.right_sides(tableau.pattern.size, right))


@pytest.mark.parametrize("at", [60, 119])
@pytest.mark.parametrize("refined", [False, True])
def test_guard_tells_good_points_from_bad(at, refined):
    """hand: where the plan says good, the backward error of every row is within the limit; a tree made for one frequency
    does not serve all of them."""
    tableau, _, values, right = problem(line_filter())
    there = [v[at] if isinstance(v, np.ndarray) else v for v in values]
    tree = tableau.pattern.tree(np.argsort(tableau.pattern.weights(there, 1)[0], kind="stable"))
    known = tuple(elimination._known(v) for v in values)
    everything = tuple(range(tableau.pattern.size))
    answers, good = Plan(tableau.pattern, tree, known).program(right, everything, refined).run(values)
    x = np.array([[np.broadcast_to(one, FREQUENCIES.shape) for one in answers]])
    found = errors(tableau, values, right, x)
    assert np.all(found[good] <= 1.01 * elimination.LIMIT)
    assert np.all(found[~good] > 0.1 * elimination.LIMIT)
    assert good.any()
    assert good.all() == refined  # feeding residuals back once mends all of this circuit


def test_each_unknown_alone_is_what_all_together_are():
    """hand: what is not asked for is not computed, and changes nothing."""
    tableau, s, _, right = problem(line_filter())
    everything = elimination.solve(tableau, FREQUENCIES, s, right, tuple(range(tableau.pattern.size)))
    for unknown in range(tableau.pattern.size):
        alone = elimination.solve(tableau, FREQUENCIES, s, right, (unknown,))[0, 0]
        scale = abs(everything[0, unknown]).max()
        np.testing.assert_allclose(alone, everything[0, unknown], rtol=1e-9, atol=1e-9 * scale)


def test_a_chain_of_rows_that_nothing_altered():
    """hand: the source's current needs those of the conductances, which need the voltage, which is the source's."""
    circuit = Circuit().voltage_source("V", "a", "0").conductance("G", "a", "0", 2.0).conductance("H", "a", "0", 3.0)
    assert circuit.transfer([50.0], "V", Current("V"))[0] == pytest.approx(-5.0, rel=1e-15, abs=0)


def test_residuals_fed_back_spare_the_dense_way(monkeypatch):
    """hand: the list does all of a lossy three-conductor filter by itself, at some points with its residual fed back."""
    monkeypatch.delattr(dense, "solve")
    forget()
    COUNTS.reset()
    line_filter().transfer(FREQUENCIES, "V", "lp")
    assert (COUNTS.solvers, COUNTS.equations, COUNTS.plans, COUNTS.programs) == (1, 1, 1, 2)


def test_list_and_dense_way_agree():
    """second method: pivoted LAPACK in the unknowns of the tree."""
    tableau, s, values, right = problem(line_filter(k=1.0))
    quick = elimination.solve(tableau, FREQUENCIES, s, right, tuple(range(tableau.pattern.size)))
    careful = dense.solve(tableau.pattern, values, len(FREQUENCIES), right)
    assert errors(tableau, values, right, careful).max() < 1e-13
    count = tableau.pattern.count
    for part in (slice(count), slice(count, None)):  # voltages by the largest voltage, currents by the largest current
        scale = abs(careful[0, part]).max()
        np.testing.assert_allclose(quick[0, part], careful[0, part], rtol=1e-9, atol=1e-10 * scale)


def test_designs_in_blocks_are_single_designs():
    """hand: more points than one block holds, cut along both axes."""
    f = np.geomspace(1e3, 1e7, elimination.CHUNK // 3)
    farads = np.linspace(3e-9, 6e-9, 7)[:, None]
    together = line_filter(farads).transfer(f, "V", "lp")
    for row, value in zip(together, farads[:, 0], strict=True):
        np.testing.assert_allclose(row, line_filter(value).transfer(f, "V", "lp"), rtol=1e-8, atol=0)


def test_rough_answers_are_those_of_a_guard_at_some_points(monkeypatch):
    """second method: guarded at every point; and where the points that are tried do not hold, rough answers are guarded, too."""
    f, farads = np.geomspace(1e3, 1e7, 200), np.linspace(3e-9, 6e-9, 12)[:, None]
    exact = line_filter(farads).transfer(f, "V", "lp")
    run, unguarded = elimination._step, []
    monkeypatch.setattr(elimination, "_step", lambda *a: unguarded.append(a[0].good == 0) or run(*a))
    np.testing.assert_allclose(line_filter(farads).transfer(f, "V", "lp", rough=True), exact, rtol=1e-7, atol=0)
    assert unguarded == [False, True]
    unguarded.clear()
    monkeypatch.setattr(elimination, "ROUGH", 0.0)  # that nothing holds
    np.testing.assert_allclose(line_filter(farads).transfer(f, "V", "lp", rough=True), exact, rtol=1e-9, atol=0)
    assert not any(unguarded)


def test_a_plan_that_fails_often_makes_way_for_another(monkeypatch):
    """hand: the plan for the lowest frequencies fails at most of some higher ones; after so many points the one for those is first."""
    monkeypatch.setattr(elimination, "TIRED", 100)
    forget()
    circuit, high = line_filter(), np.geomspace(1e5, 1e6, 120)
    circuit.transfer(np.geomspace(1, 10, 120), "V", "lp")
    pattern = build(circuit.netlist, keep=("lp",)).pattern
    (first,) = elimination._plans_of(pattern)
    before = circuit.transfer(high, "V", "lp")
    assert first.failed > 100
    after = circuit.transfer(high, "V", "lp")
    other, last = elimination._plans_of(pattern)
    assert (last, other.failed) == (first, 0)
    np.testing.assert_allclose(after, before, rtol=1e-9, atol=0)


def test_rows_without_designs_are_guarded_before_rows_with_them():
    several = np.array([[1e-6], [1.2e-6]])
    f = np.geomspace(1, 1e10, 301)

    def circuit(farads):
        chain = Circuit().capacitor("C", "a", "1", farads).resistor("R", "1", "2", 0.01).inductor("L", "b", "0", 8e-9)
        return chain.resistor("R1", "2", "b", 0.02).inductor("L1", "2", "b", 1e-9)

    w = 2j * np.pi * f  # hand: in series
    expected = 0.01 + w * 8e-9 + 1 / (w * several) + 1 / (1 / 0.02 + 1 / (w * 1e-9))
    np.testing.assert_allclose(circuit(several).impedance(f, "a"), expected, rtol=1e-11, atol=0)


def test_series_elements_can_be_asked_for_or_not():
    """hand: the node between two elements in series, and the current through either, whichever way round they stand."""
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "b", "a", 3.0).resistor("S", "b", "c", 4.0)
    circuit.inductor("L", "0", "c", 0.0).capacitor("C", "c", "0", 0.0)
    r, s, v = circuit.transfer([1.0], "V", [Current("R"), Current("S"), "a"])
    assert (r[0], s[0], v[0]) == (pytest.approx(-1 / 7, rel=1e-12, abs=0), pytest.approx(1 / 7, rel=1e-12, abs=0), 1.0)
    assert circuit.transfer([1.0], "V", "b")[0] == pytest.approx(4 / 7, rel=1e-12, abs=0)


def test_a_chain_with_a_capacitor_is_open_at_dc():
    """hand: R and C in series, the node between them asked for by nobody, load nothing at f = 0, and R at 1 GHz."""
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1.0).resistor("S", "b", "x", 3.0)
    low, high = circuit.capacitor("C", "x", "0", 1e-3).transfer([0.0, 1e9], "V", "b")
    assert low == 1.0
    assert high == pytest.approx(0.75, rel=1e-6, abs=0)


def test_shorts_in_parallel_and_opens_in_series():
    """hand: the first short carries the current; across the first open there is no voltage left to share."""
    circuit = Circuit().voltage_source("V", "a", "0").resistor("s1", "a", "b", 0.0).resistor("s2", "a", "b", 0.0)
    circuit.resistor("R", "b", "0", 2.0).capacitor("c1", "b", "x", 0.0).capacitor("c2", "x", "0", 0.0)
    for f in (0.0, 1e3):
        answers = circuit.transfer([f], "V", ["b", Current("s1"), Current("s2"), Current("c1")])
        np.testing.assert_allclose([a[0] for a in answers], [1.0, 0.5, 0.0, 0.0], rtol=1e-12, atol=1e-15)


def test_perfectly_coupled_windings_in_parallel():
    """hand: 1 mH and 4 mH with k = 1 side by side: no voltage, and 2 A against -1 A; equal ones are one inductor."""
    circuit = Circuit().current_source("I", "a", "0").inductor("L", "a", "0", 1e-3).inductor("M", "a", "0", 4e-3)
    answers = circuit.couple("k", "L", "M", 1.0).transfer([1e3], "I", ["a", Current("L"), Current("M")])
    np.testing.assert_allclose([x[0] for x in answers], [0.0, 2.0, -1.0], rtol=1e-12, atol=1e-12)
    equal = Circuit().current_source("I", "a", "0").inductor("L", "a", "0", 1e-3).inductor("M", "a", "0", 1e-3)
    answer = equal.couple("k", "L", "M", 1.0).transfer([1e3], "I", "a")[0]
    assert answer == pytest.approx(2j * np.pi, rel=1e-12, abs=0)


def test_three_windings():
    """hand: perfect coupling of 1, 4 and 9 mH is 1 : 2 : 3; ratios that no three windings can have are refused."""
    circuit = Circuit().voltage_source("V", "a", "0").inductor("A", "a", "0", 1e-3).inductor("B", "b", "0", 4e-3)
    circuit.inductor("C", "c", "0", 9e-3).resistor("R", "b", "0", 1.0).resistor("S", "c", "0", 1.0)
    circuit.couple("ab", "A", "B", 1.0).couple("bc", "B", "C", 1.0)
    with pytest.raises(CircuitError, match="C: its couplings"):
        circuit.transfer([1e3], "V", "b")
    answers = circuit.couple("ac", "A", "C", 1.0).transfer([1e3], "V", ["b", "c"])
    np.testing.assert_allclose([x[0] for x in answers], [2.0, 3.0], rtol=1e-12, atol=0)


def test_an_inductance_of_zero_couples_nothing():
    """hand: design by design: beside 0 H the other winding keeps its R / L; beside 1 mH with k = 1 both are one."""
    circuit = Circuit().resistor("r", "0", "x", 1.0).inductor("L", "x", "0", np.array([[0.0], [1e-3]]))
    circuit.inductor("M", "b", "0", 1e-3).couple("k", "L", "M", 1.0).resistor("R", "b", "0", 1.0)
    np.testing.assert_allclose(circuit.poles(), [[-1e3], [-500.0]], rtol=1e-12, atol=0)


SINGULAR = {
    "short across a source": lambda: Circuit().voltage_source("V", "a", "0").resistor("R", "a", "0", 0.0),
    "source into an open": lambda: Circuit().current_source("V", "a", "0").capacitor("R", "a", "0", 0.0),
    "conductances that cancel": lambda: (
        Circuit().current_source("V", "a", "0").conductance("R", "a", "0", -1.0).resistor("S", "a", "0", 1.0)
    ),
}


@pytest.mark.parametrize("name", SINGULAR)
def test_values_that_contradict_each_other_are_named(name):
    with pytest.raises(CircuitError, match=r"no solution.* R"):
        SINGULAR[name]().transfer([0.0, 1e3], "V", "a")


def spread_filter(designs):
    """Designs of a filter with chains of two and three elements, a couple of inductors and a callable."""
    spread = np.linspace(0.8, 1.2, designs)[:, None]
    made = Circuit().voltage_source("V", "e", "0").resistor("Rs", "e", "x", 0.1).inductor("Ls", "x", "a", 1e-7 * spread)
    made.inductor("L1", "a", "b", 1e-5 * spread).inductor("L2", "c", "0", 2e-5 / spread).couple("k", "L1", "L2", 0.5)
    made.resistor("R2", "c", "0", 3.0 * spread).capacitor("C", "b", "y", 1e-6 * spread).resistor("Rc", "y", "0", 0.01)
    made.immittance("Z", "b", "d", lambda f: 0.2 + 1e-3j * f).resistor("load", "d", "0", 7.0)
    return made


def test_designs_solved_some_at_a_time_are_the_same(monkeypatch):
    """second method: all at once."""
    f = np.geomspace(1e3, 1e7, 10)
    outputs = ["b", ("a", "d"), Current("C"), Current("Ls")]
    whole, seen = spread_filter(7).transfer(f, "V", outputs), spread_filter(7).impedance(f, "b")
    monkeypatch.setattr(response, "SLAB", 20)
    parts = []
    monkeypatch.setattr(
        response, "_in_slabs", lambda *given, real=response._in_slabs, **more: parts.append(1) or real(*given, **more)
    )
    for one, other in zip(whole, spread_filter(7).transfer(f, "V", outputs), strict=True):
        assert other.shape == (7, 10)
        np.testing.assert_allclose(other, one, rtol=1e-12, atol=0)
    np.testing.assert_allclose(spread_filter(7).impedance(f, "b"), seen, rtol=1e-12, atol=0)
    assert len(parts) == 2


def test_a_callable_of_many_designs_is_not_cut(monkeypatch):
    """second method: all at once."""
    f, spread = np.geomspace(1e3, 1e7, 10), np.linspace(0.8, 1.2, 7)[:, None]
    made = [
        Circuit()
        .voltage_source("V", "a", "0")
        .immittance("Z", "a", "b", lambda f: 2j * f * spread)
        .resistor("R", "b", "0", 1e4)
        for _ in range(2)
    ]
    whole = made[0].transfer(f, "V", "b")
    monkeypatch.setattr(response, "SLAB", 20)
    np.testing.assert_allclose(made[1].transfer(f, "V", "b"), whole, rtol=1e-12, atol=0)


def ladder(stages):
    """Chokes and capacitors in turn; the loops of neighbouring capacitors couple, as on a board."""
    made = Circuit().voltage_source("V", "n0", "0")
    for at in range(1, stages + 1):
        made.inductor(f"L{at}", f"n{at - 1}", f"n{at}", 2.2e-6).capacitor(f"C{at}", f"n{at}", f"m{at}", 2.2e-6)
        made.inductor(f"loop{at}", f"m{at}", "0", 3e-9)
        if at > 1:
            made.couple(f"k{at}", f"loop{at - 1}", f"loop{at}", 0.2)
    return made.resistor("R", f"n{stages}", "0", 14.0)


def test_a_long_ladder_takes_as_many_steps_a_stage_as_a_short_one(monkeypatch):
    """Each coupled winding's row knows its neighbours alone; with rows that know all before them, 32 stages took 25 times what 8 take."""
    counts = []
    finish = Tape.finish
    monkeypatch.setattr(Tape, "finish", lambda *args: counts.append(finish(*args)) or counts[-1])
    for stages in (8, 32):
        circuit, frequencies = ladder(stages), np.geomspace(1e3, 1e5, 20)
        ends = [(f"n{stages}", "0"), (f"n{stages - 1}", "0")]
        found = circuit.transfer(frequencies, "V", ends)
        np.testing.assert_allclose(
            found, dense_transfer(circuit, frequencies, "V", ends), rtol=1e-9, atol=0
        )  # second method
    assert len(counts[-1].steps) < 4.5 * len(counts[0].steps)
