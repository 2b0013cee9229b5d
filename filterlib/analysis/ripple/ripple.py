"""The ripple at the terminals and at every load: nominal, split by source, and the interval in which it lies."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Annotated, TypeAlias

import numpy as np

from filterlib.analysis.described import Hertz, Ratio, Unit, Volts
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.spectra import Band, Spectra, bands, rough_sizes, spectra
from filterlib.analysis.stability.stability import Stability
from filterlib.analysis.uncertainty.interval import MORE, Interval, Lead, Measure, over_shapes, shapes, width
from filterlib.analysis.uncertainty.moved_alone import leading
from filterlib.analysis.uncertainty.plausible import too_wide
from filterlib.parts.values import Value
from filterlib.system.design import Design
from filterlib.system.inside.converter import Arrangement
from filterlib.system.line.clip import TERMINALS
from filterlib.system.ranges.uncertain_parameter import SHAPE, SHAPE_LABEL, Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution
from filterlib.system.sources.likelihood import says_more
from filterlib.system.sources.source_spectra import reading, source_spectra
from filterlib.system.state import State

TRUSTED = 30e6  # [Hz] above which leads and couplings that no file states decide: common practice, no source
BEFORE = "_before"
DRAWS = 256  # plausible combinations
_WEIGHED = 16  # times as many, where a recording weighs them
AT_LOAD = ".input_capacitor."  # in the key of what is uncertain of a load's own capacitor
Spot: TypeAlias = tuple[str, str]  # place, label of the band
Figures: TypeAlias = dict[Spot, Value]
Mask = Callable[[Solution, Figures], Figures]
"""Of a solution of many designs and its figures: the figures, NaN where a design is left out."""

MEASUREMENTS = {  # key or its beginning: the measurement that settles it
    "converter.output_capacitance": "second reading",
    "converter.output_esr": "second reading, harmonics",
    "converter.output_esl": "second reading, above 1 MHz",
    "converter.bulk_esr_ratio": "second reading, harmonics",
    "converter.lead_inductance": "second reading, above 1 MHz",
    "converter.bank.test": "test capacitor",
    "converter.bank": "two recordings",
    "converter.duty": "duty cycle",
    "converter.edge_time": "rise time",
    SHAPE: "shape",
    "converter.pulse_fall": "shape",
    "converter.spike": "spike",
    "converter.ripple.order": "scope's limit",
    "converter.common_mode.rise_time": "rise time",
    "converter.common_mode.fall_time": "fall time",
    "converter.common_mode.ring": "ring",
    "converter.supply": "input cable",
    "converter.common_mode": "own clip",
    "converter.burst": "light load",
    "converter.output_resistance": "idle and full load",
    "converter.loop_bandwidth": "load step",
    "load.": "load's lead",
    "clip.": "clip's lead",
    "coupling.": "capacitor moved",
}


def measurement(key: str) -> str:
    """Name of the measurement that settles an uncertain parameter; "" where none is known.

    >>> measurement("filter.L1.leakage"), measurement("load.modem.input_capacitor.esr"), measurement("converter.duty")
    ('part L1', 'part the input capacitor of modem', 'duty cycle')
    """
    if key.startswith("filter."):
        return f"part {key.split('.')[1]}"
    if AT_LOAD in key:
        return f"part the input capacitor of {key.split('.')[1]}"
    return next((name for start, name in MEASUREMENTS.items() if key.startswith(start)), "")


@dataclass(frozen=True)
class Figure:
    """Ripple at one place in one band.

    ``low``, ``high``: interval of the peak to peak (NaN where there is none): the worst found; ``probable_low``,
    ``probable_high``: in which nine plausible cases in ten are, NaN where too few agree with the readings. ``by_source``: peak to peak that each source makes
    alone; ``reduction``: by how much the whole falls without it. Peak to peak figures of sources do not add.
    """

    peak_to_peak: Annotated[float, Unit("V", "peak to peak", "pp")]
    rms: Volts[float]
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    by_source: Annotated[Mapping[str, float], Unit("V", "alone", "alone_pp")]
    reduction: Annotated[Mapping[str, float], Unit("V", "the total is lower without it by", "reduction")]
    probable_low: Annotated[float, Unit("V", key="pp_probable_low")] = np.nan
    probable_high: Annotated[float, Unit("V", key="pp_probable_high")] = np.nan

    @property
    def wide(self) -> bool:
        """True where nine plausible cases in ten are so far apart that one number does not decide it."""
        return too_wide(self.probable_low, self.probable_high)


@dataclass(frozen=True)
class Sensitivity:
    """What one uncertain parameter alone does to the ripple at the first load to 20 MHz.

    ``pp_at_low``, ``pp_at_high``: least and greatest ripple while it moves through its range alone; ``share`` of the interval's
    width in decibels, all uncertain parameters' shares adding to 1; ``measurement``: name of the one that would settle it.
    """

    key: str
    label: str
    unit: str
    nominal: Annotated[float, Unit("{unit}", key=None)]
    low: Annotated[float, Unit("{unit}", key=None)]
    high: Annotated[float, Unit("{unit}", key=None)]
    pp_at_low: Volts[float]
    pp_at_high: Volts[float]
    share: Annotated[float, Unit("", "share of the interval")]
    measurement: str


@dataclass(frozen=True)
class RippleResult:
    """Ripple at one operating point.

    ``figures``: (place, band) -> `Figure`; places are "terminals", each load, and each of them with "_before": without
    the filter. ``times`` (t,): one period; ``waveforms``: (place, band) -> (t,); ``partial``: (place, band, source)
    -> (t,), their sum being the waveform. ``spectra``: place -> (h,) complex peak amplitudes; ``spectra_by_source`` alike by
    (place, source). ``uncertain_parameters``: the greatest first. ``depends``: (place, band) -> key of the uncertain
    parameter that moves that figure most. ``estimated``: alike, peak to peak if the converter bursts, where that has to be
    suspected; it is within the figure's interval. ``extents``: alike, the interval with the values that make its ends.
    ``largest_factor``: largest emf over reading that was used. ``without_spike``: (place, band) of figures that lack
    spikes, as none is stated. ``ripple_as_measured``, ``spike_as_measured``: what the stated arrangements read on the model, of
    all sources; NaN where no spike is stated. ``readings_off``: how many times as inexact as a scope's they are taken. ``reason``: why there is nothing at all (an unstable circuit), else None.
    """

    point: str
    switching_frequency: Annotated[float, Unit("Hz", key=None)]
    places: tuple[str, ...] = ()
    figures: Mapping[tuple[str, str], Figure] = field(default_factory=dict)
    times: Annotated[np.ndarray, Unit("s", key=None)] = field(default_factory=lambda: np.zeros(0))
    waveforms: Annotated[Mapping[tuple[str, str], np.ndarray], Unit("V", key=None)] = field(default_factory=dict)
    partial: Annotated[Mapping[tuple[str, str, str], np.ndarray], Unit("V", key=None)] = field(default_factory=dict)
    frequencies: Annotated[np.ndarray, Unit("Hz", key="frequency")] = field(default_factory=lambda: np.zeros(0))
    spectra: Annotated[Mapping[str, np.ndarray], Unit("V", key="peak")] = field(default_factory=dict)
    spectra_by_source: Annotated[Mapping[tuple[str, str], np.ndarray], Unit("V", key=None)] = field(
        default_factory=dict
    )
    uncertain_parameters: tuple[Sensitivity, ...] = ()
    depends: Mapping[tuple[str, str], str] = field(default_factory=dict)
    estimated: Annotated[Mapping[tuple[str, str], float], Unit("V", "if it bursts", None)] = field(default_factory=dict)
    extents: Mapping[tuple[str, str], Interval] = field(default_factory=dict)
    largest_factor: Ratio[float] = np.nan
    largest_factor_frequency: Annotated[float, Unit("Hz", key="largest_factor")] = np.nan
    trusted_to: Hertz[float] = TRUSTED
    without_spike: frozenset[tuple[str, str]] = frozenset()
    ripple_as_measured: Annotated[float, Unit("V", "as measured", "*_pp")] = np.nan
    spike_as_measured: Annotated[float, Unit("V", "as measured", "*_pp")] = np.nan
    readings_off: Annotated[float, Unit("", "times as far off the readings are taken", "*_ratio")] = 1.0
    reason: Stability | None = None


def ripple(
    solution: Solution,
    *,
    interval: bool = True,
    mask: Mask | None = None,
    progress: Callable[[float], None] | None = None,
    drawn: Drawn | None = None,
) -> RippleResult:
    """The ripple at an operating point, before and after the filter, with its interval.

    Parameters: ``solution`` of one design at a stable operating point; ``interval``: False leaves the search over the
    uncertainty out; ``mask``: makes
    figures NaN in cases that are left out of the search, such as unstable ones; ``progress``: called with the share of the
    search that is done, 0 .. 1; ``drawn``: what is kept from one operating point of the design for the next.
    Returns: RippleResult, its waveforms (t,) [V], its spectra (h,) [V peak].
    Raises: ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> figure = ripple(solution, interval=False).figures["modem", "20MHz"]
    >>> round(1e3 * figure.peak_to_peak, 2)  # [mV]
    4.91
    """
    design, wanted = solution.design, bands(solution.design)
    before, after = spectra(solution, filtered=False), spectra(solution)
    intervals = _intervals(solution, wanted, drawn or Drawn(), progress, mask or as_it_is) if interval else {}
    estimated = if_it_bursts(solution, wanted) if interval else {}
    sides = {at + BEFORE: (before, at) for at in before.places} | {at: (after, at) for at in after.places}
    figures, waveforms, partial = {}, {}, {}
    for name, (harmonics, place) in sides.items():
        for one in wanted:
            key = name, one.label
            figures[key] = _figure(harmonics, place, one, intervals.get(key), estimated.get(key))
            waveforms[key] = harmonics.waveform(place, one)
            for source in (s for at, s in harmonics.by_source if at == place):
                partial[name, one.label, source] = harmonics.waveform(place, one, source)
    count = len(next(iter(waveforms.values())))
    return RippleResult(
        point=solution.point,
        switching_frequency=1 / solution.period,
        places=tuple(sides),
        figures=figures,
        times=np.arange(count) * solution.period / count,
        waveforms=waveforms,
        partial=partial,
        frequencies=after.frequencies,
        spectra={name: 2 * harmonics.whole(place) for name, (harmonics, place) in sides.items()},
        spectra_by_source=_by_source(sides),
        uncertain_parameters=_ranked(design, intervals),
        depends=depends(intervals, estimated),
        estimated=estimated,
        extents=intervals,
        largest_factor=after.source_spectra.largest_factor,
        largest_factor_frequency=after.source_spectra.largest_factor_frequency,
        trusted_to=trusted_to(design),
        ripple_as_measured=_reads(design, design.converter.ripple),
        spike_as_measured=_reads(design, design.converter.spike),
        readings_off=max((one.plausible.readings_off for one in intervals.values() if one.plausible), default=1.0),
        without_spike=frozenset() if design.converter.spike else frozenset((name, "full") for name in sides),
    )


def _by_source(sides: Mapping[str, tuple[Spectra, str]]) -> dict[tuple[str, str], np.ndarray]:
    """(name, source) -> the spectrum [V peak] that the source makes there alone."""
    return {
        (name, source): 2 * coefficients
        for name, (harmonics, place) in sides.items()
        for (at, source), coefficients in harmonics.by_source.items()
        if at == place
    }


def _reads(design: Design, arrangement: Arrangement | None) -> float:
    """What an arrangement reads on the model, unfiltered, of all sources; NaN where there is none."""
    if arrangement is None:
        return float("nan")
    sources = source_spectra(design.converter, design.full_current)
    return float(reading(design.converter, arrangement, sources, design.full_current))


def trusted_to(design: Design) -> float:
    """Highest frequency [Hz] at which figures are more than a shape's continuation: as measured, and at most `TRUSTED`."""
    bandwidths = [design.converter.ripple.bandwidth] + (
        [design.converter.spike.bandwidth] if design.converter.spike else []
    )
    return min(TRUSTED, max(np.inf if width is None else width for width in bandwidths))


