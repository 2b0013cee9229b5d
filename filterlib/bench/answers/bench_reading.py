"""What one reading says of the true figure: corrected for noise, with its uncertainty, from a capture or a typed number."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from filterlib.analysis.ripple.ripple_result import Band
from filterlib.bench.answers.answers_result import BenchReading, Draw
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.capture.averaging import kept_by_averaging
from filterlib.bench.capture.harmonics import CLEAR, Harmonics, harmonics
from filterlib.bench.capture.measurement import Measurement
from filterlib.bench.propagation import drawn, middle
from filterlib.network.extremes import rough_peak_to_peak
from filterlib.network.spectrum import lowpass_response

_NOISY = 100  # waveforms with fresh noise, from which the bias of a peak to peak is had
REACHES = 1.05
"""Times its band, a capture has to reach."""
_TIMES = (
    10  # readings, as of which a scope's repeatability is known; JCGM 100, G.4.2: its own uncertainty is a quarter then
)
_LOW = 0.25  # share of a spectrum's lines that hold noise alone, at least
_FASTEST = 50e6  # [Hz] of what is on a screen in full bandwidth: common practice, no source


@dataclass(frozen=True)
class _Seen:
    """``shown`` [V], of which noise is between both of ``more``, with a ``spread`` of its own, read twice to half a ``step``; ``factors``: what is
    there over what is shown, anything between the two of each."""

    shown: float
    more: tuple[float, float]
    spread: float = 0.0
    step: float = 0.0
    factors: tuple[tuple[float, float], ...] = ()


def from_figures(shown: Sequence[float], band: Band, scope: ScopeErrors, source: str = "") -> BenchReading:
    """Figures that a person read off the screen at one station [V peak to peak], and the mean of them.

    Noise raises each by something between nothing and all of what the scope shows of noise alone; the screen's steps are
    read to half a one; where it averages, jitter of the trigger takes fast edges away. The ground lead raises nothing that is known without the waveform.

    >>> from filterlib.analysis.ripple.ripple_result import Band
    >>> one = from_figures([4.8e-3], Band("20MHz", 20e6, 1), ScopeErrors())
    >>> round(1e3 * one.value, 2), one.low < 4.3e-3 < one.high
    (4.3, True)
    """
    step = 0.0 if scope.full_scale is None else scope.full_scale / 2**scope.bits
    kept = float(kept_by_averaging(band.bandwidth or _FASTEST, scope.jitter)) if scope.averages > 1 else 1.0
    noise = scope.noise / float(np.sqrt(max(scope.averages, 1.0)))
    seen = [_Seen(one, (0.0, min(noise, one)), 0.0, step, ((1.0, 1 / kept),)) for one in shown]
    return _mean(seen, scope, source or "read off the screen")


def from_captures(several: Sequence[Measurement], band: Band, scope: ScopeErrors, source: str = "") -> BenchReading:
    """The peak to peak of captures of one station in a band, and the mean of them.

    Of a capture with a single period, its averaged one. Noise that is left after averaging raises a peak to peak: by how much
    is had from waveforms of the harmonics that are clear of it, with such noise added, and taken off. The ground lead raises
    what is near its resonance with the probe, jitter that cannot be seen takes fast edges away, and the scope's low-pass is not
    where it should be: anything between the ends of each. Of one without a single period, bursts that come as they like, the trace's own: noise
    raises it by something between nothing and the noise's own peak to peak. Where nothing repeats above the noise, the true
    figure is anything up to the trace's own. Validity: what the noise hides is no spike of its own size.
    """
    files = source or ", ".join(dict.fromkeys(one.recording.file for one in several))
    shows = [one for one in several if one.average is not None or one.periods.pattern != "none"]
    reach = _reach(several[0], band)
    if not shows:
        return _all_noise(several, scope, files, reach)
    seen = [_periodic(one, band, scope) if one.average is not None else _uneven(one, band) for one in shows]
    return replace(_mean(seen, scope, files), reach=reach[0], short=reach[1])


def _mean(seen: Sequence[_Seen], scope: ScopeErrors, source: str) -> BenchReading:
    """Errors of the instrument are the same each time; noise and what else scatters is another each time."""
    shown = np.array([one.shown for one in seen])
    least, most = np.mean([one.more for one in seen], axis=0)
    noise = float(np.sqrt(np.sum([one.spread**2 for one in seen]))) / len(seen)
    step = float(np.sqrt(np.sum([one.step**2 for one in seen]))) / len(seen)
    factors = np.mean([one.factors for one in seen if one.factors], axis=0) if any(one.factors for one in seen) else []
    scatter, repeats = scattered(shown, scope)

    def cases(random: np.random.Generator, count: int) -> np.ndarray:
        more = random.uniform(least, most, count) if most > least else least
        true = shown.mean() - more + noise * random.standard_normal(count) + scatter(random, count)
        true = true + step * random.uniform(-0.5, 0.5, (2, count)).sum(axis=0)
        for low, high in factors:
            true = true * random.uniform(low, high, count)
        return np.asarray(np.maximum(true, 0.0)[None] / scope.gains(random, count))

    found = drawn(cases, ends=middle)
    whole = float(found.uncertainties[0])
    by_repeats = float(np.hypot(repeats, noise))
    return BenchReading(
        float(shown.mean()), float(found.values[0]), float(found.low[0]), float(found.high[0]), float(least + most) / 2,
        source, times=float(len(seen)), by_repeats=by_repeats, by_instrument=float(np.sqrt(max(whole**2 - by_repeats**2, 0.0))),
    )  # fmt: skip


def scattered(shown: np.ndarray, scope: ScopeErrors) -> tuple[Draw, float]:
    """What the mean of readings (n,) is off by their scatter, to be drawn [V], and its standard uncertainty (type A).

    How far they scatter is had from them and from the scope's repeatability, as of `_TIMES` readings more: the mean is then
    off by Student's t of all of these. Source: JCGM 100 (2008), 4.2 and G.3; JCGM 101 (2008), 6.4.9; what is known before counted as
    readings: A. Gelman and others, Bayesian Data Analysis, 3.3, from memory.

    >>> four = np.array([10.0, 10.2, 9.9, 10.1])
    >>> round(scattered(four[:1], ScopeErrors())[1], 3), round(scattered(four, ScopeErrors())[1], 3)
    (0.112, 0.059)
    """
    known = _TIMES * (scope.repeatability * shown.mean()) ** 2
    freedom = _TIMES + shown.size - 1
    size = float(np.sqrt((known + np.sum((shown - shown.mean()) ** 2)) / freedom / shown.size))
    return lambda random, count: size * random.standard_t(freedom, count), size * float(
        np.sqrt(freedom / (freedom - 2))
    )


def _periodic(measured: Measurement, band: Band, scope: ScopeErrors) -> _Seen:
    lines = harmonics(measured, beyond=True)
    kept, limit = band.response(lines.frequencies), measured.recording.bandwidth
    if limit is not None and band.bandwidth is not None and limit <= REACHES * band.bandwidth:
        kept = np.ones(len(lines.frequencies))  # the scope's own limit was the band's
    wave = lines.coefficients * kept
    shown = float(rough_peak_to_peak(wave))
    more, spread = _noise_adds(wave, lines.noise * np.abs(kept))
    return _Seen(shown, (0.5 * more, 1.5 * more), spread, 0.0, tuple(_factors(measured, lines, wave, band, scope)))


def _factors(
    measured: Measurement, lines: Harmonics, wave: np.ndarray, band: Band, scope: ScopeErrors
) -> Iterator[tuple[float, float]]:
    """What is at the tip over what is shown, between two ends each: ground lead, jitter that noise hides, the low-pass's corner."""
    assert measured.average is not None
    unseen = 0.0 if measured.average.jitter else min(measured.average.jitter_resolution, scope.jitter)
    limit = measured.recording.bandwidth
    shares = [[1 / scope.response(lines.frequencies, length) for length in scope.lead]]
    shares.append([np.ones(1), 1 / kept_by_averaging(lines.frequencies, unseen)])
    if limit is not None:
        moved = [lowpass_response(lines.frequencies, limit * (1 + side * scope.corner), band.order) for side in (-1, 1)]
        shares.append([lowpass_response(lines.frequencies, limit, band.order) / one for one in moved])
    shown = float(rough_peak_to_peak(wave))
    for pair in shares:
        low, high = sorted(float(rough_peak_to_peak(np.asarray(wave * one, complex))) / shown for one in pair)
        yield low, high


