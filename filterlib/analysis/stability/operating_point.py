"""The operating point: DC voltages and currents, bias and unbalance, and whether the circuit is stable there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.analysis.stability.by_frequency_response import stays_up
from filterlib.analysis.stability.stability import stability
from filterlib.analysis.stability.stability_result import (
    DiscontinuousResult,
    LightLoadResult,
    OperatingResult,
    PartNote,
    Stability,
)
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value, Values
from filterlib.parts.wound import SATURATION_VALID
from filterlib.system.design import Design
from filterlib.system.inside.burst import PulseTrain
from filterlib.system.inside.light_load import Discontinuous, LightLoad
from filterlib.system.solution import Solution
from filterlib.system.state import State


def operating(solution: Solution, *, poles: bool = True) -> OperatingResult:
    """The DC state and the stability verdict at an operating point.

    Parameters: ``solution`` of one design; ``poles``: False asks only whether the circuit stays up, in a tenth of the time.
    Returns: OperatingResult, in V, A, W and K.
    Raises: nothing; `filterlib.solve` does, where there is no DC state.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> result = operating(solution)
    >>> result.stable, round(1e3 * result.drops["modem"])  # [mV]
    (True, 51)
    """
    design, state = solution.design, solution.state
    volts, amps = state.load_voltages, state.load_currents
    return OperatingResult(
        point=state.point,
        temperature=state.temperature,
        load_scale={name: state.scale(name) for name in volts},
        terminal_voltage=float(state.terminal_voltage),
        load_voltages=_floats(volts),
        load_currents=_floats(amps),
        load_powers={name: float(volts[name] * amps[name]) for name in volts},
        drops={name: float(design.converter.output_voltage - volts[name]) for name in volts},
        currents=_floats(state.currents),
        unbalances=_floats(state.unbalances),
        biases=_floats(state.biases),
        converter_current=float(state.converter_current),
        stability=stability(solution) if poles else Stability(stays_up(solution), None, "nyquist"),
        notes=tuple(_notes(design, state)),
        state=state,
        light_load=_light_load(solution.light_load),
        discontinuous=_discontinuous(solution.discontinuous),
    )


def _discontinuous(found: Discontinuous | None) -> DiscontinuousResult | None:
    return None if found is None else DiscontinuousResult(found.drawn, found.half, found.share, found.known)


def _light_load(light: LightLoad | None) -> LightLoadResult | None:
    if light is None:
        return None
    train = light.train or PulseTrain(0, np.nan, np.nan, np.nan)
    peak, delivered = (float(np.mean(one)) for one in (train.peak, train.delivered))
    return LightLoadResult(
        light.drawn, light.below, light.full, light.stated, light.certain, train.pulses, train.period, peak, delivered
    )


def _floats(values: Values) -> dict[str, float]:
    return {name: float(value) for name, value in values.items()}


def _notes(design: Design, state: State) -> Iterator[PartNote]:
    for stage in design.filter:
        part, name = stage.part, stage.name
        bias = max((float(v) for key, v in state.biases.items() if key.split(".")[0] == name), default=None)
        if bias is not None and isinstance(part, Capacitor):
            yield from _capacitor_notes(part, name, bias, state)
        amps, limit = abs(float(state.current(name))), getattr(part, "rated_current", None)
        if stage.lines and limit is not None and amps > limit:
            yield PartNote("overcurrent", name, amps, float(np.min(limit)))
        if name in state.unbalances and isinstance(part, CommonModeChoke):
            yield from _unbalance_notes(part, name, state)
        yield from _saturation_notes(part, name, state)


def beyond_saturation(solution: Solution) -> bool:
    """Whether any core is so deep in saturation that its model is no longer good."""
    return any(
        found for stage in solution.design.filter for found in _saturation_notes(stage.part, stage.name, solution.state)
    )


def _saturation_notes(part: Part, name: str, state: State) -> Iterator[PartNote]:
    """A core so deep in saturation that its model is no longer good: see `SATURATION_VALID`."""
    pairs: list[tuple[Value, Value | None]]
    if isinstance(part, CommonModeChoke):
        pairs = [(state.unbalances.get(name, 0.0), part.saturation_current)]
        pairs.append((state.current(name), part.leakage_saturation_current))
    else:
        pairs = [(state.current(name), getattr(part, "saturation_current", None))]
    for amps, limit in pairs:
        if limit is not None and abs(float(amps)) > SATURATION_VALID * float(np.min(limit)):
            yield PartNote("beyond saturation", name, abs(float(amps)), float(np.min(limit)))


def _unbalance_notes(part: CommonModeChoke, name: str, state: State) -> Iterator[PartNote]:
    """Return current past a choke's second winding, and what it leaves of the core's inductance."""
    unbalance, most = abs(float(state.unbalance(name))), float(part.saturation_current)
    if unbalance > 0.2 * most:
        left = float(part.magnetising_at(unbalance, state.current(name), state.temperature))
        full = float(part.magnetising_at(temperature=state.temperature))
        yield PartNote("unbalance", name, unbalance, most, left=left, full=full)


def _capacitor_notes(part: Capacitor, name: str, bias: float, state: State) -> Iterator[PartNote]:
    if bias > part.rated_voltage:
        yield PartNote("overvoltage", name, bias, float(part.rated_voltage), "V")
    if part.bias_curve_missing:
        yield PartNote("no bias curve", name, bias, unit="V")
    elif part.beyond_curve(bias, state.temperature):
        yield PartNote("beyond curve", name, bias, unit="V")
