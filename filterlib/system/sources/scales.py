"""How large ripple and spike are inside a converter, so that its two arrangements read what was stated."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.network.extremes import Harmonics, Mixture, Real, Samples, cached_rows

Flags: TypeAlias = NDArray[np.bool_]
_STEPS = 60  # at most, of a search
_CLOSE = 1e-13  # logarithm of a reading over what was stated, or share, at which a search ends
_ROUGH = 1e-6  # the same by samples alone, so that no design's figures depend on those beside it
_STEP = 1e-2  # share by which samples may step over what was stated
_TRIES = 10  # of Newton's method on two readings at once
_NEARLY = 0.05  # logarithm by which samples may miss what lies between them
FEW = 16  # designs, up to which what is fixed is reckoned with between samples too
INSTRUMENTS = 0.05  # of the logarithm, by which figures of two scopes may differ: common practice, no source
RECORDED = 0.1  # the same of a recording, whose limit of bandwidth is undone, noise with it, and a figure in full bandwidth: no source
_LOST = 1e-6  # pairs of figures that miss each other by less than this share are taken as feasible

Scaled: TypeAlias = tuple[Real, Real, Flags, Real, Real]
"""Factors of ripple and spike, where there are such, and the least that could be stated of each beside the other."""
_Miss: TypeAlias = Callable[[Real], tuple[Real, Real]]
"""How far readings are off [1], rising with the argument, and where they are not while their extremes stay in place."""


def scaled(
    waves: list[list[Harmonics]],
    stated: Real,
    stated_wide: Real | None,
    *,
    recorded: bool = False,
    rough: bool = False,
) -> Scaled:
    """Factors with which a converter's two arrangements, or the one, read as stated.

    Parameters
    ----------
    waves : lists of complex arrays (designs, n)
        For the ripple's arrangement, and the spike's where there is one: harmonics of ripple and spike as it reads
        them, and of what is fixed beside them, where there is anything.
    stated, stated_wide : array (designs,) or (1,)
        What they read, peak to peak [V]; None for a spike that is not stated.
    recorded : bool
        The ripple is fixed too.
    rough : bool
        Two figures beside a fixed wave by samples alone, within two percent.

    Examples
    --------
    >>> ripple, spike = np.zeros((1, 20), complex), np.zeros((1, 20), complex)
    >>> ripple[0, 0], spike[0, 10] = 0.5, 0.5  # cosines of 1: the narrow arrangement reads a tenth of the second
    >>> a, b, *_ = scaled([[ripple, 0.1 * spike], [ripple, spike]], np.array([2.2]), np.array([4.0]))
    >>> [float(one[0].round(9)) for one in (a, b)]
    [1.0, 1.0]
    """
    if stated_wide is not None and not recorded:
        return both(waves[0], waves[1], stated, stated_wide, rough=rough)
    if stated_wide is None:
        ripple, _, fixed = waves[0]
        factor, feasible, alone = beside(fixed, ripple, stated)
        return factor, 0 * factor, feasible, alone, 0 * alone
    ripple, spike, *more = waves[1]
    factor, feasible, alone = beside(ripple + sum(more), spike, stated_wide, slack=RECORDED)
    return np.ones_like(factor), factor, feasible, 0 * alone, alone


def beside(fixed: Harmonics, wave: Harmonics, stated: Real, *, slack: float = _LOST) -> tuple[Real, Flags, Real]:
    """The factor with which a wave beside a fixed one reads as stated; where the fixed one alone does not read more.

    Parameters: harmonics as they are read (designs, n); ``stated`` (designs,) [V peak to peak]; ``slack``: logarithm by which
    the fixed one alone may read more, and the factor is then 0.
    Returns: factors, whether there is one, and what the fixed wave reads alone; (designs,) each.
    """
    mixture = Mixture(fixed, wave)
    none, whole = np.zeros(mixture.designs), np.ones(mixture.designs)
    alone, unit = mixture.swings(whole, none)[0], mixture.swings(none, whole)[1]

    def miss(factor: Real) -> tuple[Real, Real]:
        f, w = mixture.swings(whole, factor)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log((f + factor * w) / stated), (stated - f) / w

    feasible, stated = alone <= stated * np.exp(slack), np.maximum(stated, alone)
    most = (stated + alone) / unit
    return np.where(feasible, _root(miss, none, most, miss(most)[1], feasible), np.nan), feasible, alone


def both(
    narrow: list[Harmonics], wide: list[Harmonics], stated: Real, stated_wide: Real, *, rough: bool = False
) -> Scaled:
    """Factors with which ripple and spike read as stated in a narrow and in a wide arrangement.

    Parameters: harmonics of ripple and spike as each arrangement reads them (designs, n), and of what is fixed beside
    them, where there is anything; what was stated, (designs,) [V peak to peak].

    The ratio of the two readings depends on the spike's share alone, and grows with it: a search for the share, then one
    common scale. While the extremes stay where they are, both readings are linear in the share.
    """
    if len(narrow) > 2:
        return _both_beside(narrow, wide, stated, stated_wide, exact=not rough)
    low, high = Mixture(*narrow), Mixture(*wide)
    none, whole = np.zeros(low.designs), np.ones(low.designs)
    unit_r, unit_s = low.swings(whole, none)[0], high.swings(none, whole)[1]

    def readings(share: Real) -> tuple[Real, Real, Real]:
        a, b = (1 - share) / unit_r, share / unit_s
        (r1, s1), (r2, s2) = low.swings(a, b), high.swings(a, b)
        without, alone = (
            (two / stated_wide - one / stated) / unit for one, two, unit in ((r1, r2, unit_r), (s1, s2, unit_s))
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            return a * r1 + b * s1, a * r2 + b * s2, without / (without - alone)

    def miss(share: Real) -> tuple[Real, Real]:
        one, two, there = readings(share)
        return np.log(two / one * stated / stated_wide), there

    (at_none, _), (at_whole, start) = miss(none), miss(whole)
    feasible = (at_none <= _LOST) & (at_whole >= -_LOST)
    share = _root(miss, none, whole, start, feasible)
    scale = np.where(feasible, stated / readings(share)[0], np.nan)
    needed = stated * np.exp(-at_whole), stated_wide * np.exp(at_none)
    return scale * (1 - share) / unit_r, scale * share / unit_s, feasible, *needed


def _both_beside(
    narrow: list[Harmonics], wide: list[Harmonics], stated: Real, stated_wide: Real, *, exact: bool
) -> Scaled:
    """The same beside a fixed wave, a few designs at a time."""
    count, step = len(narrow[0]), 4 * cached_rows(wide[0])
    figures = [np.broadcast_to(one, count) for one in (stated, stated_wide)]
    parts = []
    for rows in (slice(at, at + step) for at in range(0, count, step)):
        low, high = ([wave[rows] for wave in some] for some in (narrow, wide))
        parts.append(_few_beside(low, high, *(one[rows] for one in figures), exact=exact))
    return tuple(np.concatenate(some) for some in zip(*parts, strict=True))  # type: ignore[return-value]


def _few_beside(
    narrow: list[Harmonics], wide: list[Harmonics], stated: Real, stated_wide: Real, *, exact: bool
) -> Scaled:
    """By samples, and then, for ``exact``, between them."""
    low, high = Samples(*narrow), Samples(*wide)
    alone, wide_alone = low.swing(2), high.swing(2)
    units = stated / low.swing(0), stated_wide / high.swing(1)
    edges = _Edges(_Edge(low, stated, alone), _Edge(high, stated_wide, wide_alone), *units)
    needed, nearly = edges.needed(), np.exp(_NEARLY if exact else 0.0)
    feasible = edges.possible & (needed[0] <= nearly * stated) & (needed[1] <= nearly * stated_wide)
    rows = np.flatnonzero(feasible)
    a, b = np.full((2, low.designs), np.nan)
    if len(rows):
        some = edges.of((low.some(rows), high.some(rows)), rows)
        factors = some.met(some.units[0] / 2, some.units[1] / 2)
        if exact:
            fine = (
                Mixture(*(one[rows] for one in waves), about=(*factors, np.ones(len(rows)))) for waves in (narrow, wide)
            )
            some = edges.of((*fine,), rows, close=_CLOSE)
            factors = some.met(*factors)
        a[rows], b[rows] = factors
        feasible[rows] = np.abs(some.wide.read(*factors) / some.wide.stated - 1) < (_LOST if exact else _STEP)
    return np.where(feasible, a, np.nan), np.where(feasible, b, np.nan), feasible, *needed


class _Edge:
    """Where one arrangement reads as stated, beside a fixed wave that alone reads less: along any mixture of two others."""

    def __init__(self, waves: Samples | Mixture, stated: Real, alone: Real, close: float = _ROUGH) -> None:
        self.waves, self.stated, self.alone, self.close = waves, stated, alone, close
        self.one, self.wanted = np.ones(waves.designs), alone < stated
        self.last: list[Real] = []

    def read(self, a: Real, b: Real) -> Real:
        """What it reads of two waves with these factors, and of the fixed one."""
        x, y, z = self.waves.swings(a, b, self.one)
        return a * x + b * y + z

    def reach(self, u: Real, v: Real) -> tuple[Real, list[Real]]:
        """How far along (u, v) that is, and what the three waves have at the extremes there.

        Newton's method from outside: a peak to peak is convex, so no step leads back in. By samples alone it is so within a
        percent: a step that leads out again is a design's last.
        """
        far, done = self._outside(u, v), ~self.wanted
        for _ in range(_STEPS):
            x, y, z = self.last = self.waves.swings(far * u, far * v, self.one)
            with np.errstate(divide="ignore", invalid="ignore"):
                nearer = np.where(done, far, (self.stated - z) / (u * x + v * y))
            done = done | ~(far - nearer > self.close * far)
            far = nearer
            if done.all():
                break
        return far, self.last

    def _outside(self, u: Real, v: Real) -> Real:
        """A place outside: where the last extremes' tangent reads as stated, or else where the two waves alone read enough."""
        x, y, z = self.last or (0 * self.one,) * 3
        along = u * x + v * y
        with np.errstate(divide="ignore", invalid="ignore"):
            tangent = np.where(self.wanted, (self.stated - z) / along, 1.0)
        if np.all(along > 0):
            return tangent
        x, y, _ = self.waves.swings(u, v, 0 * self.one)
        return np.where(along > 0, tangent, (self.stated + self.alone) / (u * x + v * y))


