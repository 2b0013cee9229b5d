"""Damping by design: real parts at the filter's chokes and capacitors, each with its best resistor, judged, with what it costs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress

import numpy as np

from filterlib.analysis.damping.damping_candidates import NOTHING, branches
from filterlib.analysis.damping.damping_result import Branch, DampedDesign, DampingResult
from filterlib.analysis.judged import Judgement, PointJudgement, Proposal
from filterlib.analysis.judgement import in_full, judge, rank
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.part_limits import conditions
from filterlib.analysis.stability.proof import prove
from filterlib.analysis.stability.stability_result import Condition, Proof
from filterlib.analysis.stress.stress import loadings
from filterlib.errors import FilterlibError
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.usual.usual_sizes import usual_volume
from filterlib.system.design import Design
from filterlib.system.solution import Solution, solve_all


def damp(
    design: Design, parts: Mapping[str, Part], *, progress: Callable[[float, str], None] | None = None
) -> DampingResult:
    """Propose damping for a design: a resistor with a capacitor or a second choke of the tables, at a choke and what is behind it.

    Each of at most `PLACES` times one of each kind of capacitor and two chokes is judged in full, as the design is.

    Parameters: ``design``; ``parts`` by name that may be bought; ``progress``: called with the share done and what is being done.
    Returns: DampingResult; the dampers are ranked as changes are everywhere, by the design's own requirements, ratings and stability.
    Raises: FilterlibError where there is nothing to damp: no choke with a capacitor behind it, or no capacitor that fits.
    """
    tell = progress or (lambda share, text: None)
    solutions = solve_all(design)
    tried = list(branches(solutions[0], parts))
    if not tried:
        raise FilterlibError(NOTHING)
    tell(0.1, "judging the design as it is")
    was = judge(solutions)
    before, found, drawn = least_more(solutions), [], Drawn()
    for number, branch in enumerate(tried):
        tell(0.2 + 0.8 * number / len(tried), f"judging {branch.part.name} as damping")
        one = in_full(was, (branch.candidate,), drawn)
        found += [] if one is None else [_costed(one, branch, was, before)]
    found.sort(key=lambda one: (_group(one), -one.headroom, rank(one.proposal)))
    return DampingResult(was, tuple(found), before, tuple(_proofs(found[0])) if found else ())


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


def _costed(one: Proposal, branch: Branch, was: Judgement, before: float) -> DampedDesign:
    """A judged damping with its costs."""
    solutions = tuple(point.solution for point in one.judgement.points)
    volts = one.design.converter.output_voltage
    return DampedDesign(
        one, branch.network, branch.stage, branch.part.name, branch.resistor, branch.ratio, least_more(solutions), before,
        _ripple(one.judgement) / _ripple(was), max(_heat(point, branch.stage) for point in one.judgement.points),
        branch.charged * volts**2 / 2, usual_volume(branch.part), _drop(was, one.judgement), _conditions(solutions, branch.part),
    )  # fmt: skip


def _drop(was: Judgement, now: Judgement) -> float:
    """The most direct voltage [V] that any load has less."""
    pairs = zip(was.points, now.points, strict=True)
    return max(
        float(before.solution.state.voltage(load.name) - after.solution.state.voltage(load.name))
        for before, after in pairs
        for load in was.design.loads
    )


def _ripple(judgement: Judgement) -> float:
    """The nominal figure that decides [V]; NaN where the point is unstable."""
    load, band, point = judgement.decisive
    figure = point.ripple.figures.get((load, band)) if point.ripple.reason is None else None
    return float("nan") if figure is None else float(figure.peak_to_peak)


def _heat(point: PointJudgement, stage: str) -> float:
    """Heat in a damping's resistor [W], ripple's and direct current's; 0 where the point is unstable and has none."""
    if not point.operating.stable:
        return 0.0
    resistors = (one for one in loadings(point.solution) if one.component.stage == stage and one.component.part is None)
    return max(float(np.max(one.ripple_heat + one.direct_heat)) for one in resistors)


def _conditions(solutions: tuple[Solution, ...], part: Capacitor | DifferentialChoke) -> tuple[Condition, ...]:
    """Of an electrolytic, the critical power of each load cold, warm and worn, the least over the operating points."""
    if isinstance(part, DifferentialChoke) or not part.electrolytic:
        return ()
    rows = [conditions(solution, one.load) for solution in solutions for one in margins(solution, exactly=False)]
    return tuple(min(same, key=lambda one: one.critical_power / one.power) for same in zip(*rows, strict=True))
