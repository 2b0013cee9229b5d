"""What explains readings that do not agree: every fault tried on the real model, ranked by how likely it makes all readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from scipy.special import logsumexp

from filterlib.analysis.described import Unit
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.bench.answers.answer import Answer, BenchResult
from filterlib.bench.answers.distance import MODEL
from filterlib.bench.answers.faults import Fault
from filterlib.bench.answers.spectrum_answer import SpectrumAnswer, drawn_cases
from filterlib.bench.answers.stations import BARE, Station
from filterlib.bench.answers.trials import Trial, stations, trial, trials
from filterlib.errors import FilterlibError
from filterlib.system.solution import Solution, solve
from filterlib.system.uncertain_parameters import with_values

SOUND = 0.8  # share of boards that are as designed, before anything is read: common practice, no source
EXPLAINS = 2.5  # root mean square of the deviations over their uncertainties, up to which a fault explains all readings
ALIKE = 3.0  # times less likely, up to which two faults are not told apart
SIMPLER = 10.0  # times less likely, up to which the board as designed is taken before a fault
RULED_OUT = 1000.0  # times less likely than the first, from which on no reading is asked for to rule it out
_RIVALS = 5  # explanations behind the first, among which one is sought that another reading tells from it
_APART = 1.2  # ratio of what two explanations make of a reading, from which on it tells them apart
_LINES = 12  # harmonics, the strongest before the filter
_LINE, _MORE, _MOST = (
    0.1,
    0.15,
    0.7,
)  # as `MODEL`, of the first harmonic, more at each further one, at most: as banks have several branches
_ODD = 1e-3  # share of readings that are wrong for no reason


@dataclass(frozen=True)
class Explanation:
    """A ``fault``, how ``likely`` it is beside the others, by all readings together; ``misfit``: root mean square of the deviations over their
    uncertainties, in the plausible case that fits best; ``expected``: figure at each answer's station."""

    fault: Fault
    likely: Annotated[float, Unit("", "likely", "likely")]
    misfit: Annotated[float, Unit("", "misfit", "misfit")]
    expected: Annotated[tuple[float, ...], Unit("V", "expected", None)]

    @property
    def explains(self) -> bool:
        """Whether every reading is within its uncertainty, about."""
        return self.misfit <= EXPLAINS


@dataclass(frozen=True)
class NextReading:
    """The reading that tells two explanations apart best: what ``first`` and ``second`` would make there, and between which ends nine of
    their plausible cases in ten are."""

    station: Station
    first: Annotated[float, Unit("V", "first", "first_pp")]
    second: Annotated[float, Unit("V", "second", "second_pp")]
    first_ends: Annotated[tuple[float, float], Unit("V", key=None)]
    second_ends: Annotated[tuple[float, float], Unit("V", key=None)]

    @property
    def ratio(self) -> Annotated[float, Unit("", key=None)]:
        """How far both are apart, at least 1."""
        return max(self.first, self.second) / max(min(self.first, self.second), 1e-9)

    @property
    def apart(self) -> Annotated[float, Unit("", key=None)]:
        """How far both are apart over what both are spread and the circuit may be off, in logarithms."""
        spread = [np.log(max(high, 1e-9) / max(low, 1e-9)) / 3.29 for low, high in (self.first_ends, self.second_ends)]
        return float(np.log(self.ratio) / np.hypot.reduce([*spread, MODEL]))


@dataclass(frozen=True)
class Explained:
    """Explanations, the likeliest first; but the board as designed is first where it explains all readings and is not much
    less likely than the best. ``next_reading``: the one that tells a ``pair`` of them apart, None where none does."""

    ranked: tuple[Explanation, ...]
    next_reading: NextReading | None
    pair: tuple[Explanation, Explanation] | None

    @property
    def sound(self) -> bool:
        """Whether nothing speaks against the board as designed."""
        return self.ranked[0].fault.kind == "as designed" and self.ranked[0].explains

    @property
    def alike(self) -> tuple[Explanation, ...]:
        """The first, and those that the readings do not tell from it."""
        return tuple(one for one in self.ranked if one.likely * ALIKE >= self.ranked[0].likely)


def explain(result: BenchResult, tried: Sequence[Trial] | None = None) -> Explained:
    """Every fault of `faults` on the model, in the plausible cases of the review, beside all readings.

    ``tried``: the `trials` of another result of the same design and stations, where there are some.
    Validity: one fault at a time; faults of other kinds are not known to it.
    Raises: FilterlibError where there is no reading behind the converter.
    """
    if all(one.station.point == BARE for one in result.answers):
        raise FilterlibError("no reading behind the filter: nothing to explain")
    known = trials(result) if tried is None else tried
    found = [explained_by(result, one) for one in known]
    prior = np.array([SOUND if one.fault.kind == "as designed" else (1 - SOUND) / (len(known) - 1) for one in known])
    logs = np.log(prior) + [one.likely for one in found]
    shares = np.exp(logs - logsumexp(logs))
    weighed = (replace(one, likely=float(share)) for one, share in zip(found, shares, strict=True))
    ranked = sorted(weighed, key=lambda one: -one.likely)
    ranked = _simplest_first(ranked)
    return Explained(tuple(ranked), *_next(result, ranked, {one.fault: one for one in known}))


