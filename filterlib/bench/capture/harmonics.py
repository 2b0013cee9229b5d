"""The harmonics of a recording's period, each with its noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Unit
from filterlib.bench.capture.averaging import MOST_ALIGNED
from filterlib.bench.capture.measurement import Measurement
from filterlib.errors import FilterlibError

CLEAR = 4.0
"""Times its noise, a harmonic is believed."""
_NYQUIST = 0.8  # share of half the sample rate up to which reading between the samples is trusted


@dataclass(frozen=True, eq=False)
class Harmonics:
    """Harmonics 1 ... h of the averaged period.

    Attributes
    ----------
    orders : array (h,)
        1, 2, ...
    frequencies : array (h,)
    coefficients : array (h,)
        Complex c_k of c_0 + 2 Re sum c_k exp(j 2 pi k t / period); its beginning is not known.
    noise : array (h,)
        Standard uncertainty of each coefficient, its root mean square distance from the true one.
    """

    orders: np.ndarray
    frequencies: Annotated[np.ndarray, Unit("Hz", key="harmonic")]
    coefficients: Annotated[np.ndarray, Unit("V", key=None)]
    noise: Annotated[np.ndarray, Unit("V", key=None)]

    @property
    def clear(self) -> np.ndarray:
        """True where a harmonic is well above its noise, bool array (h,)."""
        clear: np.ndarray = np.abs(self.coefficients) > CLEAR * self.noise
        return clear

    @property
    def amplitudes(self) -> Annotated[np.ndarray, Unit("V", key="harmonic_peak")]:
        """Peak of each sine, array (h,); the noise makes twice that of a coefficient of it."""
        amplitudes: np.ndarray = 2 * np.abs(self.coefficients)
        return amplitudes

    def strongest(self, most: int) -> np.ndarray:
        """Indices of at most ``most`` harmonics, the strongest first."""
        return np.argsort(-self.amplitudes)[:most]


def harmonics(measured: Measurement, *, top: float = np.inf, beyond: bool = False) -> Harmonics:
    """All harmonics up to ``top`` [Hz], the recording's bandwidth, and what its sample rate allows.

    ``beyond``: also those beyond the bandwidth, as far as the scope's low-pass left them: all that is on its screen.

    Where the periods jitter, those of the aligned mean, else of the plain one. The noise is the floor of the
    spectrum at each harmonic, spread over the time that was averaged: of a floor S [V²/Hz] over a time T, S / (2 T) is
    the mean square of a coefficient.

    Raises
    ------
    FilterlibError
        Where the recording has no single period.

    Notes
    -----
    Source: the coefficients' variance is that of a periodogram: P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967),
    from memory.

    Examples
    --------
    >>> from filterlib.bench.capture.measurement import measure
    >>> from filterlib.bench.capture.recording import Recording
    >>> times = 4e-9 * np.arange(50_000)
    >>> noise = np.random.default_rng(1).normal(0, 1e-3, times.size)
    >>> lines = harmonics(measure(Recording(0.05 * np.sin(2 * np.pi * 180e3 * times) + noise, 4e-9)))
    >>> round(float(2 * abs(lines.coefficients[0])), 3), lines.orders[lines.clear]
    (0.05, array([1]))
    >>> bool(3e-6 < lines.noise[0] < 6e-6)    # 1 mV over the root of 50,000 samples
    True
    """
    average, recording = measured.average, measured.recording
    if average is None:
        raise FilterlibError(f"{recording.file or 'the recording'}: {measured.periods.why}; a single one is needed")
    wave = average.aligned if average.jitter else average.plain
    most = 0.5 / recording.sample_interval
    limit = min(top, most if beyond else min(recording.bandwidth or np.inf, _NYQUIST * most))
    orders = np.arange(1, int(limit * average.period * (1 + 1e-9)) + 1)
    frequencies = orders / average.period
    floor = np.interp(frequencies, measured.spectrum.frequencies, measured.spectrum.floor)
    averaged = (min(average.periods, MOST_ALIGNED) if average.jitter else average.periods) * average.period
    return Harmonics(orders, frequencies, wave.coefficients(orders.size)[1:], np.sqrt(floor / (2 * averaged)))
