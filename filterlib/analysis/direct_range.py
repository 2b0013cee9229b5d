"""Voltages and drops at the loads over the range of the converter's resistance: one DC solution for all requirements."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.requirement_reading import Reading
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.parts.values import Value
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import DropRequirement, VoltageRequirement
from filterlib.system.solution import Solution, solve
from filterlib.system.state import State

RESISTANCE = "converter.output_resistance"


def over_resistance(solution: Solution, drawn: Plausible | None) -> State | None:
    """DC states with the converter's resistance at both ends of its range, then as it was ``drawn``; None where it has no range.

    Raises: OperatingError where the line cannot deliver what a load draws.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> low, high = over_resistance(solution, None).load_voltages["modem"].ravel()
    >>> bool(low > solution.state.load_voltages["modem"] > high)
    True
    """
    known = {one.key: one for one in uncertain_parameters(solution.design)}
    if RESISTANCE not in known:
        return None
    more = () if drawn is None else drawn.values.get(RESISTANCE, ())
    ohms = np.array([known[RESISTANCE].low, known[RESISTANCE].high, *more])[:, None]
    return solve(with_values(solution.design, {RESISTANCE: ohms}), solution.point).state


def direct_reading(
    wanted: VoltageRequirement | DropRequirement, solution: Solution, over: State | None, drawn: Plausible | None
) -> Reading:
    """What a requirement on a voltage or a drop reads, from the states ``over`` the converter's resistance (`over_resistance`).

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> wanted = solution.design.requirements[2]
    >>> reading = direct_reading(wanted, solution, over_resistance(solution, None), None)
    >>> wanted.kind, reading.low < reading.value < reading.high
    ('voltage', True)
    """

    def level(state: State) -> Value:
        volts = state.load_voltages[wanted.load]
        return solution.design.converter.output_voltage - volts if isinstance(wanted, DropRequirement) else volts

    value = float(level(solution.state))
    if over is None:
        return Reading(solution.point, value, value, value)
    levels = np.ravel(level(over))
    if drawn is not None and RESISTANCE in drawn.values:
        drawn = drawn.of(levels[2:])
    return Reading(solution.point, value, float(levels[:2].min()), float(levels[:2].max()), RESISTANCE, plausible=drawn)
