"""What to measure of a design on the bench, where, in which arrangement, and which value to expect with its interval."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.bench.bench_result import SecondReading
from filterlib.analysis.bench.bench_safety import SupplyFigures, supply_figures
from filterlib.analysis.bench.second_reading import inner_impedance, second_reading
from filterlib.analysis.described import InUnit, Unit, Volts
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.analysis.ripple.ripple import TERMINALS, ripple
from filterlib.analysis.ripple.ripple_result import Band, Sensitivity, bands
from filterlib.analysis.ripple.spectra import as_measured
from filterlib.analysis.stability.stability_result import OperatingResult
from filterlib.analysis.stress.stored_energy import Bleeder, Store, bleeder, stores
from filterlib.system.design import Design, with_values
from filterlib.system.inside.arrangement import AGREES
from filterlib.system.inside.converter import Arrangement
from filterlib.system.line.clip import MEASURED, OWN_CLIP
from filterlib.system.ranges.changes import with_clip
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import (
    DropRequirement,
    RippleRequirement,
    SpikeRequirement,
    StepRequirement,
    VoltageRequirement,
)
from filterlib.system.solution import solve

FILLED = 6.0  # of the eight divisions of a screen, that a reading should fill at most: common practice, no source
FINEST = 1e-3  # [V/div] of an ordinary oscilloscope with a 1x probe: common practice, no source
NOISE = 1e-3  # [V] peak to peak of its noise with that probe in 20 MHz: common practice, no source
ATTENUATED = 0.5  # [V/div] from which a 10x probe serves, 50 mV/div at the scope: common practice, no source
QUIET = 10.0  # the tip on its own clip should read less than this share of the reading: common practice, no source
Kind = Literal["ripple", "spike", "second reading", "voltage", "drop", "ripple at", "own clip", "step"]


@dataclass(frozen=True)
class ProbePoint:
    """Where a probe goes: ``label`` as on the circuit diagram, ``place`` as in results; ``lead``: whether a lead is before it."""

    label: str
    place: str
    lead: bool = False


@dataclass(frozen=True)
class Check:
    """One reading.

    ``kind``, ``place``, and of a ripple its ``band``; ``probe``: label of a `ProbePoint`; the operating ``point``, "" without
    filter; expected ``value`` over its interval, NaN where nothing is expected; limits of the ``requirement``, NaN for none;
    ``scale``: per division, NaN at DC. To know: ``without_spike``, no spike is stated; ``trusted``; ``earthed``: what an
    earthed oscilloscope would read, ``true`` without it; ``probable_low``, ``probable_high``: as in the review, NaN where that has none;
    ``wanted``: the step.
    """

    kind: Kind
    place: str
    probe: str
    point: str
    value: Annotated[float, Unit("{unit}", "expected", "expected")]
    low: InUnit[float]
    high: InUnit[float]
    unit: str = "V"
    limit_low: InUnit[float] = np.nan
    limit: InUnit[float] = np.nan
    requirement: str = ""
    scale: Annotated[float, Unit("{unit}", key="per_division")] = np.nan
    band: Band | None = None
    without_spike: bool = False
    trusted: bool = True
    earthed: Annotated[float, Unit("V", key=None)] = np.nan
    true: Annotated[float, Unit("V", key=None)] = np.nan
    probable_low: InUnit[float] = np.nan
    probable_high: InUnit[float] = np.nan
    wanted: StepRequirement | None = None


@dataclass(frozen=True)
class Station:
    """Readings that are taken in one arrangement.

    ``arrangement`` of the converter's own figures; ``operating`` point, and the ``supply`` there, of ripple with the filter;
    ``first``: whether this is the first of them.
    """

    kind: Kind
    checks: tuple[Check, ...]
    arrangement: Arrangement | None = None
    operating: OperatingResult | None = None
    supply: Volts[float | None] = None
    first: bool = False


@dataclass(frozen=True)
class Narrowing:
    """A ``measurement`` by its name: ``share`` of the interval's width (in decibels) that depends on ``labels``."""

    measurement: str
    share: Annotated[float, Unit("", "share of the interval that depends on it")]
    labels: tuple[str, ...]


