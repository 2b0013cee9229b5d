"""What the battery's side carries, what the plug makes, and how the converter and its loads start."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Joules, Ohms, Ratio, Seconds, Unit, Volts, Watts
from filterlib.analysis.supply.rules import Check, worst
from filterlib.network.nonlinear.bend import Bend
from filterlib.system.inside.output_limit import OutputLimit
from filterlib.system.ranges.ranged import ENDS, OPPOSITE

ABOVE = 1 + 1e-6  # of the lock-out: what counts as above it
BEGINS = (0.9, 0.8, 1.0)
"""Of the nominal voltage, from which a load of constant power draws, with its range: common practice, no source."""
LAST = 0.97  # of the nominal voltage, beyond which no load waits: the last drop never comes
End = Literal["starts", "hiccups", "held down", "falls out"]
HOT_SHARE = 0.03  # of an NTC's cold resistance that is left when it is hot: from memory
BREAKDOWN, CLAMPED, CLAMP_POWER = 1.23, 1.61, 600.0
"""Of the stand-off voltage, the highest breakdown and the voltage at ``CLAMP_POWER`` [W], 10/1000 us: 600 W diodes, from memory."""
OHMS, WARM, COLD = 50e-3, 20e-3, 0.3
"""[ohm] of a bank with its lead, nominal, warm, and at -40 °C, where electrolytics have ten times and more: common practice, no source."""
FEW = 8  # attempts in which a bank has to be up, where the converter hiccups


@dataclass(frozen=True)
class SupplySide:
    """``run``: current, energy, wire, fuse and switch; ``plug``: the hot plug and what helps; both None where the file says nothing of
    what feeds the converter. ``switch_on``: whether the loads run after it, None where no limit is stated, or where ``why_no_start`` says."""

    run: BatteryRun | None = None
    plug: PlugResult | None = None
    switch_on: SwitchOn | None = None
    why_no_start: str = ""

    @property
    def checks(self) -> tuple[Check, ...]:
        """All of them."""
        return tuple(
            check for part in (self.run, self.plug, self.switch_on) if part is not None for check in part.checks
        )


@dataclass(frozen=True)
class SwitchOn:
    """Starts of one design.

    Attributes: ``nominal`` start; ``hard``, with limit, time at the limit and soft start at their low end, and loads that draw early;
    ``easy``, at the high end; ``usual``, nominal with 30 mF behind the filter; ``largest`` bank there with which it starts, within `FEW`
    attempts (inf: any, it only takes longer; 0: none), from ``largest_low`` to ``largest_high`` over the range, warm and cold; ``inputs``: the
    converter's input meanwhile, nominal, with a weak line and the start that draws most, and with a strong line and the one that draws
    least (empty: the file says nothing of what feeds it, or it could not be followed); ``checks``: the share of the loads that run in the
    end, and the input's lowest voltage.
    """

    nominal: Starting
    hard: Starting
    easy: Starting
    usual: Starting
    largest: Annotated[float, Unit("F", "largest bank")]
    largest_low: Annotated[float, Unit("F", key="largest_low")]
    largest_high: Annotated[float, Unit("F", key="largest_high")]
    inputs: tuple[InputStart, ...]
    checks: tuple[Check, ...]

    @property
    def times(self) -> tuple[float, float]:
        """Earliest and latest time [s] at which all loads run, of the three; inf: never."""
        every = (self.nominal.up, self.hard.up, self.easy.up)
        return min(every), max(every)


@dataclass(frozen=True)
class PointDraw:
    """What an operating point takes of the battery: ``power`` into the filter, ``current`` at the nominal and ``most`` at the lowest voltage."""

    point: str
    power: Watts[float]
    current: Amperes[float]
    most: Annotated[float, Unit("A", "at the lowest voltage")]


@dataclass(frozen=True)
class BatteryRun:
    """The battery's side of a design.

    ``draws`` by operating point; ``most``: the largest current, all loads at full draw and the battery at its lowest; ``lost``: voltage lost
    there in the whole line; ``per_day`` of energy and ``runs`` for, NaN where no shares of time or no capacity say so; ``gauge``: the thinnest
    wire of the table that would do; ``checks``.
    """

    draws: tuple[PointDraw, ...]
    voltage: Volts[float]
    lowest: Volts[float]
    most: Annotated[float, Unit("A", "largest current")]
    lost: Annotated[float, Unit("V", "lost in the line")]
    mean: Annotated[float, Unit("W", "mean power")]
    per_day: Joules[float]
    runs: Annotated[float, Unit("s", "run time")]
    runs_low: Annotated[float, Unit("s", key="runs_low")]
    gauge: Annotated[float, Unit("", key=None)]
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class Fix:
    """One fix: ``name`` of its kind, ``size`` of what it adds (``farads``, ``ohms``, ``part``), and what the plug does with it.

    ``loss``: heat for ever at the steady current; ``checks`` as the design's own; ``volts`` of a clamp's stand-off.
    """

    name: str
    part: str
    ohms: Ohms[float]
    volts: Volts[float]
    plug: Plug
    loss: Watts[float]
    checks: tuple[Check, ...]

    @property
    def deciding(self) -> Check | None:
        """The check that decides."""
        return worst(self.checks)


@dataclass(frozen=True)
class PlugResult:
    """The plug of a design: nominal ``plug``, ``checks`` over the range, and ``fixes``, the best first.

    ``kind_known``: whether the input capacitors are stated as parts; ``limited``: whether anything states a rating.
    """

    plug: Plug
    checks: tuple[Check, ...]
    fixes: tuple[Fix, ...]
    kind_known: bool
    steady: Amperes[float]

    @property
    def deciding(self) -> Check | None:
        """The check that decides."""
        return worst(self.checks)

    @property
    def peak(self) -> Check:
        """The peak voltage with its range."""
        return next(one for one in self.checks if one.name == "plug.voltage")


@dataclass(frozen=True)
class Input:
    """One kind of input capacitor: ``farads`` [F] or its curve, ``ohms`` of ESR, the ``rated`` voltage [V] where known."""

    name: str
    farads: Farads[float | Bend]
    ohms: Ohms[float]
    rated: Volts[float] = math.nan

    @property
    def small(self) -> float:
        """Its capacitance at 0 V [F]."""
        return 1 / self.farads.line(self.farads.piece(0.0))[0] if isinstance(self.farads, Bend) else self.farads

    def stored(self, volts: float) -> float:
        """Energy at a voltage [J]."""
        if not isinstance(self.farads, Bend):
            return self.farads * volts**2 / 2
        return self.farads.area(float(np.interp(volts, self.farads.y, self.farads.x)))


@dataclass(frozen=True)
class Added:
    """What a fix adds: ``series`` resistance [ohm], ``ramp`` [s] of a switch, a ``branch`` beside the capacitors, a ``clamp``'s curve."""

    series: Ohms[float] = 0.0
    ramp: Seconds[float] = 0.0
    branch: Input | None = None
    clamp: Bend | None = None


