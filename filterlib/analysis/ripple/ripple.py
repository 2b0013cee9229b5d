"""The ripple at the terminals and at every load: nominal, by source, and its interval; of a changed design from the ends of the old one."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from functools import partial
from typing import TypeAlias

import numpy as np

from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple_result import (
    BEFORE,
    Band,
    Figure,
    RippleResult,
    Sensitivity,
    Spectra,
    bands,
    measurement,
    trusted_to,
)
from filterlib.analysis.ripple.spectra import lead, ports, spectra
from filterlib.analysis.uncertainty.interval import MORE, Measure, Seek, over_shapes, shapes
from filterlib.analysis.uncertainty.like_design import Depth, at_ends, from_ends
from filterlib.analysis.uncertainty.plausible import Interval, width
from filterlib.parts.values import Value
from filterlib.system.design import Design
from filterlib.system.inside.converter import Arrangement
from filterlib.system.line.clip import TERMINALS
from filterlib.system.ranges.uncertain_parameter import SHAPE_LABEL, Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import OfRipple
from filterlib.system.solution import Solution
from filterlib.system.sources.likelihood import says_more
from filterlib.system.sources.source_spectra import reading, source_spectra
from filterlib.system.state import State

DRAWS = 256  # plausible combinations
_WEIGHED = 16  # times as many, where a recording weighs them
Spot: TypeAlias = tuple[str, str]  # place, label of the band
Figures: TypeAlias = dict[Spot, Value]
Mask = Callable[[Solution, Figures], Figures]
"""Of a solution of many designs and its figures: the figures, NaN where a design is left out."""


def ripple(
    solution: Solution,
    *,
    interval: bool = True,
    mask: Mask | None = None,
    progress: Callable[[float], None] | None = None,
    drawn: Drawn | None = None,
    beside: Mapping[Spot, Interval] | None = None,
) -> RippleResult:
    """The ripple at an operating point, before and after the filter, with its interval.

    Parameters: ``solution`` of one design at a stable operating point; ``interval``: False leaves the search over the
    uncertainty out; ``mask``: makes
    figures NaN in cases that are left out of the search, such as unstable ones; ``progress``: called with the share of the
    search that is done, 0 .. 1; ``drawn``: what is kept from one operating point of the design for the next; ``beside``: the ``extents`` at another
    one, from whose ends on these are sought too.
    Returns: RippleResult, its waveforms (t,) [V], its spectra (h,) [V peak].
    Raises: ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> figure = ripple(solution, interval=False).figures["modem", "20MHz"]
    >>> round(1e3 * figure.peak_to_peak, 2)  # [mV]
    4.9
    """
    design, wanted = solution.design, bands(solution.design)
    before, after = spectra(solution, filtered=False), spectra(solution)
    intervals = _intervals(solution, wanted, drawn or Drawn(), progress, mask or as_it_is, beside) if interval else {}
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
    solution: Solution,
    wanted: tuple[Band, ...],
    drawn: Drawn,
    progress: Callable[[float], None] | None,
    mask: Mask,
    beside: Mapping[Spot, Interval] | None,
) -> dict[Spot, Interval]:
    """(place, band) -> interval: sought roughly, its ends confirmed."""
    roughly, exactly = measures(solution.state, wanted, drawn, mask)
    likely = drawn.likelihood if says_more(solution.design.converter) else None
    few = solution.design.converter.ripple.recording is not None  # harmonics, that are weighed
    found = over_shapes(
        solution.design, roughly, confirm=exactly, lead=lead(solution.state), draws=DRAWS, likely=likely,
        weighed=_WEIGHED if few else MORE, beside=beside, progress=progress,
    )  # fmt: skip
    return {key: one.of_real_converters() for key, one in found.items()}


def measures(
    state: State,
    wanted: tuple[Band, ...],
    drawn: Drawn,
    mask: Mask,
    asked: Collection[Spot] | None = None,
) -> tuple[Measure[Spot], Measure[Spot]]:
    """What gives the figures of many designs at a state, roughly and exactly: all of them, or those that are ``asked`` for."""

    def roughly(moved: Design, values: Columns) -> Figures:
        many = drawn.solution(moved, state, values)
        return mask(many, peaks(many, wanted, asked, rough=True))

    def exactly(moved: Design, _: Columns) -> Figures:
        many = Solution(moved, state)
        return mask(many, peaks(many, wanted, asked, spot_checked=True))

    return roughly, exactly


def peaks(
    solution: Solution,
    wanted: tuple[Band, ...],
    asked: Collection[tuple[str, str]] | None = None,
    *,
    rough: bool = False,
    spot_checked: bool = False,
) -> Figures:
    """Peak to peak [V] at every place and in every band, or of those that are ``asked`` for; see `spectra`."""
    places = None if asked is None else [place for place, _ in asked]
    harmonics = spectra(solution, outputs=ports(solution.design, places), thinned=rough, spot_checked=spot_checked)
    seen = {one.label: one for one in bands(solution.design)}  # through the limit that read the converter's figures
    figures: Figures = {}
    for place in harmonics.places:
        chosen = [band for band in wanted if asked is None or (place, band.label) in asked]
        swings = harmonics.swings(place, [seen.get(band.label, band) for band in chosen], rough=rough)
        figures |= zip(((place, band.label) for band in chosen), swings, strict=True)
    return figures


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


__all__ = ["TERMINALS", "ripple", "shapes"]


def ripple_of_change(
    solution: Solution,
    like: Mapping[Spot, Interval],
    *,
    depth: Depth = "first look",
    drawn: Drawn | None = None,
    mask: Mask | None = None,
    beside: Mapping[Spot, Interval] | None = None,
) -> RippleResult:
    """The figures that have a requirement, with their intervals, and nothing else.

    Parameters: ``solution`` of a changed design at a stable operating point; ``like``: the ``extents`` of the design as it was, from whose
    ends on they are sought, so far as ``depth`` says, see `filterlib.analysis.uncertainty.like_design`; ``drawn``: what is kept
    from one point of one change for the next; ``mask``: see `ripple`, in a whole search alone, and ``beside``: the changed design's own
    at another point, whose ends are looked at too.
    Returns: RippleResult, its figures peak to peak [V].
    Raises: ScaleError where the converter's stated figures contradict each other.
    """
    design, state, first = solution.design, solution.state, depth == "first look"
    wishes = [(one.load, one.label) for one in design.requirements if isinstance(one, OfRipple)]
    asked = tuple(dict.fromkeys(wishes))  # in the file's order: the search meets them in it
    wanted = tuple(band for band in bands(design) if any(label == band.label for _, label in asked))
    ends = {key: like[key] for key in asked if key in like}
    left_out = mask if mask is not None and depth == "whole" else as_it_is
    roughly, exactly = measures(state, wanted, drawn or Drawn(), left_out, asked)
    found: dict[Spot, Interval] = {}
    if asked and (ends or not first):
        confirm, seek = None if first else exactly, _seek(ends, depth, beside or {})
        sought = over_shapes(design, roughly, confirm=confirm, lead=lead(state), seek=seek)
        found = {key: one.of_real_converters() for key, one in sought.items()}
    estimated = if_it_bursts(solution, wanted)
    figures = {
        key: Figure(rms=np.nan, by_source={}, reduction={}, **within(float(volts), found.get(key), estimated.get(key)))
        for key, volts in peaks(solution, wanted, asked).items()
    }
    return RippleResult(
        state.point,
        1 / solution.period,
        tuple(dict.fromkeys(place for place, _ in figures)),
        figures,
        depends=depends(found, estimated),
        estimated=estimated,
        extents=found,
        without_spike=frozenset() if design.converter.spike else frozenset(key for key in figures if key[1] == "full"),
    )


def _seek(ends: Mapping[Spot, Interval], depth: Depth, beside: Mapping[Spot, Interval]) -> Seek[Spot]:
    """What seeks the ends of a changed design's figures."""
    if depth == "whole":
        return partial(from_ends, like=ends, beside=beside, draws=DRAWS)
    return lambda _, metric, box, places, confirm: at_ends(
        metric, box, ends, closer=depth == "closer look", places=places, confirm=confirm
    )
