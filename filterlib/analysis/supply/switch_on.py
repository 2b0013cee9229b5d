"""Switch-on of a design whose current limit is stated: whether its loads run in the end over the range, when, and into which largest bank."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from contextlib import suppress

from filterlib.analysis.hold_up.way import USUAL, Branch
from filterlib.analysis.supply.input_line import input_line, input_start
from filterlib.analysis.supply.rules import Check, check
from filterlib.analysis.supply.starting import starting
from filterlib.analysis.supply.supply_result import ABOVE, COLD, FEW, OHMS, WARM, InputStart, Ramp, Starting, SwitchOn
from filterlib.errors import CircuitError
from filterlib.system.design import Design
from filterlib.system.ranges.ranged import ENDS

__all__ = ["switch_on"]
SMALLEST, LARGEST, WITHIN = 10e-6, 10.0, 1.25  # [F], [F], and the ratio to which the largest bank is found


def switch_on(design: Design) -> SwitchOn | None:
    """The starts of a design; None where it does not state `[converter.limit]`.

    Raises: CircuitError where events do not end.
    """
    limit = design.converter.limit
    if limit is None:
        return None
    ramps = [Ramp.of(limit, end) for end in ENDS]
    nominal, hard, easy = (starting(design, ramp) for ramp in ramps)
    usual = starting(design, ramps[0], Branch(USUAL, OHMS))
    inputs = _inputs(design, (nominal, easy, hard)) if design.states_battery_side else ()
    banks = [
        _largest(design, ramp, start, ohms)
        for ramp, start, every in zip(ramps, (nominal, hard, easy), ((OHMS,), (WARM, COLD), (WARM, COLD)), strict=True)
        for ohms in every
    ]
    checks = (*_checks(design, (nominal, hard, easy)), *_input_checks(inputs))
    return SwitchOn(nominal, hard, easy, usual, banks[0], min(banks), max(banks), inputs, checks)


def _checks(design: Design, starts: tuple[Starting, ...]) -> Iterable[Check]:
    """It has to start: every load runs in the end."""
    shares = [sum(math.isfinite(load.runs) for load in one.loads) / len(design.loads) for one in starts]
    running = [share if share < 1 or one.end == "starts" else 0.0 for share, one in zip(shares, starts, strict=True)]
    yield check(
        "switch_on.loads", "converter", "loads that run in the end, of all", "", running, 1.0,
        "after switch-on every load runs", "what the design is for", at_least=True,
    )  # fmt: skip


def _inputs(design: Design, starts: tuple[Starting, ...]) -> tuple[InputStart, ...]:
    """The input in a nominal start; in the one that draws most, of a weak line; in the one that draws least, of a strong one."""
    found = []
    with suppress(CircuitError):
        for end, one in zip(ENDS, starts, strict=True):
            line = input_line(design, end)
            if line is not None:
                found.append(input_start(line, one.times, one.volts * one.amps))
    return tuple(found) if len(found) == len(ENDS) else ()


def _input_checks(inputs: tuple[InputStart, ...]) -> Iterator[Check]:
    """A start must not pull its own input below the lock-out: the converter would switch off and begin again."""
    if inputs:
        yield check(
            "switch_on.input", "converter's input", "lowest voltage in the start, of the lock-out", "", [one.left for one in inputs], ABOVE,
            "below its lock-out the converter switches off, and begins again", "what the design is for", at_least=True,
        )  # fmt: skip


def _largest(design: Design, ramp: Ramp, start: Starting, ohms: float) -> float:
    """Where it does not hiccup capacitance takes time and no more; else by bisection, to a ratio of `WITHIN`."""
    if start.end != "starts":
        return 0.0
    if math.isinf(ramp.on):
        return math.inf if starting(design, ramp, Branch(USUAL, ohms)).end == "starts" else 0.0
    low, high = SMALLEST, LARGEST
    while high / low > WITHIN:
        middle = math.sqrt(low * high)
        comes_up = starting(design, ramp, Branch(middle, ohms), most=FEW).end == "starts"
        low, high = (middle, high) if comes_up else (low, middle)
    return low
