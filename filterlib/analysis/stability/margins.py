"""How far from ringing: the power that a load may draw before the circuit is unstable, exactly, and what rules would allow."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.minor_loop import LoopLimits, Port, exact_limit, limits, loop_margins
from filterlib.analysis.stability.stability import LOWEST, least_damping, stays_up, top
from filterlib.analysis.stability.stability_result import Margin, Rule, RuleName
from filterlib.analysis.stress.overloads import beyond_saturation
from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit
from filterlib.system.dc import OperatingError
from filterlib.system.design import Design
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution, powered_loads, solve

CLOSE = 1e-3  # of a power: how well the power and the voltage at that power agree
SOLVED = 30  # operating points solved on the way there, at most
CURVE = np.geomspace(10.0, 10e6, 481)  # [Hz]
_NEAR = np.geomspace(0.7, 1.4, 241)  # of a resonance, that a curve follows closely


def margins(solution: Solution, *, exactly: bool = True) -> tuple[Margin, ...]:
    """How far from ringing each load of constant power is, at one operating point; nothing where none draws a constant power.

    Parameters: ``solution`` of one design; ``exactly``: False takes the critical power at the voltage that the load has now, which is quicker.
    Returns: a Margin for each such load. Where another load alone makes the circuit unstable, its critical power is 0.
    Raises: FilterlibError for a design of many.
    Valid while what the converter delivers is not limited by its rating, which is another question; where a core would be beyond the law
    of its saturation, the power is at most what is critical with the cores as they are.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "transmitting")
    >>> (found,) = margins(solution)
    >>> found.load, found.stable, found.critical_power > 2 * found.power
    ('modem', True, True)
    """
    if solution.circuit.designs:
        raise FilterlibError("margins are of one design; this one stands for many")
    solution = solution.with_measured_output
    return tuple(_margin(solution, load, exactly) for load in powered_loads(solution))


def named(solution: Solution, load: str) -> Load:
    """The load of a name that draws a constant power. Raises FilterlibError."""
    wanted = solution.design.named_load(load)
    if wanted not in powered_loads(solution):
        raise FilterlibError(
            f"{load} draws no constant power at {solution.point}: it cannot make the circuit ring, and no rule about it applies"
        )
    return wanted


def back(solution: Solution, load: Load) -> Circuit:
    """The circuit with the constant power of one load taken off, its capacitor left."""
    return solution.circuit.opened(load.power_branches)


def loop_limits(solution: Solution, load: Load, circuit: Circuit) -> LoopLimits:
    """Conductances [S] up to which one load is stable, and up to which rules allow it, in the ``circuit`` back from it."""
    return limits(*_loop(solution, load, circuit))


def _loop(solution: Solution, load: Load, circuit: Circuit) -> tuple[Port, Port, float, float]:
    """Both halves of the loop, and where resonances are looked for [Hz]."""
    return lambda f: circuit.impedance(f, *load.port), _unit(solution, load), LOWEST, max(top([load]), 10e6)


def _unit(solution: Solution, load: Load) -> Port:
    """The constant power's admittance over the size of its conductance, of frequencies (f,)."""
    conductance, resistance, capacitance = (float(np.max(x)) for x in load.power_elements(solution.state))

    def shape(f: np.ndarray) -> np.ndarray:
        rate = 2j * np.pi * f * capacitance
        return (conductance + rate / (1 + rate * resistance)) / abs(conductance)

    return shape


def critical_here(solution: Solution, load: Load) -> tuple[float, float]:
    """Critical power [W] at the voltage that the load has at this state, and the frequency [Hz] at which it rings there."""
    exact, frequency = exact_limit(*_loop(solution, load, back(solution, load)))
    return exact * float(solution.state.voltage(load.name)) ** 2, frequency


def critical(solution: Solution, load: Load) -> tuple[float, float]:
    """Critical power [W] with bias, choke current and voltage as they are while it is drawn, and the frequency [Hz] at which it rings there."""
    circuit = back(solution, load)
    return _followed(solution, load, exact_limit(*_loop(solution, load, circuit)), circuit)


