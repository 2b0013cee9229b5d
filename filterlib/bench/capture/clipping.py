"""Samples at the end of the scope's range, where the signal may have gone on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEWEST_LEVELS = 17
"""With fewer levels than this between the extremes nothing is said: a quiet channel shows two or three."""
_RECTANGULAR = 2 / 3  # a wave with more than this share of its samples at its two ends is taken as rectangular
_PILE = 3  # times as many samples at the end as in any of the three levels next to it
_FEWEST = 6  # samples at one end


@dataclass(frozen=True)
class Clipping:
    """``samples`` at an end, how often the signal went there (``times``), and the ``first`` sample."""

    samples: int
    times: int
    first: int
    sure: bool


def resolution(volts: np.ndarray) -> float:
    """Smallest difference between two levels that occur [V]; 0 where all samples are equal."""
    levels = np.unique(volts[:: max(volts.size // 200_000, 1)])
    return float(np.diff(levels).min()) if levels.size > 1 else 0.0


def clipping(volts: np.ndarray, full_scale: float | None, offset: float | None) -> Clipping | None:
    """Whether the signal was cut off.

    Parameters
    ----------
    volts : array (samples,)
        [V]
    full_scale, offset : float or None
        Range of the scope, from its lowest to its highest level, and the middle of it [V].

    Notes
    -----
    With a full scale, every sample within half a level of its ends counts. Without one, a signal is taken as clipped
    where its extreme value comes at least `_PILE` times as often as each of the three levels next to it, in runs: noise
    and the shape of a wave thin out towards an extreme. A wave with flat ends and no noise looks the same, and is let
    through where two thirds of its samples are at the two ends.
    """
    step = resolution(volts)
    low, high = float(volts.min()), float(volts.max())
    if full_scale is not None:
        middle = offset if offset is not None else 0.0
        inside = max(high - middle, middle - low) <= full_scale / 2 + step
        if inside or offset is not None:
            reach = full_scale / 2 - step / 2
            return _counted(np.abs(volts - middle) >= reach * (1 - 1e-9), sure=True)
        if high - low < (full_scale - step) * (1 - 1e-9):
            return None
        return _counted((volts <= low) | (volts >= high), sure=True)
    if np.unique(volts[:: max(volts.size // 200_000, 1)]).size < FEWEST_LEVELS:
        return None
    ends = [end for end in (volts == low, volts == high) if np.count_nonzero(end) >= _FEWEST]
    if sum(np.count_nonzero(end) for end in ends) > _RECTANGULAR * volts.size:
        return None
    sides = (volts, -volts)
    piled = [end for end in ends if _piles_up(sides[int(volts[np.argmax(end)] == low)], end, step)]
    return _counted(np.logical_or.reduce(piled), sure=False) if piled else None


def _piles_up(volts: np.ndarray, end: np.ndarray, step: float) -> bool:
    """Whether the highest level comes far more often than the three below it, in runs of two and more."""
    count, runs = np.count_nonzero(end), _runs(end)
    top = volts[np.argmax(end)]
    near = volts[(volts > top - 3.5 * step) & ~end]
    most = int(np.unique(near, return_counts=True)[1].max()) if near.size else 0
    return bool(count >= 2 * runs and count > _PILE * most)


def _runs(marked: np.ndarray) -> int:
    return int(np.count_nonzero(marked[1:] & ~marked[:-1])) + int(marked[0])


def _counted(marked: np.ndarray, *, sure: bool) -> Clipping | None:
    if not marked.any():
        return None
    return Clipping(int(np.count_nonzero(marked)), _runs(marked), int(np.argmax(marked)), sure)
