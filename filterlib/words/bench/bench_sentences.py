"""The bench sheet in words: where the probe goes, how each station is set up, what each reading is, and what to know."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.bench.bench_result import SecondReading
from filterlib.analysis.bench.bench_sheet import ATTENUATED, NOISE, BenchSheet, Check, ProbePoint, Station
from filterlib.analysis.ripple.ripple import TERMINALS
from filterlib.system.design import Design
from filterlib.system.inside.arrangement import AGREES, Arrangement
from filterlib.units import format_quantity, format_temperature
from filterlib.words.quantities import both_ranges, capital, interval_text, number
from filterlib.words.review.review_sentences import trust
from filterlib.words.stability_sentences import NO_SPIKE, reason_text

SHORT = "tip and ring of the probe straight across the two nodes, without a clip lead (15 cm of it are some 150 nH)"
_TITLES = {
    "ripple": "First check: the converter without filter",
    "spike": "First check: the converter without filter, its spikes",
    "second reading": "The converter without filter, once more with a test capacitor",
    "voltage": "Direct voltages, filter in place",
    "own clip": "The tip on its own clip",
    "step": "Steps of a load's current",
}
_HOW = {
    "voltage": (
        "Voltmeter at the probe points, loads as stated at the operating point, after they have settled.",
        "The drop is the voltage at P1 with all loads off, less that at the load: so the meter's own error cancels.",
    ),
    "own clip": (
        "Same arrangement in full bandwidth, the tip moved to the clip's own point.",
        "What shows now is no voltage between the two points: common-mode current through the clip, or a field in the loop. "
        "Only what is well above it is a reading.",
    ),
    "step": (
        "An electronic load, or a switched resistor, across the load; DC coupling with offset, or AC coupling that is slower than "
        "the settling by ten.",
    ),
}
_ORDERS = {1: "first order, a single pole", 2: "second order"}


def probe_words(probe: ProbePoint) -> tuple[str, str]:
    """The two nodes, of the tip and of the other side."""
    if probe.place == TERMINALS:
        return "plus terminal of the converter", "return terminal of the converter"
    at = f"input of {probe.place}" + (", behind its lead" if probe.lead else "")
    return f"plus, {at}", f"return, {at}"


def station_title(station: Station) -> str:
    """What is measured there."""
    return f"Ripple at {station.operating.point}" if station.operating else _TITLES[station.kind]


def station_steps(sheet: BenchSheet, station: Station) -> tuple[str, ...]:
    """How to set it up, sentence by sentence."""
    design = sheet.design
    if station.operating is not None:
        return (*(_with_filter(design) if station.first else ("As before.",)), _at(station))
    if station.arrangement is None:
        return _HOW[station.kind]
    more = (_capacitor(sheet.test),) if station.kind == "second reading" and sheet.test else ()
    return (*_arranged(station.arrangement, design), *more)


def _arranged(arrangement: Arrangement, design: Design) -> Iterator[str]:
    """The stated arrangement of a figure of the converter."""
    current = design.full_current if arrangement.load_current is None else arrangement.load_current
    volts = design.converter.output_voltage
    if current > 0:
        ohms, watts = format_quantity(volts / current, "ohm"), format_quantity(volts * current, "W")
        yield f"The filter and the loads off, {format_quantity(current, 'A')} drawn: a resistor of {ohms} for {watts}, which gets hot."
    else:
        yield "The filter and the loads off, nothing drawn."
    yield f"{_width(arrangement.bandwidth, arrangement.order)}, AC coupling."
    for fixture in arrangement.capacitors:
        size, esr, esl = (
            format_quantity(float(v), unit)
            for v, unit in ((fixture.capacitance, "F"), (fixture.esr, "ohm"), (fixture.esl, "H"))
        )
        yield f"{size} across the probe ({esr}, {esl} with its leads)."
    lead = float(arrangement.lead_inductance)
    yield f"A lead of {format_quantity(lead, 'H')} to the probe." if lead else f"Lead: {SHORT}."


def _width(bandwidth: float | None, order: int) -> str:
    if bandwidth is None:
        return "Full bandwidth, 200 MHz or more"
    return f"Bandwidth limit {format_quantity(bandwidth, 'Hz')} ({_ORDERS.get(order, f'order {order}')})"


def _capacitor(test: SecondReading) -> str:
    size, inner = format_quantity(test.capacitance, "F", 3), format_quantity(test.inner_impedance, "ohm")
    measured = "its value, ESR and inductance measured before"
    which = (
        f"the filter's own {test.name}, {size} at this voltage ({measured}; it then reads what the filter will see, whatever is inside)"
        if test.name
        else f"{size} (film or ceramic well above its bias loss, {measured})"
    )
    return (
        f"Across the terminals, as close as can be: {which}, {format_quantity(test.impedance, 'ohm')} at the switching frequency "
        f"against about {inner} inside."
    )


def _with_filter(design: Design) -> Iterator[str]:
    yield f"Filter in place, loads as stated at the operating point. Lead: {SHORT}."
    yield "AC coupling; at the loads no capacitor across the probe: it would be a part of the filter."
    order = design.converter.ripple.order
    yield f"{_width(20e6, order)} unless the line names another; a limit of another order reads spikes differently."
    yield "Read the largest of many periods; where noise hides it, read the average of aligned periods."


def _at(station: Station) -> str:
    """What the operating point means, as something to set."""
    operating = station.operating
    assert operating is not None
    drawn = ", ".join(f"{name} {format_quantity(amps, 'A')}" for name, amps in operating.load_currents.items())
    fed = "" if station.supply is None else f", input {format_quantity(station.supply, 'V')}"
    return f"{capital(operating.point)}: {drawn}; parts at {format_temperature(operating.temperature)}{fed}."


def check_words(check: Check) -> str:
    """What is read."""
    where = "the terminals" if check.place == TERMINALS else check.place
    if check.wanted is not None:
        return f"largest deviation at {where} after a step of {format_quantity(check.wanted.current, 'A')}"
    band = f" {check.band.words}" if check.band else ""
    return {
        "ripple": "ripple",
        "spike": "ripple with its spikes",
        "second reading": "ripple with the test capacitor",
        "voltage": f"voltage at {where}",
        "drop": f"drop to {where}",
        "ripple at": f"ripple at {where}{band}",
        "own clip": f"tip on its own clip at {where}",
    }[check.kind]


def check_note(check: Check) -> str:
    """What to know of a reading; "" for nothing."""
    if check.kind in ("ripple", "spike"):
        return (
            f"Where the reading differs by more than {100 * AGREES:.0f} %, the converter is not the one in the file: put the reading into the file "
            f"(converter.{check.kind}.peak_to_peak) and print this sheet again."
        )
    if check.kind == "second reading":
        return "Keep the recording as a file: with and without the capacitor it shows what is inside."
    if check.wanted is not None:
        return f"current rises with a time constant of {format_quantity(check.wanted.rise_time, 's')}"
    if math.isfinite(check.earthed):
        return (
            f"expected with an earthed oscilloscope, which would read {format_quantity(check.earthed, 'V')} here instead of "
            f"{format_quantity(check.true, 'V')}; a differential probe shows next to nothing"
        )
    notes = (
        NO_SPIKE if check.without_spike else "",
        "" if check.trusted else "order of magnitude: leads and layout decide",
        _below_noise(check),
    )
    return "; ".join(filter(None, notes))


def _probe(check: Check) -> str:
    """Which probe: that without attenuation has less noise, and its bandwidth is 20 MHz at most."""
    full = check.kind == "spike" or (check.band is not None and check.band.label == "full")
    return "10x probe" if full or check.scale >= ATTENUATED else "1x probe"


def _below_noise(check: Check) -> str:
    """What to do where an ordinary oscilloscope shows its own noise; "" elsewhere."""
    if not math.isfinite(check.scale) or not check.value < NOISE * (10 if _probe(check).startswith("10x") else 1):
        return ""
    return "below an ordinary scope's noise: average 64 periods, triggered on the switching node, or amplify first"


def check_cells(check: Check) -> tuple[str, ...]:
    """Reading, probe, operating point, expected, interval, limit, scale."""
    direct = not math.isfinite(check.scale)
    digits = 4 if direct else 3
    expected = number(check.value, check.unit, digits) if math.isfinite(check.value) else "as little as can be"
    scale = "voltmeter" if direct else f"{format_quantity(check.scale, check.unit)}/div, {_probe(check)}"
    if check.band is not None and check.band.label == "full" and math.isfinite(check.value):
        expected = f"at least {expected}"
    point = check.point or "no filter"
    return (capital(check_words(check)), check.probe, point, expected, _interval(check, digits), _limit(check), scale)


def _interval(check: Check, digits: int) -> str:
    if check.low == 0:
        return f"to be below {number(check.high, check.unit)}"
    ends = both_ranges((check.low, check.high), (check.probable_low, check.probable_high), check.unit, digits)
    return ends if " to " in ends else ""


def _limit(check: Check) -> str:
    if math.isfinite(check.limit_low):
        return interval_text(check.limit_low, check.limit, check.unit)
    return f"at most {number(check.limit, check.unit)}" if math.isfinite(check.limit) else ""


def bench_remarks(sheet: BenchSheet) -> Iterator[str]:
    """What to know about the numbers."""
    for point in sheet.review.points:
        if point.ripple.reason is not None:
            yield f"At {point.operating.point} no steady ripple is expected: {reason_text(point.ripple.reason)}"
    if not sheet.design.filter:
        yield "The design has no filter: readings with and without it are the same"
    yield from trust(sheet.review)
