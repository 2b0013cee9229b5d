"""One burst from a bank of any size: how long it holds, what the burst asks for, and its way back; in a millisecond, for sliders."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Joules, Ohms, Seconds, Unit, Volts
from filterlib.analysis.hold_up.holding import Demand, after, held, needed, recharged
from filterlib.system.line.load import Load

__all__ = ["BurstCase", "BurstResult", "burst_case"]
SHOWN = 0.3  # of the burst that is shown behind it at least
ROW = np.geomspace(1e-4, 10.0, 41)  # [F] of the row of banks


@dataclass(frozen=True)
class BurstCase:
    """A bank of ``farads`` behind ``ohms``, full at ``volts``; a load that draws ``draws`` in a ``burst`` and ``idle`` between; the converter
    gives ``supply``; ``lowest`` voltage allowed; ``period`` from burst to burst."""

    farads: Farads[float] = 30e-3
    ohms: Ohms[float] = 30e-3
    draws: Amperes[float] = 3.0
    supply: Amperes[float] = 2.0
    burst: Seconds[float] = 8.0
    period: Seconds[float] = 60.0
    idle: Amperes[float] = 0.3
    volts: Volts[float] = 28.0
    lowest: Volts[float] = 22.0


@dataclass(frozen=True)
class BurstResult:
    """What comes of it.

    ``farads`` of the bank; ``deficit``: what it gives; ``burst`` and ``lowest`` as asked; ``holds``: time above the lowest voltage (inf: the converter carries it); ``needed`` capacitance without resistance (0: none);
    ``recharge``: from the lowest voltage reached to 99 % of the way back (inf: never), against ``rest`` of the period; ``lasts``: whether the
    burst is held and the bank full again in time; ``energy`` and ``charge`` of the full bank; ``short``: current into a short circuit;
    ``pulse``: I2t there; ``times``, ``course`` (t,) of the terminals' voltage; ``row`` and ``row_holds`` (n,): the time that each bank holds.
    """

    farads: Farads[float]
    deficit: Amperes[float]
    burst: Seconds[float]
    lowest: Volts[float]
    holds: Seconds[float]
    needed: Farads[float]
    recharge: Seconds[float]
    rest: Seconds[float]
    lasts: bool
    energy: Joules[float]
    charge: Annotated[float, Unit("C")]
    short: Annotated[float, Unit("A", "into a short circuit")]
    pulse: Annotated[float, Unit("A2s")]
    times: Seconds[np.ndarray]
    course: Volts[np.ndarray]
    row: Farads[np.ndarray]
    row_holds: Seconds[np.ndarray]


def burst_case(case: BurstCase) -> BurstResult:
    """A burst from a full bank by charge balance: constant currents, so that the time goes with the capacitance.

    Raises: FilterlibError for a lowest voltage that is not below the full one.

    >>> found = burst_case(BurstCase(ohms=0.0))      # hand: 30 mF x 6 V / 1 A; 8 s x 1 A / 6 V
    >>> round(found.holds, 9), round(found.needed, 6)
    (0.18, 1.333333)
    """
    load = Load(name="load", kind="constant_current", current=case.draws)
    burst = Demand(load, 1.0, case.supply)
    idle = Demand(load, min(case.idle / case.draws, 1.0), case.supply)
    holds = held(case.farads, case.ohms, case.volts, case.lowest, burst)
    reached = case.lowest if holds <= case.burst else _reached(case, burst)
    full = case.volts - 0.01 * (case.volts - case.lowest)
    back = recharged(case.farads, case.ohms, reached, max(full, reached), idle)
    rest = case.period - case.burst
    times, course = _course(case, burst, min(holds, case.burst), reached, back)
    return BurstResult(
        case.farads, burst.current(case.volts), case.burst, case.lowest, holds, _needed(case, burst), back, rest, holds >= case.burst and back <= rest,
        case.farads * case.volts**2 / 2, case.farads * case.volts, case.volts / case.ohms if case.ohms else math.inf,
        case.farads * case.volts**2 / (2 * case.ohms) if case.ohms else math.inf, times, course,
        ROW, np.array([held(float(c), case.ohms, case.volts, case.lowest, burst) for c in ROW]),
    )  # fmt: skip


def _needed(case: BurstCase, burst: Demand) -> float:
    return 0.0 if burst.current(case.volts) <= 0 else needed(case.burst, 0.0, case.volts, case.lowest, burst)


def _reached(case: BurstCase, burst: Demand) -> float:
    """The terminals' voltage at the end of a burst that is held."""
    if burst.current(case.volts) <= 0:
        return case.volts
    return after(case.farads, case.ohms, case.volts, case.burst, case.lowest, burst)


def _course(
    case: BurstCase, burst: Demand, seconds: float, reached: float, back: float
) -> tuple[np.ndarray, np.ndarray]:
    """Down in straight lines, for the currents are constant; then back to full where the burst is held, else the load has stopped."""
    start = burst.begins(case.volts, case.ohms) if burst.current(case.volts) > 0 else case.volts
    down = np.array([0.0, 0.0, seconds]), np.array([case.volts, start, reached])
    if seconds < case.burst or math.isinf(back):
        return down
    last = min(seconds + max(back, SHOWN * seconds), case.period)
    full = min(seconds + back, last)
    end = reached + (full - seconds) / max(back, 1e-12) * (case.volts - reached)
    return np.append(down[0], [full, last]), np.append(down[1], [end, end])
