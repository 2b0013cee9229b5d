"""A design as it is judged, at each operating point and over all of them; a change to it alike; and what an instability comes from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.causes.causes_result import Resonance
from filterlib.analysis.described import Hertz, Ohms, Unit
from filterlib.analysis.emission.emission_result import EmissionResult
from filterlib.analysis.failing import Failing
from filterlib.analysis.hold_up.bank_result import Bursts
from filterlib.analysis.ripple.ripple_result import RippleResult
from filterlib.analysis.stability.stability_result import OperatingResult, OverUncertainty, Turn
from filterlib.analysis.stress.stress_check import StressCheck, StressResult
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.supply_result import SupplySide
from filterlib.analysis.verdict import Accept, Answer, Verdict
from filterlib.parts.artificial_network import artificial_network
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.file.accepted import AcceptedRating
from filterlib.system.requirements import RippleRequirement, SpikeRequirement
from filterlib.system.solution import Solution


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


def estimate_of(wanted: EmissionRequirement, results: Iterable[EmissionResult]) -> EmissionResult:
    """The estimate at one operating point that a requirement is judged by."""
    title = artificial_network(wanted.at).title
    return next(one for one in results if one.side == wanted.side and one.network == title)


@dataclass(frozen=True)
class Proposal:
    """One change, or several together, as judged.

    ``names``: in words, each an instruction; ``parts``: how many it adds; ``whole``: judged in full, else a first look that
    refuted it; ``broken``: what fails then and does not in the design as it is; ``better``: whether it breaks nothing and less
    fails than before.
    """

    names: tuple[str, ...]
    parts: int
    judgement: Judgement
    whole: bool
    broken: tuple[Failing, ...]
    better: bool

    @property
    def words(self) -> str:
        """The change as an instruction."""
        return ", and ".join(self.names)

    @property
    def design(self) -> Design:
        """The design with the change."""
        return self.judgement.design

    @property
    def robust(self) -> bool:
        """Whether everything is met over the whole range with it."""
        return self.whole and self.judgement.good

    @property
    def open(self) -> tuple[Failing, ...]:
        """What fails with it."""
        return tuple(failings(self.judgement))


@dataclass(frozen=True)
class Clash:
    """A load of constant power against what feeds it, in the case that oscillates.

    ``resistance``: what the load is for small changes, negative; ``impedance`` of what feeds it, its own capacitor with it, at
    its peak at ``frequency``: stable while the latter is the smaller of the two (Middlebrook; sufficient, not necessary).
    ``oscillates``: frequency of the oscillation, 0 where it grows without, NaN where the poles are not known; at the operating
    ``point``. ``case``: the values that make it, () where the nominal ones do; ``solution`` with all values of that case.
    """

    load: str
    resistance: Ohms[float]
    impedance: Ohms[float]
    frequency: Hertz[float]
    resonance: Resonance
    oscillates: Annotated[float, Unit("Hz", key="oscillates_at")]
    case: tuple[Turn, ...]
    solution: Solution

    @property
    def point(self) -> str:
        """Name of the operating point."""
        return self.solution.point
