"""The one place where anything is called good or bad: stability, requirements and ratings, at every operating point.

`judge` takes a design solved at its operating points; what a change to a design would break is judged here too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, applied
from filterlib.analysis.direct_range import direct_reading, over_resistance
from filterlib.analysis.emission.emission_result import emission_tests
from filterlib.analysis.emission.estimate import emissions_of
from filterlib.analysis.failing import Failing
from filterlib.analysis.hold_up.burst_review import bursts
from filterlib.analysis.judged import Judgement, PointJudgement, Proposal, estimate_of, failings
from filterlib.analysis.linear.step_range import step_range
from filterlib.analysis.requirement_reading import LABELS, LABORATORY, Reading, verdict_of
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple import ripple, ripple_of_change
from filterlib.analysis.ripple.ripple_result import RippleResult
from filterlib.analysis.stability.operating_point import operating
from filterlib.analysis.stability.over_uncertainty import like_over, stability_over, where_stable
from filterlib.analysis.stability.stability_result import OverUncertainty
from filterlib.analysis.stress.stress import stress
from filterlib.analysis.stress.stress_check import StressCheck, StressResult, exceeded
from filterlib.analysis.supply.at_the_plug import at_the_plug
from filterlib.analysis.supply.battery_run import battery_run
from filterlib.analysis.supply.supply_result import SupplySide
from filterlib.analysis.supply.switch_on import switch_on
from filterlib.analysis.uncertainty.like_design import Depth
from filterlib.analysis.uncertainty.plausible import MOST_OF_THEM, Interval
from filterlib.analysis.verdict import BURST, NO_SPIKE, Answer, OfVolts, Unknown, Verdict
from filterlib.errors import CircuitError, FilterlibError
from filterlib.parts.ageing import SEAL_LIFE, mission_life
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.requirements import (
    DropRequirement,
    RippleRequirement,
    SpikeRequirement,
    StepRequirement,
    VoltageRequirement,
)
from filterlib.system.solution import Solution, solve_all
from filterlib.system.state import State
from filterlib.units import from_decibels

_POINTS = 0.9  # share of the work that ripple and stress are, where emission is required
Change = tuple[Candidate, ...]


def judge(
    solutions: Iterable[Solution],
    *,
    like: Judgement | None = None,
    depth: Depth = "first look",
    drawn: Drawn | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> Judgement:
    """Judge a design: stability, requirements and ratings, at every operating point and over the uncertainty.

    Parameters: ``solutions`` of one design at all its operating points, see `filterlib.solve_all`; ``like``: the
    judgement of a design that is like this one, as where a change is tried: then only a first look is taken, at the nominal
    values and at those that make that design's ends, which can show that a requirement is not met over the whole range and not that it
    is; ratings are nominal; ``depth``: a closer look takes more of them, and "whole" judges all that anything is asked of, its ripple sought on from
    those ends (see `filterlib.analysis.uncertainty.like_design`); ``drawn``: what is kept from one such design for the next; ``progress``: called with the share done (0 to 1) and what is being done.
    Returns: Judgement, in SI units.
    Raises: ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> judgement = filterlib.judge(filterlib.solve_all(design))
    >>> judgement.good, judgement.verdicts[0].verdict
    (True, 'met')
    """
    solved, tell = tuple(solutions), progress or (lambda share, text: None)
    design, count, part = solved[0].design, len(solved), _POINTS if emission_tests(solved[0].design) else 1.0
    whole = like is None or depth == "whole"
    steady = [operating(solution, poles=like is None) for solution in solved]
    others = {} if like is None else {one.operating.point: one for one in like.points}
    overs = [stability_over(one) if whole else like_over(one, _over(others.get(one.point))) for one in solved]
    masks = {one.point: where_stable for one, over in zip(solved, overs, strict=True) if over and not over.stable}
    ripples, stresses, kept = [], [], drawn or Drawn()
    for number, (solution, dc_point) in enumerate(zip(solved, steady, strict=True)):
        if not dc_point.stable:
            frequency = design.converter.switching_frequency
            ripples.append(RippleResult(solution.point, frequency, reason=dc_point.reason))
            stresses.append(StressResult(solution.point, reason=dc_point.reason))
            continue
        text = f"{solution.point}: ripple over the uncertainty"

        def searched(share: float, number: int = number, text: str = text) -> None:
            tell(part * (number + share) / count, text)

        before, mask = _extents(others.get(solution.point)), masks.get(solution.point)
        beside = next((one.extents for one in reversed(ripples) if one.extents), None)
        ripples.append(
            ripple(solution, mask=mask, progress=searched, drawn=kept, beside=beside)
            if before is None or (whole and not before)
            else ripple_of_change(solution, before, depth=depth, drawn=kept, mask=mask, beside=beside)
        )
        stresses.append(stress(solution, interval=whole, rough=whole and like is not None))
    emitted = emissions_of(
        design,
        solved,
        like=None if whole else {name: point.emissions for name, point in others.items()},
        asked=like is not None,
        masks=masks,
        drawn={one.point: found for one in ripples if (found := one.plausible) is not None},
        progress=lambda share: tell(part + (1 - part) * share, "conducted emission over the uncertainty"),
    )
    points = tuple(
        PointJudgement(solution, dc_point, at_point, stressed, emitted[solution.point], over)
        for solution, dc_point, at_point, stressed, over in zip(solved, steady, ripples, stresses, overs, strict=True)
    )
    lives = missions(design, stresses)
    side = supply_side(solved) if like is None or whole else like.supply
    return Judgement(
        design, points, verdicts(design, points), lives, exceeded(stresses, lives), side, bursts(design, whole=whole)
    )


def _over(point: PointJudgement | None) -> OverUncertainty | None:
    return None if point is None else point.over


def _extents(point: PointJudgement | None) -> Mapping[tuple[str, str], Interval] | None:
    return None if point is None else point.ripple.extents


def verdicts(design: Design, points: Iterable[PointJudgement]) -> tuple[Verdict, ...]:
    """A verdict for every requirement."""
    points = tuple(points)
    direct = any(isinstance(wanted, VoltageRequirement | DropRequirement) for wanted in design.requirements)
    overs = [
        over_resistance(one.solution, one.ripple.plausible) if direct and one.operating.stable else None
        for one in points
    ]
    return tuple(
        _emission(wanted, points)
        if isinstance(wanted, EmissionRequirement)
        else verdict_of(
            design,
            wanted,
            [
                replace(_read(wanted, one, over), turned_by=_turned_by(one))
                for one, over in zip(points, overs, strict=True)
            ],
        )
        for wanted in design.requirements
    )


def _turned_by(point: PointJudgement) -> str:
    turns = (*point.over.alone, *point.over.together) if point.turned and point.over is not None else ()
    return turns[0].key if turns else ""


def _read(wanted: OfVolts, point: PointJudgement, over: State | None) -> Reading:
    name = point.operating.point
    if not point.operating.stable:
        return Reading(name, np.nan, np.nan, np.nan, unknown="unstable")
    if isinstance(wanted, VoltageRequirement | DropRequirement):
        return direct_reading(wanted, point.solution, over, point.ripple.plausible)
    if isinstance(wanted, StepRequirement):
        found = step_range(point.solution, wanted, point.ripple.plausible, where_stable if point.turned else None)
        why: Unknown | None = "no ladder" if np.isnan(found.nominal) else None
        return Reading(name, found.nominal, found.low, found.high, found.decisive, why, plausible=found.plausible)
    return _ripple(wanted, point.ripple)


def _ripple(wanted: RippleRequirement | SpikeRequirement, result: RippleResult) -> Reading:
    key = (wanted.load, wanted.label)
    figure = result.figures[key]
    low, high = (figure.low, figure.high) if np.isfinite(figure.low) else (figure.peak_to_peak,) * 2
    depends = NO_SPIKE if key in result.without_spike else result.depends.get(key, "")
    extent = result.extents.get(key)
    drawn = None if extent is None or depends in (NO_SPIKE, BURST) else extent.plausible
    return Reading(result.point, figure.peak_to_peak, low, high, depends, plausible=drawn)


def _emission(wanted: EmissionRequirement, points: Iterable[PointJudgement]) -> Verdict:
    """Judged where a detector comes nearest to the limit over the uncertainty, at any operating point."""
    results = {point.operating.point: estimate_of(wanted, point.emissions) for point in points}
    unstable = next((name for name, result in results.items() if result.reason), "")
    margins = [(m, name) for name, result in results.items() for m in result.margins if m.limit == wanted.limit.name]
    heading = wanted.words, wanted.kind, wanted.load, wanted.margin, "dB"
    if unstable or not margins:
        point = unstable or next(iter(results))
        why: Unknown = "unstable" if unstable else "no harmonic"
        return Verdict(*heading, *(np.nan,) * 3, point, "not met" if unstable else "undecided", "", np.nan, unknown=why)
    worst, point = min(margins, key=lambda pair: pair[0].slack(wanted.margin))
    share = min((one.plausible_share(wanted.limit.name, wanted.margin) for one in results.values()), key=_least)
    answer: Answer
    answer, depends, label = worst.kept(wanted.margin), "", ""
    if answer == "undecided":
        answer = "probably met" if share >= MOST_OF_THEM else answer
        decisive = results[point].extents[worst.limit, worst.detector].decisive, worst.depends_on
        depends, label = (LABORATORY, LABELS[LABORATORY]) if worst.low >= wanted.margin else decisive
    return Verdict(
        *heading, worst.margin, worst.low, worst.high, point, answer, depends,
        float(from_decibels(worst.low - wanted.margin)) - 1, label,
        nearest=worst, trusted=worst.frequency <= results[point].trusted_to,
        probable_low=worst.probable_low, probable_high=worst.probable_high, plausible=share,
    )  # fmt: skip


def _least(share: float) -> float:
    """What shares are ordered by: where none are drawn nothing can be relied on."""
    return float(np.nan_to_num(share, nan=-1.0))


def broken_by(judgement: Judgement, was: Judgement) -> tuple[Failing, ...]:
    """What fails in one design and not in the other, or only may fail there."""
    known = {one.what: one.sure for one in failings(was)}
    return tuple(one for one in failings(judgement) if known.get(one.what, False) < one.sure or one.what not in known)


def in_full(was: Judgement, change: Change, drawn: Drawn) -> Proposal | None:
    """A change judged in full beside the design as it ``was``, ``drawn`` kept from one to the next; None where it cannot be."""
    try:
        judgement = judge_wholly(was, solve_all(applied(was.design, change)), drawn)
    except FilterlibError:
        return None
    return proposal_of(was, tuple(one.name for one in change), sum(one.parts for one in change), judgement, whole=True)


def judge_wholly(was: Judgement, solutions: tuple[Solution, ...], drawn: Drawn) -> Judgement:
    """On from the design as it was, and by itself where nothing is open then, or was, or nothing is asked of the ripple."""
    if not was.good and any(one.of_ripple for one in was.verdicts):
        found = judge(solutions, like=was, depth="whole", drawn=drawn)
        if any(failings(found)):
            return found
    return judge(solutions)


def rank(one: Proposal) -> tuple[object, ...]:
    """What proposals are ordered by: the judgement, and where nothing fails fewer changes before more margin; then parts and names."""
    sure, count, excess = _badness(one.judgement)
    few = 0 if count else len(one.names)
    return not one.robust, bool(one.broken), sure, count, few, excess, len(one.names), one.parts, one.names


def _badness(judgement: Judgement) -> tuple[int, float, float]:
    """How many failings are sure, how many there are, and how near to its limit, or beyond it, the worst requirement is.

    A requirement that is probably met counts half.
    """
    failing = tuple(failings(judgement))
    every = [*failing, *(Failing(one.point, one) for one in judgement.verdicts)]
    count = sum(0.5 if one.verdict and one.verdict.verdict == "probably met" else 1.0 for one in failing)
    return sum(one.sure for one in failing), count, max((one.excess for one in every), default=0.0)


def proposal_of(was: Judgement, names: tuple[str, ...], parts: int, judgement: Judgement, *, whole: bool) -> Proposal:
    broken = broken_by(judgement, was)
    return Proposal(names, parts, judgement, whole, broken, not broken and _badness(judgement) < _badness(was))


__all__ = ["supply_side"]


def supply_side(solutions: Sequence[Solution]) -> SupplySide | None:
    """Of a design solved at its operating points; None where its file states neither what feeds the converter nor its current limit.

    Raises FilterlibError where no voltage of the battery is known.
    """
    design = solutions[0].design
    try:
        start, why = switch_on(design), ""
    except CircuitError as error:
        start, why = None, str(error)
    if not design.states_battery_side:
        return SupplySide(None, None, start, why) if design.converter.limit is not None else None
    run = battery_run(solutions)
    return SupplySide(run, at_the_plug(design, run.most if run.most == run.most else 0.0), start, why)


def missions(design: Design, results: Iterable[StressResult]) -> tuple[StressCheck, ...]:
    """The life of every electrolytic over all operating points, where each states its share of time; else nothing."""
    shares = {point.name: point.share_of_time for point in design.operating_points}
    lives: dict[str, list[StressCheck]] = {}
    results = tuple(results)
    for check in (check for result in results for check in result.checks if check.what == "life"):
        lives.setdefault(check.name, []).append(check)
    stated = [shares.get(result.point) for result in results]
    weights = [share for share in stated if share is not None]
    if len(weights) < len(stated) or not sum(weights):
        return ()
    return tuple(_mission(checks, weights) for checks in lives.values() if len(checks) == len(weights))


def _mission(checks: list[StressCheck], weights: list[float]) -> StressCheck:
    value, low, high = (
        float(mission_life(weights, [getattr(c, end) for c in checks])) for end in ("value", "low", "high")
    )
    whole = replace(
        checks[0], what="life over all operating points", value=value, low=low, high=high,
        basis=replace(checks[0].basis, beyond_seal=high > SEAL_LIFE),
    )  # fmt: skip
    return whole if whole.verdict == "undecided" else replace(whole, depends_on="", label="")
