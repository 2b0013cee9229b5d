"""The battery's side and the plug in words: what is drawn, what each rule says, what helps, and what can hurt."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from filterlib.analysis.supply.rules import Check, worst
from filterlib.analysis.supply.supply_result import BREAKDOWN, HOT_SHARE, BatteryRun, Fix, PlugResult, SupplySide
from filterlib.analysis.supply.wires import gauge_name
from filterlib.system.design import Design
from filterlib.system.inside.ways import HAZARDOUS
from filterlib.units import format_hours
from filterlib.words.quantities import capital, number, range_text, share

__all__ = [
    "battery_line",
    "battery_sentences",
    "check_sentence",
    "fix_words",
    "limit_words",
    "plug_line",
    "plug_sentences",
    "rule_count",
    "rule_text",
    "supply_cautions",
    "value_words",
]
ARC_VOLTS, ARC_AMPS = 12.0, 0.4  # from which contacts of copper or silver arc: handbooks on contacts, from memory


def value_words(one: Check) -> str:
    """The nominal figure and its range; of what the line cannot deliver, or not at an end of it, that.

    >>> from filterlib.analysis.supply.rules import check
    >>> value_words(check("wire.drop", "wire", "voltage lost", "", [float("inf")], 0.03, "rule", "hand"))
    'more than there is (the line cannot deliver this)'
    """
    if one.value == float("inf"):
        return "more than there is (the line cannot deliver this)"
    if one.value < one.high == float("inf"):
        value = number(one.value, one.unit) if one.unit else f"{100 * one.value:.3g} %"
        return f"{value} (at an end of the range the line cannot deliver this)"
    if not one.unit:
        return (
            f"{100 * one.value:.3g} % ({100 * one.low:.3g} to {100 * one.high:.3g} %)"
            if one.low < one.high
            else f"{100 * one.value:.3g} %"
        )
    value, ends = number(one.value, one.unit), range_text(one.low, one.high, one.unit)
    return f"{value} ({ends})" if " to " in ends else value


def limit_words(one: Check) -> str:
    """The limit, or that there is none."""
    if one.verdict == "no limit":
        return "no limit stated"
    bound = number(one.limit, one.unit) if one.unit else share(one.limit)
    return f"at {'least' if one.at_least else 'most'} {bound}"


def check_sentence(one: Check) -> str:
    """One check with the rule that binds and its source."""
    return f"{capital(one.part)}, {one.what}: {value_words(one)}, {limit_words(one)} ({one.rule}; {one.source})"


def rule_text(one: Check) -> str:
    """A rule that is not met, or undecided: the figure and what it is against."""
    below, above = ("is below", "may be below"), ("exceeds", "may exceed")
    verb = (below if one.at_least else above)[one.verdict != "not met"]
    return f"{one.part}: {one.what} {value_words(one)} {verb} {number(one.limit, one.unit) if one.unit else share(one.limit)} ({one.rule})"


def battery_line(run: BatteryRun) -> str:
    """The battery's side in one line."""
    decided = worst(run.checks)
    if decided is not None and decided.verdict in ("not met", "undecided"):
        return rule_text(decided)
    most = f"{number(run.most, 'A')} at most, at {number(run.lowest, 'V')}"
    return f"{most}; runs {format_hours(run.runs)}" if run.runs == run.runs else most


def plug_line(found: PlugResult) -> str:
    """The plug in one line."""
    decided = found.deciding
    if decided is not None and decided.verdict in ("not met", "undecided"):
        return rule_text(decided)
    return f"peak {value_words(found.peak)}, {limit_words(found.peak)}; {number(found.plug.peak_current, 'A')}"


def battery_sentences(run: BatteryRun, design: Design) -> Iterator[str]:
    """What is drawn, for how long, and of what wire."""
    if run.most != run.most:
        yield f"The line cannot deliver this: at {number(run.lowest, 'V')} behind its resistance the converter's input collapses."
    else:
        yield (
            f"With all loads at full draw and the battery at its lowest, {number(run.lowest, 'V')}, the line carries {number(run.most, 'A')} "
            f"and loses {number(run.lost, 'V')}."
        )
    if run.mean == run.mean:
        curve = design.converter.efficiency_over_load is not None
        how = (
            "with its efficiency over load" if curve else "at the converter's one efficiency; at light load it is less"
        )
        yield f"On average the battery gives {number(run.mean, 'W')}: {number(run.per_day / 3600, 'W')}h a day, {how}."
    else:
        yield "No shares of time and no bursts say what the battery gives on average: state share_of_time of each operating point."
    if run.runs == run.runs:
        yield f"It runs {format_hours(run.runs)}, or {format_hours(run.runs_low)} where the usable share of its capacity is at its least."
    ripple = next(one for one in run.checks if one.name == "battery.ripple")
    yield (
        f"Of what the switches draw, {value_words(ripple)} of ripple, peak to peak, reach the battery's line at full load, past the input capacitor; "
        "common mode is not in it, nor is an input filter."
    )
    wire = design.battery_side.wire
    allowed = f"loses at most {share(wire.drop)} over {number(float(wire.length.value), 'm')} and carries this"
    if run.gauge == run.gauge:
        yield f"The thinnest wire that {allowed}: {gauge_name(int(run.gauge))} (drop by the resistance of copper; ampacity by the table of ABYC E-11, read second-hand)."
    elif run.most > 0:
        yield f"No wire of the table {allowed}: shorten it, or use two in parallel."
    yield "Local codes come first: they decide about wire, fuse and switch."