def if_it_bursts(solution: Solution, wanted: tuple[Band, ...]) -> dict[tuple[str, str], float]:
    """Peak to peak [V] behind the filter at light load, if the converter bursts; nothing where that is known, or does not matter."""
    bursting = solution.supposed
    if bursting is None:
        return {}
    return {key: float(np.ravel(volts)[0]) for key, volts in peaks(bursting, wanted).items()}


def depends(intervals: Mapping[Spot, Interval], estimated: Mapping[Spot, float]) -> dict[Spot, str]:
    """What moves each figure most: whether the converter bursts, where that takes it beyond all else."""
    most = {key: each.decisive for key, each in intervals.items()}
    ends = {key: intervals[key].high if key in intervals else 0.0 for key in estimated}
    return most | {key: "converter.burst_below" for key, volts in estimated.items() if volts > ends[key]}


def _figure(spectra: Spectra, place: str, band: Band, interval: Interval | None, burst: float | None) -> Figure:
    whole, sources = float(spectra.peak_to_peak(place, band)), spectra.sources(place)
    return Figure(
        rms=float(spectra.rms(place, band)),
        by_source={source: float(spectra.alone(place, source, band)) for source in sources},
        reduction={source: whole - float(spectra.peak_to_peak(place, band, leave_out=source)) for source in sources},
        **within(whole, interval, burst),
    )


