"""What is made once is not made again: counted, so that it does not depend on the machine."""

import ast
from pathlib import Path

import numpy as np
import pytest

from filterlib import Circuit, Current
from filterlib.network.counts import COUNTS
from filterlib.network.equations import elimination
from filterlib.network.solver import forget
from tests.dense import dense_transfer

FREQUENCIES = np.geomspace(10, 1e7, 60)
NETWORK = Path(elimination.__file__).parent


@pytest.fixture(autouse=True)
def _from_nothing():
    forget()
    COUNTS.reset()


def low_pass(ohms=50.0, farads=1e-6, henries=1e-5):
    circuit = Circuit().voltage_source("V", "in", "0").inductor("L", "in", "m", henries)
    return circuit.resistor("R", "m", "out", ohms).capacitor("C", "out", "0", farads).resistor("load", "out", "0", 1e3)


def test_a_circuit_that_is_asked_twice_is_solved_by_one_solver():
    circuit = low_pass()
    circuit.transfer(FREQUENCIES, "V", "out")
    circuit.transfer(FREQUENCIES[:7], "V", "out")
    assert circuit.solver is circuit.solver
    assert (COUNTS.solvers, COUNTS.equations, COUNTS.plans, COUNTS.programs) == (1, 1, 1, 1)


def test_a_circuit_that_grows_gets_another_solver():
    circuit = low_pass()
    before = circuit.solver
    held = before.transfer(FREQUENCIES, "V", "out")
    assert circuit.resistor("more", "out", "0", 1.0).solver is not before
    np.testing.assert_array_equal(before.transfer(FREQUENCIES, "V", "out"), held)  # it answers for what it was made of
    assert abs(circuit.transfer(FREQUENCIES, "V", "out")[0]) < abs(held[0]) / 2


@pytest.mark.parametrize(
    "other",
    [
        low_pass(75.0, 2e-6),
        low_pass(np.linspace(1, 99, 5)[:, None]),
        low_pass(50.0, np.geomspace(1e-9, 1e-3, 4)[:, None]),
    ],
)
def test_one_plan_serves_a_structure(other):
    """second method: the other circuit with a plan of its own."""
    low_pass().transfer(FREQUENCIES, "V", "out")
    found = other.transfer(FREQUENCIES, "V", "out")
    assert (COUNTS.solvers, COUNTS.structures, COUNTS.equations, COUNTS.plans) == (2, 1, 1, 1)
    forget()
    np.testing.assert_allclose(other.transfer(FREQUENCIES, "V", "out"), found, rtol=1e-12, atol=0)
    assert COUNTS.plans == 2


def test_coupled_inductors_keep_their_equations_until_their_coupling_is_perfect():
    """second method: the circuit alone. Perfect coupling leaves terms out: equations of its own, in the same structure."""
    for k in (0.1, 0.5, 1.0, 0.2):
        circuit = low_pass().inductor("other", "out", "0", 2e-5).couple("k", "L", "other", k)
        found = circuit.transfer(FREQUENCIES, "V", "out")
        (alone,) = dense_transfer(circuit, FREQUENCIES, "V", [("out", "0")])
        np.testing.assert_allclose(found, alone, rtol=1e-9, atol=0)
    assert (COUNTS.structures, COUNTS.equations) == (1, 2)


def test_what_is_zero_in_one_circuit_and_not_in_the_next_takes_one_more_plan_at_most():
    """hand: a divider of 1 ohm and 1 S, with more of either beside it."""
    for siemens in (0.0, 1.0, 0.5, 0.0, np.array([[0.0], [2.0]])):
        divider = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 1.0)
        divider.conductance("G", "out", "0", 1.0).conductance("H", "out", "0", siemens)
        expected = np.broadcast_to(1 / (2 + np.asarray(siemens)), (*np.shape(siemens)[:1], 2))
        np.testing.assert_allclose(divider.transfer([1.0, 2.0], "V", "out"), expected, rtol=1e-14, atol=0)
    assert COUNTS.plans == 2


def test_single_frequencies_need_no_plan():
    circuit = low_pass(np.array([[1.0], [2.0]]))
    zero = circuit.transfer([0.0], "V", ["out", Current("C"), Current("L")])
    assert (COUNTS.plans, COUNTS.dense) == (0, 2)
    np.testing.assert_allclose(zero[0][:, 0], [1e3 / 1001, 1e3 / 1002], rtol=1e-14, atol=0)  # hand
    assert not zero[1].any()  # hand: nothing flows through a capacitor, and not nearly nothing
    np.testing.assert_allclose(zero[2][:, 0], [1 / 1001, 1 / 1002], rtol=1e-14, atol=0)


def imports_of(path):
    """The modules of network that a file imports, also inside functions and for types alone."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("filterlib.network"):
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
            yield from {name.split(".")[2] for name in names if name.count(".") > 1} & {
                p.stem for p in NETWORK.glob("*.py")
            }


def test_network_has_no_circle_and_a_short_chain():
    arrows = {path.stem: set(imports_of(path)) for path in NETWORK.glob("*.py")}
    heights: dict[str, int] = {}
    while left := arrows.keys() - heights.keys():
        free = [name for name in left if arrows[name] <= heights.keys()]
        assert free, f"a circle of imports among {sorted(left)}"
        heights |= {name: 1 + max((heights[other] for other in arrows[name]), default=0) for name in free}
    assert max(heights.values()) <= 8, heights
