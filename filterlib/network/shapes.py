"""Waves that are drawn again and again: trapezoids with edges, and rings that die away."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.errors import QuantityError
from filterlib.network.netlist import Value
from filterlib.network.spectrum import phasors
from filterlib.network.waveform import FEWEST_HARMONICS, HARMONICS_PER_EDGE, MOST_HARMONICS, Waveform, finite
from filterlib.units import quantity


def trapezoid(
    period: float, amplitude: ArrayLike, duty: ArrayLike, rise: ArrayLike = 0.0, fall: ArrayLike = 0.0
) -> Waveform:
    """A trapezoid from 0 to ``amplitude`` whose rise begins at t = 0.

    Parameters
    ----------
    period : float
        [s]
    amplitude, duty, rise, fall : float or array (designs, 1)
        Height [V or A]; width at half height over the period [1]; lengths of the edges, 0 for a jump [s].

    Raises
    ------
    QuantityError
        For edges that do not fit into the period.

    Notes
    -----
    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, ch. 3 (definition of the width, from memory).

    Examples
    --------
    >>> clock = trapezoid(100e-9, 1.0, 0.5, 20e-9, 20e-9)
    >>> round(float(2 * abs(clock.coefficients(3)[3])), 5)
    0.10707
    """
    rise, fall = finite(rise, "rise"), finite(fall, "fall")
    top = period * finite(duty, "duty") - (rise + fall) / 2
    bottom = period - top - rise - fall
    if np.any(rise < 0) or np.any(fall < 0) or np.any(top < 0) or np.any(bottom < 0):
        raise QuantityError(f"pulse and edges do not fit into the period {period} s", name="duty", value=duty)
    times = _corners(0.0, rise, rise + top, rise + top + fall)
    return Waveform.lines(period, times, np.array([0.0, 1, 1, 0])) * amplitude


def ring(
    period: float,
    frequency: ArrayLike,
    time_constant: ArrayLike,
    starts: Sequence[ArrayLike],
    signs: Sequence[ArrayLike],
    rise: float = 0.0,
    *,
    harmonics: int | None = None,
) -> Waveform:
    """Damped sines exp(-t / time_constant) sin(2 pi frequency t), one from each start, repeated every period.

    Tails that reach into later periods are included exactly: c_k is one event's Fourier transform over the period.

    Parameters
    ----------
    period : float
        [s]
    frequency, time_constant : float or array (designs, 1)
        Of the ring [Hz], [s].
    starts : sequence of float or array (designs, 1)
        When each event begins [s].
    signs : sequence of float or array (designs, 1)
        Factor of each event.
    rise : float
        Length of the edge that excites the ring: each event is averaged over this length, from its start on [s].
    harmonics : int, optional
        How many to keep: by default 20 times frequency times period, within `FEWEST_HARMONICS` and `MOST_HARMONICS`.

    Raises
    ------
    QuantityError
        For values that are not positive and finite.

    Notes
    -----
    Source: Fourier transform of the damped sine, any table: w / ((1 / tau + j omega)**2 + w**2).

    Examples
    --------
    >>> wave = ring(5e-6, 50e6, 60e-9, [0, 2e-6], [1, -1])
    >>> abs(round(float(wave.mean), 12))
    0.0
    """
    period = quantity(period, "s", above=0, name="period")
    speed = 2 * np.pi * _positive(frequency, "frequency")
    decay = 1 / _positive(time_constant, "time_constant")
    if len(starts) != len(signs):
        raise QuantityError(f"{len(starts)} starts, but {len(signs)} signs", name="signs")
    rise = quantity(rise, "s", low=0, name="rise")
    if harmonics is None:
        wanted = HARMONICS_PER_EDGE * period * float(np.max(speed)) / (2 * np.pi)
        harmonics = int(np.clip(math.ceil(wanted), FEWEST_HARMONICS, MOST_HARMONICS))
    k = np.arange(harmonics + 1)
    events = sum(
        np.asarray(sign) * phasors(harmonics, (finite(start, "starts") + rise / 2) / period)
        for start, sign in zip(starts, signs, strict=True)
    )
    one = speed / ((decay + 2j * np.pi * k / period) ** 2 + speed**2)
    return Waveform.from_coefficients(period, one * events * (np.sinc(k * (rise / period)) / period))


def _corners(*parts: ArrayLike) -> np.ndarray:
    """Columns (designs, 1) or numbers side by side."""
    return np.concatenate(np.broadcast_arrays(*(np.atleast_1d(part) for part in parts)), axis=-1)


def _positive(values: ArrayLike, name: str) -> np.ndarray:
    array = finite(values, name)
    if not np.all(array > 0):
        raise QuantityError("must be above 0", name=name, value=values)
    return array


def _integral(harmonics: NDArray[np.int_]) -> NDArray[np.complex128]:
    """What integration over time, in periods, makes of coefficients: a factor each, which takes a quarter of a division's time."""
    return np.asarray(1 / (2j * np.pi * harmonics))


def rectangle(harmonics: NDArray[np.int_], duty: Value) -> NDArray[np.complex128]:
    """Coefficients c_k of a unit pulse from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(rectangle(np.array([1, 2]), 0.5)).round(4)   # 1/pi, and no even harmonic
    array([0.3183, 0.    ])
    """
    return np.asarray((1 - phasors(int(np.max(harmonics)), duty)[..., harmonics]) * _integral(harmonics))


def falling_pulse(harmonics: NDArray[np.int_], duty: Value, fall: Value) -> NDArray[np.complex128]:
    """Coefficients c_k of a pulse from t = duty * T to T, 1 on average while it lasts, that falls by a share of its beginning; k >= 1.

    The derivative of the fall is a flat pulse less a step at its end.

    >>> import numpy as np
    >>> k = np.array([1, 2])
    >>> abs(falling_pulse(k, 0.5, 0.0) + rectangle(k, 0.5)).round(9)   # flat: all that the other pulse leaves
    array([0., 0.])
    >>> abs(falling_pulse(k, 0.5, 1.0)).round(4)   # down to nothing: even harmonics too
    array([0.3773, 0.1592])
    """
    flat = -rectangle(harmonics, duty)
    ramp = (flat * (1 / (1 - duty)) - 1) * _integral(harmonics)
    return np.asarray((flat - fall * ramp) * (1 / (1 - fall / 2)))


def triangle(harmonics: NDArray[np.int_], duty: Value) -> NDArray[np.complex128]:
    """Coefficients c_k of a triangle of 1 peak to peak that rises from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(triangle(np.array([1, 2]), 0.5)).round(4)   # 2 / pi^2, and no even harmonic
    array([0.2026, 0.    ])
    """
    return np.asarray(rectangle(harmonics, duty) * (1 / (duty * (1 - duty))) * _integral(harmonics))