def within(whole: float, interval: Interval | None, burst: float | None) -> dict[str, float]:
    """The peak to peak of a `Figure`, and where it may be."""
    others = [] if burst is None else [burst]
    ends = [] if interval is None else [interval.low, interval.high]
    every = [whole, *ends, *others] if ends or others else [np.nan]
    plausible = interval.plausible if interval else None
    probable = plausible.ends() if plausible else (np.nan, np.nan)
    return {
        "peak_to_peak": whole, "low": min(every), "high": max(every),
        "probable_low": probable[0], "probable_high": probable[1],
    }  # fmt: skip


def as_it_is(_: Solution, figures: Figures) -> Figures:
    """No case is left out."""
    return figures


def _intervals(
    solution: Solution, wanted: tuple[Band, ...], drawn: Drawn, progress: Callable[[float], None] | None, mask: Mask
) -> dict[Spot, Interval]:
    """(place, band) -> interval: sought roughly, its ends confirmed."""
    roughly, exactly = measures(solution.state, wanted, drawn, mask)
    likely = drawn.likelihood if says_more(solution.design.converter) else None
    few = solution.design.converter.ripple.recording is not None  # harmonics, that are weighed
    found = over_shapes(
        solution.design, roughly, confirm=exactly, lead=lead(solution.state), draws=DRAWS, likely=likely,
        weighed=_WEIGHED if few else MORE, progress=progress,
    )  # fmt: skip
    return {key: one.of_real_converters() for key, one in found.items()}