@dataclass(frozen=True)
class Plug:
    """One plug at ``voltage``: ``peak_voltage`` at the capacitors, ``peak_current``, ``time`` of the voltage's peak.

    ``heat`` in wire, contacts and ESR, ``stored`` in the capacitors afterwards, ``melting`` that a fuse sees; ``clamped``: heat in a clamp.
    """

    voltage: Volts[float]
    peak_voltage: Annotated[float, Unit("V", "peak at the input capacitors", "peak")]
    peak_current: Annotated[float, Unit("A", "peak current", "peak")]
    time: Annotated[float, Unit("s", "peak after")]
    heat: Annotated[float, Unit("J", "heat")]
    stored: Annotated[float, Unit("J", "stored afterwards")]
    melting: Annotated[float, Unit("A2s", "I²t of the plug")]
    clamped: Annotated[float, Unit("J", "heat in the clamp")] = 0.0


@dataclass(frozen=True)
class InputStart:
    """The input while the converter starts: ``lowest`` voltage, ``at`` a time, and the ``lock_out`` below which it switches off."""

    lowest: Annotated[float, Unit("V", "lowest input voltage", "lowest")]
    at: Annotated[float, Unit("s", "after", "after")]
    lock_out: Annotated[float, Unit("V", "lock-out", "lock_out")]

    @property
    def left(self) -> float:
        """The lowest voltage over the lock-out: 1 where it switches off."""
        return self.lowest / self.lock_out

    @property
    def collapses(self) -> bool:
        """Whether the converter switches off."""
        return self.left < ABOVE


@dataclass(frozen=True)
class Ramp:
    """How the converter starts: ``limit`` of its current, ``back`` what is left of it at 0 V; ``on`` at the limit and ``off`` of a hiccup
    (inf: none); ``soft``, the time of its ramp; ``begins``: share of the nominal voltage from which loads draw that do not say it;
    ``shaken``: where the limit follows the mean, so that the filter's inductance is left out, loads start and stop as early as its ring can
    make them."""

    limit: Amperes[float]
    back: Amperes[float]
    on: Seconds[float]
    off: Seconds[float]
    soft: Seconds[float]
    begins: Ratio[float] = BEGINS[0]
    shaken: bool = False

    @property
    def follows_rings(self) -> bool:
        """Whether the limit is of every instant, so that the filter may ring: else it follows the mean, and the ring is a bound."""
        return self.back == self.limit and math.isinf(self.on)

    @classmethod
    def of(cls, limit: OutputLimit, end: str = "value") -> Ramp:
        """As stated; at the ``end`` "low" of what makes a start hard, at "high" of what makes it easy."""
        amps = float(getattr(limit.current, end))
        back = amps if limit.short_circuit_current is None else min(limit.short_circuit_current, amps)
        hiccups, other = limit.hiccups, OPPOSITE[end]
        on, off = (
            (float(getattr(limit.hiccup_on, end)), float(getattr(limit.hiccup_off, other)))
            if hiccups
            else (math.inf, math.inf)
        )
        begins = min(dict(zip(ENDS, BEGINS, strict=True))[end], LAST)
        return cls(amps, back, on, off, max(float(getattr(limit.soft_start, end)), 1e-6), begins, end == "low")


@dataclass(frozen=True)
class LoadStart:
    """One load: it ``runs`` from this time on (inf: never), after it fell out ``falls`` times; its ``voltage`` in the end."""

    load: str
    runs: Seconds[float]
    falls: Annotated[int, Unit("", key="falls")]
    voltage: Volts[float]


@dataclass(frozen=True, eq=False)
class Starting:
    """One start.

    Attributes: ``end``: "starts", it "hiccups" for ever, loads hold it "held down" below its voltage, or a load "falls out" again and
    again; ``up``, when all loads run and the output is up (inf: never); ``attempts``; ``held`` voltage of the output in the end; ``loads``;
    ``times`` (t,), ``volts`` of the output and ``amps`` of the converter (t,).
    """

    end: End
    up: Annotated[float, Unit("s", "all loads run after")]
    attempts: Annotated[int, Unit("", key="attempts")]
    held: Annotated[float, Unit("V", "output in the end")]
    loads: tuple[LoadStart, ...]
    times: Annotated[np.ndarray, Unit("s", key=None)]
    volts: Annotated[np.ndarray, Unit("V", key=None)]
    amps: Annotated[np.ndarray, Unit("A", key=None)]
