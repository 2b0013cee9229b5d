"""The one place where anything is called good or bad: stability, requirements and ratings, at every operating point.

`judge` takes a design solved at its operating points; what a change to a design would break is judged here too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from filterlib.analysis.direct_range import direct_reading, over_resistance
from filterlib.analysis.emission.estimate import EmissionResult
from filterlib.analysis.emission.required_tests import emission_tests, emissions_of
from filterlib.analysis.failing import Failing
from filterlib.analysis.hold_up.burst_review import Bursts, bursts
from filterlib.analysis.linear.step_range import step_range
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.of_change import ripple_of_change
from filterlib.analysis.ripple.ripple import RippleResult, ripple
from filterlib.analysis.stability.operating_point import OperatingResult, operating
from filterlib.analysis.stability.over_uncertainty import OverUncertainty, like_over, stability_over, where_stable
from filterlib.analysis.stress.stress import StressResult, exceeded, missions, stress
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.supply_side import SupplySide, supply_side
from filterlib.analysis.uncertainty.interval import Interval
from filterlib.analysis.uncertainty.like_design import Depth
from filterlib.analysis.uncertainty.plausible import MOST_OF_THEM, Plausible
from filterlib.analysis.verdict import (
    BURST,
    LABELS,
    LABORATORY,
    NO_SPIKE,
    Accept,
    Answer,
    OfVolts,
    Reading,
    Unknown,
    Verdict,
    verdict_of,
)
from filterlib.parts.artificial_network import artificial_network
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.file.accepted import AcceptedRating
from filterlib.system.requirements import (
    DropRequirement,
    RippleRequirement,
    SpikeRequirement,
    StepRequirement,
    VoltageRequirement,
)
from filterlib.system.solution import Solution
from filterlib.system.state import State
from filterlib.units import from_decibels

_POINTS = 0.9  # share of the work that ripple and stress are, where emission is required


@dataclass(frozen=True)
class PointJudgement:
    """What is judged at one operating point; ``ripple`` and ``stress`` have their reason where it is unstable.

    ``emissions``: of every test that the design asks for. ``over``: stability over the uncertainty, None where nothing can
    turn it, or where it was not looked for.
    """

    solution: Solution
    operating: OperatingResult
    ripple: RippleResult
    stress: StressResult
    emissions: tuple[EmissionResult, ...]
    over: OverUncertainty | None = None

    @cached_property
    def over_resistance(self) -> State | None:
        """DC states over the range of the converter's resistance, see `direct_range.over_resistance`."""
        return over_resistance(self.solution, _drawn(self.ripple))

    @property
    def turned(self) -> bool:
        """True where it is stable at nominal values and unstable elsewhere in the range."""
        return self.operating.stable and self.over is not None and not self.over.stable


@dataclass(frozen=True)
class Judgement:
    """A design judged at all its operating points.

    ``points`` in their order; ``verdicts``: one a requirement, in their order; ``lives`` of the electrolytics over all
    operating points, where each states its share of time; ``exceeded``: operating point and check of every rating that is
    exceeded, or may be; ``supply``: the battery's side, the plug and the switch-on, None where the file says nothing of them;
    ``bursts``: the bank that loads with a profile ask for, and how their bursts start, None without such loads. For a first look
    ``supply`` is that of the design that it is like, and ``bursts`` holds its checks alone.
    """

    design: Design
    points: tuple[PointJudgement, ...]
    verdicts: tuple[Verdict, ...]
    lives: tuple[StressCheck, ...] = ()
    exceeded: tuple[tuple[str, StressCheck], ...] = ()
    supply: SupplySide | None = None
    bursts: Bursts | None = None

    @property
    def against(self) -> tuple[Check, ...]:
        """The rules of bursts, battery's side, plug and switch-on that are not met over the whole range, the sure ones first."""
        every = [check for part in (self.bursts, self.supply) if part is not None for check in part.checks]
        return tuple(one for verdict in ("not met", "undecided") for one in every if one.verdict == verdict)

    @property
    def unstable(self) -> tuple[PointJudgement, ...]:
        """The operating points at which the circuit is unstable at nominal values."""
        return tuple(point for point in self.points if not point.operating.stable)

    @property
    def turned(self) -> tuple[PointJudgement, ...]:
        """The operating points at which it is stable at nominal values and unstable elsewhere in the range."""
        return tuple(point for point in self.points if point.turned)

    @property
    def broken(self) -> tuple[tuple[str, StressCheck], ...]:
        """Operating point and check of every rating that is exceeded, or may be, and that the design does not accept."""
        return tuple(pair for pair in self.exceeded if self.acceptance(pair[1]) is None)

    @property
    def unused(self) -> tuple[AcceptedRating, ...]:
        """What the design accepts although it is not exceeded; nothing where the circuit is unstable, and has no stress."""
        used = [self.acceptance(check) for _, check in self.exceeded]
        return tuple(one for one in self.design.accepted if one not in used and not self.unstable)

    def acceptance(self, check: StressCheck) -> AcceptedRating | None:
        """What the design says of a rating that it accepts as exceeded; None where it does not accept it."""
        return next((one for one in self.design.accepted if one.covers(check.name, check.what)), None)

    @property
    def good(self) -> bool:
        """True where every requirement is met over the whole range, every point stable over the range, no rating exceeded unaccepted."""
        return self.holds()

    @property
    def outcome(self) -> Answer:
        """The worst of all verdicts: on requirements, on ratings that are not accepted, and on stability."""
        answers: set[str] = {one.verdict for one in self.verdicts} | {check.verdict for _, check in self.broken}
        answers |= {check.verdict for check in self.against}
        if self.unstable or "not met" in answers:
            return "not met"
        if self.turned or "undecided" in answers:
            return "undecided"
        return "probably met" if "probably met" in answers else "met"

    def holds(self, accept: Accept = "possible") -> bool:
        """Whether nothing is against the design: over the whole range, or ("probable") for 95 % of the plausible cases."""
        enough = ("met", "probably met")[: 1 + (accept == "probable")]
        met = all(verdict.verdict in enough for verdict in self.verdicts)
        return met and not (self.unstable or self.turned or self.broken or self.against)

    @property
    def decisive(self) -> tuple[str, str, PointJudgement]:
        """Load, band and operating point of the ripple requirement with the least margin; the first load without one."""
        of_ripple = [verdict for verdict in self.verdicts if verdict.band]
        if not of_ripple:
            return self.design.loads[0].name, "20MHz", self.points[0]
        worst = min(of_ripple, key=lambda verdict: verdict.margin)
        return worst.load, worst.band, next(point for point in self.points if point.operating.point == worst.point)

    def point_to_show(self, load: str | None = None) -> PointJudgement:
        """The operating point to look at first: where a ripple requirement (of that load) has the least margin.

        An unstable point comes before all where no load is named; with a load, a point that has a ripple is preferred.
        """
        if self.unstable and load is None:
            return self.unstable[0]
        steady = {point.operating.point: point for point in self.points if point.operating.stable}
        margins = {
            verdict.point: verdict.margin
            for verdict in sorted(self.verdicts, key=lambda verdict: -verdict.margin)
            if verdict.of_ripple and load in (None, verdict.load) and np.isfinite(verdict.margin)
        }
        at = min((name for name in margins if name in steady), key=lambda name: margins[name], default=None)
        return steady[at] if at is not None else next(iter(steady.values()), self.points[0])


