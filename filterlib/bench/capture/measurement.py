"""What one recording says: period, ripple and spike, jitter, noise and spectrum."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Hertz, Seconds, Unit, Volts
from filterlib.bench.capture.absurd import refuse_absurd
from filterlib.bench.capture.averaging import Average, average_periods, kept_by_averaging
from filterlib.bench.capture.bursts import Pulses, pulses_within
from filterlib.bench.capture.noise_floor import Spectrum, spectrum
from filterlib.bench.capture.periods import Periods, find_periods, in_bursts
from filterlib.bench.capture.recording import Recording
from filterlib.network.spectrum import fast_length
from filterlib.network.waveform import Waveform, lowpass_response
from filterlib.units import format_quantity

BANDWIDTH = 20e6
"""Border between ripple and spike [Hz]; common practice for supplies, no source."""
_PERIODS_PER_PIECE = 32  # of the spectrum: lines at a 32nd of the switching frequency
_SAME_CLOCK = 0.01  # share by which switching frequencies of one converter may differ
_READ = 0.4  # of the sample rate, up to which harmonics are read: see `filterlib.bench.capture.harmonics`
_BLOCK = 2**20
_SETTLED = 12  # time constants of the low-pass until nothing is left of the beginning
_CLEAR = 4  # times the middle power above the border, the peak of a ring is believed
_ANOTHER = 6.0  # times its noise, a line at half the frequency is believed: no source
_LEAST = 2e-3  # and share of the whole's root mean square, below which a clock's own unevenness may make it: no source
_ERASED = 0.9  # share of a spike's ring that averaging must keep to be worth no remark


@dataclass(frozen=True)
class Swing:
    """Peak to peak: of the whole, of the ``ripple`` behind the low-pass, of the ``spike``, which is the rest.

    ``spike`` is None where the recording does not reach beyond the low-pass.
    """

    peak_to_peak: Annotated[float, Unit("V", "whole", "whole")]
    ripple: Volts[float]
    spike: Volts[float | None]


@dataclass(frozen=True, eq=False)
class Measurement:
    """What a recording holds. None where it does not show a value, and ``remarks`` say why.

    Attributes
    ----------
    recording : Recording
    periods : Periods
        The switching period, that of bursts, or how the periods are distributed.
    mean, rms, rms_about_mean : float
        Of all samples as they are; ``rms`` includes the mean.
    noise : float
        Root mean square of what does not repeat, in the recording's whole band; without a single period, of the
        spectrum's floor.
    spectrum : Spectrum
        Power density and its floor [V²/Hz].
    bandwidth : float
        Border between ripple and spike.
    order : int
        Of the low-pass at that border.
    raw : Swing
        Of all samples; noise is contained.
    average : Average or None
        All periods laid over each other, with their jitter; None without a single period.
    averaged, aligned : Swing or None
        Of the mean of all periods on an even clock; of the mean of periods each moved to where it fits best.
    ring_frequency : float or None
        Where the spectrum above the border has its peak, if it has a clear one.
    remarks : tuple of str
    """

    recording: Recording
    periods: Periods
    mean: Volts[float]
    rms: Volts[float]
    rms_about_mean: Volts[float]
    noise: Annotated[float, Unit("V", key="noise_rms")]
    spectrum: Spectrum
    bandwidth: Annotated[float, Unit("Hz", key="border")]
    order: int
    raw: Swing
    average: Average | None
    averaged: Swing | None
    aligned: Swing | None
    ring_frequency: Hertz[float | None]
    remarks: tuple[str, ...]

    @property
    def peak_to_peak(self) -> float:
        """Of all samples [V]."""
        return self.raw.peak_to_peak

    @property
    def period(self) -> Seconds[float | None]:
        """After which it repeats; None where there is no single one."""
        return self.average.period if self.average else None

    @property
    def frequency(self) -> Annotated[float | None, Unit("Hz", key="repetition")]:
        """At which the recording repeats: of switching, or of bursts; None where there is no single one."""
        return 1 / self.average.period if self.average else None

    @property
    def pulses(self) -> Pulses | None:
        """Those of each burst; None where it switches all the time, or does not repeat."""
        return self.periods.pulses if self.average else None

    @property
    def switching_frequency(self) -> Hertz[float | None]:
        """That of the pulses within a burst where it bursts; None where there is no single one."""
        return 1 / self.pulses.interval if self.pulses else self.frequency

    @property
    def jitter(self) -> Seconds[float | None]:
        """Standard deviation of the periods' times about an even clock; None where there is no single period."""
        return self.average.jitter if self.average else None


