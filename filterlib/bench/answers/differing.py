"""How well a trial agrees with all readings: differences over their uncertainties, of each case and of all cases together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Unit
from filterlib.bench.answers.answer import Answer, BenchResult
from filterlib.bench.answers.distance import MODEL
from filterlib.bench.answers.spectrum_answer import SpectrumAnswer
from filterlib.bench.answers.trials import Trial

_LINES = 12  # harmonics, the strongest before the filter
_LINE, _MORE, _MOST = 0.1, 0.15, 0.7
"""As `MODEL`, of the first harmonic, more at each further one, at most: as banks have several branches."""
_ODD = 1e-3  # share of readings that are wrong for no reason
TAILS = 20.0  # degrees of freedom of Student's t: fewer let readings be wrong together more often


@dataclass(frozen=True, eq=False)
class Differences:
    """Of every reading and harmonic from what a trial makes of it, in logarithms: ``apart`` (readings, cases), and ``sigma``
    (readings,), the standard uncertainty of reading and model."""

    apart: Annotated[np.ndarray, Unit("", key=None)]
    sigma: Annotated[np.ndarray, Unit("", key=None)]

    @property
    def over_uncertainty(self) -> Annotated[np.ndarray, Unit("", key=None)]:
        """(readings, cases)"""
        return np.asarray(self.apart / self.sigma[:, None])

    @property
    def misfit(self) -> Annotated[float, Unit("", key=None)]:
        """Root mean square over the uncertainties, in the case that fits best.

        >>> off = Differences(np.array([[0.1, 0.4], [-0.2, 0.4]]), np.array([0.1, 0.2]))
        >>> round(off.misfit, 9)  # hand: once and once its uncertainty in the first case, four times and twice in the second
        1.0
        """
        return float(np.sqrt(np.min(np.mean(np.minimum(self.over_uncertainty**2, 100.0), axis=0))))

    @property
    def of_cases(self) -> Annotated[np.ndarray, Unit("", key=None)]:
        """Logarithm of the likelihood of each case (cases,): normal, but for a few readings that are wrong for no reason."""
        z = self.over_uncertainty
        one = np.log((1 - _ODD) * np.exp(-0.5 * z**2) + _ODD * np.exp(-0.5 * (z / 10) ** 2))
        return np.asarray(np.nan_to_num(one.sum(axis=0), nan=-np.inf))

    @property
    def together(self) -> Annotated[float, Unit("", key=None)]:
        """Logarithm of the likelihood of all readings, up to what is the same for every trial of them.

        Differences are taken as spread together as the cases have them, and each by its own uncertainty: what one unknown of the
        converter moves at every place and harmonic at once counts once. Student's t, so that readings may be odd.
        Source: K. L. Lange, R. J. A. Little, J. M. G. Taylor, Journal of the American Statistical Association 84 (1989) 881-896;
        inverse and determinant by Woodbury's formula; both from memory.

        >>> one = Differences(np.array([[0.0, 0.2, -0.2], [0.0, 0.2, -0.2]]), np.array([0.1, 0.1]))
        >>> alike, opposite = (Differences(one.apart + np.array([[0.1], [side]]), one.sigma) for side in (0.1, -0.1))
        >>> alike.together > opposite.together
        True
        """
        middle = self.apart.mean(axis=1)
        spread = (self.apart - middle[:, None]) / self.sigma[:, None] / np.sqrt(max(self.apart.shape[1] - 1, 1))
        inner = np.eye(spread.shape[1]) + spread.T @ spread
        away = middle / self.sigma
        along = spread.T @ away
        square = float(away @ away - along @ np.linalg.solve(inner, along))
        tails = (TAILS + away.size) / 2 * np.log1p(square / TAILS)
        return -float(np.linalg.slogdet(inner)[1]) / 2 - float(tails)


def differences(result: BenchResult, tried: Trial, answers: Sequence[Answer]) -> Differences:
    """Of answers and of all harmonics; a reading that the trial does not know is far off."""
    pairs = [_of_answer(one, tried.figures.get(one.station.name, np.full(1, 1e-9))) for one in answers]
    for lines in result.spectra:
        if lines.station.name in tried.peaks:
            pairs += _of_lines(lines, tried.peaks[lines.station.name])
    apart, sigma = zip(*pairs, strict=True)
    return Differences(np.array(np.broadcast_arrays(*apart)), np.array(sigma))


def _of_answer(answer: Answer, figures: np.ndarray) -> tuple[np.ndarray, float]:
    reading = answer.reading
    blind = reading.low <= 0
    middle = reading.high / 2 if blind else reading.value
    own = 1.0 if blind else np.log(reading.high / reading.low) / 3.92
    return np.log(middle / np.maximum(figures, 1e-9)), float(np.hypot(own, MODEL))


def _strongest(lines: SpectrumAnswer) -> np.ndarray:
    """Indices of those before the filter; in bursts, whose lines lie close, of each of as many bands that are as wide in logarithms."""
    down = np.argsort(-lines.before)
    if lines.frequencies[0] > lines.switching / 2:
        return down[:_LINES]
    edges = np.geomspace(lines.frequencies[0], lines.frequencies[-1] * (1 + 1e-9), _LINES + 1)
    _, first = np.unique(np.searchsorted(edges, lines.frequencies[down], side="right"), return_index=True)
    return down[first]


def _of_lines(lines: SpectrumAnswer, many: np.ndarray) -> Iterator[tuple[np.ndarray, float]]:
    """Of the strongest harmonics; one that the noise hides differs only where it should have been seen."""
    orders = np.maximum(np.rint(lines.frequencies / lines.switching).astype(int) - 1, 0)
    for k in _strongest(lines):
        expected, model = np.maximum(np.nan_to_num(many[:, k]), 1e-9), min(_LINE + _MORE * orders[k], _MOST)
        if lines.clear[k]:
            own = np.log(lines.after_high[k] / max(lines.after_low[k], 0.2 * lines.after[k])) / 3.92
            yield np.log(max(lines.after[k], 1e-9) / expected), float(np.hypot(own, model))
        else:
            yield np.minimum(np.log(lines.after_high[k] / expected), 0.0), model
