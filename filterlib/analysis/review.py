"""The whole review of a design: every operating point, every analysis, the verdicts, and why; and of two designs side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.comparison.comparison_result import LABELS, ComparisonResult, Left, LoadComparison
from filterlib.analysis.comparison.differences import differences
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
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve_all

Progress = Callable[[float, str], None]
_JUDGEMENT = 0.8  # share of the work; the rest: reasons
REVIEWS = 0.85  # share of the time


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


def compare(first: Design, second: Design, *, progress: Progress | None = None) -> ComparisonResult:
    """Compare two designs: the same filter on two converters, two filters on one, or whatever differs.

    Parameters: ``first``, ``second``: designs with at least one load of the same name; ``progress``: called with the share done
    (0 to 1) and what is being done.
    Returns: ComparisonResult, in SI units.
    Raises: FilterlibError where no load has the same name in both, where different designs have the same title, and as `review`.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> other = filterlib.changed(design.replace(name="Longer leads"), {"converter.lead_inductance": 100e-9})
    >>> filterlib.compare(design, other).exit_code
    0
    """
    shared = _shared(first, second)
    differing = differences(first, second)
    if differing and first.name == second.name:
        raise FilterlibError(
            f'name: both designs are called "{first.name}" and are not the same: give one of them another name'
        )
    tell = progress or (lambda share, text: None)
    reviews = (_reviewed(first, 0, tell), _reviewed(second, 1, tell))
    points = _points(*reviews)
    loads = []
    for number, load in enumerate(shared):
        tell(REVIEWS + (1 - REVIEWS) * number / len(shared), f"reasons at {load}")
        loads.append(_load(load, points))
    return ComparisonResult(
        reviews=reviews,
        differences=differing,
        loads=tuple(loads),
        only=tuple(
            (label, load.name)
            for label, design in zip(LABELS, (first, second), strict=True)
            for load in design.loads
            if load.name not in shared
        ),
    )


def _shared(first: Design, second: Design) -> list[str]:
    names = [[load.name for load in design.loads] for design in (first, second)]
    shared = [name for name in names[0] if name in names[1]]
    if not shared:
        has = " and ".join(
            f"{design.name} has {', '.join(n)}" for design, n in zip((first, second), names, strict=True)
        )
        raise FilterlibError(
            f"load: no load has the same name in both designs ({has}); name the load to be compared alike"
        )
    return shared


def _reviewed(design: Design, number: int, tell: Progress) -> ReviewResult:
    def part(share: float, text: str) -> None:
        tell(REVIEWS * (number + share) / 2, f"{LABELS[number]}, {text}")

    try:
        return review(design, progress=part)
    except FilterlibError as error:
        raise FilterlibError(f"{LABELS[number]}, {design.name}: {error}") from error


def _points(first: ReviewResult, second: ReviewResult) -> tuple[tuple[PointResult, PointResult], ...]:
    """Operating points of the same name in both; where there are none, the first of each."""
    named = {point.operating.point: point for point in second.points}
    shared = ((one, named[one.operating.point]) for one in first.points if one.operating.point in named)
    return tuple(shared) or ((first.points[0], second.points[0]),)


def _load(load: str, points: tuple[tuple[PointResult, PointResult], ...]) -> LoadComparison:
    """At the operating point at which most is left in one of the two; an unstable one comes before all."""

    def most(pair: tuple[PointResult, PointResult]) -> float:
        return max(float(np.nan_to_num(_left(one, load).ripple, nan=np.inf)) for one in pair)

    pair = max(points, key=most)
    first, second = (reasons(point.solution, load, pairs=0) for point in pair)
    return LoadComparison(load, _left(pair[0], load), _left(pair[1], load), first, second)


def _left(point: PointResult, load: str) -> Left:
    name, result = point.operating.point, point.ripple
    if result.reason is not None:
        return Left(name, reason=result.reason)
    (narrow, narrow_before), (wide, wide_before) = (
        (result.figures[load, label], result.figures[f"{load}_before", label]) for label in ("20MHz", "full")
    )
    return Left(
        name, narrow.peak_to_peak, narrow_before.peak_to_peak, narrow.low, narrow.high,
        wide.peak_to_peak, wide_before.peak_to_peak, wide.low, wide.high,
        narrow.probable_low, narrow.probable_high, wide.probable_low, wide.probable_high,
    )  # fmt: skip
