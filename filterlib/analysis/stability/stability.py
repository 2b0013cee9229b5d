"""Does it ring, and does it stay up: poles, the Nyquist count where a part has no ladder, or the impedances at loads of constant power."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from filterlib.analysis.stability.stability_result import NAMED, Stability
from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.network.netlist import Output
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution, powered_loads
from filterlib.system.state import State

MARGIN = 1e-6  # a pole counts as unstable when its real part exceeds this share of its magnitude
AT_ZERO = 1e-12  # a pole counts as zero below this share of the greatest magnitude
_SWEEP = np.logspace(0, 10, 20001)  # [Hz] of the Nyquist count
DIRECT = 1e-3  # [Hz] that is as good as direct current: far below any resistance over inductance of a line
LOWEST = 10.0  # [Hz] below which no filter resonates: common practice, no source
BEYOND = 30.0  # times its loop bandwidth, where a load of constant power has lost a thousandth of its conductance
PER_DECADE = 32  # points of the grid
FAR = 0.25  # of a pole from the axis, as a share of its frequency, beyond which a straight line does not lead to it: a Q below 2
FOLLOWED = 4  # poles that are followed, of each load
FREQUENCIES = np.logspace(1, 8, 421)  # [Hz]
SHARP = 2.0  # times its surroundings, a tenth of a decade wide: a peak that the grid hardly follows


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
        return Stability(True, poles, "poles", *rings_most(poles))
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


def rings_most(poles: np.ndarray) -> tuple[float, float]:
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
