"""Whether captures are of one converter: by how often they repeat, also where noise hides that behind the filter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.bench.capture.harmonics import harmonics
from filterlib.bench.capture.measurement import Measurement, over_period
from filterlib.errors import InputError, Problem
from filterlib.units import format_quantity

SAME = 0.01
"""Share by which the switching frequencies of two captures of one converter may differ."""
SLOW = 0.4
"""Of the switching frequency, below which nothing but bursts of it repeats: a bridge's halves do at 0.5."""
UNEVEN = 0.1
"""The same of pulses in bursts, which few of them tell less well, and which need keep no clock: common practice, no source."""


def in_bursts(measured: Measurement) -> bool:
    """Whether a capture shows groups of pulses, even or not."""
    return measured.periods.pattern == "bursts"


def bursts_behind(before: Measurement | None, measured: Measurement) -> bool:
    """The same of one behind the filter, which smooths pulses: of a converter that bursts ``before`` it, what repeats much more rarely
    than those bursts' pulses is bursts too."""
    if in_bursts(measured) or before is None or not before.pulses or not measured.frequency:
        return in_bursts(measured)
    return measured.frequency < SLOW / before.pulses.interval


def at_the_clock_of(before: Measurement | None, measured: Measurement) -> Measurement:
    """A capture behind the filter, averaged over the period of that before it where more is clear of noise then than over its own.

    Noise hides a small ripple's period, and something else in it is then taken for one. Nothing of another converter is clear at this one's period.
    """
    if before is None or before.period is None or measured.average is None:
        return measured
    if _of_one(before, measured) or bursts_behind(before, measured):
        return measured
    other = over_period(measured, before.period)
    return other if _clear(other) > _clear(measured) else measured


def _clear(measured: Measurement) -> float:
    """Mean square [V²] of the harmonics that are clear of noise."""
    lines = harmonics(measured)
    return float(np.sum(np.abs(lines.coefficients[lines.clear]) ** 2))


def _of_one(first: Measurement, measured: Measurement) -> bool:
    """Whether both repeat alike, or one twice as often; of noise that is not known."""
    one, two = _switching(first), _switching(measured)
    if one is None or two is None:
        return True
    same = UNEVEN if in_bursts(first) or in_bursts(measured) else SAME
    return min(abs(two / one / n - 1) for n in (1, 2, 0.5)) <= same


def refuse_others(bare: Sequence[Measurement], behind: Sequence[Measurement]) -> None:
    """Raises InputError for captures of another converter, and some before the filter in bursts and some not; all of them at once.

    ``bare``: before the filter, that from which all is predicted first; ``behind``: behind it.
    """
    if not bare:
        return
    problems, first = [], bare[0]
    for measured in bare[1:]:
        if in_bursts(measured) != in_bursts(first):
            why = f"{measured.periods.why}, and in {first.recording.file} {first.periods.why}: average captures of one load only"
            problems.append(Problem(measured.recording.file, "", None, why))
    one = _switching(first)
    for measured in (*bare[1:], *behind):
        two = _switching(measured)
        if one is None or two is None or (bursts_behind(first, measured) and not in_bursts(measured)):
            continue  # all noise, or bursts whose pulses the filter smooths
        if not _of_one(first, measured):
            why = (
                f"it repeats at {format_quantity(two, 'Hz', 4)}, the capture before the filter at {format_quantity(one, 'Hz', 4)}: "
                f"captures of one converter are needed{', both at one load, in case it bursts behind the filter' if two < SLOW * one else ''}"
            )
            problems.append(Problem(measured.recording.file, "", None, why))
    if problems:
        raise InputError(problems)


def _switching(measured: Measurement) -> float | None:
    """Switching frequency [Hz], of pulses that do not come evenly that of most of them; None in noise."""
    usual = measured.periods.median
    return measured.switching_frequency or (1 / usual if usual else None)
