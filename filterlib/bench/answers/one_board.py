"""One board with values of a reader's own: what its captures would show, beside what was captured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Hertz, Seconds, Unit, Volts
from filterlib.analysis.ripple.spectra import spectra
from filterlib.bench.answers.answers_result import BenchResult, Fault
from filterlib.bench.answers.explained import EXPLAINS
from filterlib.bench.answers.explanation import explained_by
from filterlib.bench.answers.trials import trial
from filterlib.system.ranges.changes import changed
from filterlib.system.solution import solve

POINTS = 400  # of a period


@dataclass(frozen=True, eq=False)
class Board:
    """A ``result`` with one capture behind the filter and one before it; ``values`` by key of what is another on the board; ``factor``
    with which its probe is read."""

    result: BenchResult
    values: Mapping[str, float] = field(default_factory=dict)
    factor: Annotated[float, Unit("", "factor")] = 1.0


@dataclass(frozen=True, eq=False)
class BoardResult:
    """``times`` (t,) of one period; ``read`` and ``expected`` (t,) without their means; harmonics (h,): ``frequencies``, peaks ``before``
    the filter, ``peaks`` that were read (NaN where noise hides them) and ``peaks_expected``; ``pp`` and ``pp_expected`` in 20 MHz;
    ``misfit``: root mean square of all deviations over their uncertainties."""

    times: Seconds[np.ndarray]
    read: Volts[np.ndarray]
    expected: Volts[np.ndarray]
    frequencies: Hertz[np.ndarray]
    before: Volts[np.ndarray]
    peaks: Volts[np.ndarray]
    peaks_expected: Volts[np.ndarray]
    pp: Annotated[float, Unit("V", "read", "pp")]
    pp_expected: Annotated[float, Unit("V", "expected", "expected_pp")]
    misfit: Annotated[float, Unit("", "deviation over uncertainty")]

    @property
    def explains(self) -> bool:
        """Whether these values explain all that was read."""
        return self.misfit <= EXPLAINS


def one_board(board: Board) -> BoardResult:
    """What the first capture behind the filter would show on a `Board`, beside what it shows.

    Raises: FilterlibError where a value cannot be, or makes no steady state.
    """
    result = board.result
    station, (measured, *_) = result.captures[0]
    lines = result.spectra[0]
    design = changed(result.design, board.values) if board.values else result.design
    found = spectra(solve(design, station.point))
    tried = trial(result, Fault("as designed", factor=board.factor), {station.point: found})
    assert measured.average is not None  # or the capture was refused
    shown = measured.average.aligned.samples(POINTS)
    wave = board.factor * _resampled(found.waveform(station.place, station.band))
    answer = next(one for one in result.answers if one.station == station)
    return BoardResult(
        np.arange(POINTS) * measured.average.period / POINTS, shown - shown.mean(), _aligned(wave - wave.mean(), shown),
        lines.frequencies, lines.before, np.where(lines.clear, lines.after, np.nan), tried.peaks[station.name][0],
        answer.reading.value, float(tried.figures[station.name][0]), explained_by(result, tried).misfit,
    )  # fmt: skip


def _resampled(wave: np.ndarray) -> np.ndarray:
    at = np.arange(POINTS) / POINTS
    return np.asarray(np.interp(at, np.arange(wave.size + 1) / wave.size, np.append(wave, wave[0])))


def _aligned(wave: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Turned around its period to where it is most like another: captures of two moments begin anywhere."""
    alike = np.fft.irfft(np.fft.rfft(other) * np.conj(np.fft.rfft(wave)), wave.size)
    return np.roll(wave, int(np.argmax(alike)))
