"""One pole of a circuit, followed from a guess."""

import numpy as np
import pytest

from filterlib import Circuit


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
