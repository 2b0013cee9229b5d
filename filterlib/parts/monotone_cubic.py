"""A smooth curve through points that rises and falls only where they do: a monotone piecewise cubic."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MonotoneCubic:
    """A cubic between any two points, with a continuous slope.

    Attributes
    ----------
    knots : array (points,)
        Where the pieces meet, rising.
    coefficients : four arrays (points - 1,)
        Of 1, s, s^2 and s^3 for each piece, s counted from its first point.

    Notes
    -----
    Inside, the slope is the harmonic mean of those of the two straight lines next to it, each weighted by the lengths, and zero
    where they rise and fall; at the ends it is that of the parabola through three points, as far as that stays monotone.
    Source: F. N. Fritsch and J. Butland, "A Method for Constructing Local Monotone Piecewise Cubic Interpolants", SIAM
    Journal on Scientific and Statistical Computing 5 (1984) 300-304, from memory.

    Examples
    --------
    >>> curve = MonotoneCubic.through([0.0, 25.0, 50.0], [1.0, 0.5, 0.3])
    >>> curve([0.0, 25.0, 40.0]).round(3).tolist()
    [1.0, 0.5, 0.35]
    """

    knots: Array
    coefficients: tuple[Array, Array, Array, Array]

    @classmethod
    def through(cls, x: ArrayLike, y: ArrayLike) -> MonotoneCubic:
        """The curve through two or more points of rising x, arrays (points,)."""
        knots, values = np.array(x, dtype=float), np.array(y, dtype=float)
        lengths = np.diff(knots)
        straight = np.diff(values) / lengths
        slopes = _slopes(lengths, straight)
        bend = (slopes[:-1] + slopes[1:] - 2 * straight) / lengths
        linear = slopes[:-1]
        square = (straight - linear) / lengths - bend
        return cls(knots, (values[:-1], linear, square, bend / lengths))

    def __call__(self, x: ArrayLike) -> Array:
        """The curve at x, in the shape of x; beyond the ends the outer pieces go on."""
        at = np.asarray(x, dtype=float)
        piece = self.knots[1:-1].searchsorted(at, side="right")
        s = at - self.knots[piece]
        constant, linear, square, cube = self.coefficients
        return constant[piece] + s * (linear[piece] + s * (square[piece] + s * cube[piece]))


def _slopes(lengths: Array, straight: Array) -> Array:
    """Slope at every point, from the lengths and slopes of the straight lines between them."""
    if len(lengths) == 1:
        return np.repeat(straight, 2)
    before, after = straight[:-1], straight[1:]
    near, far = 2 * lengths[1:] + lengths[:-1], lengths[1:] + 2 * lengths[:-1]
    alike = before * after > 0
    mean = np.zeros(len(before))
    mean[alike] = (near + far)[alike] / (near[alike] / before[alike] + far[alike] / after[alike])
    return np.array([_end(lengths, straight), *mean, _end(lengths[::-1], straight[::-1])])


def _end(lengths: Array, straight: Array) -> float:
    """Slope at the first point: of the parabola through three, not against the first line, nor over three times as steep."""
    slope = straight[0] + lengths[0] * (straight[0] - straight[1]) / (lengths[0] + lengths[1])
    if slope * straight[0] <= 0:
        return 0.0
    turns = straight[0] * straight[1] <= 0
    return float(np.copysign(min(abs(slope), 3 * abs(straight[0])), slope) if turns else slope)
