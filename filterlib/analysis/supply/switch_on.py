"""Switch-on of a design whose current limit is stated: whether its loads run in the end over the range, when, and into which largest bank."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Unit
from filterlib.analysis.hold_up.way import USUAL, Branch
from filterlib.analysis.supply.rules import Check, check
from filterlib.analysis.supply.starting import Ramp, Starting, starting
from filterlib.system.design import Design

__all__ = ["SwitchOn", "switch_on"]
OHMS = 50e-3  # [ohm] of a bank with its lead: common practice, no source
SMALLEST, LARGEST, WITHIN = 10e-6, 10.0, 1.25  # [F], [F], and the ratio to which the largest bank is found
FEW = 8  # attempts in which a bank has to be up, where the converter hiccups


@dataclass(frozen=True)
class SwitchOn:
    """Starts of one design.

    Attributes: ``nominal`` start; ``hard``, with limit, time at the limit and soft start at their low end, and loads that draw early;
    ``easy``, at the high end; ``usual``, nominal with 30 mF behind the filter; ``largest`` bank there with which it starts, within `FEW`
    attempts (inf: any, it only takes longer; 0: none); ``checks``: the share of the loads that run in the end.
    """

    nominal: Starting
    hard: Starting
    easy: Starting
    usual: Starting
    largest: Annotated[float, Unit("F", "largest bank")]
    checks: tuple[Check, ...]

    @property
    def times(self) -> tuple[float, float]:
        """Earliest and latest time [s] at which all loads run, of the three; inf: never."""
        every = (self.nominal.up, self.hard.up, self.easy.up)
        return min(every), max(every)


def switch_on(design: Design) -> SwitchOn | None:
    """The starts of a design; None where it does not state `[converter.limit]`.

    Raises: CircuitError where events do not end.
    """
    limit = design.converter.limit
    if limit is None:
        return None
    ramp = Ramp.of(limit)
    nominal, hard, easy = starting(design, ramp), *(starting(design, Ramp.of(limit, end)) for end in ("low", "high"))
    usual = starting(design, ramp, Branch(USUAL, OHMS))
    return SwitchOn(
        nominal,
        hard,
        easy,
        usual,
        _largest(design, ramp, nominal, usual),
        tuple(_checks(design, (nominal, hard, easy))),
    )


def _checks(design: Design, starts: tuple[Starting, ...]) -> Iterable[Check]:
    """It has to start: every load runs in the end."""
    shares = [sum(math.isfinite(load.runs) for load in one.loads) / len(design.loads) for one in starts]
    running = [share if share < 1 or one.end == "starts" else 0.0 for share, one in zip(shares, starts, strict=True)]
    yield check(
        "switch_on.loads", "converter", "loads that run in the end, of all", "", running, 1.0,
        "after switch-on every load runs", "what the design is for", at_least=True,
    )  # fmt: skip


def _largest(design: Design, ramp: Ramp, nominal: Starting, usual: Starting) -> float:
    """Where it does not hiccup capacitance takes time and no more; else by bisection, to a ratio of `WITHIN`."""
    if nominal.end != "starts":
        return 0.0
    if math.isinf(ramp.on):
        return math.inf if usual.end == "starts" else 0.0
    low, high = SMALLEST, LARGEST
    while high / low > WITHIN:
        middle = math.sqrt(low * high)
        comes_up = starting(design, ramp, Branch(middle, OHMS), most=FEW).end == "starts"
        low, high = (middle, high) if comes_up else (low, middle)
    return low
