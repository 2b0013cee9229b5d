"""One period of a voltage or current: straight lines between corners, equally spaced samples, or harmonics.

A wave of straight lines is kept as its mean and its edges: each edge begins at a time, takes a length and changes the
wave by an amount. Its derivative is then a sum of boxes, so each harmonic is a sum of sinc functions over j 2 pi k,
which stays exact for an edge of any length, a jump included.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import QuantityError
from filterlib.network.spectrum import doubled, extent, lowpass_response, sampled
from filterlib.units import quantity

__all__ = ["FEWEST_HARMONICS", "HARMONICS_PER_EDGE", "MOST_HARMONICS", "Waveform", "finite", "lowpass_response"]
FEWEST_HARMONICS, MOST_HARMONICS = 1000, 10_000
"""Bounds of `Waveform.harmonics` for lines and rings, which have no highest harmonic."""
HARMONICS_PER_EDGE = 20
"""Harmonics up to this many times the reciprocal of the shortest edge: far into the slope of -40 dB a decade."""
_BLOCK = 2**18


@dataclass(frozen=True, eq=False)
class Waveform(ABC):
    """A periodic wave, or one for each of many designs.

    Make one with `Waveform.lines`, `Waveform.sampled`, `Waveform.from_coefficients`, or with
    `filterlib.network.shapes.trapezoid` or `ring`. Waves are added, subtracted and multiplied by a number or by an array of shape (designs, 1).

    Attributes
    ----------
    period : float
        [s]

    Examples
    --------
    >>> triangle = Waveform.lines(1e-5, [0, 5e-6], [-1, 1])
    >>> float(triangle.peak_to_peak), round(float(triangle.rms), 6)
    (2.0, 0.57735)
    """

    period: float
    __array_ufunc__ = None  # so that array * wave comes to __rmul__

    @staticmethod
    def lines(period: float, times: ArrayLike, values: ArrayLike) -> Waveform:
        """A wave of straight lines between corners; the last corner joins the first one of the next period.

        Parameters
        ----------
        period : float
            [s]
        times : array (corners,) or (designs, corners)
            From 0 to the period, never falling; two equal times make a jump, and so does an edge shorter than
            2e-15 of the period, the rounding of a time [s].
        values : array (corners,) or (designs, corners)
            The wave at the corners [V or A].

        Raises
        ------
        QuantityError
            For values that are not finite, times out of order or range, or shapes that do not match.
        """
        period = quantity(period, "s", above=0, name="period")
        t, x = finite(times, "times"), finite(values, "values")
        if t.ndim == 0 or x.ndim == 0 or t.shape[-1] != x.shape[-1] or not t.shape[-1]:
            raise QuantityError(f"shape {t.shape} of times, but {x.shape} of values", name="times")
        lengths = np.diff(t, append=t[..., :1] + period)
        if np.any(lengths < 0) or np.any(t < 0):
            raise QuantityError(f"times must not fall and must stay within 0 and the period {period} s", name="times")
        changes = np.diff(x, append=x[..., :1])
        mean = np.sum(lengths * (x + changes / 2), axis=-1) / period
        return _Lines(period, mean, t, lengths, changes)

    @staticmethod
    def sampled(period: float, values: ArrayLike) -> Waveform:
        """A band-limited wave from equally spaced samples from t = 0, array (samples,) or (designs, samples).

        Raises
        ------
        QuantityError
            For no samples, or for values that are not finite.
        """
        samples = finite(values, "values")
        if samples.ndim == 0 or not samples.shape[-1]:
            raise QuantityError("at least one sample is needed", name="values")
        count = samples.shape[-1]
        coefficients = np.fft.rfft(samples) / count
        if count % 2 == 0:
            coefficients[..., -1] /= 2  # the highest harmonic is its own mirror image
        return _Series(quantity(period, "s", above=0, name="period"), _frozen(coefficients), count)

    @staticmethod
    def from_coefficients(period: float, coefficients: ArrayLike) -> Waveform:
        """The wave c_0 + 2 Re sum c_k exp(j 2 pi k t / period) from c_0 ... c_n, array (n + 1,) or (designs, n + 1).

        Raises
        ------
        QuantityError
            For no coefficients, or for some that are not finite.
        """
        series = np.atleast_1d(np.asarray(coefficients, dtype=complex))
        if not np.all(np.isfinite(series)) or not series.shape[-1]:
            raise QuantityError("the coefficients must be finite, and at least the mean is needed", name="coefficients")
        series = series.copy()
        series[..., 0] = series[..., 0].real
        return _Series(quantity(period, "s", above=0, name="period"), _frozen(series), 2 * series.shape[-1] - 1)

    @property
    def frequency(self) -> float:
        """Frequency of the fundamental [Hz]."""
        return 1 / self.period

    @property
    @abstractmethod
    def harmonics(self) -> int:
        """How many harmonics the wave needs.

        For samples and coefficients all that there are. For lines `HARMONICS_PER_EDGE` times the period over the
        shortest edge, within `FEWEST_HARMONICS` and `MOST_HARMONICS`, and the most where there is a jump.
        """

    @abstractmethod
    def coefficients(self, harmonics: int) -> np.ndarray:
        """Fourier coefficients c_0 ... c_harmonics, complex array (harmonics + 1,) or (designs, harmonics + 1).

        x(t) = c_0 + 2 Re sum c_k exp(j 2 pi k t / period). In closed form for lines; zero beyond the last harmonic of
        samples and coefficients.
        """

    @abstractmethod
    def at(self, times: ArrayLike) -> np.ndarray:
        """The wave at any times, array (t,) [s]: array (t,) or (designs, t). At a jump the value after it."""

    @abstractmethod
    def samples(self, count: int | None = None) -> np.ndarray:
        """The wave at ``count`` equally spaced times from t = 0. Samples come back as they were given."""

    @property
    @abstractmethod
    def mean(self) -> np.ndarray:
        """Mean value, array () or (designs,)."""

    @property
    @abstractmethod
    def rms(self) -> np.ndarray:
        """Root mean square with the mean included, array () or (designs,); exact."""

    @property
    @abstractmethod
    def peak_to_peak(self) -> np.ndarray:
        """Highest minus lowest value, array () or (designs,).

        Exact for lines, and to rounding for harmonics: see `filterlib.network.spectrum.extent`.
        """

    @abstractmethod
    def shifted(self, time: float) -> Waveform:
        """The same wave later by a time [s]."""

    @abstractmethod
    def __mul__(self, factor: ArrayLike) -> Waveform: ...

    def __rmul__(self, factor: ArrayLike) -> Waveform:
        return self * factor

    def __neg__(self) -> Waveform:
        return self * -1.0

    def __sub__(self, other: Waveform) -> Waveform:
        return self + -other

    def __add__(self, other: Waveform) -> Waveform:
        if not isinstance(other, Waveform):
            return NotImplemented
        if not math.isclose(self.period, other.period, rel_tol=1e-12, abs_tol=0):
            raise QuantityError(f"waves of {self.period} s and of {other.period} s cannot be added", name="period")
        if isinstance(self, _Lines) and isinstance(other, _Lines):
            return self.joined(other)
        count = max(self.harmonics, other.harmonics)
        return Waveform.from_coefficients(self.period, self.coefficients(count) + other.coefficients(count))

    def lowpass(self, bandwidth: ArrayLike | None, order: int = 1) -> Waveform:
        """The wave behind a low-pass, see `lowpass_response`; without a bandwidth the wave itself."""
        if bandwidth is None or np.all(np.isposinf(np.asarray(bandwidth, dtype=float))):
            return self
        frequencies = self.frequency * np.arange(self.harmonics + 1)
        response = lowpass_response(frequencies, bandwidth, order)
        return Waveform.from_coefficients(self.period, self.coefficients(self.harmonics) * response)


@dataclass(frozen=True, eq=False)
class _Lines(Waveform):
    """Mean (...,) and edges: starts, lengths, changes, each (..., edges); the changes of a period add up to zero."""

    level: np.ndarray
    starts: np.ndarray
    lengths: np.ndarray
    changes: np.ndarray

    @property
    def harmonics(self) -> int:
        lengths, changes = np.broadcast_arrays(self.lengths, self.changes)
        shortest = float(np.min(lengths[changes != 0], initial=self.period))
        wanted = HARMONICS_PER_EDGE * self.period / max(shortest, self.period / MOST_HARMONICS)
        return int(np.clip(math.ceil(wanted), FEWEST_HARMONICS, MOST_HARMONICS))

    def coefficients(self, harmonics: int) -> np.ndarray:
        result = np.empty((*self.level.shape, harmonics + 1), dtype=complex)
        result[..., 0] = self.level
        for k in _blocks(1, harmonics + 1, max(self.level.size, 1)):
            result[..., k] = sum(self._edge_spectra(k)) / (2j * np.pi * k)
        return result

    def _edge_spectra(self, k: np.ndarray) -> Iterator[np.ndarray]:
        """Spectrum of the derivative, edge by edge: a box of the edge's length."""
        for start, length, change in self._edges():
            turns = np.mod(k * ((start + length / 2) / self.period), 1)
            yield change * (np.exp(-2j * np.pi * turns) * np.sinc(k * (length / self.period)))

    def _edges(self) -> Iterator[tuple[np.ndarray, ...]]:
        """Start, length and change of each edge that moves, shapes (1,) or (designs, 1)."""
        for edge in np.flatnonzero(np.any(self.changes != 0, axis=tuple(range(self.changes.ndim - 1)))):
            yield tuple(values[..., edge, None] for values in (self.starts, self.lengths, self.changes))

    def at(self, times: ArrayLike) -> np.ndarray:
        return self._value(np.asarray(times, dtype=float))

    def _value(self, times: np.ndarray, before: bool = False) -> np.ndarray:
        """The wave at times (t,) or (designs, t), after or before a jump there, to the rounding of a time."""
        soon = 8 * np.finfo(float).eps * self.period
        total = self.level[..., None] + np.zeros(times.shape)
        for start, length, change in self._edges():
            since = np.mod(times - start, self.period)
            if before:
                since = np.where(since <= soon, self.period, since)
            else:
                since = np.where(since >= self.period - soon, 0.0, since)
            rising = since < length - soon
            passed = np.where(rising, since / np.where(length > soon, length, 1.0), 1.0)
            total = total + change * (passed - 0.5 - (since - length / 2) / self.period)
        return total

    def samples(self, count: int | None = None) -> np.ndarray:
        count = 2 * self.harmonics if count is None else count
        return self.at(np.arange(count) * (self.period / count))

    def _limits(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Sorted times of all corners, and the wave just before and just after each."""
        ends = np.mod(self.starts + self.lengths, self.period)
        corners = np.sort(np.concatenate([self.starts, ends], axis=-1), axis=-1)
        return corners, self._value(corners, before=True), self._value(corners)

    @property
    def mean(self) -> np.ndarray:
        return self.level

    @property
    def rms(self) -> np.ndarray:
        corners, before, first = self._limits()
        last = np.roll(before, -1, axis=-1)
        lengths = np.diff(corners, append=corners[..., :1] + self.period)
        squares = lengths * (first**2 + first * last + last**2)
        return np.asarray(np.sqrt(np.sum(squares, axis=-1) / (3 * self.period)))

    @property
    def peak_to_peak(self) -> np.ndarray:
        values = np.concatenate(self._limits()[1:], axis=-1)
        return np.asarray(np.ptp(values, axis=-1))

    def shifted(self, time: float) -> Waveform:
        return replace(self, starts=_frozen(np.mod(self.starts + time, self.period)))

    def joined(self, other: _Lines) -> _Lines:
        """The sum of two waves of lines has the edges of both."""
        edges = (
            _frozen(_beside(getattr(self, name), getattr(other, name))) for name in ("starts", "lengths", "changes")
        )
        return _Lines(self.period, self.level + other.level, *edges)

    def __mul__(self, factor: ArrayLike) -> Waveform:
        gain = _gain(factor)
        return replace(self, level=_frozen(self.level * gain[..., 0]), changes=_frozen(self.changes * gain))


@dataclass(frozen=True, eq=False)
class _Series(Waveform):
    """Coefficients c_0 ... c_n, shape (..., n + 1), and the number of samples that carries them."""

    terms: np.ndarray
    count: int

    @property
    def harmonics(self) -> int:
        return int(self.terms.shape[-1]) - 1

    def coefficients(self, harmonics: int) -> np.ndarray:
        missing = max(harmonics - self.harmonics, 0)
        return np.pad(self.terms[..., : harmonics + 1], [(0, 0)] * (self.terms.ndim - 1) + [(0, missing)])

    def at(self, times: ArrayLike) -> np.ndarray:
        turns = np.asarray(times, dtype=float) / self.period
        result = np.empty(self.terms.shape[:-1] + turns.shape)
        for block in _blocks(0, turns.size, self.harmonics + 1):
            waves = np.exp(2j * np.pi * np.mod(np.outer(np.arange(self.harmonics + 1), turns[block]), 1))
            result[..., block] = (doubled(self.terms) @ waves).real
        return result

    def samples(self, count: int | None = None) -> np.ndarray:
        count = self.count if count is None else count
        finer = -(-(2 * self.harmonics + 1) // count)
        return sampled(self.terms, count * finer)[..., ::finer]

    @property
    def mean(self) -> np.ndarray:
        return self.terms[..., 0].real

    @property
    def rms(self) -> np.ndarray:
        return np.asarray(np.sqrt(self.mean**2 + 2 * np.sum(np.abs(self.terms[..., 1:]) ** 2, axis=-1)))

    @property
    def peak_to_peak(self) -> np.ndarray:
        return extent(self.terms)

    def shifted(self, time: float) -> Waveform:
        turns = np.mod(np.arange(self.harmonics + 1) * (time / self.period), 1)
        return replace(self, terms=_frozen(self.terms * np.exp(-2j * np.pi * turns)))

    def __mul__(self, factor: ArrayLike) -> Waveform:
        return replace(self, terms=_frozen(self.terms * _gain(factor)))


def _blocks(start: int, stop: int, weight: int) -> Iterator[np.ndarray]:
    """Indices in pieces that hold about `_BLOCK` numbers when each index stands for ``weight`` of them."""
    size = max(_BLOCK // weight, 1)
    for first in range(start, stop, size):
        yield np.arange(first, min(first + size, stop))


def _beside(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    lead = np.broadcast_shapes(first.shape[:-1], second.shape[:-1])
    return np.concatenate([np.broadcast_to(part, (*lead, part.shape[-1])) for part in (first, second)], axis=-1)


def _gain(factor: ArrayLike) -> np.ndarray:
    gain = finite(factor, "factor")
    if gain.ndim and gain.shape[-1] != 1:
        raise QuantityError(f"a number or shape (designs, 1) is needed, not {gain.shape}", name="factor")
    return np.atleast_1d(gain)


def finite(values: ArrayLike, name: str) -> np.ndarray:
    """Values as a frozen array of floats.

    Raises
    ------
    QuantityError
        Naming the argument, where one is not finite.
    """
    array = np.array(values, dtype=float)
    if not np.all(np.isfinite(array)):
        raise QuantityError("every value must be finite", name=name, value=values)
    return _frozen(array)


def _frozen(array: np.ndarray) -> np.ndarray:
    array = np.asarray(array)
    array.setflags(write=False)
    return array
