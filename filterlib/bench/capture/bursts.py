"""Bursts in a recording: groups of pulses that come again evenly, or several pulses within what repeats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from filterlib.network.waveform import Waveform

EVEN = 0.02
"""Share by which bursts' distances, or pulses', may spread and still be one; of the distance."""
FEWEST_BURSTS, FEWEST_PULSES = 4, 3
SHORTEST = 200e-9
"""Distance of pulses from which on they are no ring [s]: 5 MHz, the fastest switching that is looked for."""
ALIKE = 0.7
"""Share of the highest pulse's rise that every pulse of a burst has at least."""
PAUSE = 1.5
"""Times the pulses' distance, the pause behind the last one is at least."""
_STEPS = (1 / 512, 1 / 256, 1 / 128, 1 / 64, 1 / 32, 1 / 16)  # of the period, over which a rise is looked at
_POINTS = 4096  # of a period
_AGREE = 0.05  # share by which the distances found over two such times may differ
_NOISE = 6.0  # times its noise, the least rise that counts as a pulse


@dataclass(frozen=True)
class Pulses:
    """A burst: ``count`` pulses, one every ``interval`` [s]."""

    count: int
    interval: float


def even_groups(events: NDArray[np.float64], long: NDArray[np.bool_]) -> tuple[float, float, Pulses] | None:
    """Period and time of the first of groups of events that come evenly, with as many in each; None where they do not.

    Parameters: ``events``, array (n,), times of pulses [s]; ``long``, bool array (n - 1,): where a pause follows.
    Groups that the recording's ends cut are left out.

    >>> times = np.add.outer(1e-4 * np.arange(6), 3e-6 * np.arange(3)).ravel()
    >>> period, first, pulses = even_groups(times, np.diff(times) > 5e-6)
    >>> float(round(period, 9)), pulses.count, round(pulses.interval, 9)
    (0.0001, 3, 3e-06)
    """
    starts = np.flatnonzero(long) + 1
    counts = np.diff(starts)
    if counts.size < FEWEST_BURSTS or np.any(counts != counts[0]) or counts[0] < FEWEST_PULSES:
        return None
    times, at = events[starts], np.arange(starts.size)
    period, first = np.polyfit(at, times, 1)
    if np.std(times - np.polyval([period, first], at)) > EVEN * period:
        return None
    return float(period), float(first), Pulses(int(counts[0]), float(np.median(np.diff(events)[~long])))


def pulses_within(wave: Waveform, noise: float) -> Pulses | None:
    """Three or more alike pulses, evenly spaced, with a pause behind them, in one period of a wave; None where there are none.

    Parameters: ``wave``, the mean of all periods; ``noise``, root mean square of what is left of the noise in it, in its unit.

    Pulses of charge lift a capacitor step by step, so that the wave need not come back between them: what is counted is
    how far it rises within a short time, alike over two such times. A ring that dies away has no alike pulses, and two
    pulses may as well be the two edges of one.

    >>> stairs = Waveform.lines(1e-4, [0, 2e-6, 5e-6, 7e-6, 10e-6, 12e-6, 99e-6], [0, 1, 1, 2, 2, 3, 0])
    >>> pulses = pulses_within(stairs, 0.0)
    >>> pulses.count, round(pulses.interval, 7)
    (3, 5e-06)
    """
    values, sample = wave.samples(_POINTS), wave.period / _POINTS
    for sign in (1.0, -1.0):
        before: tuple[int, float] | None = None
        for step in _STEPS:
            rise = np.roll(values, -int(step * _POINTS)) - values
            found = _even(sign * rise, _NOISE * np.sqrt(2) * noise, SHORTEST / sample)
            if found and before and found[0] == before[0] and abs(found[1] / before[1] - 1) < _AGREE:
                return Pulses(found[0], before[1] * sample)
            before = found
    return None


def _even(rise: NDArray[np.float64], least: float, shortest: float) -> tuple[int, float] | None:
    """How many alike rises there are, and their distance in samples, where they are even and a pause follows."""
    highest = float(rise.max())
    if highest <= least:
        return None
    edges = _edges(rise, ALIKE * highest - least, ALIKE * highest)
    if edges.size < FEWEST_PULSES:
        return None
    distances = np.diff(edges, append=edges[0] + rise.size)
    first = int(np.argmax(distances))  # the pause is the longest
    inside, pause = np.delete(np.roll(distances, -first - 1), -1), float(distances[first])
    usual = float(np.mean(inside))
    even = np.ptp(inside) <= max(2 * EVEN * usual, 4) and usual > shortest
    return (edges.size, usual) if even and pause > PAUSE * usual else None


def _edges(rise: NDArray[np.float64], low: float, high: float) -> NDArray[np.intp]:
    """Where one period comes above ``high``, each time that it was below ``low`` since: noise at a border makes no edges.

    >>> _edges(np.array([0.0, 5, 4, 5, 0, 5]), 1.0, 4.5).tolist()
    [1, 5]
    """
    state = np.tile(np.where(rise > high, 1, np.where(rise < low, -1, 0)), 2)
    last = np.maximum.accumulate(np.where(state != 0, np.arange(state.size), 0))
    above = state[last][rise.size :] > 0
    before = np.roll(state[last], 1)[rise.size :] > 0
    return np.flatnonzero(above & ~before)
