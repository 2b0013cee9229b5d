"""The operating point: DC voltages and currents, bias and unbalance, and whether the circuit is stable there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.analysis.stability.stability import stability
from filterlib.system.design import Design
from filterlib.system.solution import Solution
from filterlib.system.state import State
from filterlib.units import format_quantity


@dataclass(frozen=True)
class OperatingResult:
    """One operating point; mappings are by name.

    ``temperature`` [K]; ``load_scale``: share of the full draw by load; ``terminal_voltage`` [V]; ``load_voltages`` [V];
    ``load_currents`` [A]; ``load_powers`` [W]; ``drops`` [V], regulated voltage minus load voltage; ``currents`` [A] through
    chokes and wires; ``unbalances`` [A], sum of both windings' currents; ``biases`` [V]; ``converter_current`` [A]; ``poles``
    (p,) [1/s] or None; ``stable``; ``method`` "poles" or "nyquist"; ``reason``: a sentence; ``notes``: what to know of
    parts at this point; ``state``: the `State` itself.
    """

    point: str
    temperature: float
    load_scale: Mapping[str, float]
    terminal_voltage: float
    load_voltages: Mapping[str, float]
    load_currents: Mapping[str, float]
    load_powers: Mapping[str, float]
    drops: Mapping[str, float]
    currents: Mapping[str, float]
    unbalances: Mapping[str, float]
    biases: Mapping[str, float]
    converter_current: float
    poles: np.ndarray | None
    stable: bool
    method: str
    reason: str
    notes: tuple[str, ...]
    state: State


def operating(solution: Solution) -> OperatingResult:
    """The DC state and the stability verdict at an operating point."""
    design, state = solution.design, solution.state
    verdict = stability(solution)
    volts, amps = state.load_voltages, state.load_currents
    return OperatingResult(
        point=state.point,
        temperature=state.temperature,
        load_scale=dict(state.load_scale),
        terminal_voltage=float(state.terminal_voltage),
        load_voltages=_floats(volts),
        load_currents=_floats(amps),
        load_powers={name: float(volts[name] * amps[name]) for name in volts},
        drops={name: float(design.converter.output_voltage - volts[name]) for name in volts},
        currents=_floats(state.currents),
        unbalances=_floats(state.unbalances),
        biases=_floats(state.biases),
        converter_current=float(state.converter_current),
        poles=verdict.poles,
        stable=verdict.stable,
        method=verdict.method,
        reason=verdict.reason,
        notes=tuple(_notes(design, state)),
        state=state,
    )


def _floats(values: Mapping[str, Any]) -> dict[str, float]:
    return {name: float(value) for name, value in values.items()}


def _notes(design: Design, state: State) -> Iterator[str]:
    for stage in design.filter:
        part, name = stage.part, stage.name
        bias = max((float(v) for key, v in state.biases.items() if key.split(".")[0] == name), default=None)
        if bias is not None:
            yield from _capacitor_notes(part, name, bias, state)
        amps, limit = abs(float(state.current(name))), getattr(part, "rated_current", None)
        if stage.lines and limit is not None and amps > limit:
            yield f"{name} carries {format_quantity(amps, 'A')}, more than the {format_quantity(limit, 'A')} it is rated for"
        if name in state.unbalances and hasattr(part, "magnetising_at"):
            yield from _unbalance_notes(part, name, state)


def _unbalance_notes(part: Any, name: str, state: State) -> Iterator[str]:
    """Return current past a choke's second winding, and what it leaves of the core's inductance."""
    unbalance, most = abs(float(state.unbalance(name))), part.saturation_current
    if unbalance > 0.2 * most:
        left = float(part.magnetising_at(unbalance, state.current(name), state.temperature))
        full = float(part.magnetising_at(temperature=state.temperature))
        yield (
            f"{name}: {format_quantity(unbalance, 'A')} returns past the second winding, through bonds to the chassis; it "
            f"magnetises the core, which saturates at {format_quantity(most, 'A')}: {format_quantity(left, 'H')} of "
            f"{format_quantity(full, 'H')} is left to the common mode"
        )


def _capacitor_notes(part: Any, name: str, bias: float, state: State) -> Iterator[str]:
    if bias > part.rated_voltage:
        yield f"{name} stands at {format_quantity(bias, 'V')}, above its rating of {format_quantity(part.rated_voltage, 'V')}"
    if part.bias_curve_missing:
        yield f"{name} is a class 2 ceramic without a bias curve: its capacitance at {format_quantity(bias, 'V')} may be half"
    elif part.beyond_curve(bias, state.temperature):
        yield f"{name} stands beyond the end of its curve; the last value is held"
