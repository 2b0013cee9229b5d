"""The converter's own side: its loop with the filter on, what it starts into, and the line that feeds it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Amperes, Ohms, Seconds, Unit, Volts, Watts
from filterlib.system.design import Design
from filterlib.system.inside.control import Sensing
from filterlib.system.inside.output_limit import OutputLimit
from filterlib.system.ranges.ranged import default

Oscillator = Literal["", "loop", "source"]
ENOUGH = 30.0  # [degrees] below which a loop is asked to be measured: common practice, no source
LIMIT = (1.1, 1.5)
"""Current limit of a converter that states none, over its rated current: common practice, no source."""


@dataclass(frozen=True)
class Start:
    """What a converter starts into within its current limit and the time of its soft start.

    ``attached``: all capacitance outside it, and its own; ``largest`` that never reaches the limit during the ramp, with ``largest_low`` and
    ``largest_high`` of what limit, time and the voltage from which loads draw may be (0 where the loads alone reach the limit); ``limit``
    and ``soft_start``, nominal.
    """

    attached: Annotated[float, Unit("F", "attached", "attached")]
    largest: Annotated[float, Unit("F", "starts into at most", "largest")]
    largest_low: Annotated[float, Unit("F", "starts into at most", "largest_low")]
    largest_high: Annotated[float, Unit("F", "starts into at most", "largest_high")]
    limit: Amperes[float]
    soft_start: Seconds[float]


@dataclass(frozen=True)
class ConverterSide:
    """All of it at the point at which most is drawn, the battery at its lowest voltage.

    ``regulation``: sensing at the terminals and behind the filter; ``measured``: with the output impedance as measured, where the file
    names one; ``start``; ``source``: the line that feeds the input, at nominal values, and ``source_worst`` at the ends of the
    ranges that keep it up least. ``oscillates``: "loop", with the impedance as measured or with the phase margin that the file states where
    the converter senses; "source", the line that feeds it, where the file states battery or wire and the input capacitor; or "".
    ``may_oscillate``: the same in a part of the range. ``why_no_loop``, ``why_not_measured``, ``why_no_source``: the reason where there is none, else "".
    """

    point: str
    regulation: tuple[Regulation, ...]
    why_no_loop: str
    measured: MeasuredOutput | None
    why_not_measured: str
    start: Start
    source: SourceSide | None
    source_worst: SourceSide | None
    why_no_source: str
    oscillates: Oscillator = ""
    may_oscillate: Oscillator = ""


def limit_of(design: Design) -> OutputLimit:
    """The converter's current limit and soft start, as stated, or usual ones over its rated current."""
    converter = design.converter
    if converter.limit is not None:
        return converter.limit
    rated = (None if converter.rating is None else converter.rating.output_current) or design.full_current
    low, high = (factor * rated for factor in LIMIT)
    return OutputLimit(
        current=default((low + high) / 2, low, high, "over the rated current (common practice, no source)")
    )


@dataclass(frozen=True)
class Regulation:
    """The loop of a converter with filter and loads on, at one operating point.

    ``sensed`` at the converter's output or behind the filter, at the first load; ``stable``; ``crossover``, ``phase_margin`` and ``gain_margin``: the least of
    all crossings (NaN where it is unstable, inf where there is no crossing); ``stated_crossover`` and ``stated_phase_margin`` without filter;
    ``least_phase_margin``: of all combinations of what its bandwidth and phase margin may be (NaN where one is unstable);
    ``loop`` T (f,) over ``frequencies``.
    """

    point: str
    sensed: Sensing
    stable: bool
    crossover: Annotated[float, Unit("Hz", "crosses over at", "crossover")]
    phase_margin: Annotated[float, Unit("deg", "phase margin", "phase_margin")]
    gain_margin: Annotated[float, Unit("dB", "gain margin", "gain_margin")]
    stated_crossover: Annotated[float, Unit("Hz", "without filter", "bare_crossover")]
    stated_phase_margin: Annotated[float, Unit("deg", "without filter", "bare_phase_margin")]
    least_phase_margin: Annotated[float, Unit("deg", "least phase margin", "least_phase_margin")]
    frequencies: Annotated[np.ndarray, Unit("Hz", key=None)]
    loop: Annotated[np.ndarray, Unit("", key=None)]


@dataclass(frozen=True)
class MeasuredOutput:
    """``stable``; ``gain_margin`` and ``phase_margin`` (NaN where it is unstable); ``greatest`` ratio of the impedances, at ``frequency``."""

    point: str
    stable: bool
    gain_margin: Annotated[float, Unit("dB", "gain margin", "gain_margin")]
    phase_margin: Annotated[float, Unit("deg", "phase margin", "phase_margin")]
    greatest: Annotated[float, Unit("", "greatest ratio", "greatest_ratio")]
    frequency: Annotated[float, Unit("Hz", "there", "greatest_ratio")]


@dataclass(frozen=True)
class SourceSide:
    """The input of a converter at ``voltage``, drawing ``power``: a negative ``resistance`` behind cable and input capacitor.

    ``critical_power``, from which the line rings, at ``critical_frequency``; ``least_capacitance`` at the input from which it does not
    ring with what is drawn, its ESR as that of the one there is; ``more``: how much more power may be drawn, as a share.
    """

    voltage: Volts[float]
    power: Watts[float]
    resistance: Ohms[float]
    critical_power: Annotated[float, Unit("W", "critical power", "critical")]
    critical_frequency: Annotated[float, Unit("Hz", "rings there at", "critical")]
    least_capacitance: Annotated[float, Unit("F", "least input capacitance", "least_input")]

    @property
    def more(self) -> Annotated[float, Unit("", "more power before it rings", "more")]:
        """Share of the power drawn that may be added."""
        return self.critical_power / self.power - 1


@dataclass(frozen=True)
class LargestCapacitance:
    """The largest capacitance that a converter starts into: ``within_limit`` while soft start is never slowed down, and
    ``in_time`` within the time allowed at the limit; ``held_at``: the voltage at which the load takes all of the limit (NaN: nowhere)."""

    within_limit: Annotated[float, Unit("F", "without slowing soft start", "within_limit")]
    in_time: Annotated[float, Unit("F", "in the time allowed", "in_time")]
    held_at: Annotated[float, Unit("V", "held down at", "held_at")]
