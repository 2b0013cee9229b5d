"""One change tried on a design: what it does at every load that has a limit, what it costs, and which rule it breaks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from filterlib.analysis.causes.candidates import Candidate
from filterlib.analysis.causes.causes_result import Mitigation, Refusal
from filterlib.analysis.causes.mitigations import Trial, highest, try_all
from filterlib.analysis.described import Seconds, Volts
from filterlib.analysis.ripple.at_load import Seen, seen
from filterlib.analysis.ripple.ripple_result import narrow_and_wide
from filterlib.system.design import Design
from filterlib.system.requirements import OfRipple
from filterlib.system.solution import solve

NARROW, WIDE = "20MHz", "full"
Place: TypeAlias = tuple[str, str]  # load, label of the bandwidth
Figures: TypeAlias = Mapping[Place, float]


@dataclass(frozen=True)
class OneChange:
    """A design, ``base``, and the change that is tried on it, or None."""

    base: Design
    tried: Candidate | None = None

    @property
    def design(self) -> Design:
        """The design with the change."""
        return self.base if self.tried is None else self.tried.change(self.base)


@dataclass(frozen=True)
class ChangeResult:
    """What a change does at the first operating point; peak to peak by (load, bandwidth).

    ``limits``: of the design's own requirements on ripple and spikes; ``before``, ``after``: where there is a limit.
    ``mitigation``: costs and the rule that is broken, None where nothing is changed. ``times``, ``wave_before``, ``wave`` (n,):
    the first of those loads over one period, in full bandwidth. ``highest``: the greatest with each uncertain
    parameter alone at its ends, once `over_the_uncertainty` has sought it.
    """

    limits: Volts[Figures]
    before: Volts[Figures]
    after: Volts[Figures]
    mitigation: Mitigation | None
    times: Seconds[np.ndarray]
    wave_before: Volts[np.ndarray]
    wave: Volts[np.ndarray]
    highest: Volts[Figures] = field(default_factory=dict)

    @property
    def within(self) -> bool:
        """Whether every nominal figure is within its limit."""
        return all(self.after[one] <= limit for one, limit in self.limits.items())

    @property
    def refused(self) -> Refusal | None:
        """The rule that is broken, or ""."""
        return self.mitigation.refused if self.mitigation else None


def one_change(change: OneChange) -> ChangeResult:
    """What a change does at every load that has a limit. Raises FilterlibError where the changed design cannot be."""
    trials, design, limits = _trials(_Base(change.base)), change.design, _limits(change.base)
    first = next(iter(trials))
    before = {load: trial.now for load, trial in trials.items()}
    after = {load: seen(solve(design), load) for load in trials} if change.tried else before
    _, wide = narrow_and_wide(design)
    then, now = (one[first].spectra.waveform(first, wide) for one in (before, after))
    return ChangeResult(
        limits, _figures(before, limits), _figures(after, limits),
        try_all(trials[first], [change.tried])[0] if change.tried else None,
        np.arange(len(now)) / (after[first].spectra.frequencies[0] * len(now)), then, now,
    )  # fmt: skip


def over_the_uncertainty(change: OneChange, shown: ChangeResult, tick: Callable[[float], None]) -> ChangeResult:
    """The same with the greatest figures over the uncertainty, ``tick`` taking the share done; of a refused change as it is."""
    if change.tried is None or shown.refused:
        return shown
    trials = _trials(_Base(change.base))
    greatest: dict[Place, float] = {}
    for at, (load, trial) in enumerate(trials.items()):
        tick(at / len(trials))
        greatest[load, NARROW], greatest[load, WIDE] = highest(trial, change.tried)
    return replace(shown, highest={one: greatest[one] for one in shown.limits if np.isfinite(greatest[one])})


@dataclass(frozen=True)
class _Base:
    """A design as the key of a cache, compared first by its converter."""

    design: Design

    def __hash__(self) -> int:
        return hash(self.design.converter)


@lru_cache(maxsize=4)
def _trials(base: _Base) -> dict[str, Trial]:
    """Of each load with a limit: the design as it is, kept while only the change is another."""
    solution = solve(base.design)
    loads = dict.fromkeys(load for load, _ in _limits(base.design))
    return {load: Trial(solution, load, NARROW, seen(solution, load)) for load in loads}


def _limits(design: Design) -> dict[Place, float]:
    limits = [one for one in design.requirements if isinstance(one, OfRipple) and one.label in (NARROW, WIDE)]
    return {(one.load, one.label): one.limit for one in limits}


def _figures(at_loads: Mapping[str, Seen], limits: Figures) -> dict[Place, float]:
    return {
        (load, label): float(at_loads[load].ripple if label == NARROW else at_loads[load].spike)
        for load, label in limits
    }
