"""Linear steps: of the regulated voltage, and of a load's current; exact at any time, from the circuit's poles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from filterlib.analysis.linear.linear_result import StepsResult
from filterlib.analysis.stability.stability_result import Stability
from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution

SETTLED = 0.02  # share of the greatest excursion within which a step counts as settled: common practice, no source
POINTS = 1500
RISE_TIME = 1e-6  # [s] in which a load's current rises where nothing is said (first order): common practice, no source
MANY = 5  # loads from which they share one circuit
_STEP = "step of "  # what the rising source of a load begins with
_SHUNT = 1e6  # [ohm] beside the rising source, far above any line
_LOOK = np.logspace(-9, 1, 401)  # [s] at which the length of the picture is sought


def steps(
    solution: Solution, load: str, *, step_current: float | None = None, rise_time: float = RISE_TIME
) -> StepsResult:
    """Step responses at a load of a stable design.

    Linear: the loads keep the slope they have at the operating point.

    Parameters: ``solution`` of one design; ``load``: its name; ``step_current`` [A]: half the load's present current where
    None; ``rise_time`` [s]: time constant of that rise (an ideal step would make an infinite voltage across a lead).
    Returns: StepsResult, its responses (t,) [V]; without them, with the ``reason``, where the circuit has no poles.
    Raises: FilterlibError for an unknown load.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> result = steps(solution, "modem")
    >>> round(result.overshoot, 2), round(result.load_dip, 3)
    (0.23, 0.136)
    """
    solution = solution.with_measured_output
    wanted = solution.design.named_load(load)
    return _steps(
        solution, _with_rising_sources(solution.circuit.copy(), [wanted], rise_time), wanted, step_current, rise_time
    )


def steps_at(solution: Solution, loads: Sequence[str]) -> dict[str, StepsResult]:
    """`steps` at each of several loads; from `MANY` on with one circuit for all of them, whose poles are found once.

    The rising sources of the others put 1 MΩ across each of them, which changes a step by less than a ten-thousandth of its peak.
    """
    if len(loads) < MANY:
        return {load: steps(solution, load) for load in loads}
    solution = solution.with_measured_output
    every = [solution.design.named_load(load) for load in loads]
    circuit = _with_rising_sources(solution.circuit.copy(), every, RISE_TIME)
    return {one.name: _steps(solution, circuit, one, None, RISE_TIME) for one in every}


def _steps(
    solution: Solution, circuit: Circuit, wanted: Load, step_current: float | None, rise_time: float
) -> StepsResult:
    """At one load, of a circuit with its rising source."""
    state, load, step = solution.state, wanted.name, f"{_STEP}{wanted.name}"
    amps = abs(float(state.load_currents.get(load, 1.0))) / 2 if step_current is None else step_current
    sources = ["regulated", *(one for one in circuit.sources if one.startswith(_STEP))]
    chosen = [0, sources.index(step)]
    try:
        look = np.array(circuit.step_response(_LOOK, sources, wanted.port))[chosen]
    except CircuitError as error:
        return replace(no_steps(solution, load, str(error)), step_current=amps, rise_time=rise_time)
    times = np.linspace(0, 1.3 * max(_settling(_LOOK, row) for row in look), POINTS)
    up, down = np.array(circuit.step_response(times, sources, wanted.port))[chosen]
    return StepsResult(
        point=state.point,
        load=load,
        step_current=amps,
        rise_time=rise_time,
        times=times,
        converter_step=up,
        load_step=amps * down,
        overshoot=max(0.0, float(np.max(look[0]) / look[0][-1]) - 1),
        load_dip=amps * float(max(np.max(np.abs(look[1])), np.max(np.abs(down)))),
        settling_time=_settling(times, down, end=float(look[1][-1])),
    )


def no_steps(solution: Solution, load: str, reason: Stability | str | None) -> StepsResult:
    """A result without steps, with the reason."""
    nothing = np.zeros(0)
    return StepsResult(solution.point, load, np.nan, np.nan, nothing, nothing, nothing, np.nan, np.nan, np.nan, reason)


def _with_rising_sources(circuit: Circuit, loads: Iterable[Load], rise_time: float) -> Circuit:
    """A source "step of LOAD" for each, that draws current from the load's port with a first-order rise: behind an inductance."""
    for load in loads:
        name = f"{_STEP}{load.name}"
        circuit.current_source(name, load.minus, f"{name}:x")
        circuit.resistor(f"{name}.shunt", f"{name}:x", load.minus, _SHUNT)
        circuit.inductor(f"{name}.rise", f"{name}:x", load.plus, rise_time * _SHUNT)
    return circuit


def _settling(times: np.ndarray, values: np.ndarray, *, end: float | None = None) -> float:
    """Last time at which a step is further from its end than `SETTLED` of its greatest excursion."""
    end = float(values[-1]) if end is None else end
    off = np.abs(values - end) > SETTLED * np.max(np.abs(values - end), initial=1e-300)
    return float(times[min(np.flatnonzero(off)[-1] + 1, len(times) - 1)]) if off.any() else float(times[1])
