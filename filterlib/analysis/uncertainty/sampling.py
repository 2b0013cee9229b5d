"""Points drawn as often as the readings make them likely, sought from where they agree."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Likely = Callable[[Real], Real]
LEAST = 12.0  # weighed points that have to count, or others are sought: of those drawn from them a little fewer do, and ten are asked for
ENOUGH = 200.0  # weighed points that have to count, so that a hundred of those drawn from them do: as tried
ROUNDS = 6  # of further points, at most
WIDEST = 0.7  # standard deviation around the start, in those of the box; half of it in each round that finds nothing
EVEN = 0.15  # share of the further points that are drawn anywhere
LEAST_BELIEF = 1 / 64  # readings taken eight times as far off as they may be
APART = (
    10.0  # of the logarithm: of two readings three spreads off each, where the load's current does not fit; no source
)
_EDGE = 1e-4  # share of a range that counts as its end


def effective(sizes: Real) -> float:
    """How many equal weights say as much as these (n,); 0 where all are nothing.

    Source: L. Kish, Survey Sampling (1965), section 11.7, from memory.

    >>> effective(np.ones(7)), effective(np.zeros(7))
    (7.0, 0.0)
    """
    if not sizes.any():
        return 0.0
    shares = sizes / sizes.max()  # the square of a small one would be nothing
    return float(shares.sum() ** 2 / (shares**2).sum())


def latin_hypercube(rng: np.random.Generator, points: int, dimensions: int) -> Real:
    """Points (points, dimensions) between 0 and 1: in each dimension one in every part of 1/points, in random order.

    Source: M. D. McKay, R. J. Beckman, W. J. Conover, "A Comparison of Three Methods for Selecting Values of Input Variables
    in the Analysis of Output from a Computer Code", Technometrics 21 (1979) 239-245, from memory.
    """
    parts = rng.permuted(np.tile(np.arange(points), (dimensions, 1)), axis=1).T
    return np.asarray((parts + rng.random((points, dimensions))) / points)


def drawn_by(likely: Likely, even: Real, rng: np.random.Generator, draws: int, start: Real) -> tuple[Real, Real, float]:
    """Points drawn as often as the readings make them likely, their weights, and how far the readings are believed.

    Parameters
    ----------
    likely : callable
        Logarithm of how likely the readings are (n,), of points (n, dimensions) between 0 and 1; minus infinity where they
        contradict each other.
    even : array (points, dimensions)
        Spread evenly over the box; these are weighed first.
    draws : int
        How many to draw.
    start : array (dimensions,)
        A point at which the readings agree, for where none or few of the even ones do; NaN in dimensions on which nothing depends.

    Returns
    -------
    tuple
        Points (n, dimensions), n at most ``draws``; weights (n,): how often each was drawn, times the mean likelihood over the
        box, so that shapes that are not stated weigh as their readings have it; and 1, or the share of the logarithm of
        the likelihood that counts where too few agree. No points where nothing is likely.

    Notes
    -----
    Where fewer than `LEAST` of the even ones count, and until `ENOUGH` do, further ones are drawn around the likely ones so far, as wide as those are spread. Each is weighed by its
    likelihood over the density with which its round was drawn, so that the weights stay those of the even box, and each round
    counts by how many of it do. No density is below `EVEN`, so no likely region that was missed can weigh without end.
    Where still fewer than `LEAST` count, or the nearest is far off, no simple inside reads as precisely as scopes do: the readings are believed less, as little less as
    lets that many count, and as brings the nearest within `APART`; those that come nearest to them weigh most.
    Source: O. Cappé, A. Guillin, J.-M. Marin, C. P. Robert, "Population Monte Carlo", Journal of Computational and Graphical
    Statistics 13 (2004) 907-929, from memory.
    """
    found = _Found(likely, even, start)
    for number in range(ROUNDS if effective(found.sizes()) < LEAST else 0):
        if effective(found.sizes()) >= ENOUGH:
            break
        found.add(_around(found, WIDEST / 2**number), rng, draws)
    sizes = found.sizes()
    if not sizes.any():
        return even[:0], sizes[:0], 1.0
    mean, belief = sizes.mean(), found.believed(LEAST)
    sizes = found.sizes(belief)
    at = (np.arange(draws) + rng.random()) / draws
    rows, counts = np.unique(np.searchsorted(np.cumsum(sizes) / sizes.sum(), at), return_counts=True)
    return found.points[rows], counts * mean, belief


@dataclass(frozen=True)
class _Around:
    """Normal around a ``centre`` (known,), in standard deviations of the box; ``root`` of the covariance, lower triangular."""

    centre: Real
    root: Real

    def draw(self, rng: np.random.Generator, points: int) -> Real:
        """(points, known)."""
        return np.asarray(self.centre + rng.standard_normal((points, len(self.root))) @ self.root.T)

    def density(self, normal: Real) -> Real:
        """Of drawing each of some points, over that of an even one; (n,)."""
        apart = np.linalg.solve(self.root, (normal - self.centre).T)
        return np.asarray(
            np.exp(0.5 * ((normal**2).sum(axis=1) - (apart**2).sum(axis=0))) / np.prod(np.diag(self.root))
        )


class _Found:
    """All points so far, and their weights: likelihood over density, each round counting as much as it tells.

    ``at`` (known,): the start in the dimensions that count; `normal` there: each spread over a standard normal distribution in
    place of 0 to 1, which has no edge.
    """

    def __init__(self, likely: Likely, even: Real, start: Real) -> None:
        self.likely, self.known = likely, ~np.isnan(start)
        self.at, self.points, self.rounds = start[self.known], even[:0], list[tuple[Real, Real]]()
        self._add(even, np.ones(len(even)))

    @property
    def normal(self) -> Real:
        """All points (n, known)."""
        return _to_normal(self.points[:, self.known])

    def sizes(self, belief: float = 1.0) -> Real:
        """Their mean over all rounds is the mean likelihood over the box; the readings taken for less with less ``belief``."""
        sizes = [np.exp(belief * likely) / density for likely, density in self.rounds]
        told = np.array([effective(one) for one in sizes])
        shares = told / (told.sum() or 1.0)
        return len(self.points) * np.concatenate([w * one / len(one) for w, one in zip(shares, sizes, strict=True)])

    def believed(self, least: float) -> float:
        """How far the readings can be believed so that as many points as that count, and the best agrees: 1, or by halves less."""
        belief, best = 1.0, max(likely.max() for likely, _ in self.rounds)
        while belief > LEAST_BELIEF and (effective(self.sizes(belief)) < least or belief * best < -APART):
            belief /= 2
        return belief

    def add(self, around: _Around, rng: np.random.Generator, count: int) -> None:
        """As many further points, `EVEN` of them anywhere in the box."""
        more, anywhere = rng.random((count, len(self.known))), int(EVEN * count)
        normal = np.concatenate([_to_normal(more[:anywhere, self.known]), around.draw(rng, count - anywhere)])
        more[:, self.known] = _from_normal(normal)
        self._add(more, EVEN + (1 - EVEN) * around.density(normal))

    def _add(self, points: Real, density: Real) -> None:
        self.rounds.append((self.likely(points), density))
        self.points = np.concatenate([self.points, points])


def _to_normal(shares: Real) -> Real:
    from scipy.special import ndtri  # only where next to nothing agrees

    return np.asarray(ndtri(np.clip(shares, _EDGE, 1 - _EDGE)))


def _from_normal(normal: Real) -> Real:
    from scipy.special import ndtr

    return np.asarray(ndtr(normal))


def _around(found: _Found, widest: float) -> _Around:
    """Where further points are looked for: as the likely ones are spread, and while these are few around the start."""
    start, normal = _to_normal(found.at), found.normal
    sizes, dimensions = found.sizes(found.believed(LEAST)), len(start)
    count = effective(sizes)
    if not count:
        return _Around(start, widest * np.eye(dimensions))
    trust, centre = count / (count + dimensions), np.average(normal, axis=0, weights=sizes)
    apart = normal - centre
    spread = (apart * sizes[:, None]).T @ apart / sizes.sum()
    covariance = trust * spread + (1 - trust) * widest**2 * np.eye(dimensions)
    return _Around(trust * centre + (1 - trust) * start, np.linalg.cholesky(covariance))
