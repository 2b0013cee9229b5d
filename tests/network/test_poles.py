"""One pole of a circuit, followed from a guess."""

import numpy as np
import pytest

from filterlib import Circuit
from filterlib.errors import CircuitError


def test_a_guess_leads_to_the_pole_next_to_it_or_to_none():
    """hand: two tanks in series, 1 mH with 1 nF and with 4 nF, each beside 1 kΩ: -1/(2RC) ± j sqrt(1/LC - 1/(2RC)²)."""
    circuit = Circuit().current_source("I", "0", "a")
    for name, a, b, farads in (("1", "a", "b", 1e-9), ("2", "b", "0", 4e-9)):
        circuit.inductor(f"L{name}", a, b, 1e-3).capacitor(f"C{name}", a, b, farads).resistor(f"R{name}", a, b, 1e3)
    solver = circuit.solver
    for farads in (1e-9, 4e-9):
        real = -1 / (2 * 1e3 * farads)
        pole = real + 1j * np.sqrt(1 / (1e-3 * farads) - real**2)
        assert solver.pole_near(1.1 * pole, "I", "a") == pytest.approx(pole, rel=1e-11, abs=0)
    assert solver.pole_near(1j * 1e12, "I", "a") is None


def tank(henries=1e-3):
    return (
        Circuit().inductor("L", "a", "0", henries).capacitor("C", "a", "0", 1e-9).current_source("I", "0", "a").solver
    )


@pytest.mark.parametrize("off", [1.0, 1.0 + 1e-13, 1.1])
def test_a_pole_without_damping_is_found_where_the_equations_have_no_solution_too(off):
    """hand: 1/sqrt(LC) is 1e6 1/s; at the very pole nothing fixes the voltage."""
    assert tank().pole_near(off * 1e6j, "I", "a") == pytest.approx(1e6j, rel=1e-11, abs=0)


@pytest.mark.parametrize("guess", [0, np.inf, np.nan, complex(0, np.inf)])
def test_a_guess_that_is_no_place_leads_nowhere(guess):
    assert tank().pole_near(guess, "I", "a") is None


def test_many_designs_are_refused_and_so_is_a_source_that_is_not_there():
    with pytest.raises(CircuitError, match="in one design"):
        tank(np.array([[1e-3], [2e-3]])).pole_near(1e6j, "I", "a")
    with pytest.raises(CircuitError, match='unknown source "J"'):
        tank().pole_near(1e6j, "J", "a")