def _margin(solution: Solution, load: Load, exactly: bool) -> Margin:
    state = solution.state
    volts, drawn = float(state.voltage(load.name)), float(state.load_currents[load.name] * state.voltage(load.name))
    circuit = back(solution, load)
    here = loop_limits(solution, load, circuit)
    critical, rings = here.exact * volts**2, here.frequency
    if exactly:
        critical, rings = _followed(solution, load, (here.exact, here.frequency), circuit)
    if len(powered_loads(solution)) > 1 and not stays_up(Solution(_scaled(solution, load, 0.0), state)):
        critical = 0.0
    f = CURVE if not here.frequency > 0 else np.union1d(CURVE, here.frequency * _NEAR)
    impedance = circuit.impedance(f, *load.port)
    conductance = drawn / volts**2
    admittance = _unit(solution, load)(f) * conductance
    gain, phase = loop_margins(impedance * admittance, here.exact / conductance)
    phase = phase if gain > 0 else np.nan
    damping, frequency = _least_damped(solution)
    return Margin(
        solution.point, load.name, drawn, critical, rings, damping, frequency, gain, phase,
        _rules(here, critical, volts, drawn), f, impedance, 1 / admittance, impedance * admittance,
    )  # fmt: skip


def _scaled(solution: Solution, load: Load, power: float) -> Design:
    """The design with one load that draws ``power`` [W] at this operating point; a critical power may be beyond what a file may state."""
    full = load.model_copy(update={"power": power / solution.state.scale(load.name)})
    loads = tuple(full if one.name == load.name else one for one in solution.design.loads)
    return solution.design.model_copy(update={"loads": loads})


def _followed(solution: Solution, load: Load, found: tuple[float, float], circuit: Circuit) -> tuple[float, float]:
    """The power that is critical at the voltage which the load has while it draws it, and the frequency at which it rings there.

    ``found``: critical conductance and frequency at the state as it is; each try begins where the line leads from the last. Where a core
    is then beyond the law of its saturation, at most what is critical with the cores as they are now.
    """
    reached, power, at = 0.0, _on_the_line(solution, load, found[0], circuit), solution
    now = power, found[1]
    for _ in range(SOLVED):
        if not np.isfinite(power):
            break
        try:
            at = solve(_scaled(solution, load, power), solution.point)
        except OperatingError:
            power = (reached + power) / 2
            continue
        there, circuit = at.design.named_load(load.name), back(at, load)
        found = exact_limit(*_loop(at, there, circuit))
        reached, power = power, _on_the_line(at, there, found[0], circuit)
        if abs(power - reached) < CLOSE * power:
            break
    return min(now, (power, found[1])) if beyond_saturation(at) else (power, found[1])


def _on_the_line(solution: Solution, load: Load, siemens: float, circuit: Circuit) -> float:
    """Critical power [W] with the voltage that is left of a line as steep as it is here: V = E / (1 + R g), of E behind R."""
    volts, amps = (float(one[load.name]) for one in (solution.state.load_voltages, solution.state.load_currents))
    ohms = float(circuit.impedance([0.0], *load.port)[0].real)
    return siemens * ((volts + ohms * amps) / (1 + ohms * siemens)) ** 2 if np.isfinite(siemens) else np.inf


def _least_damped(solution: Solution) -> tuple[float, float]:
    """Damping ratio and frequency [Hz] of the pole pair at which the loads of constant power see the least damping; by poles where there are any."""
    damping, frequency = (float(part[0]) for part in least_damping(solution))
    try:
        poles = solution.poles
    except FilterlibError:
        return damping, frequency
    near = poles[poles.imag > 1e-6 * np.abs(poles)]
    if not near.size or not np.isfinite(frequency):
        return damping, frequency
    closest = near[np.argmin(np.abs(np.log(np.abs(near) / (2 * np.pi * frequency))))]
    return float(-closest.real / np.abs(closest)), float(np.abs(closest) / (2 * np.pi))


def _rules(found: LoopLimits, critical: float, volts: float, drawn: float) -> tuple[Rule, ...]:
    """Of the critical power each rule allows the share that it allows of the conductance."""
    allowed: dict[RuleName, float] = {
        "0 dB": found.magnitude,
        "6 dB": found.half_magnitude,
        "gain and phase": found.region,
        "opposing argument": found.opposing,
    }
    shares = {name: conductance / found.exact for name, conductance in allowed.items()}
    powers = {
        name: shares[name] * critical if np.isfinite(critical) else conductance * volts**2
        for name, conductance in allowed.items()
    }
    return tuple(Rule(name, power, shares[name], drawn <= power) for name, power in powers.items())
