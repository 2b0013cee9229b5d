"""One figure against one rule: the plug, its fixes, the battery's side and bursts are judged here alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.against_limit import AgainstLimit
from filterlib.errors import QuantityError

__all__ = ["Check", "check", "worst"]
_ORDER = ("no limit", "met", "undecided", "not met")


@dataclass(frozen=True)
class Check(AgainstLimit):
    """A figure of the input line: ``rule``: what binds; ``source``: whose that is."""

    rule: str
    source: str


def check(
    name: str, part: str, what: str, unit: str, values: Iterable[float], limit: float | None, rule: str, source: str, *,
    at_least: bool = False,
) -> Check:  # fmt: skip
    """A check of ``values``, the nominal one first; ``limit`` None where nothing is stated. Raises QuantityError for a value that is none.

    >>> check("fuse", "fuse", "steady current", "A", (4.0, 3.5, 6.0), 5.0, "75 %", "hand").verdict
    'undecided'
    """
    every = tuple(map(float, values))
    if np.any(np.isnan(every)):
        raise QuantityError(f"{part}: {what} is not known", name=name, value=every)
    bound = np.nan if limit is None else float(limit)
    return Check(name, part, what, unit, every[0], min(every), max(every), bound, at_least, rule, source)


def worst(checks: Iterable[Check]) -> Check | None:
    """The check that decides: the worst verdict, and of these the one with the least margin; None where there is none."""
    return max(
        checks, key=lambda one: (_ORDER.index(one.verdict), -np.nan_to_num(one.margin, nan=np.inf)), default=None
    )
