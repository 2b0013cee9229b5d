"""The whole review of a design: every operating point, every analysis, the verdicts, and why."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from filterlib.analysis.causes.reasons import ReasonsResult, reasons
from filterlib.analysis.emission.estimate import EmissionResult
from filterlib.analysis.emission.required_tests import emission_tests, emissions_of
from filterlib.analysis.judgement import Verdict, verdicts
from filterlib.analysis.linear.frequency_response import BodeResult, bode
from filterlib.analysis.linear.insertion_loss import InsertionResult, insertion
from filterlib.analysis.linear.port_impedance import ImpedanceResult, impedance
from filterlib.analysis.linear.steps import StepsResult, steps
from filterlib.analysis.ripple.ripple import RippleResult, ripple
from filterlib.analysis.ripple.spectra import bands
from filterlib.analysis.stability.operating_point import OperatingResult, operating
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.stress.stress import StressCheck, StressResult, exceeded, missions, stress
from filterlib.analysis.uncertainty.measurement_value import MeasurementValues, closing
from filterlib.system.design import Design
from filterlib.system.uncertain_parameter import UncertainParameter
from filterlib.system.uncertain_parameters import uncertain_parameters

Progress = Callable[[float, str], None]
_POINTS, _EMISSIONS = 0.7, 0.1  # shares of the work that operating points and emissions are; the rest: reasons


@dataclass(frozen=True)
class Decisive:
    """Where a design is worst: the ``load``, the ``label`` of the band and the operating ``point``."""

    load: str
    label: str
    point: str


@dataclass(frozen=True)
class PointResult:
    """All results at one operating point; ``bode``, ``impedance`` and ``steps`` by load; ``ripple`` with its reason.

    ``emissions``: of every test that the design asks for.
    """

    operating: OperatingResult
    bode: Mapping[str, BodeResult]
    impedance: Mapping[str, ImpedanceResult]
    insertion: InsertionResult
    ripple: RippleResult
    steps: Mapping[str, StepsResult]
    stress: StressResult
    emissions: tuple[EmissionResult, ...] = ()


@dataclass(frozen=True)
class ReviewResult:
    """A reviewed design.

    ``exit_code``: 0 where every requirement is met throughout and every point is stable, else 1; a rating that is
    exceeded is no requirement: ``exceeded`` has its operating point and check.
    ``decisive``: where the ripple is worst against its limit; ``assumed``: uncertain parameters that no file states;
    ``stored_energy`` [J] in all capacitors. ``lives``: of the
    electrolytics over all operating points, where each states its share of time.
    ``reasons``: why this much is left at the load and point that decide, and what would change it.
    ``closing``: what would narrow the band of the ripple that decides, None where it has no steady ripple.
    """

    design: Design
    points: tuple[PointResult, ...]
    verdicts: tuple[Verdict, ...]
    decisive: Decisive
    assumed: tuple[UncertainParameter, ...]
    stored_energy: float
    exit_code: int
    lives: tuple[StressCheck, ...] = ()
    exceeded: tuple[tuple[str, StressCheck], ...] = ()
    closing: MeasurementValues | None = None
    reasons: ReasonsResult | None = None


def review(design: Design, *, progress: Progress | None = None) -> ReviewResult:
    """Review a design at all its operating points.

    Parameters: ``design``; ``progress``: called with the share done (0 to 1) and what is being done.
    Raises: OperatingError where a load cannot be fed, ScaleError where the converter's stated figures contradict.
    """
    points = tuple(_point(design, name, number, progress) for number, name in enumerate(_names(design)))
    points = _with_emissions(design, points, progress)
    found = verdicts(design, points)
    lives = missions(design, [point.stress for point in points])
    good = all(point.operating.stable for point in points) and all(v.verdict == "met throughout" for v in found)
    return ReviewResult(
        design=design,
        points=points,
        verdicts=found,
        decisive=Decisive(*_decisive(design, points, found)[:2], _decisive(design, points, found)[2].operating.point),
        assumed=_assumed(design),
        stored_energy=sum(store.energy for store in stores(design)),
        exit_code=0 if good else 1,
        lives=lives,
        exceeded=exceeded((point.stress for point in points), lives),
        closing=_closing(design, points, found),
        reasons=_reasons(design, points, found, progress),
    )


def _reasons(
    design: Design, points: tuple[PointResult, ...], found: tuple[Verdict, ...], progress: Progress | None
) -> ReasonsResult | None:
    """At the load and operating point that decide."""
    load, _, point = _decisive(design, points, found)
    if point.ripple.reason is not None:
        return None

    def tell(share: float, text: str) -> None:
        if progress is not None:
            begun = _POINTS + _EMISSIONS
            progress(begun + (1 - begun) * share, text)

    return reasons(design, load, point=point.operating.state, progress=tell)


def _names(design: Design) -> list[str]:
    return [point.name for point in design.operating_points]


def _point(design: Design, name: str, number: int, progress: Progress | None) -> PointResult:
    count = len(design.operating_points)

    def tell(share: float) -> None:
        if progress is not None:
            progress(_POINTS * (number + share) / count, f"{name}: ripple over the uncertainty")

    found = operating(design, name)
    state, loads = found.state, [load.name for load in design.loads]
    if found.stable:
        at_point = ripple(design, state, progress=tell)
        stressed = stress(design, state)
        moved = {load: steps(design, state, load) for load in loads}
    else:
        at_point = RippleResult(name, design.converter.switching_frequency, reason=found.reason)
        stressed = StressResult(name, reason=found.reason)
        moved = {load: replace(_NO_STEPS, point=name, load=load, reason=found.reason) for load in loads}
    return PointResult(
        operating=found,
        bode={load: bode(design, state, load) for load in loads},
        impedance={load: impedance(design, state, load) for load in loads},
        insertion=insertion(design, state),
        ripple=at_point,
        steps=moved,
        stress=stressed,
    )


def _with_emissions(
    design: Design, points: tuple[PointResult, ...], progress: Progress | None
) -> tuple[PointResult, ...]:
    """The same with the conducted emission that the design asks for, if it does."""
    if not emission_tests(design):
        return points

    def tell(share: float) -> None:
        if progress is not None:
            progress(_POINTS + _EMISSIONS * share, "conducted emission over the uncertainty")

    found = emissions_of(design, [point.operating for point in points], progress=tell)
    return tuple(replace(point, emissions=found[point.operating.point]) for point in points)


_NOTHING = np.zeros(0)
_NO_STEPS = StepsResult("", "", np.nan, np.nan, _NOTHING, _NOTHING, _NOTHING, np.nan, np.nan, np.nan)


def _decisive(
    design: Design, points: tuple[PointResult, ...], found: tuple[Verdict, ...]
) -> tuple[str, str, PointResult]:
    """Load, band and operating point of the ripple requirement with the least margin; the first load without one."""
    asked = [(v, wanted) for v, wanted in zip(found, design.requirements, strict=True) if v.kind in ("ripple", "spike")]
    if not asked:
        return design.loads[0].name, "20MHz", points[0]
    verdict, wanted = min(asked, key=lambda pair: pair[0].margin)
    return wanted.load, wanted.label, next(p for p in points if p.operating.point == verdict.point)  # type: ignore[union-attr]


def _closing(design: Design, points: tuple[PointResult, ...], found: tuple[Verdict, ...]) -> MeasurementValues | None:
    load, label, point = _decisive(design, points, found)
    if point.ripple.reason is not None:
        return None
    band = next(one for one in bands(design) if one.label == label)
    return closing(design, point.operating.state, load, band, point.ripple.extents.get((load, label)))


def _assumed(design: Design) -> tuple[UncertainParameter, ...]:
    """Every default that carries the result."""
    inputs = (one for test in emission_tests(design) for one in test.inputs(design.converter))
    found = dict.fromkeys((*uncertain_parameters(design, tolerances=False), *inputs))
    return tuple(one for one in found if not one.stated)
