"""The operating point: DC voltages and currents, bias and unbalance, and whether the circuit is stable there."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.stability import stability, stays_up
from filterlib.analysis.stability.stability_result import (
    DiscontinuousResult,
    LightLoadResult,
    OperatingResult,
    Stability,
)
from filterlib.analysis.stress.overloads import part_notes
from filterlib.parts.values import Values
from filterlib.system.inside.burst import PulseTrain
from filterlib.system.inside.light_load import Discontinuous, LightLoad
from filterlib.system.solution import Solution


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
        notes=tuple(part_notes(design, state)),
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
