"""How far a load's voltage deviates after a step of its current, over the range of what is uncertain."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from filterlib.analysis.linear.fourier import step_from_response
from filterlib.analysis.linear.steps import RISE_TIME, steps
from filterlib.analysis.uncertainty.plausible import Interval, Plausible
from filterlib.parts.values import Value
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import StepRequirement
from filterlib.system.solution import Solution

_FREQUENCIES = np.logspace(0.5, 8.5, 241)  # [Hz] from which many deviations are had at once
_TIMES = np.logspace(-7, 0, 141)  # [s]
_RISE = 1 / (1 + 2j * np.pi * _FREQUENCIES * RISE_TIME)
Rows = np.ndarray  # (designs, parameters): values of the uncertain parameters


def step_range(
    solution: Solution,
    wanted: StepRequirement,
    drawn: Plausible | None = None,
    mask: Callable[[Solution, dict[str, Value]], dict[str, Value]] | None = None,
) -> Interval:
    """Greatest deviation [V] after the step: nominal, its least and greatest, and what it is for plausible combinations.

    ``drawn``: plausible combinations, whatever figure they were drawn for. They are looked at roughly, from the frequency
    response, with every uncertain parameter alone at both ends, and all at their better and at their worse ones; the nominal
    value and both ends are exact. ``mask``: see `filterlib.analysis.ripple.ripple.ripple`. NaN where a part has no ladder.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> wanted = StepRequirement(kind="step", load="modem", limit="1 V", current="1 A")
    >>> found = step_range(solution, wanted)
    >>> found.low < found.nominal < found.high
    True
    """
    solution = solution.with_measured_output
    box = uncertain_parameters(solution.design)

    def exact(row: Sequence[float]) -> float:
        values = {one.key: float(value) for one, value in zip(box, row, strict=True)}
        return steps(solution.varied(values), wanted.load, step_current=wanted.current).load_dip

    def roughly(rows: Rows) -> np.ndarray:
        many = solution.varied({one.key: rows[:, [place]] for place, one in enumerate(box)})
        found = wanted.current * _deviations(many, wanted.load)
        return found if mask is None else np.ravel(mask(many, {"": found[:, None]})[""])

    nominal = [one.nominal for one in box]
    value = exact(nominal)
    if np.isnan(value) or not box:
        return Interval(value, value, value, {}, {}, {})
    rows = np.concatenate([_alone(box), _drawn(box, drawn)])
    dips = roughly(rows)
    alone, scale = dips[1 : 1 + 2 * len(box)].reshape(-1, 2), value / dips[0]
    last = _together(box, alone)
    rows, dips = np.concatenate([rows, last]), scale * np.concatenate([dips, roughly(last)])
    lowest, highest = int(np.nanargmin(dips)), int(np.nanargmax(dips))
    low, high = min(value, exact(rows[lowest])), max(value, exact(rows[highest]))
    at_low, at_high = ({one.key: float(v) for one, v in zip(box, rows[row], strict=True)} for row in (lowest, highest))
    moved = np.column_stack([scale * alone, np.full(len(box), value)])
    effects = {one.key: (float(np.nanmin(row)), float(np.nanmax(row))) for one, row in zip(box, moved, strict=True)}
    plausible = None if drawn is None else drawn.of(dips[1 + 2 * len(box) : -2].clip(low, high))
    return Interval(value, low, high, at_low, at_high, effects, plausible=plausible)


def deviation(solution: Solution, wanted: StepRequirement) -> float:
    """Greatest deviation of one design [V], roughly: from its frequency response, to about a percent."""
    return wanted.current * float(_deviations(solution.with_measured_output, wanted.load)[0])


def _deviations(many: Solution, load: str) -> np.ndarray:
    """Greatest deviation of every design (designs,) after a step of 1 A [V]."""
    wanted = many.design.named_load(load)
    ((response,),) = many.circuit.transfer(_FREQUENCIES, [wanted.source], [wanted.port])
    return np.array(
        [np.max(np.abs(step_from_response(_FREQUENCIES, one * _RISE, _TIMES))) for one in np.atleast_2d(response)]
    )


def _alone(box: Sequence[UncertainParameter]) -> Rows:
    """The nominal values, then each parameter alone at its two ends."""
    rows = np.repeat([[one.nominal for one in box]], 1 + 2 * len(box), axis=0)
    for place, one in enumerate(box):
        rows[1 + 2 * place : 3 + 2 * place, place] = one.low, one.high
    return rows


def _drawn(box: Sequence[UncertainParameter], drawn: Plausible | None) -> Rows:
    """The plausible combinations; what was not drawn is nominal."""
    if drawn is None:
        return np.zeros((0, len(box)))
    count = len(drawn.weights)
    return np.column_stack([drawn.values.get(one.key, np.full(count, one.nominal)) for one in box])


def _together(box: Sequence[UncertainParameter], alone: np.ndarray) -> Rows:
    """Every parameter at its better end, and at its worse one; ``alone`` (parameters, 2) at the low and at the high end."""
    ends = np.array([[one.low, one.high] for one in box])
    worse = np.argmax(np.nan_to_num(alone, nan=-1.0), axis=1)
    each = np.arange(len(box))
    return np.array([ends[each, 1 - worse], ends[each, worse]])
