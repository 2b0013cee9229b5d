"""Extremes of sums of harmonics, between samples too: peak to peak, largest magnitude, and of two waves in any mixture.

A wave of harmonics c_1 ... c_n is x = 2 Re sum c_k exp(j k angle). It is sampled at four points or more to its highest
harmonic. There the neighbours of a sample fix its Taylor series to the rounding, and an extreme is found on that.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import factorial
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.network.spectrum import fast_length

Real: TypeAlias = NDArray[np.float64]
Harmonics: TypeAlias = NDArray[np.complex128]
_REACH = 16  # samples on each side of one that fix its Taylor series
_DEGREE = 14  # of that series
_ROOM = 0.75  # of the distance of two samples, in which an extreme is looked for on either side of one
_RISES = _ROOM ** np.arange(1, _DEGREE + 1)  # what each term of the series can add there
_STEPS = 4  # of Newton's method on the derivative
_SLACK = 0.1  # of the highest sample, by which one that may become the highest is lower
_BESIDE = np.array([-1, 0, 1])[:, None, None]  # neighbours of a sample, and itself
_BLOCK = 2**15  # samples that are searched at once: what a processor's cache holds


def peak_to_peak(harmonics: Harmonics) -> Real:
    """Highest minus lowest value of waves from c_1 ... c_n.

    Parameters
    ----------
    harmonics : complex array (n,) or (designs, n)

    Returns
    -------
    numpy.ndarray
        One number, or (designs, 1), in the unit of the harmonics; NaN where a harmonic is.

    Examples
    --------
    >>> float(peak_to_peak(np.array([0, 0, 0.5])).round(12))    # a cosine of 1 at the third harmonic
    2.0
    """
    lowest, highest = extremes(harmonics)
    return highest - lowest


def rough_peak_to_peak(harmonics: Harmonics) -> Real:
    """As `peak_to_peak`, but of the extremes next to the highest and lowest sample alone: for searches.

    In a fifth of the time, to seven digits; low by up to a few percent where the highest harmonics are as strong as the others.

    >>> waves = np.array([[0, 0, 0.5], [0.5, 0.25, 0]])
    >>> rough_peak_to_peak(waves).shape, bool(np.allclose(rough_peak_to_peak(waves), peak_to_peak(waves), rtol=1e-6, atol=0))
    ((2, 1), True)
    """
    rows = np.atleast_2d(harmonics)
    step = 4 * cached_rows(rows)
    around = [_around_tops(sampled(rows[at : at + step], single=True)) for at in range(0, len(rows), step)]
    series = _taylor() @ np.concatenate(around, axis=1, dtype=float).reshape(2 * len(rows), -1).T
    highest, lowest = _sum(series, _powers(_crest(series))).reshape(2, -1)
    swing = np.asarray(highest + lowest)
    return swing[:, None] if harmonics.ndim > 1 else np.asarray(swing[0])


def _around_tops(wave: Real) -> Real:
    """The samples about the highest of each row, and the negative of those about the lowest; (2, rows, neighbours)."""
    rows, count = np.arange(len(wave))[:, None], wave.shape[1]
    highest, lowest = (wave[rows, _neighbours(top, count)] for top in (wave.argmax(axis=1), wave.argmin(axis=1)))
    return np.array([highest, -lowest])


def _neighbours(places: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """The samples, of ``count``, on both sides of some; (places, neighbours)."""
    return (places[:, None] + np.arange(-_REACH, _REACH + 1)) % count


def largest_magnitude(harmonics: Harmonics, direct: float | Real = 0.0) -> Real:
    """Largest magnitude of waves from c_1 ... c_n with a direct part, in their unit; shapes as in `peak_to_peak`.

    >>> float(largest_magnitude(np.array([0, 0.5]), -3.0).round(12))
    4.0
    """
    lowest, highest = extremes(harmonics)
    return np.maximum(highest + direct, -lowest - direct)


def extremes(harmonics: Harmonics) -> tuple[Real, Real]:
    """Lowest and highest value of waves of mean zero; shapes as in `peak_to_peak`.

    Within 1e-11 of the larger one, also where all harmonics are equally strong: see the tests.
    """
    ends = Mixture(np.atleast_2d(harmonics)).parts()[0]
    lowest, highest = ends[:, :, None] if harmonics.ndim > 1 else ends[:, 0]
    return lowest, highest


class Mixture:
    """Sums of waves, each times a factor of 0 or more, and the few samples near which such a sum can have its extremes.

    One or two arrays of harmonics (designs, n), of one shape; any number where ``about`` states their factors (designs,)
    each, near which those of the mixtures are: see `_SLACK`.
    """

    def __init__(self, *harmonics: Harmonics, about: Sequence[Real] | None = None) -> None:
        self.designs, step = len(harmonics[0]), cached_rows(harmonics[0])
        blocks = []
        for at in range(0, self.designs, step):
            factors = None if about is None else [one[at : at + step] for one in about]
            blocks.append(_near([sampled(one[at : at + step]) for one in harmonics], factors))
        rows = np.concatenate([block.row + number * step for number, block in enumerate(blocks)])
        sign = np.concatenate([block.sign for block in blocks])
        series = np.concatenate([block.series for block in blocks], axis=-1)
        group = rows + self.designs * (sign > 0)
        order = np.argsort(group, kind="stable")
        self.row, self.group, self.sign, self.series = rows[order], group[order], sign[order], series[..., order]
        self.last = np.searchsorted(self.group, np.arange(2 * self.designs), side="right") - 1

    def swings(self, *factors: Real) -> list[Real]:
        """What each wave has between where their sum is highest and where it is lowest; (designs,) each."""
        return [highest - lowest for lowest, highest in self.parts(*factors)]

    def parts(self, *factors: Real) -> list[Real]:
        """What each wave has, by itself, where the sum with these factors (designs,) is lowest and highest; (2, designs) each.

        One wave needs no factor.
        """
        whole = self.series[0]
        if factors:
            pairs = zip(factors, self.series, strict=True)
            whole = sum((np.broadcast_to(one, self.designs)[self.row] * series for one, series in pairs), np.zeros(1))
        may = self._may_be_highest(whole)
        powers = _powers(_crest(whole[:, may]))
        group = self.group[may]
        last = np.searchsorted(group, np.arange(2 * self.designs), side="right") - 1
        best = np.lexsort((_sum(whole[:, may], powers), group))[last]
        powers, best = powers[:, best], may[best]
        ends = self.sign[best] * np.sum(self.series[..., best] * powers, axis=1)
        return list(ends.reshape(-1, 2, self.designs))

    def _may_be_highest(self, whole: Real) -> NDArray[np.intp]:
        """Those places of a sum near which it can be higher than at every sample: by what its series has at most."""
        highest = np.maximum.reduceat(whole[0], np.append(0, self.last[:-1] + 1))
        return np.flatnonzero(~(whole[0] + _RISES @ np.abs(whole[1:]) < highest[self.group]))


class Samples:
    """Waves of harmonics (designs, n), any number of them, by parabolas through their samples.

    Quicker than `Mixture` and within a percent of it, where the highest harmonics are weak. For a few designs, whose samples
    fit a processor's cache: see `cached_rows`.
    """

    def __init__(self, *harmonics: Harmonics) -> None:
        self._take(sampled(*harmonics, single=True))

    def _take(self, by_design: Real) -> Samples:
        self.designs, self._by_design = len(by_design), by_design
        self._rows, self._waves = np.arange(self.designs), np.arange(by_design.shape[1])
        return self

    def some(self, rows: NDArray[np.intp]) -> Samples:
        """Those of some designs."""
        return object.__new__(Samples)._take(self._by_design[rows])

    def swings(self, *factors: Real) -> list[Real]:
        """As `Mixture.swings`."""
        weights = np.empty((self.designs, len(factors)), np.float32)
        for number, factor in enumerate(factors):
            weights[:, number] = factor
        return list(self._swings(np.matmul(weights[:, None], self._by_design)[:, 0]))

    def swing(self, number: int) -> Real:
        """Peak to peak of one of the waves, by itself; (designs,)."""
        return np.asarray(self._swings(self._by_design[:, number])[number])

    def _swings(self, total: Real) -> Real:
        """What each wave has between the highest and the lowest place of a sum of them; (waves, designs)."""
        around = np.array([total.argmax(axis=1), total.argmin(axis=1)]) + _BESIDE
        around %= total.shape[1]
        left, here, right = total[self._rows, around]
        bend = left - 2 * here + right
        offset = 0.5 * (left - right) / np.where(bend == 0, np.inf, bend)
        left, here, right = self._by_design[self._rows[:, None], self._waves, around[..., None]].transpose(0, 3, 1, 2)
        ends = here + offset * (0.5 * (right - left + offset * (left + right)) - offset * here)
        return np.asarray((ends[:, 0] - ends[:, 1]).astype(float))


def cached_rows(harmonics: Harmonics) -> int:
    """How many designs' samples fit a processor's cache, of one wave."""
    return max(1, _BLOCK // (4 * int(harmonics.shape[-1]) + 4))


def _weighed(waves: list[Real], factors: list[Real]) -> Real:
    total = factors[0][:, None] * waves[0]
    for factor, wave in zip(factors[1:], waves[1:], strict=True):
        total += factor[:, None] * wave
    return total


class _Near(NamedTuple):
    """Samples near which a sum can have its extremes: rows, sign (-1 for the lowest), series (waves, degree + 1, places)."""

    row: NDArray[np.intp]
    sign: Real
    series: Real


def _near(waves: list[Real], about: list[Real] | None = None) -> _Near:
    """Those of a few designs: for any factors of one wave or two, or for factors ``about`` which of any number."""
    sums, slack = (waves, 0.0) if about is None else ([_weighed(waves, about)], _SLACK)
    bounds = [_bound(one) for one in sums]
    high = _places(sums, bounds, slack)
    low = _places([-one for one in sums], [-bound for bound in bounds], slack)
    row, place = np.concatenate([low, high], axis=1)
    sign = np.repeat([-1.0, 1.0], [low.shape[1], high.shape[1]])
    neighbours = _neighbours(place, waves[0].shape[1])
    series = np.array([sign * (_taylor() @ wave[row[:, None], neighbours].T) for wave in waves])
    return _Near(row, sign, series)


def sampled(*harmonics: Harmonics, points: int = 4, single: bool = False) -> Real:
    """One period of each wave at that many points or more to the highest harmonic, as many as are fast.

    Waves (designs, n) of one shape -> (designs, count); of several (designs, waves, count). ``single``: to seven digits,
    in half the time.
    """
    designs, highest = harmonics[0].shape
    count = fast_length(points * highest + 4)
    whole = np.zeros((designs, count // 2 + 1), np.complex64 if single else complex)
    samples = np.empty((designs, len(harmonics), count), whole.real.dtype)
    for number, one in enumerate(harmonics):
        # not by norm="forward": numpy then transforms in double precision, and pads whatever is shorter than this
        np.multiply(one, count, out=whole[:, 1 : highest + 1], casting="same_kind")
        np.fft.irfft(whole, count, out=samples[:, number])
    return samples if len(harmonics) > 1 else samples[:, 0]


def _bound(wave: Real) -> Real:
    """What the wave does not exceed near each sample that is next to a peak: a quarter of the bend above it, or below.

    A parabola rises by an eighth of it at most between samples, a cosine of four points to the period by a fifth.
    """
    bound = 1.5 * wave
    bound[:, 1:-1] -= 0.25 * (wave[:, :-2] + wave[:, 2:])
    bound[:, 0] -= 0.25 * (wave[:, -1] + wave[:, 1])
    bound[:, -1] -= 0.25 * (wave[:, -2] + wave[:, 0])
    return bound


def _places(waves: list[Real], bounds: list[Real], slack: float = 0.0) -> NDArray[np.intp]:
    """Rows and samples, (2, places), near which a sum of the waves may be highest, whatever the factors.

    The highest sample of each wave always, and those whose bounds exceed it. Of two waves x and y also those whose
    bounds lie beyond the straight line between both highest samples in the plane of x and y: what lies within it is less
    than one of them for any two factors.
    """
    rows, tops = np.arange(len(waves[0])), [wave.argmax(axis=1) for wave in waves]
    near, count = np.zeros(waves[0].shape, bool), len(waves[0].T)
    for wave, bound, top in zip(waves, bounds, tops, strict=True):
        near |= bound > (1 - slack) * wave[rows, top][:, None]
        near[rows, top] = True
    if len(waves) == 2:
        (x, y), (first, second) = waves, tops
        across, along = (y[rows, second] - y[rows, first])[:, None], (x[rows, first] - x[rows, second])[:, None]
        line = across * x[rows, first][:, None] + along * y[rows, first][:, None]
        near |= across * bounds[0] + along * bounds[1] > line
    found = np.flatnonzero(near)  # quicker than to look for both at once
    return np.array([found // count, found % count])


@cache
def _taylor() -> Real:
    """Taylor coefficients at a sample from it and its neighbours, (degree + 1, neighbours), for a step of 1.

    By least squares over all frequencies up to a quarter of the sampling's: exp(j w t) has the coefficients (j w)^k / k!.
    """
    w = np.pi / 4 * (1 - np.cos(np.linspace(0, np.pi, 500)))[:, None]
    waves, k = np.exp(1j * w * np.arange(-_REACH, _REACH + 1)), np.arange(_DEGREE + 1)
    series = (1j * w) ** k / np.array([float(factorial(order)) for order in k])
    known, wanted = (np.concatenate([values.real, values.imag]) for values in (waves, series))
    return np.ascontiguousarray(np.linalg.lstsq(known, wanted, rcond=1e-14)[0].T)


def _crest(series: Real) -> Real:
    """Where Taylor series (degree + 1, places) are highest near 0, in samples; 0 where they bend upwards."""
    k = np.arange(1, len(series))[:, None]
    slopes = k * series[1:]
    bends = k[:-1] * slopes[1:]
    offset = np.zeros(series.shape[1])
    for _ in range(_STEPS):
        powers = _powers(offset)
        slope, bend = _sum(slopes, powers), _sum(bends, powers)
        offset = np.clip(offset - np.where(bend < 0, slope, 0) / np.where(bend < 0, bend, 1), -_ROOM, _ROOM)
    return offset


def _powers(offset: Real) -> Real:
    """1, x, x², ...; (degree + 1, places)."""
    powers = np.ones((_DEGREE + 1, len(offset)))
    np.cumprod(np.broadcast_to(offset, (_DEGREE, len(offset))), axis=0, out=powers[1:])
    return powers


def _sum(series: Real, powers: Real) -> Real:
    return np.asarray(np.einsum("kn,kn->n", series, powers[: len(series)]))
