"""Curves of straight lines: what a diode, a current limit, a constant power or a capacitance under bias is made of in time."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from filterlib.errors import CircuitError

__all__ = ["Bend", "capacitor_bend", "clamp", "constant_power", "current_limit", "diode", "inductor_bend"]
_GAUSS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class Bend:
    """A curve y(x) of straight lines between corners.

    Attributes: ``x``, ``y`` (corners, x rising); ``before``, ``after`` (slopes outside of the corners).

    Raises
    ------
    CircuitError
        For no corner, for x that does not rise, and for what is not finite.

    Examples
    --------
    >>> rectifier = Bend((0.0,), (0.0,), 1e-7, 10.0)
    >>> rectifier(2.0), rectifier.piece(-1.0), rectifier.limits(0)
    (20.0, 0, (-inf, 0.0))
    """

    x: tuple[float, ...]
    y: tuple[float, ...]
    before: float
    after: float

    def __post_init__(self) -> None:
        numbers = (*self.x, *self.y, self.before, self.after)
        if not self.x or len(self.x) != len(self.y) or not all(map(math.isfinite, numbers)):
            raise CircuitError(f"a bend has as many finite y as x, at least one, not {self.x} and {self.y}")
        if any(b <= a for a, b in zip(self.x, self.x[1:], strict=False)):
            raise CircuitError(f"the corners of a bend rise in x, and {self.x} do not")

    def piece(self, x: float) -> int:
        """Which straight line holds at x: 0 before the first corner."""
        return bisect_right(self.x, x)

    def line(self, piece: int) -> tuple[float, float]:
        """Slope and offset of a piece: y = slope x + offset."""
        if piece in (0, len(self.x)):
            slope, corner = (self.before, 0) if piece == 0 else (self.after, -1)
        else:
            slope = (self.y[piece] - self.y[piece - 1]) / (self.x[piece] - self.x[piece - 1])
            corner = piece if abs(self.x[piece]) < abs(self.x[piece - 1]) else piece - 1
        return slope, self.y[corner] - slope * self.x[corner]

    def limits(self, piece: int) -> tuple[float, float]:
        """Where a piece begins and ends in x."""
        return (self.x[piece - 1] if piece else -math.inf), (self.x[piece] if piece < len(self.x) else math.inf)

    def __call__(self, x: float) -> float:
        slope, offset = self.line(self.piece(x))
        return slope * x + offset

    def back(self, y: float) -> float:
        """The argument at a value of a curve that rises everywhere: the charge of a capacitor at a voltage."""
        slope, offset = self.line(bisect_right(self.y, y))
        return (y - offset) / slope

    def area(self, x: float) -> float:
        """The integral of y from 0 to x: the energy of a capacitor v(q), or of an inductor i(flux) [J]."""
        inner = sorted(corner for corner in self.x if min(0.0, x) < corner < max(0.0, x))
        points = [min(0.0, x), *inner, max(0.0, x)]
        parts = sum((self(a) + self(b)) / 2 * (b - a) for a, b in pairwise(points))
        return math.copysign(1.0, x) * parts


def diode(drop: float, on: float, off: float = 1e7) -> Bend:
    """Current over voltage of a diode: ``off`` ohm up to its forward drop [V], ``on`` ohm [ohm] above it."""
    return Bend((drop,), (drop / off,), 1 / off, 1 / on)


def clamp(volts: float, ohms: float, *, both_ways: bool = False, drop: float = 0.7, off: float = 1e7) -> Bend:
    """Current over voltage of a suppressor (TVS): ``off`` ohm up to its breakdown [V], the dynamic ``ohms`` above it.

    Backwards it is a diode of ``drop`` [V], or, ``both_ways``, the same again. Two points of a data sheet give it:
    breakdown V at 1 mA, and clamping V at the peak pulse current, whose difference over that current is ``ohms``.

    >>> [round(clamp(33.0, 0.2, both_ways=way)(volts), 4) for way, volts in ((False, 35), (True, -35))]  # (35 - 33) / 0.2
    [10.0, -10.0]
    """
    low = -volts if both_ways else -drop
    return Bend((low, volts), (low / off, volts / off), 1 / ohms, 1 / ohms)


def current_limit(amperes: float, ohms: float, foldback: float = 0.0) -> Bend:
    """Current over the voltage across a limiter in series with a source: ``ohms`` up to ``amperes``, and then constant.

    ``foldback`` is the conductance [S] by which the current falls again beyond.
    """
    return Bend((amperes * ohms,), (amperes,), 1 / ohms, 1e-12 - foldback)


def constant_power(watts: float, lowest: float, highest: float, pieces: int = 64) -> Bend:
    """Current over voltage of a constant power [W]; below ``lowest`` [V] a resistance, above ``highest`` a tangent.

    The corners divide the range geometrically, so that each chord exceeds the curve by the same ratio.
    """
    v = np.geomspace(lowest, highest, pieces + 1)
    corners = watts / v
    return Bend(tuple(v), tuple(corners), watts / lowest**2, -watts / highest**2)


def capacitor_bend(capacitance: Callable[[np.ndarray], np.ndarray], highest: float, pieces: int = 64) -> Bend:
    """Voltage over charge of a capacitor from its small-signal capacitance C(v) [F], the same for both signs of v.

    Raises
    ------
    CircuitError
        Where the capacitance is not positive.
    """
    return _integrated(capacitance, highest, pieces, "F")


def inductor_bend(inductance: Callable[[np.ndarray], np.ndarray], highest: float, pieces: int = 64) -> Bend:
    """Current over flux linkage of a choke from its small-signal inductance L(i) [H], the same for both signs of i."""
    return _integrated(inductance, highest, pieces, "H")


def _integrated(slope: Callable[[np.ndarray], np.ndarray], highest: float, pieces: int, unit: str) -> Bend:
    """The effort over its charge or flux: the integral of the slope over the effort, turned about."""
    effort = _corners(slope, highest, pieces)
    nodes, weights = _GAUSS
    inside = effort[:-1, None] + np.diff(effort)[:, None] * (nodes + 1) / 2
    values = np.asarray(slope(inside), dtype=float) * np.ones_like(inside)
    ends = np.asarray(slope(np.array([highest])), dtype=float)
    if not ((values > 0).all() and (ends > 0).all()):
        raise CircuitError(
            f"a slope of {min(values.min(), ends.min()):g} {unit}: it has to be positive up to {highest:g}"
        )
    charge = np.concatenate([[0.0], np.cumsum((values @ weights) / 2 * np.diff(effort))])
    x: Sequence[float] = (*-charge[:0:-1], *charge)
    y: Sequence[float] = (*-effort[:0:-1], *effort)
    return Bend(tuple(map(float, x)), tuple(map(float, y)), float(1 / ends[0]), float(1 / ends[0]))


def _corners(slope: Callable[[np.ndarray], np.ndarray], highest: float, pieces: int) -> np.ndarray:
    """Corners between 0 and ``highest`` of which every chord misses the same energy: it goes with length^3 times slope'."""
    fine = np.linspace(0.0, highest, 40 * pieces + 1)
    density = np.cbrt(abs(np.gradient(np.asarray(slope(fine), dtype=float) * np.ones_like(fine), fine)))
    density = density + 0.05 * max(density.mean(), 1e-30)
    share = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return np.interp(np.linspace(0.0, share[-1], pieces + 1), share, fine)
