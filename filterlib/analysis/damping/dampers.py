"""Damping by design: branches of real parts across the filter's capacitors, each with its best resistor, judged, with what it costs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, free_name, inserted
from filterlib.analysis.causes.cures import capacitance, inductance
from filterlib.analysis.causes.proposals import Proposal, in_full, rank
from filterlib.analysis.damping.ideal import textbook
from filterlib.analysis.damping.real_parts import FittedResistor, fitted
from filterlib.analysis.described import Ratio, Unit
from filterlib.analysis.judgement import Judgement, judge
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.part_limits import Condition, conditions
from filterlib.analysis.stability.proof import Proof, prove
from filterlib.analysis.stress.loading import loadings
from filterlib.errors import FilterlibError
from filterlib.parts.capacitor import Capacitor
from filterlib.system.design import Design
from filterlib.system.solution import Solution, solve, solve_all
from filterlib.system.stages import Damping
from filterlib.units import format_quantity

RATIOS = 1.0, 20.0  # of a damping capacitor over what it damps, least and greatest: common practice, no source
IDEAL = 4.0  # the ratio that is looked for first: common practice, no source
OF_A_KIND = 1  # parts of one kind that are tried at one place
HEADROOM = 1.2  # rated voltage over the converter's, at least: common practice, no source
PLACES = 2  # capacitors behind chokes that are damped, the last first


@dataclass(frozen=True)
class DampedDesign:
    """One damping branch as judged, and what it costs.

    ``proposal``: the design with it and its judgement; ``resistor``; ``ratio`` of its capacitor over what it damps; ``more``: power that
    loads of constant power may add before it rings, as a share, the least of all operating points (inf where nothing can turn
    it), and ``was`` without it; ``ripple`` at the load that decides over that without it (NaN where one of them is unstable);
    ``heat`` of ripple in the resistor, the most of all operating points; ``switch_on``: at most that much energy at switch-on, of the
    resistor, with a hard step of the full voltage; ``conditions``: critical power cold, warm and worn, of electrolytics.
    """

    proposal: Proposal
    stage: str
    part: str
    resistor: FittedResistor
    ratio: Ratio[float]
    more: Annotated[float, Unit("", "more power before it rings", "more")]
    was: Annotated[float, Unit("", "more power without it", "more_before")]
    ripple: Annotated[float, Unit("", "ripple over that without it", "ripple_ratio")]
    heat: Annotated[float, Unit("W", "heat in the resistor", "heat")]
    switch_on: Annotated[float, Unit("J", "at switch-on, at most", "switch_on")]
    conditions: tuple[Condition, ...] = ()

    @property
    def design(self) -> Design:
        """The design with the branch."""
        return self.proposal.design

    @property
    def headroom(self) -> float:
        """The least power that may be added, in any condition, as a share: cold and worn too."""
        return min([self.more, *(one.critical_power / one.power - 1 for one in self.conditions)])

    @property
    def damps(self) -> bool:
        """Whether it takes a tenth or more off the peak."""
        return self.resistor.peak < 0.9 * self.resistor.without


@dataclass(frozen=True)
class DampingResult:
    """What damping does for a design: ``judgement`` of it as it is, and ``dampers``, the best first, by that judgement.

    ``proofs``: of the best one, at each operating point at which something uncertain moves the circuit and the proof can be had.
    """

    judgement: Judgement
    dampers: tuple[DampedDesign, ...]
    proofs: tuple[Proof, ...] = ()


@dataclass(frozen=True)
class _Branch:
    """A candidate with the numbers that it was made of."""

    candidate: Candidate
    stage: str
    part: str
    ratio: float
    resistor: FittedResistor


def damp(
    design: Design, parts: Mapping[str, Any], *, progress: Callable[[float, str], None] | None = None
) -> DampingResult:
    """Propose damping branches for a design: a capacitor of a table in series with a resistor, across a capacitor behind a choke.

    Parameters: ``design``; ``parts`` by name that may be bought; ``progress``: called with the share done and what is being done.
    Returns: DampingResult; the dampers are ranked as changes are everywhere, by the design's own requirements, ratings and stability.
    Raises: FilterlibError where there is nothing to damp: no choke with a capacitor behind it, or no capacitor that fits.
    """
    tell = progress or (lambda share, text: None)
    solutions = solve_all(design)
    branches = list(_branches(solutions[0], parts))
    if not branches:
        raise FilterlibError(
            "nothing to damp: a damping branch goes across a capacitor behind a choke, with a capacitor of "
            f"{RATIOS[0]:g} to {RATIOS[1]:g} times its size from the tables of parts"
        )
    tell(0.1, "judging the design as it is")
    was = judge(solutions)
    before, found = least_more(solutions), []
    for number, branch in enumerate(branches):
        tell(0.2 + 0.8 * number / len(branches), f"judging {branch.part} as damping")
        one = in_full(was, (branch.candidate,))
        found += [] if one is None else [_costed(one, branch, was, before)]
    found.sort(key=lambda one: (_group(one), -one.headroom, rank(one.proposal)))
    return DampingResult(was, tuple(found), tuple(_proofs(found[0])) if found else ())


def _proofs(one: DampedDesign) -> Iterator[Proof]:
    for point in one.proposal.judgement.points:
        with suppress(FilterlibError):
            yield prove(point.solution)


def _group(one: DampedDesign) -> tuple[object, ...]:
    """What comes before the margin: everything met, nothing broken, fewer failings."""
    return rank(one.proposal)[:4]


def least_more(solutions: tuple[Solution, ...]) -> float:
    """The least share of power that any load may add at any operating point before it rings; inf where nothing rings."""
    return min((one.more for solution in solutions for one in margins(solution)), default=np.inf)


def _branches(solution: Solution, parts: Mapping[str, Any]) -> Iterator[_Branch]:
    """For the last capacitors behind chokes, the parts of each kind that come nearest to the ratio looked for."""
    design = solution.design
    places = [
        (choke, stage, at)
        for at, stage in enumerate(design.filter)
        if stage.kind == "capacitor" and (choke := _choke_before(design, at)) is not None
    ]
    for choke, stage, at in places[::-1][:PLACES]:
        there = _at_bias(solution, stage)
        by_kind: dict[str, list[tuple[float, str, Any]]] = {}
        for name, part in sorted(parts.items()):
            if (
                isinstance(part, Capacitor)
                and float(np.min(part.rated_voltage)) > HEADROOM * design.converter.output_voltage
            ):
                ratio = float(np.max(part.capacitance)) / there
                if RATIOS[0] <= ratio <= RATIOS[1]:
                    by_kind.setdefault(part.kind, []).append((abs(np.log(ratio / IDEAL)), name, part))
        behind = design.filter[at + 1].name if at + 1 < len(design.filter) else ""
        for listed in by_kind.values():
            for _, name, part in sorted(listed, key=lambda one: one[:2])[:OF_A_KIND]:
                yield _branch(solution, choke, stage, behind, name, part, there)


def _choke_before(design: Design, at: int) -> Any:
    return next(
        (one for one in design.filter[:at][::-1] if one.kind in ("differential_choke", "common_mode_choke")), None
    )


def _at_bias(solution: Solution, stage: Any) -> float:
    """Capacitance of a stage at its direct voltage [F]."""
    bias = float(np.abs(solution.state.bias(stage.name)))
    return (
        float(np.max(stage.part.capacitance_at(bias))) * stage.count
        if hasattr(stage.part, "capacitance_at")
        else capacitance(stage)
    )


def _branch(solution: Solution, choke: Any, damped: Any, behind: str, name: str, part: Any, farads: float) -> _Branch:
    """A branch with its best resistor, as a change to try."""
    design, henries = solution.design, inductance(choke)
    ratio = float(np.max(part.capacitance)) / farads
    ohms = float(np.sqrt(henries / farads)) * textbook("R-C across C", ratio)[0]
    stage = Damping(kind="damping", name=free_name(design, "D"), part=part, resistance=ohms)
    trial = solve(inserted(design, stage=stage, before=behind), solution.point)
    resistor = fitted(trial, stage.name, ohms, 1 / (2 * np.pi * float(np.sqrt(henries * farads))))
    stage = stage.replace(resistance=resistor.chosen)
    words = f"fit {name} in series with a resistor of {format_quantity(resistor.chosen, 'ohm', 2)} beside {damped.name}, as damping"
    change = partial(inserted, stage=stage, before=behind)
    candidate = Candidate(words, f"damping with {part.kind}", f"damping of {damped.name}", 2, change)
    return _Branch(candidate, stage.name, name, ratio, resistor)


def _costed(one: Proposal, branch: _Branch, was: Judgement, before: float) -> DampedDesign:
    """A judged branch with its costs."""
    solutions = tuple(point.solution for point in one.judgement.points)
    volts = one.design.converter.output_voltage
    part = next(stage.part for stage in one.design.filter if isinstance(stage, Damping) and stage.name == branch.stage)
    damped = float(np.max(part.capacitance)) * (1 + 1 / branch.ratio)
    return DampedDesign(
        one, branch.stage, branch.part, branch.resistor, branch.ratio, least_more(solutions), before,
        _ripple(one.judgement) / _ripple(was), max(_heat(point, branch.stage) for point in one.judgement.points),
        damped * volts**2 / 2, _conditions(solutions, part),
    )  # fmt: skip


def _ripple(judgement: Judgement) -> float:
    """The nominal figure that decides [V]; NaN where the point is unstable."""
    load, band, point = judgement.decisive
    figure = point.ripple.figures.get((load, band)) if point.ripple.reason is None else None
    return float("nan") if figure is None else float(figure.peak_to_peak)


def _heat(point: Any, stage: str) -> float:
    """Heat of ripple in the branch's resistor [W]; 0 where the point is unstable and has none."""
    if not point.operating.stable:
        return 0.0
    return max(
        float(np.max(one.ripple_heat)) for one in loadings(point.solution) if one.component.name == f"{stage}.resistor"
    )


def _conditions(solutions: tuple[Solution, ...], part: Capacitor) -> tuple[Condition, ...]:
    """Of an electrolytic, the critical power of each load cold, warm and worn, the least over the operating points."""
    if part.rated_life is None:
        return ()
    rows = [conditions(solution, one.load) for solution in solutions for one in margins(solution, exactly=False)]
    return tuple(min(same, key=lambda one: one.critical_power / one.power) for same in zip(*rows, strict=True))
