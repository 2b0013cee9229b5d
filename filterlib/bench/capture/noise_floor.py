"""Spectrum of a recording with its noise floor."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from filterlib.errors import QuantityError

_BAND, _FEWEST_LINES = 1.12, 48
"""Ratio of the ends of a band of the noise floor, and how many lines it has at least: more than are between harmonics
of the switching frequency."""


@dataclass(frozen=True, eq=False)
class Spectrum:
    """One-sided power density of a recording.

    Attributes
    ----------
    frequencies : array (f,)
        From 0 to half the sample rate [Hz].
    density : array (f,)
        Mean square in each line over the line's width [V²/Hz].
    floor : array (f,)
        Of the noise: the middle line of each band, which the few lines of harmonics do not move [V²/Hz].
    noise_width : float
        Width of a line as noise sees it [Hz].
    """

    frequencies: np.ndarray
    density: np.ndarray
    floor: np.ndarray
    noise_width: float

    @property
    def amplitude(self) -> np.ndarray:
        """What a sine that falls into each line has, root mean square, array (f,) [V]."""
        return np.sqrt(self.density * self.noise_width)

    @property
    def amplitude_floor(self) -> np.ndarray:
        """What the noise shows in each line, root mean square, array (f,) [V]."""
        return np.sqrt(self.floor * self.noise_width)

    @property
    def mean_square(self) -> float:
        """Sum over all lines [V²]."""
        return float(np.sum(self.density) * (self.frequencies[1] - self.frequencies[0]))

    @property
    def noise(self) -> float:
        """Root mean square of the floor, over the whole band [V]."""
        return float(np.sqrt(np.sum(self.floor) * (self.frequencies[1] - self.frequencies[0])))


def spectrum(volts: np.ndarray, sample_interval: float, *, lines: int | None = None, window: str = "hann") -> Spectrum:
    """Power density, averaged over pieces that overlap by half.

    Parameters
    ----------
    volts : array (samples,)
        [V]
    sample_interval : float
        [s]
    lines : int, optional
        Samples of a piece; all of them by default.
    window : str
        "hann", or "none", with which one piece obeys Parseval exactly: `Spectrum.mean_square` is that of the samples.

    Raises
    ------
    QuantityError
        For another window, or pieces of under two samples or longer than the recording.

    Notes
    -----
    Source: P. D. Welch, The Use of Fast Fourier Transform for the Estimation of Power Spectra, IEEE Trans. Audio
    Electroacoust. 15 (1967), from memory. The middle one of lines that average k pieces lies (1 - 1/(9 k))³ below
    their mean: Wilson and Hilferty (1931), from memory.

    Examples
    --------
    >>> import numpy as np
    >>> sine = np.sqrt(2) * np.sin(2 * np.pi * 1e5 * 1e-6 * np.arange(1000))
    >>> sine_spectrum = spectrum(sine, 1e-6)
    >>> round(float(sine_spectrum.amplitude[100]), 3), round(sine_spectrum.mean_square, 3)
    (1.0, 1.0)
    """
    count = volts.size if lines is None else lines
    if not 2 <= count <= volts.size:
        raise QuantityError(f"2 to {volts.size} samples make a piece", name="lines", value=lines)
    if window not in ("hann", "none"):
        raise QuantityError("hann or none", name="window", value=window)
    weights = np.ones(count) if window == "none" else 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count)
    starts = range(0, volts.size - count + 1, max(count // 2, 1))
    power = np.zeros(count // 2 + 1)
    for start in starts:
        power += np.abs(np.fft.rfft(volts[start : start + count] * weights)) ** 2
    sides = np.full(power.size, 2.0)
    sides[0] = 1
    if count % 2 == 0:
        sides[-1] = 1
    density = sides * power * sample_interval / (len(starts) * np.sum(weights**2))
    frequencies = np.arange(power.size) / (count * sample_interval)
    width = float(np.sum(weights**2) / np.sum(weights) ** 2 / sample_interval)
    return Spectrum(frequencies, density, _floor(density, len(starts)), width)


def _floor(density: np.ndarray, pieces: int) -> np.ndarray:
    """Middle line of each band, lifted to the mean of noise, in straight lines between the bands' middles."""
    edges = [min(1, density.size - 1)]
    while edges[-1] < density.size:
        following = max(edges[-1] + _FEWEST_LINES, int(edges[-1] * _BAND))
        edges.append(following if following + _FEWEST_LINES <= density.size else density.size)
    lift = (1 - 1 / (9 * pieces)) ** 3 if pieces > 1 else np.log(2)
    middles = [float(np.median(density[low:high])) / lift for low, high in pairwise(edges)]
    return np.interp(np.arange(density.size), [(low + high - 1) / 2 for low, high in pairwise(edges)], middles)
