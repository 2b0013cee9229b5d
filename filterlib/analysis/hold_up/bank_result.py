"""The bank that a load's bursts ask for, and how they start with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Joules, Ohms, Seconds, Unit, Volts, Watts
from filterlib.analysis.hold_up.fittings import Bleeder, Fuse, Limiter
from filterlib.analysis.hold_up.isolation import Isolation
from filterlib.analysis.supply.rules import Check


@dataclass(frozen=True)
class Bank:
    """So many strings of one part in parallel: cold, at the end of their life and at the low end of their tolerance.

    Attributes: ``string``, ``count``; ``nominal`` capacitance, what is left of it ``cold``, ``aged``, and in the worst
    case, ``capacitance``, with its ``resistance``; ``holds``, the time above the lowest voltage; ``recharge``, from there
    to 99 % of the way back; ``energy`` and ``charge`` when full, at the high end of the tolerance; ``pulse``, I2t of a
    burst; ``rms`` of the whole bank; ``leakage`` and ``balancing``; ``life`` when hot.
    """

    string: String
    count: Annotated[int, Unit("", key=None)]
    nominal: Farads[float]
    cold: Farads[float]
    aged: Farads[float]
    capacitance: Annotated[float, Unit("F", "worst")]
    resistance: Ohms[float]
    holds: Seconds[float]
    recharge: Seconds[float]
    energy: Joules[float]
    charge: Annotated[float, Unit("C")]
    pulse: Annotated[float, Unit("A2s", "I²t of a burst")]
    rms: Annotated[float, Unit("A", "rms current")]
    leakage: Amperes[float]
    balancing: Watts[float]
    life: Annotated[float, Unit("s", "life when hot")]

    @property
    def part(self) -> str:
        """The part's name."""
        return self.string.part

    @property
    def kind(self) -> str:
        """The part's kind."""
        return self.string.kind

    @property
    def parts(self) -> int:
        """How many parts there are in all."""
        return self.count * self.string.cells

    @property
    def words(self) -> str:
        """How many of which part, and how they are set."""
        if self.string.cells == 1:
            return f"{self.count} x {self.part}"
        several = f"{self.count} strings of " if self.count > 1 else ""
        return f"{several}{self.string.cells} x {self.part} in series"


@dataclass(frozen=True, eq=False)
class Fittings:
    """What goes with the first bank: ``limiters``, ``fuse``, ``bleeders``; and the same burst ``in_time``."""

    limiters: tuple[Limiter, ...]
    fuse: Fuse
    bleeders: tuple[Bleeder, ...]
    in_time: InTime


@dataclass(frozen=True)
class BankResult:
    """What the bursts of one load ask for.

    Attributes: ``load``; ``output`` of the converter, ``voltage`` of a full bank behind a Schottky diode; ``lowest``
    allowed; ``supply``, what the converter can give this load; ``draw`` and ``deficit`` at the lowest voltage; ``length``,
    ``period``; ``mean``, what the load takes on average; ``needed``, the least capacitance, without resistance (0 where
    the converter carries the burst, inf where none is enough); ``usual_holds``, how long 30 mF hold it; ``isolations``;
    ``banks``, the proposed ones, fewest parts first; ``refused``, why parts of a kind are not proposed; ``fittings`` of
    the first bank; ``bursts`` in the service life.
    """

    load: str
    output: Annotated[float, Unit("V", "converter's output")]
    voltage: Volts[float]
    lowest: Volts[float]
    supply: Amperes[float]
    draw: Amperes[float]
    deficit: Amperes[float]
    length: Seconds[float]
    period: Seconds[float]
    mean: Annotated[float, Unit("A", "mean current")]
    needed: Farads[float]
    usual_holds: Annotated[float, Unit("s", "30 mF hold it")]
    isolations: tuple[Isolation, ...]
    banks: tuple[Bank, ...]
    refused: tuple[str, ...]
    fittings: Fittings | None
    bursts: Annotated[float, Unit("", key=None)]

    @property
    def least(self) -> Annotated[float, Unit("F", key=None)]:
        """The least capacitance behind any diode, or none."""
        return min([self.needed, *(one.needed for one in self.isolations)])

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