def _simplest_first(ranked: list[Explanation]) -> list[Explanation]:
    """The board as designed ahead of all others, where it explains all readings and is not `SIMPLER` times less likely."""
    sound = next((one for one in ranked if one.fault.kind == "as designed"), None)
    if sound is None or not sound.explains or sound.likely * SIMPLER < ranked[0].likely:
        return ranked
    return [sound, *(one for one in ranked if one is not sound)]


def explained_by(result: BenchResult, tried: Trial) -> Explanation:
    """How well one trial makes all readings behind the converter; ``likely`` is the logarithm of that, of no prior."""
    answers = [one for one in result.answers if one.station.point != BARE]
    z = _deviations(result, tried, answers)
    figures = tuple(float(np.median(tried.figures.get(one.station.name, np.nan))) for one in answers)
    misfit = float(np.sqrt(np.min(np.mean(np.minimum(z**2, 100.0), axis=0))))
    return Explanation(tried.fault, float(logsumexp(_likely(z)) - np.log(z.shape[1])), misfit, figures)


def _deviations(result: BenchResult, tried: Trial, answers: Sequence[Answer]) -> np.ndarray:
    """Of every reading and harmonic, over its standard uncertainty, (readings, cases); one that the trial does not know is far off."""
    found = [_deviation(one, tried.figures.get(one.station.name, np.full(1, 1e-9))) for one in answers]
    for lines in result.spectra:
        if lines.station.name in tried.peaks:
            found += _line_deviations(lines, tried.peaks[lines.station.name])
    return np.array(np.broadcast_arrays(*found))


def _likely(z: np.ndarray) -> np.ndarray:
    """Logarithm of the likelihood of each case: normal, but for a few readings that are wrong for no reason."""
    one = np.log((1 - _ODD) * np.exp(-0.5 * z**2) + _ODD * np.exp(-0.5 * (z / 10) ** 2))
    return np.asarray(np.nan_to_num(one.sum(axis=0), nan=-np.inf))


def agreement_of_cases(result: BenchResult) -> tuple[Plausible, np.ndarray]:
    """Every plausible case of the first operating point that was read, and the logarithm of how likely it makes all readings there.

    Raises: FilterlibError where no plausible cases are drawn, or nothing was read behind the filter.
    """
    answers = [one for one in result.answers if one.station.point != BARE]
    if not answers:
        raise FilterlibError("nothing is learned: no reading behind the filter")
    point = answers[0].station.point
    drawn = drawn_cases(result.design, result.ripples[point])
    if drawn is None:
        raise FilterlibError("nothing is learned: no plausible cases are drawn of this design")
    columns = {key: one[:, None] for key, one in drawn.values.items() if key != "converter.shape"}
    many = Solution(with_values(result.design, columns), solve(result.design, point).state)
    here = [one for one in answers if one.station.point == point]
    there = replace(result, spectra=tuple(one for one in result.spectra if one.station.point == point))
    tried = trial(there, Fault("as designed"), {point: spectra(many)})
    return drawn, _likely(_deviations(there, tried, here))


def _deviation(answer: Answer, figures: np.ndarray) -> np.ndarray:
    """Of a reading from a figure, over its standard uncertainty, in logarithms."""
    reading = answer.reading
    blind = reading.low <= 0
    middle = reading.high / 2 if blind else reading.value
    own = 1.0 if blind else np.log(reading.high / reading.low) / 3.92
    return np.asarray(np.log(middle / np.maximum(figures, 1e-9)) / np.hypot(own, MODEL))


def _line_deviations(lines: SpectrumAnswer, many: np.ndarray) -> Iterator[np.ndarray]:
    """Of the strongest harmonics; one that the noise hides deviates only where it should have been seen."""
    orders = np.rint(lines.frequencies / lines.frequencies[0]).astype(int) - 1
    for k in np.argsort(-lines.before)[:_LINES]:
        expected, model = np.maximum(np.nan_to_num(many[:, k]), 1e-9), min(_LINE + _MORE * orders[k], _MOST)
        if lines.clear[k]:
            own = np.log(lines.after_high[k] / max(lines.after_low[k], 0.2 * lines.after[k])) / 3.92
            yield np.log(max(lines.after[k], 1e-9) / expected) / np.hypot(own, model)
        else:
            yield np.maximum(np.log(expected / lines.after_high[k]), 0.0) / model


def _next(
    result: BenchResult, ranked: Sequence[Explanation], known: Mapping[Fault, Trial]
) -> tuple[NextReading | None, tuple[Explanation, Explanation] | None]:
    """Of all places, bands and points that were not read: where the first and its next rival differ most."""
    done = {one.station.name for one in result.answers}
    for rival in ranked[1 : 1 + _RIVALS]:
        if rival.likely * RULED_OUT < ranked[0].likely:
            break
        pairs = _pairs(result, known[ranked[0].fault], known[rival.fault])
        best = max((one for one in pairs if one.station.name not in done), key=lambda one: one.apart, default=None)
        if best is not None and best.ratio > _APART:
            return best, (ranked[0], rival)
    return None, None


def _pairs(result: BenchResult, one: Trial, other: Trial) -> Iterator[NextReading]:
    """What two faults would make of every reading that can be taken, in their median cases."""
    for point in result.ripples:
        for station in stations(result.design, point):
            if station.name in one.figures and station.name in other.figures:
                both = [each.figures[station.name] for each in (one, other)]
                low, middle, high = np.transpose([np.quantile(each, (0.05, 0.5, 0.95)) for each in both])
                ends = ((float(low[k]), float(high[k])) for k in (0, 1))
                yield NextReading(station, float(middle[0]), float(middle[1]), *ends)
