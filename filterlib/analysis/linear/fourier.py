"""A step response from a frequency response alone, where the poles would take too long."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

FINE = 8  # points between two of the frequency response, on a cubic spline


def step_from_response(frequencies: np.ndarray, response: np.ndarray, times: np.ndarray) -> np.ndarray:
    """What follows a unit step of the source, from the response to it at real frequencies.

    Parameters
    ----------
    frequencies : array (f,)
        Rising, from far below the slowest thing that happens to far above the fastest [Hz].
    response : complex array (f,)
        Output per unit of the source, of a stable circuit, falling towards the end.
    times : array (t,)
        Positive [s].

    Returns
    -------
    array (t,)

    Notes
    -----
    (2/pi) times the integral of Re H sin(wt)/w, Re H being straight between close points; flat below the first frequency,
    nothing above the last. The weights are kept for the same frequencies and times.
    Valid while the grid follows every resonance: some points to the width of the narrowest. See `steps` for exact ones.
    Source: E. A. Guillemin, Synthesis of Passive Networks (1957), ch. 15, integral for the step from the real part (from
    memory).

    Examples
    --------
    >>> f = np.logspace(0, 7, 421)
    >>> step = step_from_response(f, 1 / (1 + 2j * np.pi * f * 1e-4), np.array([1e-4, 1e-3]))
    >>> step.round(3).tolist()   # 1 - 1/e, and nearly all
    [0.632, 1.0]
    """
    return np.asarray(_weights(tuple(frequencies), tuple(times)) @ np.real(response))


@lru_cache(maxsize=16)
def _weights(frequencies: tuple[float, ...], times: tuple[float, ...]) -> np.ndarray:
    """The linear map from Re H at the frequencies to the step at the times, (t, f)."""
    from scipy.interpolate import CubicSpline
    from scipy.special import sici

    level = np.log(np.array(frequencies))
    between = np.interp(np.arange((len(level) - 1) * FINE + 1) / FINE, np.arange(len(level)), level)
    spline = CubicSpline(level, np.eye(len(level)))(between)
    w, t = 2 * np.pi * np.exp(between), np.array(times)[:, None]
    sine, cosine = sici(w * t)[0], -np.cos(w * t) / (w * t)
    # over one piece Re H = a + b w: a (Si(w2 t) - Si(w1 t)) + b (cos(w1 t) - cos(w2 t))/t, split between its two ends
    area, tilt = np.diff(sine), np.diff(cosine * w)
    share = (tilt - w[:-1] * area) / np.diff(w)
    weights = np.zeros((len(t), len(w)))
    weights[:, :-1] += area - share
    weights[:, 1:] += share
    weights[:, 0] += sine[:, 0]
    return np.asarray(2 / np.pi * weights @ spline)
