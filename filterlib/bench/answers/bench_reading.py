"""What one reading says of the true figure: corrected for noise, with its uncertainty, from a capture or a typed number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Unit, Volts
from filterlib.analysis.ripple.spectra import Band
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.harmonics import CLEAR, harmonics
from filterlib.bench.measurement import Measurement
from filterlib.bench.propagation import drawn, middle
from filterlib.network.extremes import rough_peak_to_peak

_NOISY = 100  # waveforms with fresh noise, from which the bias of a peak to peak is had
_REACH = 1.05  # times its band, a capture has to reach


@dataclass(frozen=True)
class BenchReading:
    """One reading of a peak to peak.

    ``shown``: as it stands on the screen, or is in the capture; ``value`` without what noise adds, which is ``bias``;
    ``low``, ``high``: in which the true figure is, 19 times in 20; ``source``: where it is from; ``reach``: up to which
    frequency the capture shows anything, and whether that is too little for its band.
    """

    shown: Annotated[float, Unit("V", "shown", "shown_pp")]
    value: Annotated[float, Unit("V", "reading", "pp")]
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    bias: Annotated[float, Unit("V", "noise adds", "noise_adds")]
    source: str
    reach: Annotated[float, Unit("Hz", "reaches to", "reaches_to")] = np.inf
    short: bool = False

    @property
    def expanded(self) -> Volts[float]:
        """Half the interval: the expanded uncertainty for 19 times in 20."""
        return (self.high - self.low) / 2


def from_figure(shown: float, band: Band, scope: ScopeErrors, source: str = "") -> BenchReading:
    """A figure that a person read off the screen [V peak to peak].

    Noise raises it by something between nothing and all of what the scope shows of noise alone; the screen's steps are
    read to half a one; the ground lead raises nothing that is known without the waveform.

    >>> from filterlib.analysis.ripple.spectra import Band
    >>> one = from_figure(4.8e-3, Band("20MHz", 20e6, 1), ScopeErrors())
    >>> round(1e3 * one.value, 2), one.low < 4.3e-3 < one.high
    (4.3, True)
    """
    noise = min(scope.noise, shown)
    step = 0.0 if scope.full_scale is None else scope.full_scale / 2**scope.bits

    def cases(random: np.random.Generator, count: int) -> np.ndarray:
        true = shown - noise * random.uniform(0, 1, count) + step * random.uniform(-0.5, 0.5, (2, count)).sum(axis=0)
        return np.asarray(np.maximum(true, 0.0)[None] / scope.gains(random, count))

    found = drawn(cases, ends=middle)
    ends = float(found.low[0]), float(found.high[0])
    return BenchReading(shown, float(found.values[0]), *ends, noise / 2, source or "read off the screen")


def from_capture(measured: Measurement, band: Band, scope: ScopeErrors, source: str = "") -> BenchReading:
    """The peak to peak of a capture's averaged period in a band.

    Noise that is left after averaging raises a peak to peak: by how much is had from waveforms of the harmonics that are clear
    of it, with such noise added, and taken off. The ground lead raises what is near its resonance with the probe: anything between what the shortest and
    the longest lead would have done. Where nothing repeats above the noise, the true figure is anything up to the trace's own. Validity: what the noise hides is no spike of its own size.
    Raises: FilterlibError where the capture has no single period.
    """
    if measured.average is None and measured.periods.pattern == "none":
        return _all_noise(measured, band, scope, source)
    lines = harmonics(measured, beyond=True)
    kept = band.response(lines.frequencies)
    limited = measured.recording.bandwidth is not None and band.bandwidth is not None
    if limited and measured.recording.bandwidth <= _REACH * band.bandwidth:  # type: ignore[operator]
        kept = np.ones(len(lines.frequencies))  # the scope's own limit was the band's
    shown = float(rough_peak_to_peak(lines.coefficients * kept))
    more, spread = _noise_adds(lines.coefficients * kept, lines.noise * np.abs(kept))
    leads = sorted(
        float(rough_peak_to_peak(lines.coefficients * kept / scope.response(lines.frequencies, length))) / shown
        for length in scope.lead
    )

    def cases(random: np.random.Generator, count: int) -> np.ndarray:
        true = shown - more * random.uniform(0.5, 1.5, count) + spread * random.standard_normal(count)
        lead = random.uniform(leads[0], leads[1], count)
        return np.asarray(np.maximum(true * lead, 0.0)[None] / scope.gains(random, count))

    found = drawn(cases, ends=middle)
    ends = float(found.low[0]), float(found.high[0])
    return BenchReading(
        shown, float(found.values[0]), *ends, more, source or measured.recording.file, *_reach(measured, band)
    )


def _reach(measured: Measurement, band: Band) -> tuple[float, bool]:
    """Up to which frequency [Hz] a capture shows anything, and whether that is too little for a band."""
    reach = measured.recording.bandwidth or 0.5 / measured.recording.sample_interval
    short = reach * _REACH < (band.bandwidth or np.inf) and (band.bandwidth is not None or limited_below(measured))
    return reach, short


def _all_noise(measured: Measurement, band: Band, scope: ScopeErrors, source: str) -> BenchReading:
    """Of a trace in which nothing repeats: what is there is no larger than the trace itself."""
    shown = measured.recording.peak_to_peak
    high = shown / ((1 - scope.gain) * (1 - scope.probe_gain))
    return BenchReading(
        shown, shown / 2, 0.0, high, shown / 2, source or measured.recording.file, *_reach(measured, band)
    )


def limited_below(measured: Measurement) -> bool:
    """Whether a capture was taken with the scope's low-pass for ripple, so that spikes are not in it."""
    limit = measured.recording.bandwidth
    return limit is not None and limit <= _REACH * measured.bandwidth


def _noise_adds(coefficients: np.ndarray, noise: np.ndarray) -> tuple[float, float]:
    """By how much noise raises the peak to peak [V], and by how much it scatters: of the harmonics that are clear of it."""
    clear = np.where(np.abs(coefficients) > CLEAR * noise, coefficients, 0.0)
    random = np.random.default_rng(1)
    fresh = random.standard_normal((2, _NOISY, len(noise))) * noise / np.sqrt(2)
    noisy = rough_peak_to_peak(clear + fresh[0] + 1j * fresh[1])
    return max(float(np.mean(noisy) - rough_peak_to_peak(clear)), 0.0), float(np.std(noisy))
