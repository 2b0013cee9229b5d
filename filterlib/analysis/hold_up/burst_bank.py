"""The bank that a load's bursts ask for: capacitance needed, parts that give it when cold and old, recharge, fuse and energy."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Joules, Ohms, Seconds, Unit, Volts
from filterlib.analysis.hold_up.fuses_and_limits import melting_needed
from filterlib.analysis.hold_up.holding import Demand, held, needed, pulse, recharged
from filterlib.errors import FilterlibError
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import standard_tables
from filterlib.system.design import Design
from filterlib.system.load import Load
from filterlib.system.profile import Profile

__all__ = ["Bank", "BankResult", "bank"]
MOST_PARTS = 200  # of one kind in a bank that is proposed
SLOW = 100.0  # [Hz] at which the series resistance of a bank is taken: bursts of milliseconds and longer
OLD = 1e12  # [s]: an electrolytic at the end of its life
PROPOSED = 6  # banks


@dataclass(frozen=True)
class Bank:
    """So many of one part in parallel: cold, at the end of their life and at the low end of their tolerance.

    Attributes: ``part``, ``kind``, ``count``; ``capacitance`` and ``resistance`` of the whole bank then; ``nominal``, its
    capacitance as the table says; ``holds``, the time above the lowest voltage; ``recharge``, from the lowest voltage to
    99 % of the way back; ``energy`` and ``charge`` when full, at the high end of the tolerance; ``pulse``, its I2t in a
    burst, and ``melting``, the nominal melting I2t that a fuse of it needs for all bursts (nan where none is stated).
    """

    part: str
    kind: str
    count: int
    nominal: Farads[float]
    capacitance: Farads[float]
    resistance: Ohms[float]
    holds: Seconds[float]
    recharge: Seconds[float]
    start: Annotated[float, Unit("s", "first charge")]
    energy: Joules[float]
    charge: Annotated[float, Unit("C")]
    pulse: Annotated[float, Unit("A2s", "I²t of a burst")]
    melting: Annotated[float, Unit("A2s", "melting I²t of a fuse")]


@dataclass(frozen=True)
class BankResult:
    """What the bursts of one load ask for.

    Attributes: ``load``; ``voltage``, full; ``lowest`` allowed; ``supply``, what the converter can give this load;
    ``draw`` and ``deficit`` at the lowest voltage; ``length``, ``period``; ``mean``, what the load takes on average; ``needed``, the least capacitance, without resistance (0 where the converter carries the burst);
    ``banks``, the proposed ones, fewest parts first; ``refused``, why parts of a kind are not proposed.
    """

    load: str
    voltage: Volts[float]
    lowest: Volts[float]
    supply: Amperes[float]
    draw: Amperes[float]
    deficit: Amperes[float]
    length: Seconds[float]
    period: Seconds[float]
    mean: Annotated[float, Unit("A", "mean current")]
    needed: Farads[float]
    banks: tuple[Bank, ...]
    refused: tuple[str, ...]
    bursts: Annotated[float, Unit("", key=None)]

    @property
    def carried(self) -> bool:
        """Whether the converter carries the burst alone."""
        return self.needed == 0

    @property
    def recharges(self) -> bool:
        """Whether the converter gives on average what the load takes, so that a bank is full again before each burst."""
        return self.mean < self.supply

    @property
    def holds(self) -> bool:
        """Whether the bursts are carried, by the converter alone or by a bank that is full again in time."""
        return self.carried or bool(self.banks)


def bank(design: Design) -> tuple[BankResult, ...]:
    """What the bursts of every load with a profile ask for.

    Raises
    ------
    FilterlibError
        Where no load states a profile, or the converter states no rated current or power; and for an idle draw that the
        converter cannot give.
    """
    loads = [load for load in design.loads if load.profile is not None]
    if not loads:
        missing = 'missing: no load states its bursts; for example profile = { idle = "15 %", burst = "8 s", period = "60 s", lowest_voltage = "22 V" }'
        raise FilterlibError(f"load.profile: {missing}")
    if design.converter.rating is None:
        why = "missing: a bank gives what the converter cannot, so its rated output_current or output_power is needed"
        raise FilterlibError(f"converter.rating: {why}")
    return tuple(_of_load(design, load, load.profile) for load in loads if load.profile is not None)


def _supply(design: Design, load: Load) -> float:
    """What the converter can give this load when hot, with all others at full draw [A]."""
    rating, volts = design.converter.rating, design.converter.output_voltage
    assert rating is not None  # as checked
    share = rating.share(max(point.temperature for point in design.operating_points))
    limits = [math.inf if rating.output_current is None else rating.output_current]
    limits += [] if rating.output_power is None else [rating.output_power / volts]
    return share * min(limits) - sum(float(other.draws(volts, 1.0)) for other in design.loads if other is not load)


def _of_load(design: Design, load: Load, profile: Profile) -> BankResult:
    volts, lowest, supply = design.converter.output_voltage, profile.lowest_voltage, _supply(design, load)
    burst, idle = Demand(load, 1.0, supply), Demand(load, profile.idle, supply)
    where = f"load.{load.name}.profile"
    if lowest >= volts:
        raise FilterlibError(f"{where}.lowest_voltage = {lowest:g} V: below the converter's {volts:g} V is right")
    if max(idle.current(volts), idle.current(lowest)) >= 0:
        why = f"the converter gives this load {supply:.3g} A at most, less than it draws while it idles"
        raise FilterlibError(f"{where}.idle = {profile.idle:g}: {why}")
    lasting = min(burst.current(v) for v in np.linspace(lowest, volts, 65)) > 0
    least = needed(profile.burst, 0.0, volts, lowest, burst) if lasting else 0.0
    draw = burst.current(lowest) + supply
    rest = profile.period - profile.burst
    mean = (draw * profile.burst + (idle.current(volts) + supply) * rest) / profile.period
    bursts = (design.service_life or 0.0) / profile.period
    banks: list[Bank] = []
    refused: list[str] = []
    for part in _parts(volts) if least else ():
        one = _bank(design, part, burst, idle, profile, bursts)
        if isinstance(one, str):
            refused.append(one)
        else:
            banks.append(one)
    chosen = sorted(banks, key=lambda one: (one.count, one.nominal))[:PROPOSED]
    return BankResult(
        load.name, volts, lowest, supply, draw, max(draw - supply, 0.0), profile.burst, profile.period, mean, least,
        tuple(chosen), tuple(refused), bursts,
    )  # fmt: skip


def _parts(volts: float) -> Iterator[Capacitor]:
    """The parts of the tables that may stand at this voltage, those with the most capacitance of their kind last."""
    for table in standard_tables():
        for name in table:
            part = table[name]
            if isinstance(part, Capacitor) and part.safety_class is None and float(part.usable_voltage) >= volts:
                yield part


def _bank(design: Design, part: Capacitor, burst: Demand, idle: Demand, profile: Profile, bursts: float) -> Bank | str:
    volts, lowest = design.converter.output_voltage, profile.lowest_voltage
    farads, ohms = _worst(design, part, volts)
    least = _count(farads, ohms, volts, burst, profile)
    if least is None:
        return f"{part.name}: more than {MOST_PARTS} of them"
    whole, resistance = least * farads, ohms / least
    back = recharged(whole, resistance, lowest, volts - 0.01 * (volts - lowest), idle)
    if back > profile.period - profile.burst:
        return f"{part.name}: {least} of them hold the burst, and are not full again before the next"
    melt = pulse(whole, resistance, volts, profile.burst, lowest, burst)
    rms = math.sqrt(melt * (1 + profile.burst / back) / profile.period) / least
    rated = part.rated_ripple(max(point.temperature for point in design.operating_points))
    if rated is not None and rms > float(rated) * float(part.ripple_factor(1 / profile.period)):
        return f"{part.name}: {least} of them hold the burst, and each carries {rms:.3g} A rms, more than its rating"
    nominal = least * float(part.capacitance)
    largest = nominal * (1 + float(part.tolerance))
    fuse = melting_needed(melt, bursts) if 0 < bursts <= 1e5 else math.nan
    return Bank(
        part.name, part.kind, least, nominal, whole, resistance, held(whole, resistance, volts, lowest, burst), back,
        largest * volts / burst.supply, largest * volts**2 / 2, largest * volts, melt, fuse,
    )  # fmt: skip


def _worst(design: Design, part: Capacitor, volts: float) -> tuple[float, float]:
    """Capacitance [F] and resistance [ohm] of one part: cold, at the end of its life, at the bad end of its tolerances."""
    hot, cold = (pick(point.temperature for point in design.operating_points) for pick in (max, min))
    old = part.aged(OLD if design.service_life is None else design.service_life, hot)
    farads = float(old.capacitance_at(volts, cold)) * (1 - float(part.tolerance))
    return farads, float(old.esr_at(SLOW, bias=volts, temperature=cold)) * (1 + float(part.esr_tolerance))


def _count(farads: float, ohms: float, volts: float, burst: Demand, profile: Profile) -> int | None:
    """The fewest parts in parallel that hold the burst, or None for more than `MOST_PARTS`."""

    def enough(count: int) -> bool:
        return held(count * farads, ohms / count, volts, profile.lowest_voltage, burst) >= profile.burst

    if not enough(MOST_PARTS):
        return None
    low, high = 0, MOST_PARTS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
