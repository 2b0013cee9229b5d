"""The whole review of a design: every operating point, every analysis, the verdicts, and what to know beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
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
from filterlib.analysis.ripple.ripple import Figure, RippleResult, ripple, shapes
from filterlib.analysis.ripple.spectra import bands
from filterlib.analysis.stability.operating_point import OperatingResult, operating
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.stress.stress import StressCheck, StressResult, exceeded, missions, stress
from filterlib.analysis.uncertainty.measurement_value import MeasurementValues, closing
from filterlib.system.chassis import HAZARDOUS
from filterlib.system.design import Design
from filterlib.system.uncertain_parameters import uncertain_parameters
from filterlib.units import format_quantity

Progress = Callable[[float, str], None]
_POINTS, _EMISSIONS = 0.7, 0.1  # shares of the work that operating points and emissions are; the rest: reasons
SOURCES = {"ripple": "the converter's ripple", "spike": "its spikes", "common_mode": "common-mode conversion"}


@dataclass(frozen=True)
class Assumption:
    """What the design left to a default: ``key``, words, and value and range as text, with where they come from."""

    key: str
    label: str
    value: str
    low: str
    high: str
    why: str


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
    exceeded is no requirement: ``exceeded`` has its operating point and check. ``lives``: of the
    electrolytics over all operating points, where each states its share of time.
    ``reasons``: why this much is left at the load and point that decide, and what would change it.
    ``closing``: what would narrow the band of the ripple that decides, None where it has no steady ripple.
    """

    design: Design
    points: tuple[PointResult, ...]
    verdicts: tuple[Verdict, ...]
    headline: str
    assumptions: tuple[Assumption, ...]
    trust: tuple[str, ...]
    cautions: tuple[str, ...]
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
        headline=_headline(design, points, found),
        assumptions=tuple(_assumptions(design)),
        trust=tuple(_trust(design, points)),
        cautions=tuple(_cautions(design)),
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
            progress(_POINTS * (number + share) / count, f"{name}: ripple over what is not known")

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
            progress(_POINTS + _EMISSIONS * share, "conducted emission over what is not known")

    found = emissions_of(design, [point.operating for point in points], progress=tell)
    return tuple(replace(point, emissions=found[point.operating.point]) for point in points)


_NOTHING = np.zeros(0)
_NO_STEPS = StepsResult("", "", np.nan, np.nan, _NOTHING, _NOTHING, _NOTHING, np.nan, np.nan, np.nan)


def _headline(design: Design, points: tuple[PointResult, ...], found: tuple[Verdict, ...]) -> str:
    """What makes up the ripple that is left, where it matters most."""
    unstable = [point for point in points if not point.operating.stable]
    if unstable:
        return f"At {unstable[0].operating.point} the circuit is {unstable[0].operating.reason}."
    load, label, point = _decisive(design, points, found)
    figure = point.ripple.figures[load, label]
    before = point.ripple.figures[f"{load}_before", label].peak_to_peak
    width = next(band.words for band in bands(design) if band.label == label)
    parts = sorted(figure.by_source.items(), key=lambda item: -item[1])
    words = ", ".join(
        f"{SOURCES.get(name, f'ripple current of {name}')} {format_quantity(pp, 'V')}" for name, pp in parts
    )
    return (
        f"At {load}, {width}, {format_quantity(figure.peak_to_peak, 'V')} peak to peak of "
        f"{format_quantity(before, 'V')} is left at {point.operating.point}; {_from(figure, parts, words)}"
    )


def _from(figure: Figure, parts: list[tuple[str, float]], words: str) -> str:
    most = parts[0][0]
    if len(parts) == 1:
        return f"all of it from {SOURCES.get(most, f'the ripple current of {most}')}."
    return f"each source alone makes: {words}. {_why(figure, most)}"


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


def _why(figure: Figure, most: str) -> str:
    share = figure.reduction[most] / figure.peak_to_peak if figure.peak_to_peak else 0.0
    return f"Without {SOURCES.get(most, f'the ripple current of {most}')} the whole would fall by {share:.0%}."


