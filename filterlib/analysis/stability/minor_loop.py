"""A constant power on the impedance that feeds it: the conductance from which it rings, and what rules about that loop allow.

The loop is T = Z Y, the impedance Z back from the load over the load's own, Y = g y; y is -1 well below the load's loop bandwidth.
From g = 0, where all is passive, the first g at which T passes through -1 puts a pole on the axis: 1/g is the greatest real part
of -Z y where its imaginary part is zero. That is exact. The rules look at size or angle alone:

- magnitude: |T| below 1, or with 6 dB below 1/2, at every frequency;
- a forbidden region with gain and phase margin: where |T| is above 1/2, its angle keeps 60 degrees from the negative axis;
- the opposing argument: the part of T along the negative axis stays below 1/2.

Source: R. D. Middlebrook, IEEE Industry Applications Society annual meeting (1976); C. M. Wildrick et al., IEEE Trans. Power
Electronics 10 (1995) p. 280; X. Feng, J. Liu, F. C. Lee, IEEE Trans. Power Electronics 17 (2002) (all from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, TypeAlias

import numpy as np

from filterlib.analysis.described import Decibels, Hertz, Unit

Port: TypeAlias = Callable[[np.ndarray], np.ndarray]
"""Of frequencies (f,) [Hz]: complex (f,)."""

PER_DECADE = 48  # points of the first grid
REAL = 0.01  # of its real part: an imaginary part that counts as none beyond the highest frequency
GAIN, ANGLE = 2.0, 60.0  # of the last two rules: 6 dB and 60 degrees, as they are most often asked for
_ZOOM, _ROUNDS, _PEAK = 33, 6, 2  # points between two, and how often: to 1e-9 of a cell; and for the greatest size


@dataclass(frozen=True)
class LoopLimits:
    """Conductances g [S] of the load up to which it is stable (``exact``, ringing at ``frequency``), and to which rules allow it.

    A rule that never stops it, and a circuit that nothing turns, is inf.
    """

    exact: Annotated[float, Unit("S")]
    frequency: Hertz[float]
    magnitude: Annotated[float, Unit("S")]
    half_magnitude: Annotated[float, Unit("S")]
    region: Annotated[float, Unit("S")]
    opposing: Annotated[float, Unit("S")]


def limits(port: Port, shape: Port, low: float, high: float) -> LoopLimits:
    """Conductances up to which a load of constant power is stable, and to which the rules allow it.

    Parameters: ``port``: impedance back from the load [ohm], passive; ``shape``: y, the load's admittance over g; both of frequencies
    (f,) [Hz], 0 among them; resonances between ``low`` and ``high`` [Hz] are found.
    Returns: LoopLimits [S], [Hz].
    Valid where two resonances are more than a fiftieth of a decade apart.

    >>> def port(f):
    ...     s = 2j * np.pi * f
    ...     return 1 / (s * 22e-6 + 1 / (40e-3 + s * 100e-6))
    >>> found = limits(port, lambda f: -np.ones(len(f)), 10.0, 1e6)
    >>> round(found.exact * 28**2, 4), round(found.frequency)  # R C V^2 / L, in W
    (6.8992, 3393)
    """
    turned = _turned(port, shape)
    exact, frequency, crossings, grid = _exact(turned, low, high)
    near = np.unique(np.concatenate([grid, np.ravel(crossings[:, None] * np.linspace(0.9, 1.1, 201))]))
    values = turned(near)
    values = np.concatenate([values, turned(_peak(turned, near, values)), turned(np.zeros(1))])
    size, angle = np.abs(values), np.abs(np.angle(values, deg=True))
    return LoopLimits(
        exact, frequency, _over(size.max()), _over(GAIN * size.max()),
        _over(GAIN * size[angle < ANGLE].max(initial=0.0)), _over(GAIN * values.real.max()),
    )  # fmt: skip


def exact_limit(port: Port, shape: Port, low: float, high: float) -> tuple[float, float]:
    """The conductance [S] up to which it is stable and the frequency [Hz] at which it rings there, as `limits` has them, alone."""
    return _exact(_turned(port, shape), low, high)[:2]


def _exact(turned: Port, low: float, high: float) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Conductance, its frequency, and every frequency at which -Z y is real, with the first grid.

    What is real at rest and what stays real beyond ``high``, a bare ESR, ring at no frequency: 0.
    """
    grid = np.geomspace(low, high, int(PER_DECADE * np.log10(high / low)) + 1)
    q = turned(grid)
    at = np.flatnonzero((q.imag[:-1] >= 0) != (q.imag[1:] >= 0))
    crossings = _zoomed(turned, grid[at], grid[at + 1])
    beyond = q[-1:].real[np.abs(q[-1:].imag) < REAL * q[-1:].real]
    there = np.concatenate([turned(np.zeros(1)).real, beyond, turned(crossings).real if at.size else []])
    best = int(np.argmax(there))
    rings = (*np.zeros(1 + beyond.size), *crossings)[best] if there[best] > 0 else np.nan
    return _over(there[best]), float(rings), crossings, grid


def _turned(port: Port, shape: Port) -> Port:
    return lambda f: -port(f) * shape(f)


def _over(value: float) -> float:
    return float(1 / value) if value > 0 else np.inf


def _peak(turned: Port, tried: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Frequencies closer and closer about the greatest size; ``values`` at those that were ``tried``."""
    for _ in range(_PEAK):
        at = int(np.argmax(np.abs(values)))
        tried = np.linspace(tried[max(at - 1, 0)], tried[min(at + 1, len(tried) - 1)], 35)
        values = turned(tried)
    return tried


def _zoomed(turned: Port, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where the imaginary part changes its sign between two frequencies (c,) each."""
    share = np.linspace(0, 1, _ZOOM)
    for _ in range(_ROUNDS if len(low) else 0):
        f = low[:, None] + share * (high - low)[:, None]
        sign = turned(f.ravel()).imag.reshape(f.shape) >= 0
        first = np.clip(np.argmax(sign != sign[:, :1], axis=1), 1, None)
        every = np.arange(len(f))
        low, high = f[every, first - 1], f[every, first]
    return np.asarray((low + high) / 2)


def loop_margins(loop: np.ndarray, exact: float) -> tuple[Decibels[float], Annotated[float, Unit("deg")]]:
    """Gain margin [dB], the greatest gain that T (f,) bears, given as ``exact``, and phase margin [degrees].

    The phase margin is the least angle between T and the negative axis where |T| passes 1; inf where it never does.
    """
    size, angle = np.log(np.abs(loop)), np.abs(np.angle(-loop, deg=True))
    at = np.flatnonzero((size[:-1] > 0) != (size[1:] > 0))
    share = size[at] / (size[at] - size[at + 1])
    found = angle[at] + share * (angle[at + 1] - angle[at])
    return 20 * float(np.log10(exact)), float(found.min(initial=np.inf))