def _uneven(measured: Measurement, band: Band) -> _Seen:
    """Of a capture without a single period: the trace in the band, of which noise is at most its own peak to peak.

    The density of that noise is the floor where the spectrum is low: elsewhere what does not repeat evenly lies over it.
    """
    shown = measured.raw.ripple if band.bandwidth is not None else measured.raw.peak_to_peak
    inside = measured.spectrum.frequencies <= min(band.bandwidth or np.inf, measured.recording.bandwidth or np.inf)
    density = float(np.quantile(measured.spectrum.floor[inside], _LOW))
    size = float(np.sqrt(density * measured.spectrum.frequencies[inside][-1]))
    return _Seen(shown, (0.0, min(2 * size * float(np.sqrt(2 * np.log(measured.recording.samples))), shown)))


def _reach(measured: Measurement, band: Band) -> tuple[float, bool]:
    """Up to which frequency [Hz] a capture shows anything, and whether that is too little for a band."""
    reach = measured.recording.bandwidth or 0.5 / measured.recording.sample_interval
    short = reach * REACHES < (band.bandwidth or np.inf) and (band.bandwidth is not None or limited_below(measured))
    return reach, short


def _all_noise(
    several: Sequence[Measurement], scope: ScopeErrors, source: str, reach: tuple[float, bool]
) -> BenchReading:
    """Of traces in which nothing repeats: what is there is no larger than the quietest of them."""
    shown = min(one.recording.peak_to_peak for one in several)
    high = shown / ((1 - scope.gain) * (1 - scope.probe_gain))
    return BenchReading(shown, shown / 2, 0.0, high, shown / 2, source, *reach, float(len(several)))


def limited_below(measured: Measurement) -> bool:
    """Whether a capture was taken with the scope's low-pass for ripple, so that spikes are not in it."""
    limit = measured.recording.bandwidth
    return limit is not None and limit <= REACHES * measured.bandwidth


def _noise_adds(coefficients: np.ndarray, noise: np.ndarray) -> tuple[float, float]:
    """By how much noise raises the peak to peak [V], and by how much it scatters: of the harmonics that are clear of it."""
    clear = np.where(np.abs(coefficients) > CLEAR * noise, coefficients, 0.0)
    random = np.random.default_rng(1)
    fresh = random.standard_normal((2, _NOISY, len(noise))) * noise / np.sqrt(2)
    noisy = rough_peak_to_peak(clear + fresh[0] + 1j * fresh[1])
    return max(float(np.mean(noisy) - rough_peak_to_peak(clear)), 0.0), float(np.std(noisy))