def plug_sentences(found: PlugResult) -> Iterator[str]:
    """What happens at the plug, and what would help most."""
    one, peak = found.plug, found.peak
    yield (
        f"Plugged in at {number(one.voltage, 'V')} the input capacitors reach {number(one.peak_voltage, 'V')} after {number(one.time, 's')}; "
        f"over the range and with a full battery {range_text(peak.low, peak.high, 'V')}."
    )
    yield (
        f"The current's first peak is {number(one.peak_current, 'A')}. Wire, contacts and ESR take {number(one.heat, 'J')}, "
        f"the capacitors keep {number(one.stored, 'J')}, and the fuse sees {number(one.melting, 'A2s')}."
    )
    if not found.kind_known:
        yield (
            "The kind of the input capacitors is not stated. The upper end is that of class 2 ceramics, which lose half of their capacitance "
            "at the battery's voltage; state them as capacitors of [input_side]."
        )
    if found.fixes:
        best = found.fixes[0]
        yield f"What helps most is {fix_words(best)}: {number(best.plug.peak_voltage, 'V')} and {number(best.plug.peak_current, 'A')}."


_FIXES = {
    "electrolytic": "an electrolytic across the input, {part} with {ohms} of ESR",
    "r-c": "a resistor of {ohms} with four times the input capacitance in series, across the input",
    "ntc": "an NTC of {ohms} in the line (hot it keeps some {hot} of that, and then protects nothing)",
    "pre-charge": "pre-charge through {ohms}, bridged before the converter starts",
    "clamp": "a clamping diode of {volts} stand-off, with up to {breakdown} before it conducts",
    "soft switch": "a transistor that lets the voltage rise slowly",
}


def fix_words(fix: Fix) -> str:
    """What a fix is, with its size."""
    return _FIXES[fix.name].format(
        part=fix.part, ohms=number(fix.ohms, "ohm"), hot=share(HOT_SHARE), volts=number(fix.volts, "V"),
        breakdown=number(BREAKDOWN * fix.volts, "V"),
    )  # fmt: skip


def supply_cautions(side: SupplySide | None) -> Iterator[str]:
    """What can hurt at the plug, with numbers; nothing where the file says nothing of what feeds the converter."""
    if side is None or side.run is None or side.plug is None:
        return
    run, found = side.run, side.plug
    yield (
        f"At the plug {number(found.peak.high, 'V')} and {number(max(one.high for one in found.checks if one.name == 'plug.current'), 'A')} are possible for microseconds: "
        "the contacts spark, and spatter of metal burns eyes and skin. Plug in with the switch off, or through a resistor first"
    )
    if run.most == run.most and run.most > ARC_AMPS and run.voltage > ARC_VOLTS:
        yield (
            f"Pulling the plug under load draws an arc: {number(run.most, 'A')} at {number(run.voltage, 'V')} is above some {number(ARC_AMPS, 'A')} and {number(ARC_VOLTS, 'V')}, "
            "from which contacts arc (from memory). Switch the load off first; use a connector or switch that is rated to break direct current"
        )
    if found.peak.high > HAZARDOUS:
        yield f"The peak may pass {HAZARDOUS:g} V DC, above which a touch is hazardous: keep fingers off bare contacts while plugging"


def rule_count(against: Iterable[Check]) -> str:
    """How many rules of bursts, the battery's side, the plug and the switch-on are not met, or undecided; "" where none is."""
    count: Counter[str] = Counter(one.verdict for one in against)
    parts = [f"{count[word]} {word}" for word in ("not met", "undecided") if count[word]]
    return f"Bursts, battery's side, plug and switch-on: {', '.join(parts)}." if parts else ""
