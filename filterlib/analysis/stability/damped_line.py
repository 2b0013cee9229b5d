"""A choke, a capacitor and a second one beside it, before a load of constant power: poles, a step and impedances in a millisecond.

The second capacitor is a part with its ESR at a temperature; R and L stand for everything up to the load. Linear, about the
load's voltage: where it is unstable the step shows how it begins to ring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Farads, Henries, Hertz, Kelvins, Ohms, Seconds, Unit, Volts, Watts
from filterlib.analysis.stability.minor_loop import limits
from filterlib.network.circuit import Circuit
from filterlib.parts.capacitor import Capacitor

AT = 1e4  # [Hz] at which the part's ESR is taken
STEP = 0.1  # of the load's current, that the step is of
PERIODS, POINTS = 12, 400  # of the least damped pair that the step is drawn for
FURTHEST = 50.0  # exponent beyond which what grows is drawn no larger
FREQUENCIES = np.geomspace(100.0, 1e6, 241)


@dataclass(frozen=True)
class DampedLine:
    """What is on the board: the ``part`` beside the capacitor at a ``temperature``; the load draws ``power`` at ``voltage``."""

    part: Capacitor
    power: Watts[float] = 84.0
    temperature: Kelvins[float] = 298.15
    inductance: Henries[float] = 10e-6
    resistance: Ohms[float] = 20e-3
    capacitance: Farads[float] = 2.2e-6
    voltage: Volts[float] = 28.0


@dataclass(frozen=True)
class LineResult:
    """What it does: ``poles`` (3,) [1/s]; ``frequency`` and ``damping`` ratio of the least damped pair (NaN, inf without one).

    ``times`` (t,) and ``step`` (t,) of the load's voltage after a tenth more current; ``source`` and ``load`` impedance (f,), sizes;
    ``critical_power``, from which it rings at ``critical_frequency``; ``esr`` and ``beside`` of the part as it is there.
    """

    power: Watts[float]
    poles: Annotated[np.ndarray, Unit("1/s")]
    frequency: Hertz[float]
    damping: Annotated[float, Unit("", "damping ratio")]
    times: Seconds[np.ndarray]
    step: Volts[np.ndarray]
    frequencies: Hertz[np.ndarray]
    source: Ohms[np.ndarray]
    load: Ohms[np.ndarray]
    critical_power: Watts[float]
    critical_frequency: Hertz[float]
    esr: Ohms[float]
    beside: Farads[float]

    @property
    def stable(self) -> bool:
        """Whether it draws less than the critical power."""
        return self.power < self.critical_power


def damped_line(line: DampedLine) -> LineResult:
    """Poles, step, impedances and critical power of a `DampedLine`.

    Returns: LineResult, in SI units.
    Raises: nothing; parts and values are checked when they are made.

    >>> from filterlib.parts.tables import find_part, standard_tables
    >>> found = damped_line(DampedLine(find_part("aluminium-47u-63V", None, standard_tables())))
    >>> found.stable, found.damping > 0.1
    (True, True)
    """
    ohms = float(np.max(line.part.esr_at(AT, bias=line.voltage, temperature=line.temperature)))
    farads = float(np.max(line.part.capacitance_at(line.voltage, line.temperature)))
    siemens = line.power / line.voltage**2
    circuit = _circuit(line, ohms, farads)
    found = limits(lambda f: circuit.impedance(f, "b"), lambda f: -np.ones(len(f)), 10.0, 1e7)
    matrix, drive = _equations(line, ohms, farads, siemens)
    poles, vectors = np.linalg.eig(matrix)
    frequency, damping = _least_damped(poles)
    period = 1 / frequency if np.isfinite(frequency) else 6 / np.abs(poles.real).min()
    times = np.linspace(0, PERIODS * period, POINTS)
    weights = np.linalg.solve(vectors, drive * STEP * line.power / line.voltage)
    turns = np.outer(times, poles)
    growth = (np.exp(np.minimum(turns.real, FURTHEST) + 1j * turns.imag) - 1) / poles
    return LineResult(
        line.power, poles, frequency, damping, times, ((growth * weights) @ vectors[1]).real, FREQUENCIES,
        np.abs(circuit.impedance(FREQUENCIES, "b")), np.full(len(FREQUENCIES), 1 / siemens),
        found.exact * line.voltage**2, found.frequency, ohms, farads,
    )  # fmt: skip


def _circuit(line: DampedLine, ohms: float, farads: float) -> Circuit:
    made = Circuit().resistor("R", "0", "a", line.resistance).inductor("L", "a", "b", line.inductance)
    made.capacitor("C", "b", "0", line.capacitance)
    return made.resistor("Rb", "b", "d", ohms).capacitor("Cb", "d", "0", farads)


def _equations(line: DampedLine, ohms: float, farads: float, siemens: float) -> tuple[np.ndarray, np.ndarray]:
    """x' = A x + b i of the choke's current, the load's voltage and that inside the second capacitor; i more is drawn."""
    c, branch = line.capacitance, 1 / ohms
    matrix = np.array(
        [
            [-line.resistance / line.inductance, -1 / line.inductance, 0.0],
            [1 / c, (siemens - branch) / c, branch / c],
            [0.0, branch / farads, -branch / farads],
        ]
    )
    return matrix, np.array([0.0, -1 / c, 0.0])


def _least_damped(poles: np.ndarray) -> tuple[float, float]:
    pair = poles[poles.imag > 1e-9 * np.abs(poles)]
    if not pair.size:
        return np.nan, np.inf
    at = pair[np.argmin(-pair.real / np.abs(pair))]
    return float(np.abs(at) / (2 * np.pi)), float(-at.real / np.abs(at))
