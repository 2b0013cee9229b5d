"""Sums of harmonics as bare arrays: the low-pass behind every bandwidth limit, samples, and the extremes of the wave.

Coefficients c_0 ... c_n stand for c_0 + 2 Re sum c_k exp(j k angle), with the angle going round once in a period.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.errors import QuantityError

OVERSAMPLING = 4
"""Samples per half period of the highest harmonic in the search for the extremes of a sum of harmonics."""
SUMMITS = 4
"""Summits of a wave that are climbed to the top at most."""
_PASSES = 0.02
"""Share of a harmonic from which on a limit of bandwidth lets it pass, in a search."""
BLOCK = 2**18
"""Numbers in the samples that are looked at together: they stay in the cache."""


def lowpass_response(
    frequencies: ArrayLike, bandwidth: ArrayLike | None, order: float | NDArray[np.float64] = 1
) -> np.ndarray:
    """Complex response of a Butterworth low-pass, the model of every "bandwidth limit" here.

    Parameters
    ----------
    frequencies : array (f,)
        [Hz]
    bandwidth : float, array (designs, 1) or None
        Frequency of -3 dB [Hz]; None or infinity lets everything pass.
    order : int, or array (designs, 1)
        1 is a single RC; of an array the nearest whole numbers.

    Returns
    -------
    numpy.ndarray
        Complex array (f,) or (designs, f).

    Raises
    ------
    QuantityError
        For a bandwidth that is not positive or an order that is not a whole number from 1 on.

    Notes
    -----
    Source: S. Butterworth, On the Theory of Filter Amplifiers, Wireless Engineer 7 (1930), from memory.

    Examples
    --------
    >>> [round(float(abs(gain)), 4) for gain in lowpass_response([20e6, 200e6], 20e6, 2)]
    [0.7071, 0.01]
    """
    limit = np.asarray(np.inf if bandwidth is None else bandwidth, dtype=float)
    if not np.all(limit > 0):
        raise QuantityError("must be above 0 Hz", name="bandwidth", value=bandwidth)
    if isinstance(order, np.ndarray):
        orders, which = np.unique(np.rint(np.ravel(order)).astype(int), return_inverse=True)
        return np.array([lowpass_response(frequencies, bandwidth, int(one)) for one in orders])[which]
    if isinstance(order, bool) or order != int(order) or order < 1:
        raise QuantityError("must be a whole number from 1 on", name="order", value=order)
    s = 1j * np.asarray(frequencies, dtype=float) / limit
    poles = np.exp(1j * np.pi * (2 * np.arange(int(order)) + order + 1) / (2 * order))
    response: np.ndarray = np.ones_like(s)
    for pole in poles:
        response = response / (1 - s / pole)
    return response


def passed(limit: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """A limit of bandwidth (f,) or (designs, f) up to the last frequency that it lets pass, by `_PASSES` or more: for searches.

    >>> len(passed(lowpass_response(np.arange(1, 101) * 1e6, 20e6, 3)))
    73
    """
    if np.min(np.abs(limit[..., -1])) > _PASSES:
        return limit
    last = np.flatnonzero(np.abs(limit).reshape(-1, limit.shape[-1]).max(axis=0) > _PASSES)
    return limit[..., : int(last[-1]) + 1 if last.size else 1]


def trapezoid_envelope(frequencies: ArrayLike, period: float, amplitude: float, duty: float, rise: float) -> np.ndarray:
    """Envelope of the harmonics of a trapezoid of equal edges, as one-sided peak amplitudes.

    Parameters
    ----------
    frequencies : array (f,)
        Above 0 [Hz].
    period, amplitude, duty, rise : float
        [s], [V or A], width at half height over the period, length of each edge [s].

    Returns
    -------
    numpy.ndarray
        (f,) in the unit of the amplitude: flat to 1/(pi width), falling 20 dB a decade to 1/(pi rise), then 40.

    Raises
    ------
    QuantityError
        Where the edges do not fit into the period: a rise longer than the pulse, or than the gap between pulses.

    Notes
    -----
    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, ch. 3 (corners and slopes).

    Examples
    --------
    >>> trapezoid_envelope([1e6, 10e6], 100e-9, 1.0, 0.5, 20e-9).round(5).tolist()
    [1.0, 0.63662]
    """
    if not 0 <= rise <= period * min(duty, 1 - duty):
        raise QuantityError(f"pulse and edges do not fit into the period {period} s", name="rise", value=rise)
    turns = np.pi * np.asarray(frequencies, dtype=float)
    first, second = np.minimum(1, 1 / (turns * duty * period)), np.minimum(1, 1 / np.maximum(turns * rise, 1e-300))
    return 2 * amplitude * duty * first * second


def phasors(count: int, turns: ArrayLike) -> np.ndarray:
    """exp(-j 2 pi k turns) for k = 0 ... count, complex (count + 1,) or (designs, count + 1).

    By doubling: a product each instead of an exponential, a twentieth of the time; a few 1e-13 off after 2000.

    Parameters
    ----------
    count : int
    turns : float or array (designs, 1)
        Of a period [1].

    Examples
    --------
    >>> quarters = phasors(4, 0.25)
    >>> quarters.real.round(9) + 0.0, quarters.imag.round(9) + 0.0
    (array([ 1.,  0., -1.,  0.,  1.]), array([ 0., -1.,  0.,  1.,  0.]))
    """
    angle = np.mod(np.asarray(turns, dtype=float), 1)
    powers = np.ones((*angle.shape[:-1], count + 1), dtype=complex)
    done = 1
    while done <= count:
        more = min(done, count + 1 - done)
        powers[..., done : done + more] = powers[..., :more] * np.exp(-2j * np.pi * np.mod(done * angle, 1))
        done += more
    return powers


def sincs(count: int, width: ArrayLike) -> np.ndarray:
    """sin(pi k width) / (pi k width) for k = 1 ... count, (count,) or (designs, count): what a box makes of harmonics; by `phasors`.

    Parameters: ``width``: float or array (designs, 1), of a period [1].

    >>> bool(np.allclose(sincs(2000, 0.37), np.sinc(np.arange(1, 2001) * 0.37), rtol=0, atol=1e-12)), sincs(2, 0.0)
    (True, array([1., 1.]))
    """
    width = np.asarray(width, dtype=float)
    angles = np.pi * np.arange(1, count + 1) * width
    heights = -phasors(count, width / 2)[..., 1:].imag
    boxes: np.ndarray = np.divide(heights, angles, out=np.ones(angles.shape), where=angles != 0)
    return boxes


@lru_cache(maxsize=256)
def fast_length(least: int, primes: tuple[int, ...] = (3, 5)) -> int:
    """The smallest product of powers of 2 and of some primes from ``least`` (1 or more) on.

    A Fourier transform of so many samples is quick: of real ones with the factors 3 and 5, of complex ones with 7 and 11 too.

    Examples
    --------
    >>> [fast_length(least) for least in (1, 7, 1000, 1025)]
    [1, 8, 1000, 1080]
    """
    odd = [1]
    for prime in primes:
        powers = [prime**n for n in range(least.bit_length())]
        odd = [one * power for one in odd for power in powers if one * power < 2 * least]
    return min(one << (-(-least // one) - 1).bit_length() for one in odd)  # times the power of two that reaches it


def extent(terms: ArrayLike) -> np.ndarray:
    """Peak to peak of waves that are sums of harmonics, found between samples.

    Parameters
    ----------
    terms : array (..., n + 1)
        Complex coefficients c_0, c_1 ... c_n of c_0 + 2 Re sum c_k exp(j k angle), the mean first; what it is does not
        matter. For coefficients that begin with the fundamental put a column of zeros before them.

    Returns
    -------
    numpy.ndarray
        (...,), in the unit of the coefficients.

    Notes
    -----
    Every wave is sampled `OVERSAMPLING` times per half period of its highest harmonic. Next to the highest value M, at a
    distance d, a wave whose half extent is A is at least M - A (1 - cos(n d)) (M. Riesz), so a summit that can be the
    highest has its sample within A (1 - cos(pi / (2 OVERSAMPLING))) of the highest one. Of those the ones that a
    parabola puts highest are climbed to the top with Newton's method on the sum itself: to rounding, unless more than
    `SUMMITS` of them are within 1e-3 of each other. Harmonics that add up to less than 1e-10 of all are left out.

    Source: M. Riesz, Eine trigonometrische Interpolationsformel, Jahresber. DMV 23 (1914) p. 354 (from memory).

    Examples
    --------
    >>> float(extent([5.0, 0.5j]).round(12)), extent([[0, 1, 0, 0.5], [0, 0, 2, 0]]).round(6).tolist()
    (2.0, [6.0, 8.0])
    """
    coefficients = np.asarray(terms, dtype=complex)
    rows = coefficients.reshape(-1, coefficients.shape[-1])
    result = np.empty(len(rows))
    step = max(1, BLOCK // (2 * OVERSAMPLING * rows.shape[-1]))
    for start in range(0, len(rows), step):
        result[start : start + step] = _extent(rows[start : start + step])
    return result.reshape(coefficients.shape[:-1])


def _extent(terms: np.ndarray) -> np.ndarray:
    """The same for a few rows (designs, n + 1)."""
    sizes = np.abs(terms[:, 1:])
    tails = np.cumsum(sizes[:, ::-1], axis=1)[:, ::-1]
    kept = 1 + int(np.count_nonzero(np.any(tails > 1e-10 * tails[:, :1], axis=0)))
    terms = 2 * terms[:, :kept]
    terms[:, 0] = 0
    count = fast_length(2 * OVERSAMPLING * kept)
    wave = np.fft.irfft(terms, count, axis=-1, norm="forward") / 2
    high, low = wave.max(axis=1), wave.min(axis=1)
    share = 1 - np.cos(np.pi * kept / count)
    margin = (high - low) / 2 * (share / (1 - share))
    top = _summit(terms, wave, high, margin)
    return np.asarray(top + _summit(-terms, np.negative(wave, out=wave), -low, margin))


def _summit(doubled: np.ndarray, wave: np.ndarray, high: np.ndarray, margin: np.ndarray) -> np.ndarray:
    """Highest value of each row of ``doubled`` coefficients, sampled in ``wave``, its highest sample being ``high``."""
    count = wave.shape[1]
    row, at = np.nonzero(wave >= (high - margin)[:, None])
    before, here, after = wave[row, at - 1], wave[row, at], wave[row, (at + 1) % count]
    top = (here >= before) & (here >= after)
    row, at, before, here, after = row[top], at[top], before[top], here[top], after[top]
    slope, bend = (after - before) / 2, 2 * here - before - after
    offset = slope / np.where(bend > 0, bend, np.inf)
    height = here + offset * slope / 2
    order = np.lexsort((-height, row))
    rank = np.arange(len(row)) - np.searchsorted(row, row)
    chosen = order[(rank < SUMMITS) & (height[order] >= height[order[np.searchsorted(row, row)]] - margin[row] / 16)]
    row, angle = row[chosen], (at + offset)[chosen] * (2 * np.pi / count)
    tops = np.maximum(_climbed(doubled[row], angle, np.pi / count), here[chosen])
    best = high.copy()
    np.maximum.at(best, row, tops)
    return best


def _climbed(doubled: np.ndarray, angle: np.ndarray, reach: float) -> np.ndarray:
    """The value at the top next to an angle, one a row: Newton's method on the derivative, steps within ``reach``."""
    k = np.arange(doubled.shape[1], dtype=float)
    for _ in range(3):
        parts = doubled * phasors(len(k) - 1, -angle[:, None] / (2 * np.pi))
        first, second = -(parts.imag @ k), -(parts.real @ (k * k))
        move = np.clip(-first / np.where(second < 0, second, -np.inf), -reach, reach)
        angle = angle + move
    return np.asarray(parts.real.sum(axis=1) + first * move / 2)


def sampled(terms: np.ndarray, count: int) -> np.ndarray:
    return np.asarray(np.fft.irfft(terms, count, axis=-1, norm="forward"))


def doubled(terms: np.ndarray) -> np.ndarray:
    """Each harmonic stands for itself and its mirror image."""
    return np.concatenate([terms[..., :1], 2 * terms[..., 1:]], axis=-1)