def measure(recording: Recording, *, bandwidth: float = BANDWIDTH, order: int = 1) -> Measurement:
    """Measure a recording.

    Parameters
    ----------
    recording : Recording
    bandwidth : float
        Border between ripple and spike [Hz]. A recording that was taken with that limit or a lower one is not limited
        once more: all of it is ripple, and its spike is unknown.
    order : int
        Of the low-pass, see `filterlib.network.waveform.lowpass_response`.

    Returns
    -------
    Measurement

    Raises
    ------
    QuantityError
        For a bandwidth that is not positive or an order that is no whole number from 1 on.
    InputError
        For a sample interval or volts that no recording of a converter has.

    Examples
    --------
    >>> import numpy as np
    >>> times = 4e-9 * np.arange(50_000)
    >>> noise = np.random.default_rng(1).normal(0, 1e-3, times.size)
    >>> ripple = measure(Recording(0.05 * np.sin(2 * np.pi * 180e3 * times) + noise, 4e-9))
    >>> round(ripple.frequency, -3), round(ripple.averaged.ripple, 3), round(ripple.noise, 4)
    (180000.0, 0.1, 0.001)
    """
    lowpass_response(0.0, bandwidth, order)  # refuses what cannot be
    refuse_absurd(recording)
    parts = _Parts(recording, bandwidth, order)
    periods = find_periods(recording)
    average = None if periods.period is None else average_periods(recording, periods.period, periods.first)
    periods = _with_pulses(periods, average)
    density = _density(recording, periods)
    if average is not None and periods.pulses is None and _every_other_differs(recording, average.period, density):
        average = average_periods(recording, 2 * average.period, periods.first) or average
    ring = _ring(density, bandwidth) if parts.spike_known else None
    return Measurement(
        recording=recording,
        periods=periods,
        mean=recording.mean,
        rms=recording.rms,
        rms_about_mean=float(np.std(recording.volts)),
        noise=average.noise if average else density.noise,
        spectrum=density,
        bandwidth=bandwidth,
        order=order,
        raw=parts.of_samples(),
        average=average,
        averaged=parts.of_wave(average.plain) if average else None,
        aligned=parts.of_wave(average.aligned) if average else None,
        ring_frequency=ring,
        remarks=tuple(_remarks(periods, parts, average, ring)),
    )


def _every_other_differs(recording: Recording, period: float, density: Spectrum) -> bool:
    """Whether a line at half the frequency is above the noise, as of a bridge whose halves are not alike.

    A filter takes less of it off than of all others, so that behind one it may decide. A window of cosine keeps the strong lines out.
    """
    half = 0.5 / period
    whole = int(recording.samples * recording.sample_interval * half) / half
    volts = recording.volts[: round(whole / recording.sample_interval)]
    time = np.arange(volts.size) * recording.sample_interval
    window = 1 - np.cos(2 * np.pi * np.arange(volts.size) / volts.size)
    line = np.abs(np.mean(window * volts * np.exp(-2j * np.pi * half * time)))
    noise = np.sqrt(1.5 * np.interp(half, density.frequencies, density.floor) / (2 * time[-1]))
    return bool(line > _ANOTHER * noise and line > _LEAST * np.std(volts))


def over_the_longer(one: Measurement, two: Measurement) -> tuple[Measurement, Measurement]:
    """Both averaged over the longer of their periods, where it is two of the other's: halves of a bridge that are not alike.

    What repeats at half the frequency may be too small in one recording to be seen by itself.
    """
    longer = max(one.period or 0.0, two.period or 0.0)

    def over(each: Measurement) -> Measurement:
        twice = 2 * (each.period or 0.0)
        return over_period(each, twice) if twice and abs(twice / longer - 1) < _SAME_CLOCK else each

    return over(one), over(two)


def over_period(measured: Measurement, period: float) -> Measurement:
    """The same recording averaged over another period [s]; as it is where it has no two of them."""
    if (average := average_periods(measured.recording, period, measured.periods.first)) is None:
        return measured
    parts = _Parts(measured.recording, measured.bandwidth, measured.order)
    waves = parts.of_wave(average.plain), parts.of_wave(average.aligned)
    return replace(measured, average=average, averaged=waves[0], aligned=waves[1])


def _with_pulses(periods: Periods, average: Average | None) -> Periods:
    """The same, as bursts where each period holds several pulses."""
    if average is None:
        return periods
    pulses = pulses_within(average.plain, average.noise / np.sqrt(average.periods)) or periods.pulses
    return in_bursts(periods.lengths, average.period, periods.first, pulses) if pulses else periods


