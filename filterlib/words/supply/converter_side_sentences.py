"""The converter's side in words: its loop with the filter on, what it starts into, the line that feeds it, and what to measure."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.converter_side.converter_side_result import (
    ENOUGH,
    ConverterSide,
    Oscillator,
    Regulation,
    SourceSide,
    Start,
    limit_of,
)
from filterlib.analysis.supply.supply_result import BEGINS
from filterlib.system.design import Design
from filterlib.system.inside.control import Control, Sensing
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.words.margin_sentences import more_power
from filterlib.words.quantities import capital, interval_text, number

PLACES: dict[Sensing, str] = {"terminals": "at its terminals", "load": "behind the filter"}

OSCILLATES: dict[Oscillator, str] = {
    "loop": "the converter oscillates with the filter on",
    "source": "the line that feeds the converter oscillates",
}
MAY_OSCILLATE: dict[Oscillator, str] = {which: f"{words} in a part of its range" for which, words in OSCILLATES.items()}


def little_phase(side: ConverterSide | None, control: Control) -> str:
    """What to add where a stated loop is stable with the filter on and keeps next to no phase margin; else nothing."""
    own = [] if side is None or not control.phase_margin.stated else side.regulation
    short = [one for one in own if one.sensed == control.sensing and one.least_phase_margin < ENOUGH]
    return f"; the converter's own loop keeps {_degrees(short[0].least_phase_margin)} of phase margin" if short else ""


def too_much(start: Start) -> str:
    """Of a capacitance beyond all that it starts into."""
    attached = f"{number(start.attached, 'F')} is attached, and"
    if start.largest_high == 0:
        return f"{attached} the loads alone reach its current limit"
    return f"{attached} it starts into {number(start.largest_high, 'F')} at most without reaching its current limit"


def converter_side_lines(side: ConverterSide, design: Design) -> Iterator[str]:
    """One line each: loop, measured impedance, start, and the line that feeds the input."""
    yield _loop(side, design.converter)
    if design.converter.control.output_impedance is not None:
        yield _measured(side)
    yield _start(side.start) if design.converter.limit is None else _ramp(side.start)
    yield _source(side)


def _loop(side: ConverterSide, converter: Converter) -> str:
    if side.why_no_loop:
        return f"Converter's loop: not derived. {side.why_no_loop}."
    here = next(one for one in side.regulation if one.sensed == converter.control.sensing)
    held = (
        "unstable in a part of its range"
        if math.isnan(here.least_phase_margin)
        else f"at least {_degrees(here.least_phase_margin)} over its range"
    )
    now = f"{_phase(here.phase_margin)}, {held}" if here.stable else "it oscillates"
    others = (f" Sensing {PLACES[one.sensed]} {_would(one)}." for one in side.regulation if one is not here)
    return f"Converter's loop with the filter on, sensing {PLACES[here.sensed]}: {now}.{''.join(others)}"


def _would(one: Regulation) -> str:
    return f"it would have {_phase(one.phase_margin)}" if one.stable else "it would oscillate"


def _phase(margin: float) -> str:
    return "no crossover" if math.isinf(margin) else f"{_degrees(margin)} of phase margin"


def _degrees(margin: float) -> str:
    return "no crossover" if math.isinf(margin) else f"{margin:.0f}°"


def _measured(side: ConverterSide) -> str:
    found = side.measured
    if found is None:
        return f"With the output impedance as measured: not judged. {capital(side.why_not_measured)}."
    if not found.stable:
        return f"With the output impedance as measured it is unstable; the impedances are nearest at {number(found.frequency, 'Hz')}."
    return f"With the output impedance as measured it is stable: {_margins(found.gain_margin, found.phase_margin)}."


def _margins(gain: float, phase: float) -> str:
    left = "never crosses over" if math.isinf(phase) else f"{phase:.0f}° of phase margin"
    return left if math.isinf(gain) else f"{number(gain, 'dB')} of gain margin, {left}"


def _start(start: Start) -> str:
    if start.largest == 0:
        return f"Start: the loads alone take its current limit of {number(start.limit, 'A', 2)}; it starts only into loads that wait."
    into = _into(start)
    ends = f" ({into} over the ranges of limit and time)" if into else ""
    enough = (
        ""
        if start.attached <= start.largest_low
        else ": too much"
        if start.attached > start.largest_high
        else ", undecided"
    )
    return f"Start: it starts into at most {number(start.largest, 'F')}{ends}; {number(start.attached, 'F')} is attached{enough}."


def _into(start: Start) -> str:
    """What it starts into, from the least to the most; none where the loads alone may reach the limit."""
    if start.largest_low == 0 < start.largest_high:
        return f"none to {number(start.largest_high, 'F')}"
    return interval_text(start.largest_low, start.largest_high, "F")


def _ramp(start: Start) -> str:
    """Where the limit is stated the switch-on is followed in time, and said there."""
    attached = f"{number(start.attached, 'F')} is attached. What it starts into: see Switch-on"
    if start.largest == 0:
        return f"Start: with the loads its ramp meets the current limit of {number(start.limit, 'A', 2)} at once; {attached}."
    return f"Start: its ramp stays below the current limit with at most {number(start.largest, 'F')}; {attached}."


def _source(side: ConverterSide) -> str:
    if side.source is None:
        return f"The line that feeds it: not judged. {side.why_no_source}."
    worst = "" if side.source_worst is None else f"; at the worst of the ranges {_rings(side.source_worst)}"
    return f"The line that feeds it, at {number(side.source.voltage, 'V')}: {_rings(side.source)}{worst}."


def _rings(one: SourceSide) -> str:
    if math.isinf(one.critical_power):
        return "nothing makes it ring"
    if one.more > 0:
        return f"it would ring at {more_power(one.more)}"
    if math.isinf(one.least_capacitance):
        return "it rings, whatever capacitor is at the input"
    return f"it rings; {number(one.least_capacitance, 'F')} at the input would keep it stable"


def converter_side_advice(side: ConverterSide, design: Design) -> Iterator[str]:
    """What is assumed, what to measure for it, and what to keep from."""
    poor = [one for one in side.regulation if not one.stable or one.phase_margin < ENOUGH]
    if poor:
        yield f"Do not let it sense {' or '.join(PLACES[one.sensed] for one in poor)} before its loop is measured with the filter on."
    control, held, limit = design.converter.control, design.input_side or InputSide(), limit_of(design)
    if not control.phase_margin.stated:
        yield (
            f"Phase margin without filter: {control.phase_margin.value:.0f}° is assumed ({control.phase_margin.low:.0f}° to "
            f"{control.phase_margin.high:.0f}°). It is in the data sheet, or a loop measurement shows it."
        )
    if control.output_impedance is None:
        yield "Measured output impedance: none. Measured with phase from 100 Hz to 1 MHz while the converter regulates, it replaces the assumed loop."
    if not limit.soft_start.stated:
        ends = interval_text(limit.soft_start.low, limit.soft_start.high, "s")
        yield f"Soft start: {ends} is assumed. Record the output while it is switched on."
    if design.converter.limit is None:
        yield "Current limit: 1.1 to 1.5 times the rated current is assumed. Load it until its voltage falls, for moments only: it gets hot."
    if any(load.power is not None and load.starts_at is None for load in design.loads):
        yield f"Loads of constant power are assumed to wait until {100 * BEGINS[1]:.0f} to {100 * BEGINS[2]:.0f} % of the voltage is there; a load's starts_at states it."
    if side.source is None:
        return
    if not design.states_battery_side:
        yield "Battery, wire, fuse and switch: usual ones are assumed. Their resistance is the voltage drop from battery to input, divided by the current. A pair of wires has about 1 µH per metre."
    if not held.capacitance.stated:
        ends = interval_text(held.capacitance.low, held.capacitance.high, "F")
        yield f"Input capacitor: {ends} is assumed. Measure it with a bridge at the input, disconnected and discharged."