def failings(judgement: Judgement) -> Iterator[Failing]:
    """Whatever is not as it should be: instability, requirements, ratings that are not accepted, rules of bursts and supply."""
    yield from (Failing(one.operating.point) for one in judgement.unstable)
    yield from (Failing(one.operating.point, turned=True) for one in judgement.turned)
    yield from (Failing(one.point, one) for one in judgement.verdicts if one.verdict != "met")
    yield from (Failing(point, check=check) for point, check in judgement.broken)
    yield from (Failing("", rule=check) for check in judgement.against)


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
        ripples.append(
            ripple(solution, mask=mask, progress=searched, drawn=kept)
            if before is None or (whole and not before)
            else ripple_of_change(solution, before, depth=depth, drawn=kept, mask=mask)
        )
        stresses.append(stress(solution, interval=whole, rough=whole and like is not None))
    emitted = emissions_of(
        design,
        solved,
        like=None if whole else {name: point.emissions for name, point in others.items()},
        asked=like is not None,
        masks=masks,
        drawn={one.point: found for one in ripples if (found := _drawn(one)) is not None},
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


def _drawn(result: RippleResult) -> Plausible | None:
    """The plausible combinations of which a point's ripple was had; None where none were drawn."""
    return next((one.plausible for one in result.extents.values()), None)


def _over(point: PointJudgement | None) -> OverUncertainty | None:
    return None if point is None else point.over


def _extents(point: PointJudgement | None) -> Mapping[tuple[str, str], Interval] | None:
    return None if point is None else point.ripple.extents


def deciding_figure(design: Design, load: str, figures: Mapping[str, float]) -> tuple[str, float]:
    """The figure that decides at a load, "20MHz" or "full", and its limit [V]; the ripple, and NaN, where none has one.

    ``figures`` [V] by label; the one that is highest against its strictest limit decides.
    """
    limits: dict[str, float] = {}
    for wanted in design.requirements:
        if isinstance(wanted, RippleRequirement | SpikeRequirement) and wanted.load == load and wanted.label in figures:
            limits[wanted.label] = min(wanted.limit, limits.get(wanted.label, np.inf))
    label = max(limits, key=lambda label: figures[label] / limits[label], default="20MHz")
    return label, limits.get(label, np.nan)


def verdicts(design: Design, points: Iterable[PointJudgement]) -> tuple[Verdict, ...]:
    """A verdict for every requirement."""
    points = tuple(points)
    return tuple(
        _emission(wanted, points)
        if isinstance(wanted, EmissionRequirement)
        else verdict_of(design, wanted, [replace(_read(wanted, one), turned_by=_turned_by(one)) for one in points])
        for wanted in design.requirements
    )


def _turned_by(point: PointJudgement) -> str:
    turns = (*point.over.alone, *point.over.together) if point.turned and point.over is not None else ()
    return turns[0].key if turns else ""


def _read(wanted: OfVolts, point: PointJudgement) -> Reading:
    name = point.operating.point
    if not point.operating.stable:
        return Reading(name, np.nan, np.nan, np.nan, unknown="unstable")
    if isinstance(wanted, VoltageRequirement | DropRequirement):
        return direct_reading(wanted, point.solution, point.over_resistance, _drawn(point.ripple))
    if isinstance(wanted, StepRequirement):
        found = step_range(point.solution, wanted, _drawn(point.ripple), where_stable if point.turned else None)
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


def estimate_of(wanted: EmissionRequirement, results: Iterable[EmissionResult]) -> EmissionResult:
    """The estimate at one operating point that a requirement is judged by."""
    title = artificial_network(wanted.at).title
    return next(one for one in results if one.side == wanted.side and one.network == title)
