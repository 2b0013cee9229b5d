"""Every fault on the real model: what each makes of every reading that can be taken, in the plausible cases of the review."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from filterlib.analysis.ripple.ripple import TERMINALS
from filterlib.analysis.ripple.ripple_result import Band, Spectra, bands, named_band
from filterlib.analysis.ripple.spectra import spectra
from filterlib.bench.answers.answers_result import BenchResult, Fault, SpectrumAnswer, Station
from filterlib.bench.answers.bursting import as_captured
from filterlib.bench.answers.explained import Trial
from filterlib.bench.answers.faults import faults, with_fault
from filterlib.bench.answers.spectrum_answer import drawn_columns
from filterlib.bench.capture.measurement import BANDWIDTH
from filterlib.errors import FilterlibError
from filterlib.network.extremes import rough_peak_to_peak
from filterlib.network.spectrum import lowpass_response
from filterlib.system.design import Design, with_values
from filterlib.system.line.clip import MEASURED
from filterlib.system.ranges.changes import with_clip
from filterlib.system.ranges.uncertain_parameter import Columns
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve

CASES = 32
"""Plausible cases that stand for all."""


def trials(result: BenchResult, cases: int = CASES) -> tuple[Trial, ...]:
    """Of every fault that makes a steady state at all operating points that were read, the board as designed first.

    They depend on the readings only in which stations they are of: other readings of the same stations can be explained by them too.
    """
    found = (tried(result, fault, cases) for fault in faults(result.design))
    return tuple(one for one in found if one is not None)


def stations(design: Design, point: str) -> Iterator[Station]:
    """Every one at an operating point."""
    for place in (TERMINALS, *(load.name for load in design.loads)):
        for band in bands(design):
            yield Station(place, band, point)


def tried(result: BenchResult, fault: Fault, cases: int) -> Trial | None:
    """Of one fault; None where it makes no steady state, or cannot be at any operating point that was read."""
    drawn = drawn_columns(result.design, next(iter(result.ripples.values())), cases)
    parts = [_of_shape(result, fault, one, columns) for one, columns in drawn]
    return _joined([one for one in parts if one is not None])


def _of_shape(result: BenchResult, fault: Fault, shape: Design, columns: Columns) -> Trial | None:
    design = with_fault(shape, fault)
    if design is None:
        return None
    try:
        at = {point: _spectra(result, design, fault, point, columns) for point in result.ripples}
    except FilterlibError:
        return None
    return None if fault.bursts and all(one is None for one in at.values()) else trial(result, fault, at)


def _joined(parts: Sequence[Trial]) -> Trial | None:
    """The cases of all shapes behind each other."""
    if len(parts) < 2:
        return parts[0] if parts else None
    figures, peaks = (
        {name: np.concatenate([np.broadcast_to(held[name], (size, *held[name].shape[1:])) for held, size in several]) for name in several[0][0]}
        for several in ([(one.figures, one.cases) for one in parts], [(one.peaks, one.cases) for one in parts])
    )  # fmt: skip
    return Trial(parts[0].fault, figures, peaks)


def trial(result: BenchResult, fault: Fault, at: Mapping[str, Spectra | None]) -> Trial:
    """Of spectra by operating point; a point without any is left as unknown."""
    known = {point: one for point, one in at.items() if one is not None}
    asked = {one.name: one for point in known for one in stations(result.design, point)}
    asked |= {one.station.name: one.station for one in result.answers if one.station.point in known}
    figures = {name: _figure(result, known[one.point], fault, one) for name, one in asked.items()}
    peaks = {
        one.station.name: _peaks(result, known[one.station.point], fault, one)
        for one in result.spectra
        if one.station.point in known
    }
    return Trial(fault, figures, peaks)


def _figure(result: BenchResult, found: Spectra, fault: Fault, station: Station) -> np.ndarray:
    band = _band(result.design, fault, station)
    kept = band.response(found.frequencies) * _lead(result, fault, found.frequencies)
    wave = np.atleast_2d(found.whole(station.place)) * kept
    others = [source for at, source in found.reflected if at == station.place]
    own = rough_peak_to_peak(wave) + sum(found.alone(station.place, source, band) for source in others)
    return np.asarray(fault.factor * np.ravel(own))


def _peaks(result: BenchResult, found: Spectra, fault: Fault, lines: SpectrumAnswer) -> np.ndarray:
    """Each harmonic's peak; of one that is none of these spectra's NaN, which says nothing."""
    many = (
        2
        * fault.factor
        * np.atleast_2d(np.abs(found.whole(lines.station.place) * _lead(result, fault, found.frequencies)))
    )
    orders = np.rint(lines.frequencies / found.frequencies[0]).astype(int) - 1
    inside = orders < many.shape[1]
    shown = many[:, np.where(inside, orders, 0)] * _limited(fault, lines)
    return np.asarray(np.where(inside, shown, np.nan))


def _limited(fault: Fault, lines: SpectrumAnswer) -> np.ndarray:
    """What the scope's limit leaves of each harmonic, over what the one that the capture states would."""
    if fault.limit_on:
        limit = np.abs(lowpass_response(lines.frequencies, BANDWIDTH, lines.station.band.order))
        return np.asarray(np.minimum(limit / lines.kept, 1.0))
    return 1 / lines.kept if fault.limit_off else np.ones(1)


def _band(design: Design, fault: Fault, station: Station) -> Band:
    limited = station.band.bandwidth is not None
    wrong = (fault.limit_off and limited) or (fault.limit_on and not limited)
    return named_band(design, "full" if limited else "20MHz") if wrong else station.band


def _lead(result: BenchResult, fault: Fault, frequencies: np.ndarray) -> np.ndarray:
    """What a ground lead that is too long leaves of each harmonic, or adds to it."""
    return result.scope.response(frequencies, fault.lead) if fault.lead else np.ones(1)


def _spectra(result: BenchResult, design: Design, fault: Fault, point: str, columns: Columns) -> Spectra | None:
    """Of plausible cases: their values, but for the part that has the fault; None where a fault cannot be at this point."""
    if fault.clipped:
        return _clipped(design, fault, point, columns)
    solution = solve(design, point)
    there = as_captured(solution, result.captures) if fault.bursts else solution
    return None if there is None else spectra(_with_cases(there, fault, columns))


def _with_cases(solution: Solution, fault: Fault, columns: Columns) -> Solution:
    design = solution.design
    known = {one.key for one in uncertain_parameters(design)}
    values = {key: v for key, v in columns.items() if key in known and not key.startswith(f"filter.{fault.part}.")}
    return Solution(with_values(design, values), solution.state) if values else solution


def _clipped(design: Design, fault: Fault, point: str, columns: Columns) -> Spectra:
    """What an earthed scope shows whose clip is on the return of the place that it reads."""
    several = []
    for place in (TERMINALS, *(load.name for load in design.loads)):
        on = with_clip(design, place)
        assert on.clip is not None
        outputs = {place: on.clip.readings(on.loads)[MEASURED]}
        several.append(spectra(_with_cases(solve(on, point), fault, columns), outputs=outputs))
    by_source = {key: one for found in several for key, one in found.by_source.items()}
    return replace(several[0], by_source=by_source, reflected={}, reflected_frequencies={})
