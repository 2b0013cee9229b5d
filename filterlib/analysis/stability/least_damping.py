"""The least damped poles that loads of constant power see: of many designs from the admittance on a grid, of one followed exactly.

Around a resonance the admittance Y at such a load, its own included, is smooth where the impedance has its peak: susceptance rises
through zero, and the pole lies off the axis by conductance over slope. So a grid that could not follow the peaks finds the poles of
many designs at once, and one of them is a good guess of a pole of the circuit.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from filterlib.network.netlist import Output
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution

DIRECT = 1e-3  # [Hz] that is as good as direct current: far below any resistance over inductance of a line
LOWEST = 10.0  # [Hz] below which no filter resonates: common practice, no source
BEYOND = 30.0  # times its loop bandwidth, where a load of constant power has lost a thousandth of its conductance
PER_DECADE = 32  # points of the grid
FAR = 0.25  # of a pole from the axis, as a share of its frequency, beyond which a straight line does not lead to it: a Q below 2
FOLLOWED = 4  # poles that are followed, of each load


def powered_loads(solution: Solution) -> list[Load]:
    """The loads that draw a constant power at the operating point."""
    loads = (one for one in solution.design.loads if one.kind == "constant_power")
    return [one for one in loads if np.all(one.draws(1.0, solution.state.scale(one.name)) > 0)]


def least_damping(solution: Solution) -> tuple[np.ndarray, np.ndarray]:
    """Damping ratio and frequency [Hz], (designs,) each, of the least damped pole pair that the loads of constant power see.

    Below 0 it is unstable; inf, and NaN, where none rings. ``solution`` of one design or many, with such a load.
    """
    solution, loads = solution.with_measured_output, powered_loads(solution)
    frequencies, own = _admittances(solution, loads)
    damping, at = (np.array(part) for part in zip(*(_of_port(one, frequencies) for one in own), strict=True))
    least, every = np.argmin(damping, axis=0), np.arange(damping.shape[1])
    return damping[least, every], at[least, every]


def least_damped(solution: Solution) -> np.ndarray:
    """Poles [1/s] (p,) of one design, their imaginary parts not negative: those least damped that its loads of constant power see.

    Each is followed from where the grid shows it (`Solver.pole_near`). Where one leads nowhere, none rings, or direct current already turns
    it, all poles below the grid's end. Raises CircuitError where a part has no ladder.
    """
    solution, loads = solution.with_measured_output, powered_loads(solution)
    frequencies, own = _admittances(solution, loads)
    guesses = [(load, guess) for load, one in zip(loads, own, strict=True) for guess in _guesses(one, frequencies)]
    if guesses and all(one[0, 0].real >= 0 for one in own):
        solver = solution.circuit.solver
        found = [solver.pole_near(guess, load.source, load.port) for load, guess in guesses]
        if None not in found:
            return np.array(found)
    return poles_in_band(solution)


def poles_in_band(solution: Solution) -> np.ndarray:
    """All poles [1/s] (p,) of one design, below the grid's end, whose imaginary parts are not negative. Raises CircuitError as `least_damped`."""
    solution = solution.with_measured_output
    poles = solution.poles
    return np.asarray(
        poles[(poles.imag >= 0) & (np.abs(poles) > 0) & (np.abs(poles) < 2 * np.pi * top(powered_loads(solution)))]
    )


def _guesses(admittance: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    """Where the grid shows the least damped poles of one design [1/s], from the admittance (1, f) at a port."""
    ratio, logarithm = (part[0] for part in _off_axis(admittance[:, 1:], frequencies[1:]))
    least = np.argsort(ratio, kind="stable")[:FOLLOWED]
    return np.asarray(2j * np.pi * np.exp(logarithm[least[np.isfinite(ratio[least])]]))


def _admittances(solution: Solution, loads: list[Load]) -> tuple[np.ndarray, list[np.ndarray]]:
    """Frequencies (f,) [Hz], `DIRECT` first, and the admittance (designs, f) [S] at each load's port, everything there included."""
    end = top(loads)
    grid = np.geomspace(LOWEST, end, int(PER_DECADE * np.log10(end / LOWEST)) + 1)
    frequencies, ports = np.append(DIRECT, grid), list[Output](load.port for load in loads)
    rows = solution.circuit.transfer(frequencies, [load.source for load in loads], ports)
    return frequencies, [-1 / np.atleast_2d(np.asarray(rows[at][at])) for at in range(len(loads))]


def _of_port(admittance: np.ndarray, frequencies: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least damping ratio (designs,) and its frequency, from the admittance (designs, f) at a port, its load's own included.

    The first frequency is as good as zero: what is negative there draws more than the line can give, without ringing.
    """
    ratio, _ = _off_axis(admittance[:, 1:], frequencies[1:])
    ratio[:, 0] = np.where(admittance[:, 0].real < 0, -1.0, ratio[:, 0])
    at = np.argmin(ratio, axis=1)[:, None]
    least = np.take_along_axis(ratio, at, axis=1)[:, 0]
    return least, np.where(np.isfinite(least), np.sqrt(frequencies[at + 1] * frequencies[at + 2])[:, 0], np.nan)


def top(loads: Iterable[Load]) -> float:
    """Frequency [Hz] beyond which no load of constant power turns anything: `BEYOND` times the widest loop bandwidth."""
    return BEYOND * max(float(np.max(load.loop_bandwidth)) for load in loads)


def _off_axis(admittance: np.ndarray, frequencies: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Damping ratio, inf where there is no pole, and the pole's logarithm of frequency, complex: (designs, f - 1) each.

    Where susceptance rises through zero, the admittance is a straight line over the logarithm of frequency, followed to its zero.
    """
    width = np.diff(np.log(frequencies))
    steps, susceptance = np.diff(admittance) / width, admittance.imag
    rises = (susceptance[:, :-1] < 0) & (susceptance[:, 1:] >= 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        way = -susceptance[:, :-1] / np.diff(susceptance)
        left = admittance.real[:, :-1] + way * np.diff(admittance.real)
        off = -left / steps
        logarithm = np.log(frequencies[:-1]) + way * width + off
    ratio = np.where(rises & ((np.abs(off) < FAR) | (left <= 0)), np.sin(np.clip(off.imag, -1.5, 1.5)), np.inf)
    return np.where(rises & (left <= 0), np.minimum(ratio, -1e-12), ratio), logarithm
