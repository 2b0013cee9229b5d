"""How well a trial agrees with all readings: differences over their uncertainties, of each case and of all cases together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from filterlib.bench.answers.answers_result import MODEL, Answer, BenchResult, SpectrumAnswer
from filterlib.bench.answers.explained import SOUND, Differences, Trial

_LINES = 12  # harmonics, the strongest before the filter
_LINE, _MORE, _MOST = 0.1, 0.15, 0.7
"""As `MODEL`, of the first harmonic, more at each further one, at most: as banks have several branches."""


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


def priors(known: Sequence[Trial]) -> np.ndarray:
    """How likely each is before anything is read, (trials,): see `SOUND` and `faults.OFTEN`."""
    often = np.array([one.fault.often for one in known])
    return np.where(often > 0, (1 - SOUND) * often / often.sum(), SOUND)