@dataclass(frozen=True)
class _Parts:
    """Ripple and spike separated by a low-pass."""

    recording: Recording
    bandwidth: float
    order: int

    @property
    def spike_known(self) -> bool:
        """Whether the recording reaches beyond the border."""
        reach = min(self.recording.bandwidth or np.inf, 0.5 / self.recording.sample_interval)
        return reach > 1.01 * self.bandwidth

    def of_samples(self) -> Swing:
        whole = self.recording.peak_to_peak
        if not self.spike_known:
            return Swing(whole, whole, None)
        limits = np.array([_limits(part) for piece in self._pieces() for part in piece]).reshape(-1, 2, 2)
        ripple, spike = limits[..., 1].max(axis=0) - limits[..., 0].min(axis=0)
        return Swing(whole, float(ripple), float(spike))

    def _pieces(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """The slow part of the samples and the rest, in pieces that overlap until the low-pass has forgotten the beginning."""
        interval = self.recording.sample_interval
        lost = int(np.ceil(_SETTLED * self.order / (2 * np.pi * self.bandwidth * interval))) + 1
        volts = self.recording.volts
        length = min(fast_length(_BLOCK + lost), volts.size)
        response = lowpass_response(np.fft.rfftfreq(length, interval), self.bandwidth, self.order)
        skipped = lost if length > 2 * lost else 0
        for start in range(0, volts.size - skipped, length - skipped):
            piece = volts[min(start, volts.size - length) :][:length]
            slow = np.fft.irfft(np.fft.rfft(piece) * response, length)
            yield slow[skipped:], (piece - slow)[skipped:]

    def of_wave(self, wave: Waveform) -> Swing:
        whole = float(wave.peak_to_peak)
        if not self.spike_known:
            return Swing(whole, whole, None)
        slow = wave.lowpass(self.bandwidth, self.order)
        return Swing(whole, float(slow.peak_to_peak), float((wave - slow).peak_to_peak))


def _limits(values: np.ndarray) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _density(recording: Recording, periods: Periods) -> Spectrum:
    """The spectrum in lines of a fraction of the switching frequency, without the mean."""
    volts = recording.volts - recording.mean
    if periods.median is None:
        return spectrum(volts, recording.sample_interval)
    wanted = int(_PERIODS_PER_PIECE * periods.median / recording.sample_interval)
    return spectrum(
        volts, recording.sample_interval, lines=min(fast_length(max(wanted, 64), (3, 5, 7, 11)), volts.size)
    )


def _ring(density: Spectrum, bandwidth: float) -> float | None:
    """Where the power above the border has its peak, over a harmonic's distance, as jitter spreads the harmonics."""
    smooth = np.convolve(density.density, np.full(_PERIODS_PER_PIECE, 1 / _PERIODS_PER_PIECE), mode="same")
    above = np.flatnonzero(density.frequencies > bandwidth)
    if above.size < 3 * _PERIODS_PER_PIECE:
        return None
    at = int(above[np.argmax(smooth[above])])
    inside = above[0] + _PERIODS_PER_PIECE < at < above[-1] - _PERIODS_PER_PIECE
    return float(density.frequencies[at]) if inside and smooth[at] > _CLEAR * np.median(smooth[above]) else None


def _remarks(periods: Periods, parts: _Parts, average: Average | None, ring: float | None) -> Iterator[str]:
    yield (
        f"one period, {format_quantity(1 / average.period, 'Hz', 4)}" if average and not periods.pulses else periods.why
    )
    if not parts.spike_known:
        yield f"the recording does not reach beyond {format_quantity(parts.bandwidth, 'Hz')}: its spikes are not known"
    reach, wanted = _READ / parts.recording.sample_interval, min(parts.bandwidth, parts.recording.bandwidth or np.inf)
    if reach < wanted:
        finer = format_quantity(_READ / wanted, "s", 2)
        yield (
            f"too few samples: harmonics are read up to {format_quantity(reach, 'Hz', 2)} only, and what is between there and "
            f"{format_quantity(wanted, 'Hz', 2)} makes the peak to peak larger or smaller than it is; take a sample each {finer} or less"
        )
    if average is None:
        yield "no single period: nothing is averaged, and the noise is the floor of the spectrum"
        return
    noise = format_quantity(average.jitter_resolution, "s", 2)
    shown = format_quantity(average.jitter, "s", 2) if average.jitter else f"under the {noise} that noise makes"
    yield f"jitter of the periods, standard deviation: {shown}"
    kept = float(kept_by_averaging(ring or 0.0, average.jitter))
    if kept < _ERASED:
        at = format_quantity(ring or 0.0, "Hz", 2)
        yield f"averaging keeps {100 * kept:.0f} % of what rings at {at}: take the spike from the aligned mean"