@dataclass(frozen=True)
class BenchSheet:
    """The sheet for the bench of a reviewed design.

    ``supply``, ``stores`` and ``bleeder``: the numbers of the safety steps. ``probes``; ``stations`` in the order in which they
    are measured; ``narrowing``, the greatest first; ``test``: the reading with a test capacitor, None where the interval does
    not depend on the converter's inside. ``uncovered``: requirements that no reading here decides.
    """

    review: ReviewResult
    supply: SupplyFigures
    stores: tuple[Store, ...]
    bleeder: Bleeder
    probes: tuple[ProbePoint, ...]
    stations: tuple[Station, ...]
    narrowing: tuple[Narrowing, ...]
    test: SecondReading | None
    uncovered: tuple[str, ...]

    @property
    def design(self) -> Design:
        """The design."""
        return self.review.design

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every reading, in order."""
        return tuple(check for station in self.stations for check in station.checks)

    @property
    def ripples(self) -> tuple[tuple[Check, Band], ...]:
        """Every reading of ripple behind the filter, with its band."""
        return tuple((one, one.band) for one in self.checks if one.kind == "ripple at" and one.band is not None)


def bench_sheet(result: ReviewResult, *, progress: Callable[[float, str], None] | None = None) -> BenchSheet:
    """The sheet of a reviewed design.

    Parameters: ``result``; ``progress``: called with the share done (0 to 1) and what is being done.
    Returns: `BenchSheet`. Where an operating point is unstable it has DC readings alone.
    Raises: ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> [probe.place for probe in filterlib.bench_sheet(filterlib.review(design)).probes]
    ['terminals', 'modem', 'logger']
    """
    design = result.design
    stored = stores(design)
    chosen = bleeder(stored)
    probes = tuple(_probes(design))
    if progress is not None:
        progress(0.0, "what a test capacitor would read")
    narrowing = _narrowing(result)
    test = _test(result) if any(one.measurement.startswith("second reading") for one in narrowing) else None
    stations = tuple(_stations(result, {probe.place: probe.label for probe in probes}, test))
    covered = {check.requirement for station in stations for check in station.checks}
    return BenchSheet(
        review=result,
        supply=supply_figures(design),
        stores=stored,
        bleeder=chosen,
        probes=probes,
        stations=stations,
        narrowing=narrowing,
        test=test,
        uncovered=tuple(wanted.words for wanted in design.requirements if wanted.words not in covered),
    )


def _test(result: ReviewResult) -> SecondReading:
    """The reading with a capacitor across the terminals: the one that the review advises, where it advises one."""
    advised, design = result.closing.capacitor if result.closing is not None else None, result.design
    if advised is None:
        return second_reading(design)
    reactance = 1 / (2 * np.pi * design.converter.switching_frequency * advised.capacitance)
    ends = advised.loaded, advised.low, advised.high
    return SecondReading(advised.capacitance, reactance, inner_impedance(design), *ends, advised.name)


def _probes(design: Design) -> Iterator[ProbePoint]:
    yield ProbePoint("P1", TERMINALS)
    for number, load in enumerate(design.loads, start=2):
        yield ProbePoint(f"P{number}", load.name, load.lead is not None)


def _stations(result: ReviewResult, labels: Mapping[str, str], test: SecondReading | None) -> Iterator[Station]:
    design = result.design
    yield from _first(design)
    if test is not None:
        yield _with_capacitor(design, test)
    yield Station("voltage", tuple(_direct(result, labels)))
    stable = [point for point in result.points if point.ripple.reason is None]
    for point in stable:
        operating = point.operating
        supply = design.point(operating.point).input_voltage or design.converter.input_voltage
        checks = tuple(_ripples(design, point, labels))
        yield Station("ripple at", checks, None, operating, supply, point is stable[0])
    if stable:
        yield Station("own clip", tuple(_clips(design, stable[0], labels)))
    steps = tuple(_steps(result, labels))
    if steps:
        yield Station("step", steps)


def _first(design: Design) -> Iterator[Station]:
    """The converter alone, as its figures were read: the first check, since all the rest is built on it."""
    read = as_measured(design)
    kinds: tuple[Kind, Kind] = ("ripple", "spike")
    for kind in kinds:
        arrangement = getattr(design.converter, kind)
        if arrangement is not None:
            value = float(np.max(read[kind]))
            check = Check(kind, TERMINALS, "P1", "", value, value * (1 - AGREES), value * (1 + AGREES))
            yield Station(kind, (_scaled(check),), arrangement)


def _with_capacitor(design: Design, test: SecondReading) -> Station:
    check = Check("second reading", TERMINALS, "P1", "", test.value, test.low, test.high)
    return Station("second reading", (_scaled(check),), design.converter.ripple)


def _direct(result: ReviewResult, labels: Mapping[str, str]) -> Iterator[Check]:
    design = result.design
    for point in result.points:
        state, name = point.operating, point.operating.point
        for place, label in labels.items():
            value = state.terminal_voltage if place == TERMINALS else state.load_voltages[place]
            low, high = _direct_band(design, name, place, value)
            reading = Check("voltage", place, label, name, value, low, high)
            requirements = [one for one in design.requirements if one.load == place]
            limits = [one for one in requirements if isinstance(one, VoltageRequirement)]
            yield from (replace(reading, limit_low=w.low, limit=w.high, requirement=w.words) for w in limits)
            if not limits:
                yield reading
            regulated = design.converter.output_voltage
            for wanted in (one for one in requirements if isinstance(one, DropRequirement)):
                fall = Check("drop", place, label, name, regulated - value, regulated - high, regulated - low)
                yield replace(fall, limit=wanted.limit, requirement=wanted.words)


def _direct_band(design: Design, point: str, place: str, value: float) -> tuple[float, float]:
    """Over the range of the output resistance, which alone moves the direct voltages."""
    for one in uncertain_parameters(design):
        if one.key == "converter.output_resistance":
            state = with_values(design, {one.key: np.array([[one.low], [one.high]])}).state(point)
            ends = np.ravel(state.terminal_voltage if place == TERMINALS else state.load_voltages[place])
            return min(value, float(ends.min())), max(value, float(ends.max()))
    return value, value


def _ripples(design: Design, point: PointResult, labels: Mapping[str, str]) -> Iterator[Check]:
    for place, label in labels.items():
        for band in bands(design):
            figure = point.ripple.figures.get((place, band.label))
            if figure is None:
                continue
            value, known = figure.peak_to_peak, np.isfinite(figure.low)
            ends = (figure.low, figure.high) if known else (value, value)
            check = _scaled(Check("ripple at", place, label, point.operating.point, value, *ends, band=band))
            check = replace(check, probable_low=figure.probable_low, probable_high=figure.probable_high)
            wanted = _strictest(design, place, band.label)
            if wanted is not None:
                check = replace(check, limit=wanted.limit, requirement=wanted.words)
            bare = (place, band.label) in point.ripple.without_spike
            yield replace(check, without_spike=bare, trusted=(band.bandwidth or np.inf) <= point.ripple.trusted_to)


def _strictest(design: Design, place: str, label: str) -> RippleRequirement | SpikeRequirement | None:
    requirements = [
        wanted
        for wanted in design.requirements
        if isinstance(wanted, RippleRequirement | SpikeRequirement) and wanted.load == place and wanted.label == label
    ]
    return min(requirements, key=lambda wanted: wanted.limit, default=None)


def _clips(design: Design, point: PointResult, labels: Mapping[str, str]) -> Iterator[Check]:
    """What the clip alone shows: to stay below a share of the reading; with a chassis, what an earthed clip would show."""
    for place, label in labels.items():
        true = point.ripple.figures[place, "full"].peak_to_peak
        name = point.operating.point
        value, read = _earthed(design, place, name) if design.chassis else (np.nan, np.nan)
        yield _scaled(Check("own clip", place, label, name, value, 0.0, true / QUIET, earthed=read, true=true))


def _earthed(design: Design, place: str, point: str) -> tuple[float, float]:
    """Peak to peak [V] in full bandwidth with an earthed clip at a place: of the tip on it, and of the tip in place."""
    clipped = with_clip(design, place)
    figures = ripple(solve(clipped, point), interval=False).figures
    return figures[OWN_CLIP, "full"].peak_to_peak, figures[MEASURED, "full"].peak_to_peak


def _steps(result: ReviewResult, labels: Mapping[str, str]) -> Iterator[Check]:
    for verdict, wanted in zip(result.verdicts, result.design.requirements, strict=True):
        if isinstance(wanted, StepRequirement) and verdict.unknown is None:
            ends = verdict.value, verdict.low, verdict.high
            check = _scaled(Check("step", wanted.load, labels[wanted.load], verdict.point, *ends, wanted=wanted))
            check = replace(check, probable_low=verdict.probable_low, probable_high=verdict.probable_high)
            yield replace(check, limit=verdict.limit, requirement=wanted.words)


def _scaled(check: Check) -> Check:
    """With the vertical scale: the next of 1, 2, 5 that holds the largest expected value on the screen."""
    return replace(check, scale=per_division(max(check.high, check.value) if np.isfinite(check.value) else check.high))


def per_division(largest: float) -> float:
    """Volts a division, of the steps 1, 2, 5, at which ``largest`` [V] fills `FILLED` divisions at most, `FINEST` at least.

    >>> per_division(4.6e-3), per_division(1.6)
    (0.001, 0.5)
    >>> per_division(4.6e-5)  # no oscilloscope has less than a millivolt a division
    0.001
    """
    least = largest / FILLED
    decade = 10.0 ** np.floor(np.log10(least))
    step = float(f"{next(step * decade for step in (1, 2, 5, 10) if step * decade >= least * (1 - 1e-9)):.1g}")
    return max(step, FINEST)


def _narrowing(result: ReviewResult) -> tuple[Narrowing, ...]:
    """Unknowns of the decisive point, gathered by the measurement that settles them."""
    stable = [point for point in result.points if point.ripple.uncertain_parameters]
    gathered: dict[str, list[Sensitivity]] = {}
    for parameter in stable[0].ripple.uncertain_parameters if stable else ():
        if parameter.measurement:
            gathered.setdefault(parameter.measurement, []).append(parameter)
    measurements = (
        Narrowing(name, sum(one.share for one in several), tuple(one.label for one in several))
        for name, several in gathered.items()
    )
    return tuple(sorted(measurements, key=lambda one: -one.share))
