"""The whole review of a design: every operating point, every analysis, the verdicts, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from filterlib.analysis.causes.reasons import ReasonsResult, reasons
from filterlib.analysis.converter_side.converter_side import ConverterSide, Oscillator, converter_side
from filterlib.analysis.described import Joules
from filterlib.analysis.emission.required_tests import emission_tests
from filterlib.analysis.judgement import Judgement, PointJudgement, judge
from filterlib.analysis.linear.frequency_response import BodeResult, bode_at
from filterlib.analysis.linear.insertion_loss import InsertionResult, insertion
from filterlib.analysis.linear.port_impedance import ImpedanceResult, impedance_at
from filterlib.analysis.linear.steps import StepsResult, no_steps, steps_at
from filterlib.analysis.ripple.spectra import named_band
from filterlib.analysis.stability.margins import Margin, margins
from filterlib.analysis.stability.part_limits import PartLimits, part_limits
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.analysis.uncertainty.measurement_value import MeasurementValues, measurement_values
from filterlib.analysis.verdict import Accept, Answer, Verdict
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve_all

Progress = Callable[[float, str], None]
_JUDGEMENT = 0.8  # share of the work; the rest: reasons


@dataclass(frozen=True, kw_only=True)
class PointResult(PointJudgement):
    """All results at one operating point: what is judged there, and ``bode``, ``impedance`` and ``steps`` by load.

    ``margins``: how far from ringing each load of constant power is.
    """

    bode: Mapping[str, BodeResult]
    impedance: Mapping[str, ImpedanceResult]
    insertion: InsertionResult
    steps: Mapping[str, StepsResult]
    margins: tuple[Margin, ...] = ()


@dataclass(frozen=True)
class ReviewResult:
    """A reviewed design.

    ``judgement``: stability, requirements and ratings; its ``points`` are `PointResult`. ``assumed``: uncertain
    parameters that no file states; ``stored_energy`` in all capacitors. ``reasons``: why this much is left
    at the load and point that decide, and what would change it. ``closing``: which measurement would narrow the interval of
    the ripple that decides, None where it has no steady ripple. ``accept``: what was asked: that requirements are met over the
    whole range, or in 95 % of the plausible cases. ``converter_side``: its loop with the filter on, where most is drawn, what it starts
    into, and the line that feeds it. ``part_limits``: what of the parts keeps the load with the least margin from ringing, None without one.
    """

    judgement: Judgement
    assumed: tuple[UncertainParameter, ...]
    stored_energy: Joules[float]
    closing: MeasurementValues | None = None
    reasons: ReasonsResult | None = None
    accept: Accept = "possible"
    converter_side: ConverterSide | None = None
    part_limits: PartLimits | None = None

    @property
    def design(self) -> Design:
        """The design."""
        return self.judgement.design

    @property
    def points(self) -> tuple[PointResult, ...]:
        """All results, by operating point."""
        return self.judgement.points  # type: ignore[return-value]

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One a requirement."""
        return self.judgement.verdicts

    @property
    def lives(self) -> tuple[StressCheck, ...]:
        """Of the electrolytics over all operating points, where each states its share of time."""
        return self.judgement.lives

    @property
    def exceeded(self) -> tuple[tuple[str, StressCheck], ...]:
        """Operating point and check of every rating that is exceeded, or may be."""
        return self.judgement.exceeded

    def point_to_show(self, load: str | None = None) -> PointResult:
        """The operating point to look at first: see `Judgement.point_to_show`."""
        return self.judgement.point_to_show(load)  # type: ignore[return-value]

    @property
    def outcome(self) -> Answer:
        """That of the judgement; "not met" where the converter itself oscillates with the filter on, at best "undecided" where it may."""
        if self.oscillates:
            return "not met"
        found = self.judgement.outcome
        return "undecided" if self.may_oscillate and found in ("met", "probably met") else found

    @property
    def oscillates(self) -> Oscillator:
        """Whether the converter's loop does with the filter on, or the line that feeds it, by what the file states or measured."""
        return "" if self.converter_side is None else self.converter_side.oscillates

    @property
    def may_oscillate(self) -> Oscillator:
        """Whether it does, or does in a part of its range."""
        return self.oscillates or ("" if self.converter_side is None else self.converter_side.may_oscillate)

    @property
    def exit_code(self) -> int:
        """0 where every requirement is met as asked, every point stable and no rating exceeded unaccepted, else 1."""
        return 0 if self.judgement.holds(self.accept) and not self.may_oscillate else 1


def review(design: Design, *, accept: Accept = "possible", progress: Progress | None = None) -> ReviewResult:
    """Review a design at all its operating points.

    Parameters: ``design``; ``accept``: "probable" takes 95 % of the plausible cases for enough; ``progress``: called with the share done (0 to 1) and what is being done.
    Returns: ReviewResult, in SI units.
    Raises: OperatingError where a load cannot be fed, ScaleError where the converter's stated figures contradict.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> filterlib.review(design).exit_code
    0
    """
    tell = progress or (lambda share, text: None)
    judged = judge(solve_all(design), progress=lambda share, text: tell(_JUDGEMENT * share, text))
    judgement = replace(judged, points=tuple(map(_with_responses, judged.points)))
    load, label, point = judgement.decisive
    steady = point.ripple.reason is None
    return ReviewResult(
        judgement=judgement,
        assumed=_assumed(design),
        stored_energy=sum(store.energy for store in stores(design)),
        closing=_closing(point, load, label) if steady else None,
        reasons=reasons(
            point.solution,
            load,
            judgement=judged,
            progress=lambda share, text: tell(_JUDGEMENT + (1 - _JUDGEMENT) * share, text),
        ),
        accept=accept,
        converter_side=converter_side(max((point.solution for point in judged.points), key=lambda one: one.drawn)),
        part_limits=_part_limits(judgement.points),  # type: ignore[arg-type]
    )


def _with_responses(point: PointJudgement) -> PointResult:
    """The same with the linear responses at every load."""
    solution, loads = point.solution.with_measured_output, [load.name for load in point.solution.design.loads]
    stable, reason = point.operating.stable, point.operating.reason
    return PointResult(
        solution=point.solution,
        operating=point.operating,
        ripple=point.ripple,
        stress=point.stress,
        emissions=point.emissions,
        over=point.over,
        bode=bode_at(solution, loads),
        impedance=impedance_at(solution, loads),
        insertion=insertion(solution),
        steps=steps_at(solution, loads) if stable else {load: no_steps(solution, load, reason) for load in loads},
        margins=margins(solution),
    )


def _part_limits(points: Iterable[PointResult]) -> PartLimits | None:
    """Of the least margin of all points."""
    found = [(margin.more, number, margin, point) for number, point in enumerate(points) for margin in point.margins]
    if not found:
        return None
    *_, margin, point = min(found, key=lambda one: one[:2])
    return part_limits(point.solution, margin)


def _closing(point: PointJudgement, load: str, label: str) -> MeasurementValues:
    band = named_band(point.solution.design, label)
    return measurement_values(point.solution, load, band, point.ripple.extents.get((load, label)))


def _assumed(design: Design) -> tuple[UncertainParameter, ...]:
    """Every default that carries the result."""
    inputs = (one for test in emission_tests(design) for one in test.inputs(design.converter))
    fed = design.battery_side.uncertain_parameters() if design.states_battery_side else ()
    parameters = dict.fromkeys((*uncertain_parameters(design), *inputs, *fed))
    return tuple(one for one in parameters if not one.stated or one.moved_from is not None)
