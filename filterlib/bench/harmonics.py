"""The harmonics of a recording, and which of them stand above its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.bench.averaging import MOST_ALIGNED
from filterlib.bench.measurement import Measurement

CLEAR = 3.0
"""Times the noise's root mean square from which on a harmonic counts: noise alone passes it once in exp(9) = 8000."""
_REACH = 0.4  # of the sample rate: up to there the average between samples is trusted


@dataclass(frozen=True, eq=False)
class Harmonics:
    """Of the mean of all periods, each moved to where it fits best.

    Attributes
    ----------
    orders : array (h,)
        1, 2 ... as far as the recording's bandwidth, and two fifths of its sample rate.
    frequencies : array (h,)
        [Hz]
    amplitudes : array (h,)
        Peak [V].
    noise : array (h,)
        Root mean square of what the noise alone makes of an amplitude [V].
    """

    orders: np.ndarray
    frequencies: np.ndarray
    amplitudes: np.ndarray
    noise: np.ndarray

    @property
    def clear(self) -> np.ndarray:
        """Which ones stand above the noise, bool (h,)."""
        return self.amplitudes > CLEAR * self.noise

    def strongest(self, most: int) -> np.ndarray:
        """Indices of at most ``most`` harmonics, the strongest first."""
        return np.argsort(-self.amplitudes)[:most]


def harmonics(found: Measurement) -> Harmonics | None:
    """The harmonics of a measurement; None where it has no single period.

    Notes
    -----
    A noise of density S [V²/Hz] makes of a sine's amplitude, read over a time T, a root mean square of
    sqrt(2 S / T): half the density lies at each sign of the frequency, and a line of the Fourier transform is 1/T
    wide. Source: A. V. Oppenheim and R. W. Schafer, Discrete-Time Signal Processing, periodogram (from memory).

    Examples
    --------
    >>> from filterlib.bench.measurement import measure
    >>> from filterlib.bench.recording import Recording
    >>> times = 4e-9 * np.arange(50_000)
    >>> noise = np.random.default_rng(1).normal(0, 1e-3, times.size)
    >>> sine = 0.05 * np.sin(2 * np.pi * 180e3 * times)
    >>> held = harmonics(measure(Recording(sine + noise, 4e-9)))
    >>> round(float(held.amplitudes[0]), 4), held.orders[held.clear].tolist()
    (0.05, [1])
    """
    average, recording = found.average, found.recording
    if average is None:
        return None
    reach = min(recording.bandwidth or np.inf, _REACH / recording.sample_interval)
    orders = np.arange(1, max(1, int(reach * average.period)) + 1)
    frequencies = orders / average.period
    floor = np.interp(frequencies, found.spectrum.frequencies, found.spectrum.floor)
    taken = min(average.periods, MOST_ALIGNED) * average.period
    amplitudes = 2 * np.abs(average.aligned.coefficients(int(orders[-1]))[1:])
    return Harmonics(orders, frequencies, amplitudes, np.sqrt(2 * floor / taken))
