"""The line of the notebook on ringing: against the engine's circuits, and what its step is by another way."""

import numpy as np
import pytest

from filterlib.analysis.stability.damped_line import STEP, DampedLine, damped_line
from filterlib.network.circuit import Circuit
from filterlib.parts.tables import find_part, standard_tables

LINE = DampedLine(find_part("aluminium-47u-63V", None, standard_tables()))


def _circuit(line, found):
    made = Circuit().resistor("R", "0", "a", line.resistance).inductor("L", "a", "b", line.inductance)
    made.capacitor("C", "b", "0", line.capacitance).resistor("Rb", "b", "d", found.esr).capacitor(
        "Cb", "d", "0", found.beside
    )
    return made.conductance("G", "b", "0", -line.power / line.voltage**2).current_source("I", "0", "b")


@pytest.mark.parametrize("power", [84.0, 1500.0])
def test_poles_and_step_are_those_of_the_circuit(power):
    """second method: poles and step response of the engine; it rings above the critical power alone."""
    line = DampedLine(LINE.part, power=power)
    found = damped_line(line)
    circuit = _circuit(line, found)
    assert np.sort_complex(found.poles) == pytest.approx(np.sort_complex(circuit.poles()), rel=1e-9, abs=0)
    assert found.stable == (found.poles.real.max() < 0) == (power < 1000)
    expected = STEP * power / line.voltage * circuit.step_response(found.times, "I", "b")
    assert found.step == pytest.approx(expected, rel=1e-6, abs=1e-9 * np.abs(expected).max())


def test_at_the_critical_power_a_pair_is_on_the_border():
    found = damped_line(DampedLine(LINE.part, power=damped_line(LINE).critical_power))
    assert found.damping == pytest.approx(0.0, abs=1e-6)
    assert found.frequency == pytest.approx(found.critical_frequency, rel=1e-4, abs=0)


def test_cold_the_esr_is_that_of_the_part():
    cold = damped_line(DampedLine(LINE.part, temperature=233.15))
    assert cold.esr > 8 * damped_line(LINE).esr
    assert cold.critical_power < 0.3 * damped_line(LINE).critical_power