def _assumptions(design: Design) -> Iterator[Assumption]:
    """Every default that carries the result."""
    inputs = [one for test in emission_tests(design) for one in test.inputs(design.converter)]
    for one in dict.fromkeys((*uncertain_parameters(design, tolerances=False), *inputs)):
        if not one.stated:
            value, low, high = (format_quantity(v, one.unit) for v in (one.nominal, one.low, one.high))
            yield Assumption(one.key, one.label, value, low, high, one.why)
    if len(shapes(design)) > 1:
        yield Assumption(
            "converter.shape", "shape of the switching current", "triangle", "triangle", "pulse", "not stated"
        )
    if not design.has_chassis:
        why = "stated: a plastic box; there is no place for Y capacitors, and no common mode is modelled"
        yield Assumption("chassis", "chassis", "none", "", "", why)
    elif design.chassis:
        text = format_quantity(design.insulation, "ohm")
        yield Assumption(
            "insulation", "insulation from chassis to the load's return", text, text, text, "so that no node floats"
        )
    elif design.converter.common_mode is None:
        yield Assumption(
            "chassis", "chassis", "none", "", "", "nothing in the design reaches one: no common mode is modelled"
        )
    supply = design.converter.supply
    if supply is not None and "supply" not in design.converter.model_fields_set:
        text = format_quantity(supply.bond.inductance, "H")
        why = "a short strap at the battery (common practice, no source)"
        yield Assumption("converter.supply.bond", "bond of the battery to the chassis", text, text, text, why)
    if design.chassis and design.converter.common_mode is None:
        yield Assumption("converter.common_mode", "common-mode drive", "none", "", "", "not stated, and not modelled")


def _trust(design: Design, points: tuple[PointResult, ...]) -> Iterator[str]:
    """Where the model stops being trusted."""
    first = points[0].ripple
    if first.reason is None:
        yield (
            f"Above {format_quantity(first.trusted_to, 'Hz')} leads, couplings and layout that the file does not state decide: "
            "figures in full bandwidth are an estimate of the order of magnitude"
        )
        if np.isfinite(first.largest_factor):
            yield (
                f"To take the measuring arrangement away, the reading was multiplied by up to {first.largest_factor:.3g} "
                f"(at {format_quantity(first.largest_factor_frequency, 'Hz')}); what lies far above 1 rests on the values inside"
            )
    bandwidth, recorded = design.converter.ripple.bandwidth, design.converter.ripple.recording
    if recorded is not None:
        yield (
            f"The ripple is that of {recorded.file}: {int(recorded.kept.sum())} of {len(recorded.harmonics)} harmonics stand "
            f"clear of its noise, up to {format_quantity(recorded.highest, 'Hz')}; the others are left out, and beyond "
            f"{format_quantity(bandwidth, 'Hz') if bandwidth else 'them'} nothing is claimed of it"
        )
    elif bandwidth is not None and design.converter.spike is None:
        yield f"Beyond {format_quantity(bandwidth, 'Hz')} nothing was stated of the converter: harmonics there follow its shape alone"
    yield "The circuit is linear at each operating point; large steps, start-up and hot plugging are not covered by it"
    fitted = [(load.name, load.input_capacitor) for load in design.loads if load.input_capacitor]
    for name, held in [
        *((stage.name, stage) for stage in design.filter),
        *((f"input of {n}", one) for n, one in fitted),
    ]:
        if held.part.caveat:
            yield f"{name} {held.part.caveat}"
    for point in points:
        for note in point.operating.notes:
            yield f"{point.operating.point}: {note}"


def _cautions(design: Design) -> Iterator[str]:
    yield (
        "A battery can feed a short circuit with hundreds of amperes: fuse it at its terminal, and never work on live "
        "battery leads with bare tools or rings; direct current sustains an arc when a plug is pulled under load"
    )
    stored = sum(store.energy for store in stores(design))
    yield (
        f"Capacitors keep their charge after switching off (here up to {format_quantity(stored, 'J')} in converter, filter and loads): "
        "discharge them through a resistor and measure before touching"
    )
    if design.converter.output_voltage > HAZARDOUS or (design.converter.input_voltage or 0) > HAZARDOUS:
        yield "Above 60 V DC a touch can kill: insulation, clearances and protection against contact are needed, by a licensed person"
    if any(stage.kind == "capacitor_to_chassis" for stage in design.filter):
        yield (
            "Capacitors to the chassis carry earth-leakage current, and on a hazardous voltage they must be of a safety class "
            "(Y, IEC 60384-14) with a sound earth connection"
        )
    if design.clip is not None:
        yield (
            "The clip of an earthed oscilloscope is a wire to earth: on any conductor that is not earthed already it is a short "
            "circuit through its thin lead; look where earth is before clipping on, or use a probe made for floating circuits"
        )
    yield "Local codes and the judgement of a licensed practitioner come before anything on this page"
