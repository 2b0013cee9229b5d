"""Does it ring, and does it stay up: poles of the linear circuit, or the Nyquist count where a part has no ladder."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.stability_result import Stability
from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution

MARGIN = 1e-6  # a pole counts as unstable when its real part exceeds this share of its magnitude
AT_ZERO = 1e-12  # a pole counts as zero below this share of the greatest magnitude
NAMED = 30e6  # [Hz] above which stray parts ring that no design controls
_SWEEP = np.logspace(0, 10, 20001)  # [Hz] of the Nyquist count


def stability(solution: Solution) -> Stability:
    """Whether the circuit is stable at an operating point: by its poles, else by the Nyquist count at the loads' ports.

    Parameters: ``solution`` of one design.
    Returns: Stability, with poles (p,) [1/s], frequency [Hz] and quality factor of the least damped one.
    Raises: nothing; where a part has no ladder the Nyquist count decides.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> result = stability(solution)
    >>> result.stable, result.method, round(result.frequency / 1e3), round(result.quality)  # [kHz]
    (True, 'poles', 902, 11)
    """
    solution = solution.with_measured_output
    try:
        poles = solution.poles
    except CircuitError:
        return _by_nyquist(solution)
    return by_poles(poles)


def by_poles(poles: np.ndarray) -> Stability:
    """Of poles (p,) [1/s]: unstable by the one that grows fastest, or stable, with the one that rings most."""
    bad = unstable_poles(poles)
    if not bad.size:
        return Stability(True, poles, "poles", *least_damped(poles))
    worst = bad[np.argmax(bad.real)]
    rings = 0.0 if abs(worst.imag) < 1e-6 * abs(worst) else float(abs(worst.imag) / (2 * np.pi))
    return Stability(False, poles, "poles", rings, count=len(bad), growth=float(1 / worst.real))


def unstable_poles(poles: np.ndarray) -> np.ndarray:
    """Those in the right half plane; a pole at zero is not one of them.

    >>> import numpy as np
    >>> unstable_poles(np.array([1e-9, -5.0 + 3j, 2.0 + 90j, -1e6]))
    array([2.+90.j])
    """
    size = np.abs(poles)
    return np.asarray(poles[(poles.real > MARGIN * size) & (size > AT_ZERO * size.max(initial=0.0))])


def least_damped(poles: np.ndarray) -> tuple[float, float]:
    """Frequency [Hz] and quality factor of the complex pole below `NAMED` that rings most; (nan, nan) without one."""
    complex_ones = poles[(poles.imag > 1e-6 * np.abs(poles)) & (np.abs(poles) < 2 * np.pi * NAMED)]
    if not complex_ones.size:
        return np.nan, np.nan
    quality = np.abs(complex_ones) / np.maximum(-2 * complex_ones.real, 1e-300)
    worst = int(np.argmax(quality))
    return float(np.abs(complex_ones[worst]) / (2 * np.pi)), float(quality[worst])


def _by_nyquist(solution: Solution) -> Stability:
    """Encirclements of -1 by (impedance back from the port) x (admittance of the load), one load after the other."""
    for load in solution.design.loads:
        back = solution.with_load_open(load).impedance(_SWEEP, *load.port)
        loop = back * input_admittance(solution, load, _SWEEP)
        turns = np.sum(np.diff(np.unwrap(np.angle(1 + loop)))) / np.pi
        if round(turns) != 0:
            return Stability(False, None, "nyquist", load=load.name)
    return Stability(True, None, "nyquist")


def input_admittance(solution: Solution, load: Load, frequencies: np.ndarray) -> np.ndarray:
    """Admittance [S] of one load's own input: its capacitor and its small-signal conductance."""
    circuit = Circuit()
    load.add_input(circuit, solution.state)
    if not circuit.elements:
        return np.zeros(np.shape(frequencies), dtype=complex)
    circuit.resistor("across", load.plus, load.minus, 1.0)
    if load.minus != "0":
        circuit.resistor("reference", load.minus, "0", 0.0)
    return 1 / circuit.impedance(frequencies, *load.port) - 1.0
