"""Whether a circuit stays up, from the impedances at its loads of constant power: quicker than poles, and without ladders."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.least_damping import least_damped, powered_loads
from filterlib.analysis.stability.stability import by_poles, stability
from filterlib.analysis.stability.stability_result import Stability
from filterlib.errors import CircuitError
from filterlib.network.circuit import Output
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution
from filterlib.system.state import State

FREQUENCIES = np.logspace(1, 8, 421)  # [Hz]
SHARP = 2.0  # times its surroundings, a tenth of a decade wide: a peak that the grid hardly follows


def stays_up(solution: Solution) -> bool:
    """True where no pole lies in the right half plane; of one design.

    Everything but the loads of constant power is passive: the turns of det(1 - Z Y) about the origin decide, Z being the
    impedances at those loads and Y their admittances. Near a peak that the grid cannot follow the poles do.
    """
    solution, powered = solution.with_measured_output, powered_loads(solution)
    if not powered:
        return True
    ports: list[Output] = [load.port for load in powered]
    sources = [load.source for load in powered]
    rows = np.array(solution.circuit.transfer(FREQUENCIES, sources, ports))
    return encircles_nothing(solution, powered, -rows)


def encircles_nothing(solution: Solution, powered: list[Load], impedance: np.ndarray) -> bool:
    """No turn of det(1 - Z Y) about the origin from one end of the axis to the other; near a sharp peak the poles decide.

    ``impedance`` (loads, loads, f) [ohm] between the ports of the ``powered`` loads, over `FREQUENCIES`.
    """
    if not powered:
        return True
    other_inside = solution.with_measured_output is not solution
    if other_inside or any(sharp(np.abs(impedance[at, at])).any() for at in range(len(powered))):
        return by_least_damped(solution).stable
    z, y = np.moveaxis(impedance, -1, 0), np.array([_admittance(one, solution.state) for one in powered]).T
    turned = np.linalg.det(np.eye(len(powered)) - z * y[:, None, :])
    return bool(abs(np.sum(np.angle(turned[1:] / turned[:-1])) + np.angle(turned[0])) < np.pi / 2)


def sharp(size: np.ndarray) -> np.ndarray:
    """Where a magnitude on the grid has a peak so narrow that the grid hardly follows it: a Q of 13 or more."""
    near = np.sqrt(size[:-4] * size[4:])
    top = (size[2:-2] >= size[1:-3]) & (size[2:-2] >= size[3:-1])
    return np.pad(top & (size[2:-2] > SHARP * near), 2)


def _admittance(load: Load, state: State) -> np.ndarray:
    """Of a constant power, over the grid [S]."""
    conductance, resistance, capacitance = load.power_elements(state)
    return conductance + 1 / (resistance + 1 / (2j * np.pi * FREQUENCIES * capacitance))


def by_least_damped(solution: Solution) -> Stability:
    """As `stability`, by the least damped poles alone that its loads of constant power see: for one design of many that are tried."""
    try:
        poles = least_damped(solution)
    except CircuitError:
        return stability(solution)
    return by_poles(np.concatenate([poles, poles[poles.imag > 0].conj()]))
