"""What a measuring receiver reads of a periodic signal: peak, quasi-peak and average, in the standard's bandwidths.

The receiver is tuned to each harmonic in turn, or to any other frequency, where its filter lets through what lines are in
reach. The envelope behind that filter repeats with the signal's period. All detectors read the rms of a sine: one line alone within the filter reads the same on all
three. Source of bandwidths and time constants: CISPR 16-1-1, tables of the quasi-peak receiver (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.analysis.described import Hertz, Seconds
from filterlib.errors import QuantityError

DETECTORS = ("peak", "quasi_peak", "average")
REACH = 2.0  # bandwidths either side within which lines count: the filter is 96 dB down there
MICROVOLT = 1e-6  # rms [V], the zero of dBµV
_SAMPLES = 8  # of the envelope, for each line within reach
_ROWS = 2**21  # envelope samples in memory at a time
_TUNED = 1e-3  # of the bandwidth beside a line at which a receiver is as good as tuned to it
_CLOSE = 1e-8  # change of a charge, as a share, at which the search ends: it converges in squares, and rounding is 1e-11 of it
_ROUNDS = 60

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ReceiverBand:
    """A range of tuning, ``low`` to ``high``, and the receiver in it.

    ``bandwidth`` between the points at half height (-6 dB); ``charge``, ``discharge``: time constants of the
    quasi-peak detector; ``meter``: of the critically damped instrument behind it.
    """

    name: str
    low: Hertz[float]
    high: Hertz[float]
    bandwidth: Hertz[float]
    charge: Seconds[float]
    discharge: Seconds[float]
    meter: Seconds[float]

    def alone(self, spacing: float) -> bool:
        """True where lines ``spacing`` [Hz] apart are never in the filter together: all detectors then agree."""
        return spacing > REACH * self.bandwidth


_ROUNDING = 1e-9
BANDS = (
    ReceiverBand("A", 9e3, 150e3, 200.0, 45e-3, 500e-3, 160e-3),
    ReceiverBand("B", 150e3, 30e6, 9e3, 1e-3, 160e-3, 160e-3),
    ReceiverBand("C and D", 30e6, 1e9, 120e3, 1e-3, 550e-3, 100e-3),
)
_EDGES = (9e3 * (1 - _ROUNDING), 150e3 * (1 - _ROUNDING), 30e6 * (1 + _ROUNDING), 1e9 * (1 + _ROUNDING))


def by_band(frequencies: ArrayLike) -> dict[ReceiverBand, NDArray[np.intp]]:
    """Which of the frequencies (f,) [Hz] are received in which band: 150 kHz and 30 MHz both in band B.

    >>> {band.name: places.tolist() for band, places in by_band([1e3, 100e3, 150e3, 30e6, 30.1e6]).items()}
    {'A': [1], 'B': [2, 3], 'C and D': [4]}
    """
    place = np.searchsorted(_EDGES, np.asarray(frequencies, dtype=float), side="right")
    places = {band: np.flatnonzero(place == number) for number, band in enumerate(BANDS, 1)}
    return {band: chosen for band, chosen in places.items() if chosen.size}


def heard(low: float, high: float) -> tuple[float, float]:
    """Between which frequencies [Hz] lines are in the filter of a receiver that is tuned from ``low`` to ``high`` [Hz].

    >>> heard(150e3, 30e6)
    (132000.0, 30018000.0)
    """
    below, above = (REACH * next(iter(by_band([end]))).bandwidth for end in (low, high))
    return max(low - below, BANDS[0].low), high + above


def filter_response(offsets: ArrayLike, bandwidth: float) -> Array:
    """Response of the intermediate-frequency filter at ``offsets`` [Hz] from its centre: Gaussian, half at half the bandwidth.

    The standard states a mask and no shape; a Gaussian lies within it (common practice, no source).

    >>> filter_response([0, 4500, 9000], 9e3).tolist()
    [1.0, 0.5, 0.0625]
    """
    return 2.0 ** -((2 * np.asarray(offsets, dtype=float) / bandwidth) ** 2)


def tunings(lines: ArrayLike, spacing: float, ends: ArrayLike = ()) -> Array:
    """Where a receiver is tuned that looks for the highest readings (t,) [Hz].

    To each of the ``lines`` (h,) [Hz], ``spacing`` [Hz] apart; midway between those that share its filter, where they may beat
    higher; and to each of the ``ends`` of a limit (e,) [Hz] that lies beside the lines but within the filter's reach of one.

    >>> tunings([145e3, 290e3], 145e3, [150e3, 500e3]).tolist()
    [145000.0, 290000.0, 150000.0]
    """
    on, beside = np.asarray(lines, dtype=float), np.asarray(ends, dtype=float)
    between = on[:-1] + spacing / 2
    away = np.abs(beside - spacing * np.maximum(np.rint(beside / spacing), 1)) / _bandwidths(beside)
    return np.concatenate(
        [on, between[spacing <= REACH * _bandwidths(between)], beside[(away > _TUNED) & (away <= REACH)]]
    )


def _bandwidths(frequencies: Array) -> Array:
    """Of the filter, where it is tuned to each frequency (f,) [Hz]."""
    widths = np.full(frequencies.shape, np.nan)
    for band, chosen in by_band(frequencies).items():
        widths[chosen] = band.bandwidth
    return widths


def main_line(lines: ArrayLike, spacing: float, tuned: float) -> float:
    """Frequency [Hz] of the one of the ``lines`` (h,), as of `read`, that a receiver tuned to ``tuned`` [Hz] hears most.

    >>> main_line([1.0, 1e-6], 145e3, 150e3)
    145000.0
    """
    amplitudes = np.abs(np.asarray(lines))
    frequencies = spacing * np.arange(1, amplitudes.size + 1)
    passed = filter_response(frequencies - tuned, float(_bandwidths(np.array([tuned]))[0]))
    return float(frequencies[np.argmax(amplitudes * passed)])


def read(lines: ArrayLike, spacing: float, tuned: ArrayLike | None = None) -> dict[str, Array]:
    """What the receiver reads when it is tuned to each harmonic, or to other frequencies.

    Parameters
    ----------
    lines : complex array (h,) or (designs, h)
        Peak amplitudes of the harmonics 1 ... h [V] (2 c_k), with their phases.
    spacing : float
        Frequency of the signal [Hz]; harmonic k is at k times this.
    tuned : array (t,), optional
        Frequencies to which it is tuned [Hz]; without them each harmonic.

    Returns
    -------
    dict of array
        By detector ("peak", "quasi_peak", "average"), shape of ``lines``, or (t,), (designs, t) [V rms]; NaN where it is tuned
        outside 9 kHz to 1 GHz.

    Raises
    ------
    QuantityError
        Where the spacing is not positive or there is no line.

    Notes
    -----
    Exact for a strictly periodic signal. A converter whose frequency wanders or skips pulses has no such lines.
    Where several harmonics share the filter (`ReceiverBand.alone` is False), peak is the highest of the envelope,
    average its mean, and quasi-peak that of `quasi_peak`.

    Examples
    --------
    1 V peak reads 0.707 V on each detector, with lines 150 kHz apart in 9 kHz:

    >>> {name: values.round(3).tolist() for name, values in read([1.0, 0.1j], 150e3).items()}
    {'peak': [0.707, 0.071], 'quasi_peak': [0.707, 0.071], 'average': [0.707, 0.071]}

    A line at 145 kHz, read at 150 kHz in 9 kHz:

    >>> read([1.0], 145e3, [150e3])["average"].round(3).tolist()
    [0.3]
    """
    amplitudes = np.asarray(lines, dtype=complex)
    if not (np.isfinite(spacing) and spacing > 0):
        raise QuantityError("must be above 0 Hz", name="spacing", value=spacing)
    if amplitudes.ndim == 0 or not amplitudes.shape[-1]:
        raise QuantityError("at least one line is needed", name="lines", value=lines)
    centres = spacing * np.arange(1, amplitudes.shape[-1] + 1) if tuned is None else np.asarray(tuned, dtype=float)
    levels = {detector: np.full((*amplitudes.shape[:-1], centres.size), np.nan) for detector in DETECTORS}
    for band, chosen in by_band(centres).items():
        for detector, values in _in_band(amplitudes, centres[chosen], spacing, band).items():
            levels[detector][..., chosen] = values / np.sqrt(2)
    return levels


def _in_band(amplitudes: np.ndarray, tuned: Array, spacing: float, band: ReceiverBand) -> dict[str, Array]:
    """Readings, as peak amplitudes, at frequencies of one band."""
    nearest = np.clip(np.rint(tuned / spacing), 1, amplitudes.shape[-1]).astype(int) - 1
    away = (nearest + 1) * spacing - tuned
    passed = np.abs(amplitudes[..., nearest]) * filter_response(away, band.bandwidth)
    levels = {detector: passed.copy() for detector in DETECTORS}
    several = np.flatnonzero(spacing - np.abs(away) <= REACH * band.bandwidth)  # where a second line is in reach
    count = 2 * int(REACH * band.bandwidth / spacing) + 1
    size = max(1, _ROWS // (_SAMPLES * count * max(amplitudes[..., 0].size, 1)))
    for start in range(0, several.size, size):
        part = several[start : start + size]
        wave = envelope(amplitudes, nearest[part], spacing, band.bandwidth, away=away[part])
        levels["peak"][..., part] = wave.max(axis=-1)
        levels["average"][..., part] = wave.mean(axis=-1)
        levels["quasi_peak"][..., part] = quasi_peak(wave, 1 / spacing, band)
    return levels


def envelope(
    amplitudes: np.ndarray, chosen: np.ndarray, spacing: float, bandwidth: float, *, away: ArrayLike = 0.0
) -> Array:
    """One period of the envelope behind the filter, tuned next to each of the ``chosen`` harmonics (their index from 0).

    Shape (..., chosen, samples) [V peak] for ``amplitudes`` (..., h) as in `read`; ``away`` (chosen,): how far above its
    tuning each harmonic is [Hz].
    """
    reach = int((REACH * bandwidth + np.max(np.abs(away))) / spacing)
    offsets = np.arange(-reach, reach + 1)
    padded = np.pad(amplitudes, [(0, 0)] * (amplitudes.ndim - 1) + [(reach, reach)])
    passed = filter_response(np.reshape(away, (-1, 1)) + offsets * spacing, bandwidth)
    within = padded[..., chosen[:, None] + reach + offsets] * passed
    count = 2 ** int(np.ceil(np.log2(_SAMPLES * len(offsets))))
    spectrum = np.zeros((*within.shape[:-1], count), dtype=complex)
    spectrum[..., offsets] = within
    return np.abs(np.fft.ifft(spectrum, axis=-1, norm="forward"))


def quasi_peak(wave: ArrayLike, period: float, band: ReceiverBand) -> Array:
    """What the quasi-peak detector and its instrument read of an envelope, in the periodic steady state.

    Parameters
    ----------
    wave : array (..., samples)
        One period of the envelope, equally spaced [V].
    period : float
        [s]
    band : ReceiverBand
        Its time constants.

    Returns
    -------
    array (...)
        As the amplitude of a sine that reads the same [V].

    Notes
    -----
    A diode charges a capacitor from the carrier of amplitude e through a resistor while the carrier exceeds the charge v,
    mean current (sqrt(e² - v²) - v arccos(v/e)) / pi over the resistor; a second resistor discharges it all the time. The
    first is fixed by the definition of the charge time constant: 63 % of the final value after a sine is switched on.
    The steady state is the root of "charge after a period minus charge before", which is convex and falling: Newton's
    method reaches it from below after its first step. The instrument is critically damped, 1/(1 + s T)², and shows its highest.
    Source: CISPR 16-1-1, annex on the response to repeated pulses (from memory).

    Examples
    --------
    A steady envelope reads as it is; a burst of a fifth of 20 ms reads little less:

    >>> burst = np.where(np.arange(1000) < 200, 1.0, 0.0)
    >>> [round(float(quasi_peak(wave, 20e-3, BANDS[1])), 2) for wave in (np.ones(1000), burst)]
    [1.0, 0.93]
    """
    samples = np.asarray(wave, dtype=float)
    rate, calibration = _detector(band.charge, band.discharge)
    step = period / samples.shape[-1]
    fall = np.exp(-step / band.discharge)
    rows = samples.reshape(-1, samples.shape[-1])
    charge, left = calibration * rows.mean(axis=-1), np.arange(len(rows))
    for _ in range(_ROUNDS):
        after, slope, _ = _one_period(charge[left], rows[left], rate * step, fall)
        move = (after - charge[left]) / (1 - slope)
        charge[left] += move
        left = left[np.abs(move) > _CLOSE * charge[left]]
        if not left.size:
            break
    charges = _one_period(charge.reshape(samples.shape[:-1]), samples, rate * step, fall)[2]
    spectrum = np.fft.rfft(charges, axis=-1)
    instrument = 1 / (1 + 2j * np.pi * np.arange(spectrum.shape[-1]) * band.meter / period) ** 2
    return np.asarray(np.fft.irfft(spectrum * instrument, samples.shape[-1], axis=-1).max(axis=-1) / calibration)


def _one_period(charge: Array, samples: Array, gain: float, fall: float) -> tuple[Array, Array, Array]:
    """Charge after a period, its slope against the charge before, and the charge after each sample."""
    slope, charges = np.ones_like(charge), np.empty_like(samples)
    for index in range(samples.shape[-1]):
        current, conduction = _current(samples[..., index], charge)
        charge = (charge + gain * current) * fall
        slope = slope * (1 - gain * conduction) * fall
        charges[..., index] = charge
    return charge, slope, charges


def _current(amplitude: Array, charge: Array) -> tuple[Array, Array]:
    """Mean charging current for a resistor of 1, and how much it falls with the charge: the share of the carrier's cycle."""
    ratio = np.minimum(charge / np.where(amplitude > 0, amplitude, 1.0), 1.0)
    ratio = np.where(amplitude > 0, ratio, 1.0)
    share = np.arccos(ratio) / np.pi
    return amplitude * (np.sqrt(1 - ratio**2) / np.pi - ratio * share), share


@lru_cache(maxsize=16)
def _detector(charge: float, discharge: float) -> tuple[float, float]:
    """Charging rate [1/s], and the final value for a sine of amplitude 1, of a detector with these time constants [s]."""
    from scipy.integrate import quad
    from scipy.optimize import brentq

    def current(output: float) -> float:
        return float((np.sqrt(1 - output**2) - output * np.arccos(output)) / np.pi)

    def final(rate: float) -> float:
        return float(
            brentq(lambda output: rate * current(output) - output / discharge, 0.0, 1.0, xtol=1e-15, rtol=1e-14)
        )

    def rise(rate: float) -> float:
        whole = (1 - np.exp(-1)) * final(rate)
        return float(quad(lambda output: 1 / (rate * current(output) - output / discharge), 0, whole)[0])

    rate = brentq(lambda rate: rise(rate) - charge, 1 / charge, 100 / charge, rtol=1e-13)
    return float(rate), final(rate)
