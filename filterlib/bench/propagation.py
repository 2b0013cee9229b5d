"""Uncertainty carried through a relation: to first order where that is good, by sampling where it is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from filterlib.errors import FilterlibError

COVERAGE = 0.95
BATCH = 10_000  # cases drawn at a time; JCGM 101, 7.9.4 asks for at least 100 / (1 - coverage)
_LEAST, _MOST = 4, 200  # batches
_BENT = 0.05  # share of the first-order uncertainty that the second order may have before cases are drawn
Relation = Callable[[np.ndarray], np.ndarray]
"""Takes inputs (n, ...) and gives outputs (m, ...): many cases at once stand along the last axes."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """What comes out of a relation with uncertain inputs.

    ``values`` (m,): best values, of drawn cases their mean; ``covariance`` (m, m) of the standard uncertainties;
    ``low``, ``high`` (m,): ends of the interval that holds `COVERAGE`; ``cases``: how many
    were drawn, 0 for first order. All in the outputs' units.
    """

    values: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    cases: int

    @property
    def uncertainties(self) -> np.ndarray:
        """Standard uncertainties, array (m,)."""
        return np.sqrt(np.diag(self.covariance))


def carried(relation: Relation, values: np.ndarray, covariance: np.ndarray) -> Outcome:
    """Through a relation of normal inputs: to first order where the second is small beside it, else by drawn cases.

    Parameters: ``relation`` as `Relation`; ``values`` (n,) and ``covariance`` (n, n) of the inputs.
    Validity: the second order that is looked at is each input's own; a bend that only two inputs make together is not seen.
    Raises: FilterlibError where the inputs' shapes do not fit, or where drawing does not settle.

    >>> straight = carried(lambda x: 2 * x, np.array([3.0]), np.array([[0.01]]))
    >>> straight.cases, round(float(straight.high[0]), 3)
    (0, 6.392)
    >>> square = carried(np.square, np.array([0.0]), np.array([[100.0]]))  # to first order 0 and certain
    >>> square.cases > 0, bool(90 < square.values[0] < 110)
    (True, True)
    """
    steps = np.sqrt(np.diag(covariance))
    moved = np.stack([values[:, None] + one * np.diag(steps) for one in (1.0, -1.0)])
    above, below = relation(moved[0]), relation(moved[1])
    middle = relation(values[:, None])
    bends = np.sqrt(np.sum(np.square(above + below - 2 * middle), axis=1) / 2)
    first = first_order(relation, values, covariance)
    if np.all(bends <= _BENT * first.uncertainties):
        return first
    root = _root(covariance)
    return drawn(lambda random, n: relation(values[:, None] + root @ random.standard_normal((values.size, n))))


def first_order(relation: Relation, values: np.ndarray, covariance: np.ndarray) -> Outcome:
    """The law of propagation with correlated inputs (JCGM 100, 5.2.2), slopes by central differences.

    Raises: FilterlibError where the shapes do not fit.
    """
    if covariance.shape != (values.size, values.size):
        raise FilterlibError(f"a covariance of shape {covariance.shape} does not fit {values.size} values")
    scale = np.maximum(np.sqrt(np.diag(covariance)), 1e-300)
    step = np.diag(scale * 1e-2)
    slopes = (relation(values[:, None] + step) - relation(values[:, None] - step)) / (2e-2 * scale)
    outputs, spread = relation(values[:, None])[:, 0], slopes @ covariance @ slopes.T
    reach = ndtri(0.5 + COVERAGE / 2) * np.sqrt(np.diag(spread))
    return Outcome(outputs, spread, outputs - reach, outputs + reach, 0)


def drawn(
    draw: Callable[[np.random.Generator, int], np.ndarray],
    *,
    ends: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]] | None = None,
    digits: int = 2,
    seed: int = 1,
) -> Outcome:
    """From drawn cases, as many as make mean, uncertainty and both ends good to ``digits`` digits of the uncertainty.

    ``draw`` takes a generator and a number n and gives outputs (m, n); ``ends``: `shortest` unless given, or `middle`. JCGM 101, 7.9: batches until twice the standard
    deviation of each figure's mean over the batches is below half a unit of the last digit.
    Raises: FilterlibError where that takes more than 2,000,000 cases.

    >>> sum_of_four = drawn(lambda random, n: random.uniform(-1, 1, (4, n)).sum(axis=0, keepdims=True) * 3**0.5)
    >>> bool(abs(sum_of_four.high[0] - 3.88) < 0.05)
    True
    """
    random = np.random.default_rng(seed)
    figures: list[np.ndarray] = []
    sums = np.zeros((1, 1))
    for done in range(1, _MOST + 1):
        cases = draw(random, BATCH)
        mean = cases.mean(axis=1)
        sums = sums + np.cov(cases).reshape(mean.size, mean.size)
        figures.append(np.stack([mean, cases.std(axis=1, ddof=1), *(ends or shortest)(cases)]))
        if done >= _LEAST and np.all(
            2 * np.std(figures, axis=0, ddof=1) / np.sqrt(done) <= _tolerance(figures, digits)
        ):
            mean, _, low, high = np.mean(figures, axis=0)
            return Outcome(mean, sums / done, low, high, done * BATCH)
    raise FilterlibError(f"the ends of the interval do not settle in {_MOST * BATCH} cases")


def _tolerance(figures: list[np.ndarray], digits: int) -> np.ndarray:
    """Half a unit of the last digit of each standard uncertainty."""
    spread = np.maximum(np.mean(figures, axis=0)[1], 1e-300)
    return np.asarray(0.5 * 10 ** (np.floor(np.log10(spread)) - digits + 1))


def shortest(cases: np.ndarray, coverage: float = COVERAGE) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the shortest interval that holds a share of the cases (m, n), two arrays (m,); JCGM 101, 5.3.4.

    >>> shortest(np.array([[0.0, 1.0, 2.0, 3.0, 9.0]]), 0.8)
    (array([0.]), array([3.]))
    """
    ordered = np.sort(cases, axis=1)
    width = round(coverage * cases.shape[1]) - 1
    starts = np.argmin(ordered[:, width:] - ordered[:, : cases.shape[1] - width], axis=1)
    rows = np.arange(cases.shape[0])
    return ordered[rows, starts], ordered[rows, starts + width]


def middle(cases: np.ndarray, coverage: float = COVERAGE) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the interval with as many cases (m, n) below it as above, two arrays (m,): well defined for flat ones too.

    >>> middle(np.linspace(0.0, 1.0, 101)[None], 0.9)
    (array([0.05]), array([0.95]))
    """
    low, high = np.quantile(cases, [(1 - coverage) / 2, (1 + coverage) / 2], axis=1)
    return low, high


def _root(covariance: np.ndarray) -> np.ndarray:
    """A matrix whose square is the covariance, which may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    root: np.ndarray = vectors * np.sqrt(np.maximum(values, 0.0))
    return root
