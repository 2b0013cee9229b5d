"""The whole review of a design: every operating point, every analysis, the verdicts, and what to know beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from filterlib.analysis.causes.reasons import ReasonsResult, reasons
from filterlib.analysis.emission.required_tests import emission_tests
from filterlib.analysis.judgement import Judgement, PointJudgement, Verdict, judge
from filterlib.analysis.linear.frequency_response import BodeResult, bode
from filterlib.analysis.linear.insertion_loss import InsertionResult, insertion
from filterlib.analysis.linear.port_impedance import ImpedanceResult, impedance
from filterlib.analysis.linear.steps import StepsResult, no_steps, steps
from filterlib.analysis.ripple.ripple import Figure, shapes
from filterlib.analysis.ripple.spectra import bands
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.stress.stress import StressCheck
from filterlib.analysis.uncertainty.measurement_value import MeasurementValues, measurement_values
from filterlib.system.chassis import HAZARDOUS
from filterlib.system.design import Design
from filterlib.system.solution import solve_all
from filterlib.system.uncertain_parameters import uncertain_parameters
from filterlib.units import format_quantity

Progress = Callable[[float, str], None]
_JUDGEMENT = 0.8  # share of the work; the rest: reasons
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
class PointResult(PointJudgement):
    """All results at one operating point: what is judged there, and ``bode``, ``impedance`` and ``steps`` by load."""

    bode: Mapping[str, BodeResult]
    impedance: Mapping[str, ImpedanceResult]
    insertion: InsertionResult
    steps: Mapping[str, StepsResult]


@dataclass(frozen=True)
class ReviewResult:
    """A reviewed design.

    ``judgement``: stability, requirements and ratings; its ``points`` are `PointResult`. ``reasons``: why this much is left
    at the load and point that decide, and what would change it. ``closing``: which measurement would narrow the interval of
    the ripple that decides, None where it has no steady ripple.
    """

    judgement: Judgement
    headline: str
    assumptions: tuple[Assumption, ...]
    trust: tuple[str, ...]
    cautions: tuple[str, ...]
    closing: MeasurementValues | None = None
    reasons: ReasonsResult | None = None

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
    def exit_code(self) -> int:
        """0 where every requirement is met throughout and every point is stable, else 1."""
        return 0 if self.judgement.good else 1


def review(design: Design, *, progress: Progress | None = None) -> ReviewResult:
    """Review a design at all its operating points.

    Parameters: ``design``; ``progress``: called with the share done (0 to 1) and what is being done.
    Raises: OperatingError where a load cannot be fed, ScaleError where the converter's stated figures contradict.
    """
    tell = progress or (lambda share, text: None)
    judged = judge(solve_all(design), progress=lambda share, text: tell(_JUDGEMENT * share, text))
    judgement = replace(judged, points=tuple(map(_with_responses, judged.points)))
    load, label, point = judgement.decisive
    steady = point.ripple.reason is None
    return ReviewResult(
        judgement=judgement,
        headline=_headline(judgement),
        assumptions=tuple(_assumptions(design)),
        trust=tuple(_trust(design, judgement.points)),
        cautions=tuple(_cautions(design)),
        closing=_closing(point, load, label) if steady else None,
        reasons=reasons(
            point.solution, load, progress=lambda share, text: tell(_JUDGEMENT + (1 - _JUDGEMENT) * share, text)
        )
        if steady
        else None,
    )


def _with_responses(point: PointJudgement) -> PointResult:
    """The same with the linear responses at every load."""
    solution, loads = point.solution, [load.name for load in point.solution.design.loads]
    stable, reason = point.operating.stable, point.operating.reason
    return PointResult(
        solution=solution,
        operating=point.operating,
        ripple=point.ripple,
        stress=point.stress,
        emissions=point.emissions,
        bode={load: bode(solution, load) for load in loads},
        impedance={load: impedance(solution, load) for load in loads},
        insertion=insertion(solution),
        steps={load: steps(solution, load) if stable else no_steps(solution, load, reason) for load in loads},
    )


def _closing(point: PointJudgement, load: str, label: str) -> MeasurementValues:
    band = next(one for one in bands(point.solution.design) if one.label == label)
    return measurement_values(point.solution, load, band, point.ripple.extents.get((load, label)))


def _headline(judgement: Judgement) -> str:
    """What makes up the ripple that is left, where it matters most."""
    if judgement.unstable:
        worst = judgement.unstable[0].operating
        return f"At {worst.point} the circuit is {worst.reason}."
    load, label, point = judgement.decisive
    figure = point.ripple.figures[load, label]
    before = point.ripple.figures[f"{load}_before", label].peak_to_peak
    width = next(band.words for band in bands(judgement.design) if band.label == label)
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
        text = format_quantity(float(design.insulation), "ohm")
        yield Assumption(
            "insulation", "insulation from chassis to the load's return", text, text, text, "so that no node floats"
        )
    elif design.converter.common_mode is None:
        yield Assumption(
            "chassis", "chassis", "none", "", "", "nothing in the design reaches one: no common mode is modelled"
        )
    supply = design.converter.supply
    if supply is not None and "supply" not in design.converter.model_fields_set:
        text = format_quantity(float(supply.bond.inductance), "H")
        why = "a short strap at the battery (common practice, no source)"
        yield Assumption("converter.supply.bond", "bond of the battery to the chassis", text, text, text, why)
    if design.chassis and design.converter.common_mode is None:
        yield Assumption("converter.common_mode", "common-mode drive", "none", "", "", "not stated, and not modelled")


def _trust(design: Design, points: tuple[PointJudgement, ...]) -> Iterator[str]:
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