class _Edges:
    """Those of both arrangements, met along a ``share`` of the second unit."""

    def __init__(self, narrow: _Edge, wide: _Edge, unit: Real, unit_wide: Real) -> None:
        self.narrow, self.wide, self.units = narrow, wide, (unit, unit_wide)

    def of(self, waves: Sequence[Samples | Mixture], rows: NDArray[np.intp], close: float = _ROUGH) -> _Edges:
        """Those of some designs, of which these are the waves."""
        both = zip(waves, (self.narrow, self.wide), strict=True)
        narrow, wide = (_Edge(one, edge.stated[rows], edge.alone[rows], close) for one, edge in both)
        return _Edges(narrow, wide, self.units[0][rows], self.units[1][rows])

    def met(self, a: Real, b: Real) -> tuple[Real, Real]:
        """Factors of both waves with which both read as stated.

        Newton's method on both readings at once, from ``a`` and ``b``; where that does not come there, share by share.
        """
        done = np.zeros(a.shape, bool)
        for _ in range(_TRIES):
            (x, y, z), (p, q, r) = (edge.waves.swings(a, b, edge.one) for edge in (self.narrow, self.wide))
            first, second = self.narrow.stated - z, self.wide.stated - r
            off = np.abs(a * x + b * y - first) / self.narrow.stated, np.abs(a * p + b * q - second) / self.wide.stated
            done |= np.maximum(*off) < self.narrow.close
            if done.all():
                return a, b
            with np.errstate(divide="ignore", invalid="ignore"):
                nearer = np.array([first * q - second * y, second * x - first * p]) / (x * q - y * p)
            a, b = np.where(done | ~np.isfinite(nearer), (a, b), np.maximum(nearer, 0.0))
        share = _root(self.miss, np.zeros(a.shape), self.narrow.one, self.narrow.one / 2, ~done, self.narrow.close)
        return tuple(np.where(done, (a, b), self.factors(share)))

    def miss(self, share: Real) -> tuple[Real, Real]:
        """How much farther the narrow one's is, and the share at which their tangents cross."""
        u, v = (1 - share) * self.units[0], share * self.units[1]
        (one, (x, y, z)), (two, (p, q, r)) = self.narrow.reach(u, v), self.wide.reach(u, v)
        first, second = self.narrow.stated - z, self.wide.stated - r
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (first * q - second * y) / self.units[0], (second * x - first * p) / self.units[1]
            return np.log(one / two), b / (a + b)

    @property
    def possible(self) -> Flags:
        """Where the fixed wave alone does not read more than was stated."""
        return self.narrow.wanted & self.wide.wanted

    def needed(self) -> tuple[Real, Real]:
        """What both read without the one wave while the other arrangement reads as stated."""
        none, (u, v) = 0 * self.units[0], self.units
        ripple = self.narrow.read(none, self.wide.reach(none, v)[0] * v)
        spike = self.wide.read(self.narrow.reach(u, none)[0] * u, none)
        narrow = np.where(self.wide.wanted, ripple, 0.0), np.where(self.narrow.wanted, spike, 0.0)
        return np.maximum(narrow[0], self.narrow.alone), np.maximum(narrow[1], self.wide.alone)

    def factors(self, share: Real) -> tuple[Real, Real]:
        """Of both waves, where the narrow one reads as stated."""
        u, v = (1 - share) * self.units[0], share * self.units[1]
        far = self.narrow.reach(u, v)[0]
        return far * u, far * v


def _root(miss: _Miss, left: Real, right: Real, start: Real, wanted: Flags, close: float = _CLOSE) -> Real:
    """Root of ``miss`` between left and right, elementwise; where none is ``wanted`` the value means nothing.

    Newton's method, as the readings are linear in between; halving where that leaves the interval or gains too little.
    Where the readings step over the root, the step.
    """
    x, done = np.where((start > left) & (start < right), start, (left + right) / 2), ~wanted
    before = np.full(x.shape, np.inf)
    for _ in range(_STEPS):
        off, there = miss(x)
        done |= np.abs(off) < close
        if np.all(done):
            break
        left, right = np.where(off < 0, x, left), np.where(off < 0, right, x)
        done |= right - left < close * right  # a step of the readings
        usable = (there > left) & (there < right) & (np.abs(off) < before / 2)
        x, before = np.where(done, x, np.where(usable, there, (left + right) / 2)), np.abs(off)
    return x
