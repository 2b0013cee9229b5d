"""What readings of a board tell of its converter: uncertain parameters with narrower ranges, and a design file with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.plausible import LEAST, Plausible
from filterlib.bench.answers.answers_result import BenchResult, Fault
from filterlib.bench.answers.differing import differences
from filterlib.bench.answers.explained import BothRanges, Learned, Narrowed
from filterlib.bench.answers.spectrum_answer import drawn_cases
from filterlib.bench.answers.trials import trial
from filterlib.bench.design_copy import changed_text
from filterlib.errors import FilterlibError
from filterlib.system.design import Design, with_values
from filterlib.system.ranges.changes import changed
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve

NARROWER = 0.9
"""Share of what as many cases of its old width reach over, up to which a range is worth a line."""
ENOUGH = 2 * LEAST
"""Plausible cases that have to count."""
KEPT = (0.01, 0.5, 0.99)
"""Shares of the weighed cases below a range's low end, its value and its high end."""
_WEIGHTS = 0.8 ** np.arange(20)
_INSIDE = "converter."


def learn(result: BenchResult) -> Learned:
    """Each plausible case of the design weighed anew by how well it makes all readings; ranges are those of 49 cases in 50.

    Where few cases agree, the readings count for less, until `ENOUGH` do: the ranges are then wider than they need be.
    Validity: of the converter's inside alone, and as the board is designed: with a fault nothing is learned of the converter.
    Raises: FilterlibError where no plausible cases are drawn, or too few agree with the readings.
    """
    drawn, likely = agreement_of_cases(result)
    weighed = next((one for one in map(partial(_weighed, drawn, likely), _WEIGHTS) if one.effective >= ENOUGH), None)
    if weighed is None or not np.isfinite(likely).any():
        raise FilterlibError(f"nothing is learned: of {len(likely)} plausible cases fewer than {ENOUGH:.0f} agree")
    box = {one.key: one for one in uncertain_parameters(result.stated) if one.key.startswith(_INSIDE)}
    found = [_narrowed(box[key], values, weighed) for key, values in drawn.values.items() if key in box]
    apart = (weighed.effective - 1) / (weighed.effective + 1)  # share of a width that so many even cases reach over
    kept = sorted((one for one in found if _share(one) < NARROWER * apart), key=_share)
    return Learned(tuple(kept), weighed.effective)


def _weighed(drawn: Plausible, likely: np.ndarray, power: float) -> Plausible:
    """With the readings' likelihood to a power at most 1."""
    weights = np.exp(power * np.maximum(likely - np.max(likely), -700.0))
    return Plausible(drawn.figures, drawn.weights * weights, drawn.values, drawn.belief)


def _narrowed(parameter: UncertainParameter, values: np.ndarray, weighed: Plausible) -> Narrowed:
    known = np.isfinite(weighed.figures)
    values, weights = values[known], weighed.weights[known]
    order = np.argsort(values)
    below = (np.cumsum(weights[order]) - weights[order] / 2) / weights.sum()
    least, middle, most = (float(one) for one in np.interp(KEPT, below, values[order]))
    low, high = _out(least, -1), _out(most, 1)
    names = parameter.key, parameter.label, parameter.unit
    low, high = max(low, parameter.low), min(high, parameter.high)
    return Narrowed(*names, parameter.low, parameter.high, float(f"{min(max(middle, low), high):.3g}"), low, high)


def _out(value: float, side: int) -> float:
    """Three digits, rounded down or up."""
    if value == 0:
        return value
    step = 10.0 ** (np.floor(np.log10(abs(value))) - 2)
    return float(f"{(np.floor(value / step) if side < 0 else np.ceil(value / step)) * step:.3g}")


def _share(one: Narrowed) -> float:
    """Of the old range's width that is left, in logarithms where it can be."""
    if one.before_low > 0:
        return float(np.log(one.high / one.low) / np.log(one.before_high / one.before_low))
    return (one.high - one.low) / (one.before_high - one.before_low)


def learned_design(result: BenchResult, learned: Learned) -> Design:
    """The design as its file states it, with the narrowed ranges.

    Raises: FilterlibError where a range cannot be.
    """
    ranges = {one.key: {"value": one.value, "low": one.low, "high": one.high} for one in learned.narrowed}
    return changed(result.stated, ranges)


def both_ranges(result: BenchResult) -> BothRanges:
    """What the readings tell, and the first station that was read, as the file states the design and with narrowed ranges.

    Raises: FilterlibError as `learn`.
    """
    found = learn(result)
    design = learned_design(result, found)
    station = next(
        one.station for one in result.answers if one.station.point in {p.name for p in result.stated.operating_points}
    )
    key = station.place, station.band.label
    one, other = (ripple(solve(each, station.point)).figures[key] for each in (result.stated, design))
    return BothRanges(found, design, station, one, other)


def learned_text(file: str | Path, both: BothRanges, captures: Sequence[str]) -> str:
    """The design file's text with the narrowed ranges in it, and comments that name the captures.

    Raises: FilterlibError where a range cannot stand in the file.
    """
    text = changed_text(file, both.design)
    lines = [f"# {one.key}: narrowed by {', '.join(captures)}" for one in both.learned.narrowed]
    schema, rest = text.split("\n", 1) if text.startswith("#:schema") else ("", text)
    return "\n".join([*([schema] if schema else []), *lines, rest])


def agreement_of_cases(result: BenchResult) -> tuple[Plausible, np.ndarray]:
    """Every plausible case of the first operating point that was read, and the logarithm of how likely it makes all readings there.

    Raises: FilterlibError where no plausible cases are drawn, or nothing was read behind the filter.
    """
    if not result.behind:
        raise FilterlibError("nothing is learned: no reading behind the filter")
    point = result.behind[0].station.point
    here = [one for one in result.behind if one.station.point == point]
    there = replace(result, spectra=tuple(one for one in result.spectra if one.station.point == point))
    found, likely = None, []
    for design, drawn in drawn_cases(result.design, result.ripples[point]):
        many = Solution(with_values(design, drawn.columns), solve(design, point).state)
        tried = trial(there, Fault("as designed"), {point: spectra(many)})
        likely.append(differences(there, tried, here).of_cases)
        found = drawn if found is None else found.beside(drawn)
    if found is None:
        raise FilterlibError("nothing is learned: no plausible cases are drawn of this design")
    return found, np.concatenate(likely)