@dataclass(frozen=True)
class String:
    """Parts in series that stand the line's voltage; a bank is some of them in parallel.

    Attributes: ``part``, ``kind``, ``cells`` in series; ``nominal`` capacitance, ``largest`` within the tolerance, and
    what is left of it ``cold``, ``aged``, and in the ``worst`` case: both, and at the low end; ``resistance`` then;
    ``ripple``, rated rms when hot, and ``peak`` current (inf where none is stated); ``leakage`` (nan: not stated);
    ``balancing``, what resistors across the cells take; ``life`` when hot (nan: none stated).
    """

    part: str
    kind: str
    cells: Annotated[int, Unit("", key=None)]
    nominal: Farads[float]
    largest: Farads[float]
    cold: Farads[float]
    aged: Farads[float]
    worst: Farads[float]
    resistance: Ohms[float]
    ripple: Amperes[float]
    peak: Amperes[float]
    leakage: Amperes[float]
    balancing: Watts[float]
    life: Seconds[float]


@dataclass(frozen=True, eq=False)
class Dip:
    """What the start of a burst does at the load with a bank at one ``place``.

    Attributes: ``lowest`` voltage and its time ``at``; ``settled``, at the end; ``taken_over``, when the supply carries
    the load or gives all it can (inf: later than is looked at); ``bank`` current at its highest (0 without);
    ``times`` and ``volts`` (t,).
    """

    place: str
    lowest: Annotated[float, Unit("V", "lowest voltage")]
    at: Annotated[float, Unit("s", "after")]
    settled: Annotated[float, Unit("V", "in the end")]
    taken_over: Annotated[float, Unit("s", "supply has taken over after")]
    bank: Annotated[float, Unit("A", "highest current of the bank")]
    times: Annotated[np.ndarray, Unit("s", key=None)]
    volts: Annotated[np.ndarray, Unit("V", key=None)]


@dataclass(frozen=True, eq=False)
class Start:
    """The start of one load's bursts.

    Attributes: ``load``; ``allowed`` lowest voltage; ``step`` of its current; ``limit``, what the converter can give it; ``dips``, without a bank first, then by the
    place of the bank; ``stiff``, the dip by closed form were the line stiff where the lead begins; what the sag asks of
    a capacitor at the load's end: ``capacitance`` for this lead, and ``resistance``; ``longest`` lead inductance that the
    load's own capacitor allows; ``input``, lowest voltage at the converter's input, and ``battery`` before (nan: none known).
    """

    load: str
    allowed: Annotated[float, Unit("V", "lowest voltage allowed")]
    step: Amperes[float]
    limit: Annotated[float, Unit("A", "limit for this load", "limit")]
    dips: tuple[Dip, ...]
    stiff: Annotated[float, Unit("V", "dip behind a stiff line")]
    capacitance: Annotated[float, Unit("F", "capacitance asked for")]
    resistance: Annotated[float, Unit("ohm", "most ESR")]
    longest: Annotated[float, Unit("H", "most lead inductance")]
    battery: Annotated[float, Unit("V", "battery at its lowest")]
    input: Annotated[float, Unit("V", "lowest input voltage")]

    @property
    def best(self) -> Dip:
        """The place of a bank at which the load dips the least."""
        return max(self.dips, key=lambda one: one.lowest)


@dataclass(frozen=True)
class Bursts:
    """Of every load with a profile its bank, and its start where that could be followed; or ``reason``, why nothing can be said.

    ``fitted``: all capacitance that the design has outside the converter; ``checks``: that it holds each burst over its range, and that
    no load falls too low at the start of one.
    """

    banks: tuple[BankResult, ...] = ()
    starts: tuple[Start, ...] = ()
    reason: str = ""
    fitted: Annotated[float, Unit("F", "fitted", "fitted")] = 0.0
    checks: tuple[Check, ...] = ()

    @property
    def short(self) -> tuple[BankResult, ...]:
        """The loads whose bursts the design as it is does not carry over the whole range."""
        open_ = {one.part for one in self.checks if one.verdict != "met"}
        return tuple(one for one in self.banks if one.load in open_)


@dataclass(frozen=True, eq=False)
class InTime:
    """When a bank is at the lowest voltage, ``holds``, and its terminals' voltage ``volts`` over ``times`` (t,) until then."""

    holds: Annotated[float, Unit("s", "holds, by the course in time")]
    times: Annotated[np.ndarray, Unit("s", key=None)]
    volts: Volts[np.ndarray]
