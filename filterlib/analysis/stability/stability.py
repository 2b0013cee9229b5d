"""Does it ring, and does it stay up: poles of the linear circuit, or the Nyquist count where a part has no ladder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.system.load import Load
from filterlib.system.solution import Solution
from filterlib.units import format_quantity

MARGIN = 1e-6  # a pole counts as unstable when its real part exceeds this share of its magnitude
AT_ZERO = 1e-12  # a pole counts as zero below this share of the greatest magnitude
NAMED = 30e6  # [Hz] above which stray parts ring that no design controls
_SWEEP = np.logspace(0, 10, 20001)  # [Hz] of the Nyquist count


@dataclass(frozen=True)
class Stability:
    """``stable``; ``poles`` (p,) [1/s] or None; ``method`` "poles" or "nyquist"; ``reason``: a sentence."""

    stable: bool
    poles: np.ndarray | None
    method: str
    reason: str


def stability(solution: Solution) -> Stability:
    """Poles of the circuit at an operating point and what they mean; judged at the load ports where there are no poles."""
    try:
        poles = solution.poles
    except CircuitError:
        return _by_nyquist(solution)
    bad = unstable_poles(poles)
    return Stability(not bad.size, poles, "poles", _unstable_words(bad) if bad.size else _stable_words(poles))


def unstable_poles(poles: np.ndarray) -> np.ndarray:
    """Those in the right half plane; a pole at zero is not one of them.

    >>> import numpy as np
    >>> unstable_poles(np.array([1e-9, -5.0 + 3j, 2.0 + 90j, -1e6]))
    array([2.+90.j])
    """
    size = np.abs(poles)
    return poles[(poles.real > MARGIN * size) & (size > AT_ZERO * size.max(initial=0.0))]


def least_damped(poles: np.ndarray) -> tuple[float, float]:
    """Frequency [Hz] and quality factor of the complex pole below `NAMED` that rings most; (nan, nan) without one."""
    complex_ones = poles[(poles.imag > 1e-6 * np.abs(poles)) & (np.abs(poles) < 2 * np.pi * NAMED)]
    if not complex_ones.size:
        return np.nan, np.nan
    quality = np.abs(complex_ones) / np.maximum(-2 * complex_ones.real, 1e-300)
    worst = int(np.argmax(quality))
    return float(np.abs(complex_ones[worst]) / (2 * np.pi)), float(quality[worst])


def _stable_words(poles: np.ndarray) -> str:
    frequency, quality = least_damped(poles)
    if np.isnan(frequency):
        return f"every pole lies in the left half plane, and none below {format_quantity(NAMED, 'Hz')} rings"
    return f"every pole lies in the left half plane; the least damped rings at {format_quantity(frequency, 'Hz')} with Q = {quality:.3g}"


def _unstable_words(bad: np.ndarray) -> str:
    worst = bad[np.argmax(bad.real)]
    where = (
        "grows without ringing"
        if abs(worst.imag) < 1e-6 * abs(worst)
        else f"at {format_quantity(abs(worst.imag) / (2 * np.pi), 'Hz')}"
    )
    return (
        f"unstable: {len(bad)} pole{'s' if len(bad) > 1 else ''} in the right half plane, {where}, growing by e every "
        f"{format_quantity(1 / worst.real, 's')}; there is no steady state, so no ripple and no step is given. Damping "
        "across the filter's last capacitor, or more resistance in series, takes it away"
    )


def _by_nyquist(solution: Solution) -> Stability:
    """Encirclements of -1 by (impedance back from the port) x (admittance of the load), one load after the other."""
    for load in solution.design.loads:
        back = solution.with_load_open(load).impedance(_SWEEP, *load.port)
        loop = back * input_admittance(solution, load, _SWEEP)
        turns = np.sum(np.diff(np.unwrap(np.angle(1 + loop)))) / np.pi
        if round(turns) != 0:
            return Stability(False, None, "nyquist", f"unstable: the Nyquist curve at {load.name} encircles -1")
    return Stability(
        True, None, "nyquist", "no Nyquist curve at a load encircles -1 (a part has no ladder, so no poles)"
    )


def input_admittance(solution: Solution, load: Load, frequencies: np.ndarray) -> np.ndarray:
    """Admittance [S] of one load's own input: its capacitor and its small-signal conductance."""
    circuit = Circuit().resistor("across", load.plus, load.minus, 1.0)
    if load.minus != "0":
        circuit.resistor("reference", load.minus, "0", 0.0)
    load.add_input(circuit, solution.state)
    return 1 / circuit.impedance(frequencies, *load.port) - 1.0