def measures(
    state: State, wanted: tuple[Band, ...], drawn: Drawn, mask: Mask, asked: Collection[Spot] | None = None
) -> tuple[Measure[Spot], Measure[Spot]]:
    """What gives the figures of many designs at a state, roughly and exactly: all of them, or those that are ``asked`` for."""

    def roughly(moved: Design, values: Columns) -> Figures:
        many = drawn.solution(moved, state, values)
        return mask(many, peaks(many, wanted, asked, rough=True))

    def exactly(moved: Design, _: Columns) -> Figures:
        many = Solution(moved, state)
        return mask(many, peaks(many, wanted, asked))

    return roughly, exactly


def lead(state: State) -> Lead:
    """Which uncertain parameters are moved alone at a state: of very many, those that move the ripple most."""

    def found(design: Design, box: tuple[UncertainParameter, ...]) -> tuple[int, ...]:
        one = Solution(design, state)
        return leading(box, lambda values: rough_sizes(one.varied(values), one))

    return found


def peaks(
    solution: Solution,
    wanted: tuple[Band, ...],
    asked: Collection[tuple[str, str]] | None = None,
    *,
    rough: bool = False,
) -> Figures:
    """Peak to peak [V] at every place and in every band, or of those that are ``asked`` for."""
    harmonics = spectra(solution, thinned=rough)
    seen = {one.label: one for one in bands(solution.design)}  # through the limit that read the converter's figures
    return {
        (place, band.label): harmonics.peak_to_peak(place, seen.get(band.label, band), rough=rough)
        for place in harmonics.places
        for band in wanted
        if asked is None or (place, band.label) in asked
    }


def _ranked(design: Design, intervals: Mapping[Spot, Interval]) -> tuple[Sensitivity, ...]:
    interval = intervals.get((design.loads[0].name, "20MHz"))
    if interval is None:
        return ()
    total = sum(width(ends) for ends in interval.effects.values()) or 1.0
    known = {parameter.key: parameter for parameter in uncertain_parameters(design)}
    effects = [_effect(known.get(key), key, ends, width(ends) / total) for key, ends in interval.effects.items()]
    return tuple(sorted(effects, key=lambda effect: -effect.share))


def _effect(parameter: UncertainParameter | None, key: str, ends: tuple[float, float], share: float) -> Sensitivity:
    settled_by = measurement(key)
    if parameter is None:
        return Sensitivity(key, SHAPE_LABEL, "", np.nan, np.nan, np.nan, *ends, share, settled_by)
    return Sensitivity(
        key, parameter.label, parameter.unit, parameter.nominal, parameter.low, parameter.high, *ends, share, settled_by
    )  # fmt: skip


__all__ = ["BEFORE", "TERMINALS", "Figure", "RippleResult", "Sensitivity", "lead", "ripple", "shapes", "trusted_to"]
