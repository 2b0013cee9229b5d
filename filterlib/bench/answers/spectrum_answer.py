"""Attenuation harmonic by harmonic: of two captures, beside what the design makes of the first of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from filterlib.analysis.ripple.ripple_result import RippleResult
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.interval import shapes
from filterlib.analysis.uncertainty.plausible import ENDS, Plausible, beyond_the_model
from filterlib.bench.answers.answers_result import SpectrumAnswer, Station
from filterlib.bench.answers.scope_errors import SURE, ScopeErrors
from filterlib.bench.capture.averaging import Average, kept_by_averaging
from filterlib.bench.capture.harmonics import CLEAR, Harmonics, harmonics
from filterlib.bench.capture.measurement import Measurement
from filterlib.network.spectrum import lowpass_response
from filterlib.system.design import Design, with_values
from filterlib.system.ranges.uncertain_parameter import SHAPE, Columns
from filterlib.system.solution import Solution, solve

_CASES = 64  # plausible cases that stand for all
_SAME = 0.01  # share by which harmonics of two captures may differ in frequency and be the same
_NEAR = 0.1  # of their distance, up to which lines of bursts that come unlike often are the same
_STILL = 0.98  # share of a harmonic, from which on jitter leaves enough of it in the mean of periods as they are


def spectrum_answer(
    design: Design,
    station: Station,
    after: Sequence[Measurement],
    before: Measurement,
    result: RippleResult,
    scope: ScopeErrors,
) -> SpectrumAnswer | None:
    """Captures of one unit, each harmonic that the one before the filter shows clearly; None where those behind it repeat at other
    frequencies.

    Of bursts that come more or less often behind the filter than before it, at lines that both have: a line is as high as its burst is
    often, so that those behind are taken as of the period before. ``after``: of one station, whose squares are averaged, in bursts where that before is; ``result``: the
    ripple at its operating point, whose plausible cases the intervals are of.
    """
    first, order = harmonics(before), station.band.order
    seconds = [_lines(one, one.average, before) for one in after if one.average is not None]
    found = [_at(one, first.frequencies, bursts=before.pulses is not None) for one in seconds]
    known = [(one, at) for one, at in zip(seconds, found, strict=True) if np.any(at >= 0)]
    if not known:
        return None
    count = min(first.orders.size, result.frequencies.size, *(at.size for _, at in known))
    chosen = np.flatnonzero(first.clear[:count] & np.all([at[:count] >= 0 for _, at in known], axis=0))
    if not chosen.size:
        return None
    frequencies = first.frequencies[chosen]
    rarer = [_rarer(one, before) for one, _ in known]
    squares, noises = (
        np.mean([(often * np.abs(getattr(one, name)[at[chosen]])) ** 2 for (one, at), often in zip(known, rarer, strict=True)], axis=0)
        for name in ("coefficients", "noise")
    )  # fmt: skip
    floor = np.sqrt(noises)
    kept = np.abs(lowpass_response(frequencies, after[0].recording.bandwidth, order))
    seen, noise = 2 * np.sqrt(squares) / kept, floor / np.sqrt(len(known)) / kept
    share = np.hypot(scope.spread, scope.repeatability / np.sqrt(len(known)))
    reach = SURE * np.hypot(np.sqrt(2) * noise, share * seen)
    wave = spectra(solve(design, station.point)).whole(station.place)[:count]
    low, high = _plausible_ends(design, station, result, count)
    return SpectrumAnswer(
        station,
        frequencies,
        first.amplitudes[chosen] / np.abs(lowpass_response(frequencies, before.recording.bandwidth, order)),
        2 * np.sqrt(np.maximum(squares - floor**2, 0.0)) / kept,
        np.maximum(seen - reach, 0.0),
        seen + reach,
        np.sqrt(squares) > CLEAR * floor,
        2 * np.abs(wave)[chosen],
        2 * low[chosen],
        2 * high[chosen],
        kept,
        before.switching_frequency or float(first.frequencies[0]),
    )


def _lines(measured: Measurement, average: Average, before: Measurement) -> Harmonics:
    """Harmonics, of periods moved to where they fit only as far as jitter would else take some away: of noise such moves make lines.

    Before the filter noise hides less, so that the converter's jitter is no more than what is seen there.
    """
    lines = harmonics(measured)
    jitter = average.jitter if before.jitter is None else min(before.jitter, average.jitter)
    still = kept_by_averaging(lines.frequencies, jitter) > _STILL
    plain = average.plain.coefficients(lines.orders.size)[1:]
    return replace(lines, coefficients=np.where(still, plain, lines.coefficients))


def _at(lines: Harmonics, frequencies: np.ndarray, *, bursts: bool) -> np.ndarray:
    """Index of the harmonic at each of these frequencies, as far as there are any, -1 where none is; none where they lie elsewhere."""
    times = frequencies[0] / lines.frequencies[0]
    if abs(times / max(round(times), 1) - 1) <= _SAME:
        at = round(times) * np.arange(1, frequencies.size + 1) - 1
    elif bursts:
        orders = frequencies / lines.frequencies[0]
        at = np.where(np.abs(orders - np.rint(orders)) < _NEAR, np.rint(orders).astype(int) - 1, -1)
    else:
        return np.zeros(0, dtype=int)
    return np.asarray(at[at < lines.orders.size])


def _rarer(lines: Harmonics, before: Measurement) -> float:
    """How many times rarer bursts come here than before the filter; of what switches all the time 1."""
    return float(1 / lines.frequencies[0] / before.period) if before.pulses and before.period else 1.0


def _plausible_ends(
    design: Design, station: Station, result: RippleResult, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Of the magnitude of each coefficient (count,), NaN where no plausible cases were drawn."""
    many = [
        np.abs(spectra(Solution(with_values(one, columns), solve(one, station.point).state)).whole(station.place))
        for one, columns in drawn_columns(design, result, _CASES)
        if columns
    ]
    if not many:
        return np.full(count, np.nan), np.full(count, np.nan)
    low, middle, high = np.nanquantile(np.concatenate(many)[:, :count], (ENDS[0], 0.5, ENDS[1]), axis=0)
    return beyond_the_model(low, middle), beyond_the_model(high, middle)


def drawn_cases(design: Design, result: RippleResult) -> tuple[tuple[Design, Plausible], ...]:
    """The plausible cases of an operating point, of the design with each shape that its converter may have; nothing where there are none."""
    drawn = next((one.plausible for one in result.extents.values()), None)
    if drawn is None:
        return ()
    if SHAPE not in drawn.values:
        return ((design, drawn),)
    found = ((one, drawn.where(SHAPE, one.converter.shape)) for one in shapes(design))
    return tuple((one, cases) for one, cases in found if cases is not None and cases.effective > 0)


def drawn_columns(design: Design, result: RippleResult, count: int) -> tuple[tuple[Design, Columns], ...]:
    """Some of the plausible cases of each shape, as often as each weighs: key -> (cases, 1); the design alone where there are none."""
    drawn = drawn_cases(design, result)
    weights = np.array([np.sum(cases.weights[np.isfinite(cases.figures)]) for _, cases in drawn])
    shares = np.rint(count * weights / weights.sum()).astype(int) if drawn else []
    found = []
    for (one, cases), some in zip(drawn, shares, strict=True):
        if some:
            chosen = cases.some(int(some))
            columns = {key: column[chosen] for key, column in cases.columns.items()}
            found.append((one, columns))
    return tuple(found) or ((design, {}),)
