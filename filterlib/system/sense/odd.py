"""What may be true of a design and is more often a slip: each with its key, so that a person looks at it once more."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import numpy as np

from filterlib.errors import Problem
from filterlib.system.design import Design
from filterlib.system.requirements import DropRequirement, OfRipple
from filterlib.system.sense.sizes import odd_sizes
from filterlib.units import format_quantity

LARGE_RIPPLE = 0.2  # of the output voltage, peak to peak; common practice, no source
FEW_PERIODS = 3.0  # harmonics that a bandwidth should hold
READABLE = 1e-4  # [V] below which an oscilloscope reads its own noise; common practice, no source
ROUNDED = 0.005  # by which shares of time may miss their sum


def odd(design: Design) -> tuple[Problem, ...]:
    """Values to look at once more: key, value as text and why; nothing is refused for them.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> odd(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"))
    ()
    """
    return (*odd_sizes(design), *_reading(design), *_limits(design), *_shares(design))


def _reading(design: Design) -> Iterator[Problem]:
    converter, ripple = design.converter, design.converter.ripple
    share = float(np.max(ripple.peak_to_peak)) / converter.output_voltage
    if share > LARGE_RIPPLE:
        shown = format_quantity(float(np.max(ripple.peak_to_peak)), "V")
        yield Problem(
            "", "converter.ripple.peak_to_peak", shown, f"{100 * share:.0f} % of the output voltage; 1 % is usual"
        )
    if ripple.bandwidth is not None and ripple.bandwidth < FEW_PERIODS * converter.switching_frequency:
        shown = format_quantity(ripple.bandwidth, "Hz")
        why = "such a bandwidth holds one or two harmonics of the ripple; 20 MHz is usual"
        yield Problem("", "converter.ripple.bandwidth", shown, why)


def _limits(design: Design) -> Iterator[Problem]:
    for number, wanted in enumerate(design.requirements, 1):
        limit = getattr(wanted, "limit", None)
        if isinstance(limit, float) and limit < READABLE:
            why = "an oscilloscope cannot read so little; was a prefix forgotten?"
            yield Problem("", f"requirement[{number}].limit", format_quantity(limit, "V"), why)
    for kind, load, numbers in _of_one_kind(design):
        why = f"{len(numbers)} requirements on the {kind} at {load}; the strictest decides"
        yield Problem("", f"requirement[{numbers[-1]}]", None, why)


def _of_one_kind(design: Design) -> Iterator[tuple[str, str, list[int]]]:
    """Kind and load of requirements on one figure, and their numbers, where there are several."""
    keys = [
        (wanted.kind, wanted.load, getattr(wanted, "label", ""), number)
        for number, wanted in enumerate(design.requirements, 1)
        if isinstance(wanted, OfRipple | DropRequirement)
    ]
    for (kind, load, _), same in groupby(sorted(keys), key=lambda one: one[:3]):
        numbers = [number for *_, number in same]
        if len(numbers) > 1:
            yield kind, load, numbers


def _shares(design: Design) -> Iterator[Problem]:
    shares = [point.share_of_time for point in design.operating_points]
    stated = [share for share in shares if share is not None]
    if stated and len(stated) < len(shares):
        missing = next(number for number, share in enumerate(shares, 1) if share is None)
        why = "missing here, and stated at another operating point: lives over all of them are left out"
        yield Problem("", f"operating_point[{missing}].share_of_time", None, why)
    elif stated and sum(stated) < 1 - ROUNDED:
        why = f"the shares add to {100 * sum(stated):.4g} %: the rest counts as switched off"
        yield Problem("", "operating_point.share_of_time", None, why)
