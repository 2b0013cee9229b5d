"""The probable interval: in which a figure is for nine plausible combinations in ten, each weighed by how well it agrees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Self

import numpy as np

from filterlib.analysis.described import Unit
from filterlib.analysis.uncertainty.sampling import effective
from filterlib.system.ranges.uncertain_parameter import SHAPE
from filterlib.system.sources.scales import INSTRUMENTS

ENDS = (0.05, 0.95)  # shares of the plausible combinations below the two ends
LEAST = 10.0  # combinations that have to count, or nothing is said
WIDE = 10.0  # ratio of the ends from which on one number does not decide
_SURE = 1.645  # standard deviations, one-sided: 19 times in 20
BEYOND = 1.1
"""Times as far from the middle of all cases, in the logarithm, real converters lie as cases of the model do: it has one or two
capacitors inside, of which nothing moves with frequency. From 47 converters that were simulated otherwise: tests/calibration/README.md."""
MOST_OF_THEM = 0.95  # share of them that a requirement asks for to be probably met


def too_wide(low: float, high: float) -> bool:
    """Whether an interval is so wide that one number does not decide it, and that a third digit says nothing.

    >>> too_wide(1.0, 11.0), too_wide(1.0, 9.0), too_wide(np.nan, np.nan)
    (True, False, False)
    """
    return high > WIDE * low


def beyond_the_model(figures: np.ndarray, middle: np.ndarray, times: float = BEYOND) -> np.ndarray:
    """Ripple of plausible cases as it is of real converters: ``times`` as far from their ``middle``, in its unit and shape.

    >>> beyond_the_model(np.array([2.0**10, 0.0]), np.array([1.0, 0.0])).round(9)
    array([2048.,    0.])
    """
    return np.asarray(middle * (figures / np.where(middle > 0, middle, 1.0)) ** times)


def times_as_far(low: float, high: float) -> float:
    """As real converters lie of whose cases in the model nine in ten are between two ends: `BEYOND`, and beside it what instruments are off.

    Spreads add as squares, in the logarithm; a figure known to 2 % in the model is no surer than its readings.

    >>> round(times_as_far(1.0, 100.0), 3), round(times_as_far(1.0, 1.1), 2)
    (1.101, 2.05)
    """
    sigma = width((low, high)) / (2 * _SURE)
    return float(np.hypot(BEYOND, INSTRUMENTS / sigma)) if sigma else BEYOND


@dataclass(frozen=True, eq=False)
class Plausible:
    """What a figure is for combinations of the uncertain parameters, drawn over their ranges evenly, or as the readings have it.

    ``figures`` (draws,), NaN where a combination contradicts what was stated; ``weights`` (draws,): how plausible each is
    beside the others, by its agreement with the readings; a contradiction counts for nothing. ``values``: what was drawn, key of an
    uncertain parameter -> (draws,), so that other figures can be had of the same combinations; "converter.shape" among them.
    ``belief``: share of the readings' log-likelihood that counts: below 1 where too few combinations agree with them.
    """

    figures: Annotated[np.ndarray, Unit("own", key=None)]
    weights: Annotated[np.ndarray, Unit("", key=None)]
    values: Annotated[Mapping[str, np.ndarray], Unit("own", key=None)] = field(default_factory=dict)
    belief: Annotated[float, Unit("", key=None)] = 1.0

    @property
    def readings_off(self) -> Annotated[float, Unit("", "times as far off readings are taken", key=None)]:
        """How many times as far off the readings are taken as they may be; 1 where combinations agree with them.

        >>> Plausible(np.ones(9), np.ones(9), belief=1 / 16).readings_off
        4.0
        """
        return float(self.belief**-0.5)

    @property
    def effective(self) -> Annotated[float, Unit("", "combinations that count", key=None)]:
        """How many equally plausible combinations say as much; of n with one weight it is n."""
        return effective(self._known()[1])

    @property
    def columns(self) -> Annotated[Mapping[str, np.ndarray], Unit("own", key=None)]:
        """The values (draws, 1) as a design of one shape takes them.

        >>> Plausible(np.ones(2), np.ones(2), {"x": np.ones(2), "converter.shape": np.full(2, "pulse")}).columns
        {'x': array([[1.],
               [1.]])}
        """
        return {key: one[:, None] for key, one in self.values.items() if key != SHAPE}

    def ends(self) -> tuple[float, float]:
        """Between which nine in ten are; NaN where fewer than `LEAST` combinations count.

        >>> low, high = Plausible(np.arange(101.0), np.ones(101)).ends()
        >>> round(low), round(high)
        (5, 95)
        """
        if self.effective < LEAST:
            return np.nan, np.nan
        low, high = self._below(ENDS)
        return float(low), float(high)

    def of_real_converters(self) -> Plausible:
        """The same combinations with their ripple `beyond_the_model`, `times_as_far`; as they are where too few count.

        >>> Plausible(np.geomspace(1, 100, 21), np.ones(21)).of_real_converters().figures[[0, 10]].round(3)
        array([ 0.793, 10.   ])
        """
        if self.effective < LEAST:
            return self
        low, middle, high = self._below((ENDS[0], 0.5, ENDS[1]))
        return self.of(beyond_the_model(self.figures, middle, times_as_far(low, high)))

    def share(self, low: float, high: float) -> float:
        """Share of the plausible combinations with a figure from ``low`` to ``high``; NaN where fewer than `LEAST` count.

        >>> Plausible(np.arange(100.0), np.ones(100)).share(-np.inf, 24.0)
        0.25
        """
        if self.effective < LEAST:
            return np.nan
        figures, weights = self._known()
        return float(weights[(figures >= low) & (figures <= high)].sum() / weights.sum())

    def least_share(self, low: float, high: float) -> float:
        """The share that can be relied on, 19 times in 20, as so few are drawn: of few that all fit it is well below one.

        Lower end of the score interval. Source: E. B. Wilson, Journal of the American Statistical Association 22 (1927) 209-212,
        from memory.

        >>> round(Plausible(np.arange(256.0), np.ones(256)).least_share(-np.inf, 300.0), 3)
        0.99
        """
        share, count = self.share(low, high), self.effective
        if np.isnan(share):
            return share
        z = _SURE**2 / count
        return float((share + z / 2 - np.sqrt(z * (share * (1 - share) + z / 4))) / (1 + z))

    def times(self, share: float) -> Plausible:
        """As plausible as this share of all cases."""
        return Plausible(self.figures, share * self.weights, self.values, self.belief)

    def beside(self, other: Plausible) -> Plausible:
        """Both together, as where a shape is not stated; the readings as far believed as by what weighs more."""
        shared = [key for key in self.values if key in other.values]
        return Plausible(
            np.concatenate([self.figures, other.figures]),
            np.concatenate([self.weights, other.weights]),
            {key: np.concatenate([self.values[key], other.values[key]]) for key in shared},
            max((self, other), key=lambda one: one.weights.sum()).belief,
        )

    def where(self, key: str, value: object) -> Plausible | None:
        """Those with this value of what was drawn; None where there are none."""
        chosen = np.flatnonzero(self.values[key] == value) if key in self.values else np.zeros(0, dtype=int)
        values = {name: one[chosen] for name, one in self.values.items()}
        return Plausible(self.figures[chosen], self.weights[chosen], values, self.belief) if chosen.size else None

    def some(self, count: int) -> np.ndarray:
        """Indices (count,) of a few that stand for all, each as often as it weighs; none twice needs many more than that.

        >>> Plausible(np.arange(4.0), np.array([0.0, 1.0, 1.0, 0.0])).some(2)
        array([1, 2])
        """
        weights = np.where(np.isfinite(self.figures), self.weights, 0.0)
        even = (np.arange(count) + 0.5) / count
        return np.searchsorted(np.cumsum(weights) / (weights.sum() or 1.0), even).clip(0, len(weights) - 1)

    def of(self, figures: np.ndarray) -> Plausible:
        """Another figure (draws,) of the same combinations; those that contradict what was stated stay left out."""
        return Plausible(np.where(np.isfinite(self.figures), figures, np.nan), self.weights, self.values, self.belief)

    def _below(self, shares: Sequence[float]) -> np.ndarray:
        """The figures below which these shares of the combinations are."""
        figures, weights = self._known()
        order = np.argsort(figures)
        below = np.cumsum(weights[order]) - weights[order] / 2
        return np.asarray(np.interp(shares, below / weights.sum(), figures[order]))

    def _known(self) -> tuple[np.ndarray, np.ndarray]:
        known = np.isfinite(self.figures)
        return self.figures[known], self.weights[known]


@dataclass(frozen=True)
class Interval:
    """The interval of one figure: ``low`` and ``high``, and the values of the uncertain parameters that make them.

    ``nominal``: the figure itself. ``effects``: by key of each uncertain parameter, the least and greatest figure while
    it alone moves through its range. ``plausible``: what it is for plausible combinations, None where
    none were drawn.
    """

    nominal: Annotated[float, Unit("own")]
    low: Annotated[float, Unit("own")]
    high: Annotated[float, Unit("own")]
    at_low: Annotated[Mapping[str, float], Unit("own")]
    at_high: Annotated[Mapping[str, float], Unit("own")]
    effects: Annotated[Mapping[str, tuple[float, float]], Unit("own")]
    plausible: Plausible | None = field(default=None, kw_only=True)

    @property
    def decisive(self) -> str:
        """Key of the uncertain parameter that moves the figure most."""
        return max(self.effects, key=lambda key: width(self.effects[key]), default="")

    def of_real_converters(self) -> Self:
        """With the plausible cases beyond the model, but none beyond what is possible."""
        if self.plausible is None:
            return self
        drawn = self.plausible.of_real_converters()
        return replace(self, plausible=drawn.of(np.clip(drawn.figures, self.low, self.high)))


def width(ends: tuple[float, float]) -> float:
    """How far a figure above zero moves, as the logarithm of the ratio of its ends; 0 where that means nothing."""
    low, high = ends
    return float(np.log(high / low)) if 0 < low < high else 0.0
