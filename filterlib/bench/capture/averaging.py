"""All periods of a recording laid over each other: their mean, how far each one strays, and what is left as noise."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from filterlib.bench.capture.recording import Recording
from filterlib.network.spectrum import fast_length
from filterlib.network.waveform import Waveform

MOST_ALIGNED = 2000
"""Periods whose time is found one by one; of more, as many are taken, evenly spread."""
_BLOCK = 2**19  # samples of periods at a time
_ROUNDS = 4  # at most, of aligning to a mean that sharpens
_FEW = 32  # periods, whose mean the first guess of the period may blur
_REACH = 1 / 16  # of a period, within which a period is looked for
_CLEAR_JITTER = 1.2  # times what the noise makes of it, jitter is believed
_FINEST = 0.01  # of a sample interval; finer times cannot be resolved between samples
_CLEAR = 16  # times its noise, the power from which on a harmonic of the mean is believed
_CLOSING = 64  # samples at least, from the end back to the beginning
_NODES = (-2, -1, 0, 1, 2, 3)
_POLYNOMIALS = [
    np.poly([one for one in _NODES if one != node]) / math.prod(node - one for one in _NODES if one != node)
    for node in _NODES
]


@dataclass(frozen=True, eq=False)
class Average:
    """The periods of a recording.

    Attributes
    ----------
    period : float
        Refined by the times of all periods [s].
    periods : int
        How many were averaged.
    plain : Waveform
        Mean of all periods, each where an even clock puts it [V].
    aligned : Waveform
        Mean of up to `MOST_ALIGNED` periods, each moved to where it fits best, so that jitter erases less [V].
    scatter : array (n,)
        Standard deviation over the periods, at n even times of the plain mean [V].
    jitter : float
        Standard deviation of the periods' times about an even clock [s]; 0 where the noise explains it.
    jitter_resolution : float
        What the noise alone makes of the times found [s].
    noise : float
        Root mean square of what differs from the aligned mean, as the recording has it [V].
    """

    period: float
    periods: int
    plain: Waveform
    aligned: Waveform
    scatter: np.ndarray
    jitter: float
    jitter_resolution: float
    noise: float


def kept_by_averaging(frequency: float | np.ndarray, jitter: float) -> np.ndarray:
    """Share of a sine that is left when many periods with a random error of time are averaged.

    Parameters
    ----------
    frequency : float or array (f,)
        [Hz]
    jitter : float
        Standard deviation of the time, normally distributed [s].

    Notes
    -----
    Source: characteristic function of the normal distribution, exp(-(2 pi f s)² / 2); any textbook on probability.

    Examples
    --------
    >>> round(float(kept_by_averaging(50e6, 5e-9)), 2)
    0.29
    """
    return np.exp(-((2 * np.pi * np.asarray(frequency) * jitter) ** 2) / 2)


def average_periods(recording: Recording, period: float, first: float) -> Average | None:
    """Average a recording over its period; None where it has no two of them, which would show their noise.

    Parameters
    ----------
    recording : Recording
    period, first : float
        First guesses: the period, and the time of an event after the first sample [s].

    Notes
    -----
    Between samples the recording is read as the band-limited wave that goes through them: by a Fourier series at twice
    the rate, and a polynomial through six of those; 2 % low at four fifths of half the sample rate. Each period's
    time is where it correlates best with the mean, which is then computed again; a straight line through the times
    gives the period, and what strays from it is jitter. What the noise makes of a time is the bound of Cramér and Rao: noise / (root of the sum of squares of the mean's slope). Harmonics of the mean that the
    noise explains are left out of both; half the difference of the means of every other period measures that noise.
    """
    finer = _doubled(recording.volts)
    room = _REACH * period
    fold = _Fold(recording, finer, period, room + (first - room) % period)
    if fold.periods < 2:
        return None
    chosen = np.unique(np.linspace(0, fold.periods - 1, min(fold.periods, MOST_ALIGNED)).astype(int))
    start = fold.like_one(chosen) if chosen.size < _FEW else np.zeros(chosen.size)
    delays, mean, clear = fold.aligned(chosen, start)
    slope, offset = map(float, np.polyfit(chosen, delays, 1))
    strays = delays - slope * chosen - offset
    fold = _Fold(recording, finer, period + slope, fold.first + offset)
    if abs(slope) > _FINEST * recording.sample_interval:  # the mean was read over a period that is not the true one
        strays, mean, clear = fold.aligned(chosen, strays)
    plain, scatter = fold.mean_and_scatter()
    noise = fold.noise(chosen, strays, mean)
    jitter, resolution = _jitter(strays, noise, clear, fold.period, recording.sample_interval)
    waves = [Waveform.sampled(fold.period, values) for values in (plain, mean)]
    return Average(fold.period, fold.periods, waves[0], waves[1], scatter, jitter, resolution, noise)


def _jitter(
    strays: np.ndarray, noise: float, clear: np.ndarray, period: float, sample_interval: float
) -> tuple[float, float]:
    """Standard deviation of the times beyond what noise makes of them, and the latter [s]."""
    slopes = 2 * np.pi * np.arange(clear.size) / period * np.abs(clear)
    steepness = math.sqrt(2 * float(np.sum(slopes**2)) * period / sample_interval)
    resolution = math.hypot(noise / steepness, _FINEST * sample_interval) if steepness else math.inf
    spread = math.sqrt(float(np.sum(strays**2)) / max(strays.size - 2, 1))
    return (math.sqrt(spread**2 - resolution**2) if spread > _CLEAR_JITTER * resolution else 0.0), resolution


@dataclass(frozen=True, eq=False)
class _Fold:
    """A recording cut into periods from a first time on, each read at ``size`` even steps."""

    recording: Recording
    finer: np.ndarray
    period: float
    first: float

    @property
    def size(self) -> int:
        return fast_length(max(int(np.ceil(self.period / self.recording.sample_interval)), 4))

    @property
    def step(self) -> float:
        """[s]"""
        return self.period / self.size

    @property
    def periods(self) -> int:
        """Whole ones, with room for the cubic and for moving each a little."""
        return int((self.recording.duration - self.first) / self.period - _REACH)

    def rows(self, chosen: np.ndarray, delays: np.ndarray) -> Iterator[np.ndarray]:
        """The chosen periods, each read later by its delay [s], arrays (some, size)."""
        some = max(_BLOCK // self.size, 2)  # one of each half at least
        for at in range(0, chosen.size, some):
            starts = self.first + chosen[at : at + some] * self.period + delays[at : at + some]
            times = starts[:, None] + self.step * np.arange(self.size)
            yield _between(self.finer, 2 * times / self.recording.sample_interval)

    def mean(self, chosen: np.ndarray, delays: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean of the chosen periods, and those of its harmonics c_k that are well above the noise, the others zero."""
        sums, counts = np.zeros((2, self.size)), np.zeros((2, 1))
        for rows in self.rows(chosen, delays):
            for half in (0, 1):
                sums[half] += rows[half::2].sum(axis=0)
                counts[half] += len(rows[half::2])
        mean = sums.sum(axis=0) / chosen.size
        harmonics, halves = np.fft.rfft(mean) / self.size, np.fft.rfft(sums / counts) / self.size
        noise = float(np.median(np.abs(halves[0] - halves[1])[1:] ** 2)) / (4 * math.log(2))
        harmonics[np.abs(harmonics) ** 2 <= _CLEAR * noise] = 0
        harmonics[0] = 0
        return mean, harmonics

    def mean_and_scatter(self) -> tuple[np.ndarray, np.ndarray]:
        """Over all periods, without moving any."""
        level = self.recording.mean
        total, squares = np.zeros(self.size), np.zeros(self.size)
        for rows in self.rows(np.arange(self.periods), np.zeros(self.periods)):
            total += (rows - level).sum(axis=0)
            squares += ((rows - level) ** 2).sum(axis=0)
        mean = total / self.periods
        scatter = np.sqrt(np.maximum(squares / self.periods - mean**2, 0))
        return mean + level, scatter

    def delays(self, chosen: np.ndarray, delays: np.ndarray, clear: np.ndarray) -> np.ndarray:
        """How much later each period comes than it was read [s], by correlation with the mean."""
        if not np.any(clear):
            return np.zeros(chosen.size)
        reach = max(int(self.size * _REACH), 2)
        delays_of_rows = []
        for rows in self.rows(chosen, delays):
            alike = np.fft.irfft(np.fft.rfft(rows) * np.conj(clear), self.size)
            near = np.concatenate([alike[:, -reach:], alike[:, : reach + 1]], axis=1)
            delays_of_rows.append((_summits(near) - reach) * self.step)
        return np.concatenate(delays_of_rows)

    def like_one(self, chosen: np.ndarray) -> np.ndarray:
        """Delays [s] at which the chosen periods are most like the middle one of them.

        Of few periods the first guess of the period is coarse, and their mean so blurred that each may be taken for one
        turn of its ring sooner or later than it comes.
        """
        still = np.zeros(chosen.size)
        (row,) = next(self.rows(chosen[[chosen.size // 2]], still[:1]))
        clear = np.fft.rfft(row) / self.size
        clear[0] = 0
        return self.delays(chosen, still, clear)

    def aligned(self, chosen: np.ndarray, delays: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Delays [s] at which the chosen periods fit their mean, that mean, and its harmonics as `mean` has them."""
        mean, clear = self.mean(chosen, delays)
        for _ in range(_ROUNDS):
            moved = self.delays(chosen, delays, clear)
            delays = delays + moved
            mean, clear = self.mean(chosen, delays)
            if np.std(moved) < _FINEST * self.recording.sample_interval:
                break
        return delays, mean, clear

    def noise(self, chosen: np.ndarray, delays: np.ndarray, mean: np.ndarray) -> float:
        """What the samples differ from the mean, read where each sample is; no noise is smoothed away."""
        interval = self.recording.sample_interval
        total, count = 0.0, 0
        doubled = np.fft.irfft(np.fft.rfft(mean), 2 * mean.size) * 2
        padded = np.concatenate([doubled[-2:], doubled, doubled[:4]])
        for nth, delay in zip(chosen, delays, strict=True):
            start = self.first + nth * self.period + delay
            at = np.arange(int(np.ceil(start / interval)), int((start + self.period) / interval))
            at = at[(at >= 0) & (at < self.recording.samples)]
            phase = np.mod((at * interval - start) / self.step, self.size)
            total += float(np.sum((self.recording.volts[at] - _between(padded, 2 * phase + 2)) ** 2))
            count += at.size
        return float(np.sqrt(total / max(count, 1)))


def _doubled(samples: np.ndarray) -> np.ndarray:
    """The samples at twice their rate, by a Fourier series that a straight line closes, array (2 samples,)."""
    count = samples.size
    length = fast_length(count + _CLOSING)
    closed = np.concatenate([samples, np.linspace(samples[-1], samples[0], length - count + 2)[1:-1]])
    terms = np.fft.rfft(closed)
    if length % 2 == 0:
        terms[-1] /= 2
    return 2 * np.fft.irfft(terms, 2 * length)[: 2 * count]


def _between(samples: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The samples at places between them, by Lagrange's polynomial through the six around."""
    place = np.clip(np.floor(at).astype(np.int64), 2, samples.size - 4)
    away = at - place
    total = np.zeros(at.shape)
    for node, polynomial in zip(_NODES, _POLYNOMIALS, strict=True):
        total += samples[place + node] * np.polyval(polynomial, away)
    return total


def _summits(rows: np.ndarray) -> np.ndarray:
    """Where each row is highest, to a fraction of a step by a parabola."""
    at = np.clip(np.argmax(rows, axis=1), 1, rows.shape[1] - 2)
    nth = np.arange(len(rows))
    before, here, after = (rows[nth, at + d] for d in (-1, 0, 1))
    bend = before - 2 * here + after
    offset = 0.5 * (before - after) / np.where(bend < 0, bend, -np.inf)
    summits: np.ndarray = at + np.clip(offset, -1, 1)
    return summits
