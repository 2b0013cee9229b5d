"""The whole review of a design: every operating point, every analysis, the verdicts, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.converter_side.converter_side import converter_side
from filterlib.analysis.emission.emission_result import emission_tests
from filterlib.analysis.judged import PointJudgement
from filterlib.analysis.judgement import judge
from filterlib.analysis.linear.frequency_response import bode_at
from filterlib.analysis.linear.insertion_loss import insertion
from filterlib.analysis.linear.port_impedance import impedance_at
from filterlib.analysis.linear.steps import no_steps, steps_at
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.analysis.ripple.ripple_result import named_band
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.part_limits import part_limits
from filterlib.analysis.stability.stability_result import PartLimits
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.uncertainty.measurement_result import MeasurementValues
from filterlib.analysis.uncertainty.measurement_value import measurement_values
from filterlib.analysis.verdict import Accept
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve_all

Progress = Callable[[float, str], None]
_JUDGEMENT = 0.8  # share of the work; the rest: reasons


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
