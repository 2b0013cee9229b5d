"""Switch-on in words: whether the loads run, when, what stops them, and into which largest bank it starts."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.hold_up.way import path_to
from filterlib.analysis.supply.starting import MOST_ATTEMPTS, MOST_FALLS
from filterlib.analysis.supply.supply_result import COLD, FEW, WARM, LoadStart, Ramp, Starting, SwitchOn
from filterlib.system.design import Design
from filterlib.words.quantities import joined, number, range_text

__all__ = ["load_words", "start_words", "switch_on_line", "switch_on_sentences"]


def switch_on_line(found: SwitchOn) -> str:
    """The switch-on in one line."""
    if found.nominal.end == "starts" and found.inputs and found.inputs[1].collapses:
        first = next(one for one in found.inputs if one.collapses)
        may = "" if first is found.inputs[0] else "at an end of the range "
        falls = f"{may}the start pulls the converter's input down to {number(first.lowest, 'V')}, and it switches off"
        return f"all loads run after {number(found.nominal.up, 's')}; {falls}"
    if found.nominal.end != "starts":
        return start_words(found.nominal)
    early, late = found.times
    if math.isinf(late):
        worse = next(one for one in (found.hard, found.easy) if one.end != "starts")
        return f"all loads run after {number(found.nominal.up, 's')}; at an end of the range {start_words(worse)}"
    ends = range_text(early, late, "s")
    return f"all loads run after {number(found.nominal.up, 's')}{f' ({ends})' if ' to ' in ends else ''}"


def start_words(one: Starting) -> str:
    """How one start ends."""
    if one.end == "starts":
        tries = f", in {one.attempts} attempts" if one.attempts > 1 else ""
        return f"all loads run after {number(one.up, 's')}{tries}"
    if one.end == "hiccups":
        ever = "for ever" if one.attempts < MOST_ATTEMPTS else f"in all {one.attempts} attempts that were followed"
        return f"the converter hiccups {ever}, and reaches {number(one.held, 'V')}"
    if one.end == "falls out":
        names = joined([load.load for load in one.loads if load.falls > MOST_FALLS])
        return f"{names} starts, pulls the voltage down and stops, again and again"
    return f"the loads hold the output down at {number(one.held, 'V')}"


def load_words(one: LoadStart) -> str:
    """When one load runs."""
    if math.isinf(one.runs):
        return "never" if not one.falls else f"never; it stopped {one.falls} times"
    fell = f", after it stopped {one.falls} times" if one.falls else ""
    return f"after {number(one.runs, 's')}{fell}"


def switch_on_sentences(found: SwitchOn, design: Design) -> Iterator[str]:
    """The nominal start, the ends of the range, a usual bank, the largest one, and what is assumed."""
    limit = design.converter.limit
    assert limit is not None  # or there is no switch-on
    kinds = {
        "constant": f"that keeps {number(float(limit.current.value), 'A')}",
        "foldback": f"that falls from {number(float(limit.current.value), 'A')} to {number(limit.short_circuit_current, 'A')} at 0 V",
        "hiccup": f"of {number(float(limit.current.value), 'A')} that switches off after {number(float(limit.hiccup_on.value), 's')} and tries again after {number(float(limit.hiccup_off.value), 's')}",
    }
    yield f"At switch-on, with a limit {kinds[limit.kind]}, {start_words(found.nominal)}."
    for words, one in (
        ("lowest current limit, held for the shortest time, and loads that start early", found.hard),
        ("highest current limit, held for the longest time, and loads that wait", found.easy),
    ):
        if one.end != found.nominal.end:
            yield f"With the {words}, {start_words(one)}."
    yield f"With 30 mF behind the filter {start_words(found.usual)}."
    yield from _largest(found)
    yield from _input(found)
    ramp = Ramp.of(limit, "low")
    if not ramp.follows_rings:
        volts = max(path_to(design, load, ramp.limit).ring for load in design.loads)
        yield (
            f"The limit follows the mean, so the filter’s ring is left out: it is at most {number(volts, 'V')}, and in the hard start every load "
            "starts and stops that much earlier."
        )
    if any(load.power is not None and load.starts_at is None for load in design.loads):
        yield "Loads of constant power that state no starts_at wait for 90 % of the voltage (80 % to 97 %); those that state no stops_at stop at 90 % of that."
    if any(load.profile is not None for load in design.loads):
        yield "Loads with bursts start between them, with their idle share."
    yield "The converter's own loop is taken as fast."


def _largest(found: SwitchOn) -> Iterator[str]:
    """The largest bank, nominal and over the range."""
    low, high = found.largest_low, found.largest_high
    over = f"over the range, and with {number(WARM, 'ohm')} warm to {number(COLD, 'ohm')} cold in the bank"
    if math.isinf(low):
        yield f"Any bank comes up: a larger one only takes longer ({over})."
    elif math.isinf(found.largest):
        yield f"At nominal values any bank comes up: a larger one only takes longer. At an end of the range there is none with which it starts ({over})."
    elif high > 0:
        ends = " to ".join("any" if math.isinf(one) else number(one, "F", 2) for one in (low, high))
        yield (
            f"The largest bank with which it starts, within {FEW} attempts, is {number(found.largest, 'F', 2)} ({ends} {over}). "
            "A bank may have a fifth more than is printed on it."
        )


def _input(found: SwitchOn) -> Iterator[str]:
    """What the start does to what feeds it."""
    if not found.inputs:
        yield "The battery's side is taken as stiff."
        return
    nominal, weak, _ = found.inputs
    yield (
        f"The start pulls the converter's input down to {number(nominal.lowest, 'V')}, and to {number(weak.lowest, 'V')} with the battery at its "
        f"lowest, the weakest line and the start that draws most; the converter switches off below {number(nominal.lock_out, 'V')}"
        f"{_also(nominal.lock_out, weak.lock_out)}."
    )
    if weak.collapses:
        yield "Then it switches off, the input recovers, and it begins again: what comes of that is not followed. Take a thicker or shorter wire, a softer start, or a larger input capacitor."


def _also(one: float, other: float) -> str:
    return f" ({number(other, 'V')} at the end of its range)" if one != other else ""
