"""Sums of harmonics as bare arrays: the low-pass behind every bandwidth limit, samples, and the extremes of the wave.

Coefficients c_0 ... c_n stand for c_0 + 2 Re sum c_k exp(j k angle), with the angle going round once in a period.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import QuantityError

OVERSAMPLING = 8
"""Samples per half period of the highest harmonic in the search for the extremes of a sum of harmonics."""


def lowpass_response(frequencies: ArrayLike, bandwidth: ArrayLike | None, order: int = 1) -> np.ndarray:
    """Complex response of a Butterworth low-pass, the model of every "bandwidth limit" here.

    Parameters
    ----------
    frequencies : array (f,)
        [Hz]
    bandwidth : float, array (designs, 1) or None
        Frequency of -3 dB [Hz]; None or infinity lets everything pass.
    order : int
        1 is a single RC.

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
    if isinstance(order, bool) or order != int(order) or order < 1:
        raise QuantityError("must be a whole number from 1 on", name="order", value=order)
    s = 1j * np.asarray(frequencies, dtype=float) / limit
    poles = np.exp(1j * np.pi * (2 * np.arange(order) + order + 1) / (2 * order))
    response = np.ones_like(s)
    for pole in poles:
        response = response / (1 - s / pole)
    return response


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
    made = np.ones((*angle.shape[:-1], count + 1), dtype=complex)
    done = 1
    while done <= count:
        more = min(done, count + 1 - done)
        made[..., done : done + more] = made[..., :more] * np.exp(-2j * np.pi * np.mod(done * angle, 1))
        done += more
    return made


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


def extent(terms: np.ndarray) -> np.ndarray:
    """Peak to peak of sums of harmonics, (designs, n + 1) -> (designs,)."""
    sizes = np.abs(terms[:, 1:])
    tails = np.cumsum(sizes[:, ::-1], axis=1)[:, ::-1]
    kept = 1 + int(np.count_nonzero(np.any(tails > 1e-9 * tails[:, :1], axis=0)))
    terms = terms[:, :kept].copy()
    terms[:, 0] = 0
    count = fast_length(2 * OVERSAMPLING * kept)
    wave = sampled(terms, count)
    return _summit(terms, wave) + _summit(-terms, -wave)


def _summit(terms: np.ndarray, wave: np.ndarray) -> np.ndarray:
    """Highest value of each row: the best parabola through three samples, then Newton's method on the derivative."""
    before, after = np.roll(wave, 1, axis=1), np.roll(wave, -1, axis=1)
    slope, bend = (after - before) / 2, 2 * wave - before - after
    offset = np.where(np.abs(slope) < bend, slope / np.where(bend > 0, bend, 1.0), 0.0)
    best = np.argmax(wave + offset * slope / 2, axis=1)[:, None]
    step = 2 * np.pi / wave.shape[1]
    angle = (best + np.take_along_axis(offset, best, axis=1)) * step
    k = np.arange(terms.shape[1])
    for _ in range(3):
        parts = doubled(terms) * np.exp(1j * angle * k)
        first, second = -(parts.imag @ k), -(parts.real @ k**2)
        move = np.where(second < 0, -first / np.where(second < 0, second, 1.0), 0.0)
        angle = angle + np.clip(move, -step / 2, step / 2)[:, None]
    refined = (doubled(terms) * np.exp(1j * angle * k)).real.sum(axis=1)
    return np.maximum(refined, wave.max(axis=1))


def sampled(terms: np.ndarray, count: int) -> np.ndarray:
    return np.fft.irfft(terms, count, axis=-1, norm="forward")


def doubled(terms: np.ndarray) -> np.ndarray:
    """Each harmonic stands for itself and its mirror image."""
    return np.concatenate([terms[..., :1], 2 * terms[..., 1:]], axis=-1)
