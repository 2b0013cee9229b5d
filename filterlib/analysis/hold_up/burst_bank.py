"""The bank that a load's bursts ask for: capacitance needed, parts that give it when cold and old, and what goes with them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from filterlib.analysis.hold_up.bank_result import Bank, BankResult, Fittings, String
from filterlib.analysis.hold_up.fittings import bank_fuse, bleeders, limiters
from filterlib.analysis.hold_up.holding import Demand, held, needed, pulse, recharged
from filterlib.analysis.hold_up.in_time import in_time
from filterlib.analysis.hold_up.isolation import DIODES, SIZED, isolation
from filterlib.analysis.hold_up.strings import strings
from filterlib.analysis.hold_up.way import USUAL, supply_of, warmest
from filterlib.errors import InputError, Problem
from filterlib.system.design import Design
from filterlib.system.line.load import Load
from filterlib.system.line.profile import Profile

__all__ = ["bank", "bank_problems"]
MOST_PARTS = 100  # of one kind in a bank that is proposed
OF_A_KIND = 2  # banks of one kind of part that are proposed


def bank(design: Design) -> tuple[BankResult, ...]:
    """What the bursts of every load with a profile ask for.

    Raises
    ------
    InputError
        With everything at once: where no load states a profile, the converter states no rated current or power, or
        cannot give what a load draws while it idles.
    """
    if problems := tuple(bank_problems(design)):
        raise InputError(problems)
    return tuple(_of_load(design, load, load.profile) for load in design.loads if load.profile is not None)


def bank_problems(design: Design) -> Iterator[Problem]:
    """What keeps a bank from being sized: missing keys, and loads that the converter cannot feed between their bursts."""
    bursting = [load for load in design.loads if load.profile is not None]
    rating = design.converter.rating
    if not bursting:
        why = 'missing: no load states its bursts; for example profile = { idle = "15 %", burst = "8 s", period = "60 s", lowest_voltage = "22 V" }'
        yield Problem(design.name, "load.profile", None, why)
    if rating is None and design.converter.limit is None:
        why = "missing: a bank gives what the converter cannot, so its rated output_current or output_power, or its limit, is needed"
        yield Problem(design.name, "converter.rating", None, why)
        return
    for load in bursting:
        assert load.profile is not None  # as chosen
        where, supply = f"load.{load.name}.profile", supply_of(design, load, "low")
        idle, (full, lowest) = Demand(load, load.profile.idle, supply), _window(design, load, load.profile)
        if lowest >= full:
            why = f"a diode in front of the bank leaves {full:.3g} V of the converter's {design.converter.output_voltage:g} V: less than that is right"
            yield Problem(design.name, f"{where}.lowest_voltage", lowest, why)
        elif max(idle.current(full), idle.current(lowest)) >= 0:
            why = f"the converter gives this load {max(supply, 0.0):.3g} A at most, less than it draws while it idles"
            yield Problem(design.name, f"{where}.idle", load.profile.idle, why)


def _window(design: Design, load: Load, profile: Profile) -> tuple[float, float]:
    """The voltage of a full bank, behind its diode while the load idles, and the lowest one."""
    output = design.converter.output_voltage
    return output - SIZED.drop(float(load.draws(output, profile.idle))), profile.lowest_voltage


@dataclass(frozen=True)
class _Task:
    """A burst that a bank has to carry: from ``volts`` to ``lowest``, of a ``burst`` beside the supply and ``idle`` after it."""

    design: Design
    profile: Profile
    volts: float
    lowest: float
    burst: Demand
    idle: Demand
    bursts: float

    @property
    def rest(self) -> float:
        return self.profile.period - self.profile.burst

    def needed(self, drop: float) -> float:
        """The least capacitance [F] behind a diode of this drop [V]; inf where none is enough."""
        full = self.design.converter.output_voltage - drop
        if full <= self.lowest:
            return math.inf
        return needed(self.profile.burst, 0.0, full, self.lowest, self.burst)


def _of_load(design: Design, load: Load, profile: Profile) -> BankResult:
    supply, output = supply_of(design, load, "low"), design.converter.output_voltage
    volts, lowest = _window(design, load, profile)
    burst, idle = Demand(load, 1.0, supply), Demand(load, profile.idle, supply)
    task = _Task(design, profile, volts, lowest, burst, idle, (design.service_life or 0.0) / profile.period)
    lasting = bool(burst.currents(np.linspace(lowest, volts, 65)).min() > 0)
    draw = burst.current(lowest) + supply
    resting = idle.current(volts) + supply
    mean = (draw * profile.burst + resting * task.rest) / profile.period
    found = [_bank(task, one) for one in strings(design, volts, profile.period)] if lasting else []
    banks = _proposed(one for one in found if isinstance(one, Bank))
    apart = [
        isolation(diode, idle=float(load.draws(output, profile.idle)), most=supply, mean=min(mean, supply), hot=warmest(design), sag=output - lowest, needed=task.needed)
        for diode in DIODES
    ]  # fmt: skip
    return BankResult(
        load.name, output, volts, lowest, supply, draw, max(draw - supply, 0.0), profile.burst, profile.period, mean,
        task.needed(output - volts) if lasting else 0.0, held(USUAL, 0.0, volts, lowest, burst), tuple(apart) if lasting else (),
        banks, tuple(one for one in found if isinstance(one, str)), _fittings(task, banks[0]) if banks else None, task.bursts,
    )  # fmt: skip


def _proposed(banks: Iterable[Bank]) -> tuple[Bank, ...]:
    """The banks of fewest parts of each kind, fewest parts first."""
    by_kind = sorted(banks, key=lambda one: (one.kind, one.parts, one.nominal))
    best = [one for _, group in groupby(by_kind, lambda one: one.kind) for one in list(group)[:OF_A_KIND]]
    return tuple(sorted(best, key=lambda one: (one.parts, one.nominal)))


def _bank(task: _Task, string: String) -> Bank | str:
    """The bank of one part that holds the burst, or why there is none."""
    volts, lowest, profile = task.volts, task.lowest, task.profile
    count = _count(string, task)
    if count is None:
        return f"{string.part}: more than {MOST_PARTS} of them"
    farads, ohms = count * string.worst, string.resistance / count
    back = recharged(farads, ohms, lowest, volts - 0.01 * (volts - lowest), task.idle)
    if back > task.rest:
        return f"{string.part}: {count} of them hold the burst, and are not full again before the next"
    melt = pulse(farads, ohms, volts, profile.burst, lowest, task.burst)
    rms = math.sqrt(melt * (1 + profile.burst / back) / profile.period)
    if rms / count > string.ripple:
        return f"{string.part}: {count} of them hold the burst, and each carries {rms / count:.3g} A rms, more than its rating"
    if task.burst.current(lowest) / count > string.peak:
        return f"{string.part}: {count} of them hold the burst, and each gives more than its peak current"
    largest = count * string.largest
    return Bank(
        string, count, count * string.nominal, count * string.cold, count * string.aged, farads, ohms,
        held(farads, ohms, volts, lowest, task.burst), back, largest * volts**2 / 2, largest * volts, melt, rms,
        count * string.leakage, count * string.balancing, string.life,
    )  # fmt: skip


def _count(string: String, task: _Task) -> int | None:
    """The fewest strings in parallel that hold the burst, or None for more than `MOST_PARTS` parts."""

    def enough(count: int) -> bool:
        farads, ohms = count * string.worst, string.resistance / count
        return held(farads, ohms, task.volts, task.lowest, task.burst) >= task.profile.burst

    low, high = 0, MOST_PARTS // string.cells
    if not high or not enough(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _fittings(task: _Task, best: Bank) -> Fittings:
    volts, lowest, deficit = task.volts, task.lowest, task.burst.current(task.lowest)
    left = -max(task.idle.current(volts), task.idle.current(lowest))
    largest = best.count * best.string.largest
    chargers = limiters(largest, volts, left, best.recharge, task.rest, volts - lowest)
    return Fittings(
        chargers,
        bank_fuse(
            best.capacitance, best.resistance, volts, chargers[0], amperes=deficit, rms=best.rms, seconds=task.profile.burst,
            pulse=best.pulse, bursts=task.bursts,
        ),
        bleeders(largest, volts),
        in_time(best.capacitance, best.resistance, volts, lowest, task.burst, best.holds),
    )  # fmt: skip
