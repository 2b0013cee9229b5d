"""What explains the readings of a board that do not agree, and what they tell of its converter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import InUnit, Unit, Volts
from filterlib.analysis.ripple.ripple_result import Figure
from filterlib.bench.answers.answers_result import MODEL, BenchResult, Fault, Station
from filterlib.system.design import Design

SOUND = 0.8  # share of boards that are as designed, before anything is read: common practice, no source
EXPLAINS = 2.5  # root mean square of the deviations over their uncertainties, up to which a fault explains all readings
ALIKE = 3.0  # times less likely, up to which two faults are not told apart
_ODD = 1e-3  # share of readings that are wrong for no reason
TAILS = 20.0  # degrees of freedom of Student's t: fewer let readings be wrong together more often


@dataclass(frozen=True)
class Explanation:
    """A ``fault``, and ``others`` that these readings do not tell from it and that ask for the same of a person; how ``likely`` they are, by
    all readings together; of the ``fault``: ``misfit``, root mean square of the deviations over their uncertainties in the plausible
    case that fits best, and ``expected``, figure at each answer's station."""

    fault: Fault
    likely: Annotated[float, Unit("", "likely", "likely")]
    misfit: Annotated[float, Unit("", "misfit", "misfit")]
    expected: Annotated[tuple[float, ...], Unit("V", "expected", None)]
    others: tuple[Fault, ...] = ()

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All of them, the likeliest first."""
        return (self.fault, *self.others)

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
class Exchange:
    """A capture at a ``station`` behind the filter that shows more (``behind``, rms) than that ``before`` it.

    ``fault``: what explains both best as they are given; ``times``: how many times likelier the board as designed is with both exchanged
    than with that fault as they are given; 0 where they cannot be exchanged.
    """

    file: str
    station: Station
    before: Volts[float]
    behind: Volts[float]
    fault: Fault
    times: Annotated[float, Unit("", key=None)]

    @property
    def asks(self) -> bool:
        """Whether a person has to be asked."""
        return self.times > 1


@dataclass(frozen=True)
class Explained:
    """Explanations, the likeliest first; but the board as designed is first where it explains all readings, or all of them ``agree`` with the
    design, and it is not much less likely than the best. ``next_reading``: the one that tells a ``pair`` of them apart, None where none does;
    ``exchange``: whether captures may be exchanged, where one behind the filter shows more than that before it."""

    ranked: tuple[Explanation, ...]
    agree: bool
    next_reading: NextReading | None
    pair: tuple[Explanation, Explanation] | None
    exchange: Exchange | None = None

    @property
    def sound(self) -> bool:
        """Whether nothing speaks against the board as designed."""
        return self.ranked[0].fault.none and (self.ranked[0].explains or self.agree)

    @property
    def alike(self) -> tuple[Explanation, ...]:
        """The first, and those that the readings do not tell from it."""
        return tuple(one for one in self.ranked if one.likely * ALIKE >= self.ranked[0].likely)


@dataclass(frozen=True)
class Narrowed:
    """An uncertain parameter by its ``key`` and ``label``: its range ``before``, and what the readings leave of it."""

    key: str
    label: str
    unit: str
    before_low: InUnit[float]
    before_high: InUnit[float]
    value: Annotated[float, Unit("{unit}", "value", "value")]
    low: InUnit[float]
    high: InUnit[float]


@dataclass(frozen=True)
class Learned:
    """Every parameter of the converter that the readings ``narrowed``, the most first; ``cases``: how many plausible cases count."""

    narrowed: tuple[Narrowed, ...]
    cases: Annotated[float, Unit("", "cases", "plausible_cases")]


@dataclass(frozen=True)
class BothRanges:
    """What was ``learned``, the ``design`` with it, and the figure at a ``station`` ``before`` and ``after`` that."""

    learned: Learned
    design: Design
    station: Station
    before: Figure
    after: Figure


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


def exit_code(result: BenchResult, explained: Explained | None) -> int:
    """0 where every reading agrees, and nothing speaks against the board as designed: its harmonics count, too."""
    return result.exit_code or int(explained is not None and not explained.sound)


@dataclass(frozen=True, eq=False)
class Trial:
    """A ``fault`` on the model.

    ``figures``: by the name of a station, peak to peak that would be read (cases,); ``peaks``: by that of a capture with one
    before it, the harmonics of its `SpectrumAnswer` (cases, harmonics).
    """

    fault: Fault
    figures: Annotated[Mapping[str, np.ndarray], Unit("V", key=None)]
    peaks: Annotated[Mapping[str, np.ndarray], Unit("V", key=None)]

    @property
    def cases(self) -> int:
        """How many."""
        return max(len(one) for one in (*self.figures.values(), *self.peaks.values()))
