"""What is wrong with a recording's column of times: backwards, twice, a gap, or uneven."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.errors import Problem, problem
from filterlib.parts.curves.rows import Rows
from filterlib.units import format_quantity

_SHOWN = 3  # lines named for each kind of slip


def slips(rows: Rows, times: np.ndarray) -> Iterator[Problem]:
    """Rows whose time runs backwards, repeats, leaves a gap or is uneven: the first few of each kind."""
    steps = np.diff(times)
    usual = float(np.median(steps))
    known = np.zeros(steps.shape, bool)
    kinds = (
        (steps < 0, "time runs backwards"),
        (steps == 0, "the time of the row before once more"),
        (steps > 1.5 * usual, "a gap in time"),
        (steps < 0.5 * usual, "closer to the row before than half the usual interval"),
    )
    for broken, why in kinds:
        places = np.flatnonzero(broken & ~known)
        known |= broken
        for place in places[:_SHOWN]:
            step = format_quantity(float(steps[place]), "s", 4)
            more = f"; {places.size} such rows" if places.size > 1 else ""
            yield problem(rows.file, rows.line(int(place) + 1), None, f"{why}: a step of {step}{more}")
    if not known.any():
        even = times[0] + (times[-1] - times[0]) / steps.size * np.arange(times.size)
        away = np.abs(times - even)
        if away.max() > 0.75 * usual:
            where = rows.line(int(away.argmax()))
            yield problem(rows.file, where, None, "the sample interval changes within the recording, most of all here")
