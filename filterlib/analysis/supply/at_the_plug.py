"""At the plug: the design's own hot plug over its range, against ratings, and the fixes that people use, judged alike and ranked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from filterlib.analysis.described import Volts
from filterlib.analysis.hold_up.fuses_and_limits import withstand
from filterlib.analysis.supply.hot_plug import ends_of, inputs, plug
from filterlib.analysis.supply.rules import Check, check
from filterlib.analysis.supply.supply_result import (
    BREAKDOWN,
    CLAMP_POWER,
    CLAMPED,
    HOT_SHARE,
    Added,
    Fix,
    Input,
    Plug,
    PlugResult,
)
from filterlib.errors import FilterlibError
from filterlib.network.nonlinear.bend import diode
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import standard_tables
from filterlib.preferred import preferred_values
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.battery_side import BatterySide

__all__ = ["at_the_plug", "usual_fixes"]
DAMPING_RATIO = (
    4.0  # of a damping capacitor to what it damps; the resistor is then 0.61 of sqrt(L/C): Erickson, APEC 1999
)
DAMPING_RESISTOR = 0.61
STAND_OFFS = (
    5,
    6,
    7,
    8,
    9,
    10,
    11,
    12,
    13,
    14,
    15,
    16,
    17,
    18,
    20,
    22,
    24,
    26,
    28,
    30,
    33,
    36,
    40,
    43,
    45,
    48,
    51,
    54,
    58,
    60,
    64,
    70,
    75,
    78,
    85,
    90,
    100,
)
"""[V] in which clamping diodes are sold: from memory."""
SLOW = 10.0  # of the line's period that a switch ramps at least
LEAST_RAMP = 1e-3  # [s]


@dataclass(frozen=True)
class _Case:
    side: BatterySide
    capacitors: tuple[Input, ...]
    volts: Volts[float]


def at_the_plug(design: Design, steady: float) -> PlugResult:
    """Hot plug of a design's battery onto its input, over what is not known, and what would help.

    Parameters: ``design``; ``steady`` current from the battery at full load [A], for what a fix costs.
    Returns: PlugResult in SI units.
    Raises: FilterlibError where no voltage of the battery is known.
    """
    nominal, high, strong, low, weak = _cases(design)
    cases = (nominal, *high, *strong, low, weak)
    plugs = [plug(one.side, one.capacitors, one.volts) for one in cases]
    worst_ones = (
        cases[max(range(len(cases)), key=lambda k: plugs[k].peak_voltage)],
        cases[max(range(len(cases)), key=lambda k: plugs[k].peak_current)],
    )
    fixes = []
    for name, part, ohms, volts, added in _fixes(nominal, max(one.volts for one in cases), steady):
        tried = [plug(one.side, one.capacitors, one.volts, added) for one in (nominal, *worst_ones)]
        loss = HOT_SHARE * ohms * steady**2 if name == "ntc" else 0.0
        fixes.append(Fix(name, part, ohms, volts, tried[0], loss, tuple(_checks(design, tried, nominal.capacitors))))
    known = bool(design.input_side and design.input_side.capacitors)
    return PlugResult(
        plugs[0], tuple(_checks(design, plugs, nominal.capacitors)), tuple(sorted(fixes, key=_rank)), known, steady
    )


def _rank(fix: Fix) -> tuple[int, float, float]:
    """The verdict first, then what it costs all the time, then the peak."""
    order = {"met": 0, "no limit": 1, "undecided": 2, "not met": 3}
    decided = fix.deciding
    return (
        order[decided.verdict] if decided else 1,
        fix.loss,
        max(one.high for one in fix.checks if one.name == "plug.voltage"),
    )


def _cases(design: Design) -> tuple[_Case, tuple[_Case, ...], tuple[_Case, ...], _Case, _Case]:
    """Nominal; those of the highest voltage and of the highest current, with the wire short and long; those of the lowest.

    Of a loop of R, L and C the peak voltage rises with L and falls with R and C, the current rises with C and falls with R and L.
    """
    side = design.battery_side
    volts = side.battery.volts(design.converter)
    if volts is None:
        raise FilterlibError(
            "battery.voltage: missing: the peak at the plug follows from it; state it, or converter.input_voltage"
        )
    at, full, empty = float(volts.value), volts.high, volts.low
    lengths = ("low", "high")
    high = tuple(
        _Case(
            ends_of(side, one, ohms="low", henries="high"),
            inputs(design, full, farads="low", esr="low", ceramic=True),
            full,
        )
        for one in lengths
    )
    strong = tuple(
        _Case(ends_of(side, one, ohms="low", henries="low"), inputs(design, full, farads="high", esr="low"), full)
        for one in lengths
    )
    low = _Case(
        ends_of(side, "high", ohms="high", henries="low"), inputs(design, empty, farads="high", esr="high"), empty
    )
    weak = _Case(
        ends_of(side, "high", ohms="high", henries="high"), inputs(design, empty, farads="low", esr="high"), empty
    )
    return _Case(side, inputs(design, at), at), high, strong, low, weak


def _checks(design: Design, plugs: list[Plug], capacitors: tuple[Input, ...]) -> Iterator[Check]:
    rated = min((one.rated for one in capacitors if math.isfinite(one.rated)), default=None)
    volts, amps, melting = (
        [getattr(one, name) for one in plugs] for name in ("peak_voltage", "peak_current", "melting")
    )
    peak, file = "peak voltage at the plug", "the design file"
    yield check("plug.voltage", "input capacitors", peak, "V", volts, rated, "rated voltage", "the part's")
    highest = (design.input_side or InputSide()).highest_voltage
    if highest is not None:
        yield check("plug.converter", "the converter's input", peak, "V", volts, highest, "highest input voltage", file)
    fuse, most = design.battery_side.fuse, design.battery_side.switch.peak_current
    yield check("plug.current", "switch or plug", "peak current at the plug", "A", amps, most, "peak current", file)
    if fuse.melting_i2t is not None:
        share, source = withstand(fuse.pulses), "a fuse maker's catalogue"
        rule = f"{100 * share:.0f} % of its melting I²t for {fuse.pulses:,} pulses"
        yield check("plug.fuse", "fuse", "I²t of the plug", "A2s", melting, share * fuse.melting_i2t, rule, source)


def _fixes(nominal: _Case, highest: float, steady: float) -> Iterator[tuple[str, str, float, float, Added]]:
    """Those for the capacitors and the line of a design."""
    farads = sum(one.small for one in nominal.capacitors)
    return usual_fixes(farads, float(nominal.side.inductance), highest, steady)


def usual_fixes(
    farads: float, henries: float, highest: float, steady: float
) -> Iterator[tuple[str, str, float, float, Added]]:
    """Kind, part, resistance [ohm], voltage [V] and what is added, each sized by its usual rule.

    Parameters: ``farads`` at the input, ``henries`` of the line; ``highest`` voltage of the battery [V]; ``steady`` current [A].
    """
    surge = math.sqrt(henries / farads)
    bulk = _electrolytic(DAMPING_RATIO * farads, highest)
    if bulk is not None:
        ohms = float(bulk.esr_at(1e5))
        branch = Input(bulk.name or "electrolytic", float(bulk.capacitance), ohms, float(bulk.rated_voltage))
        yield "electrolytic", bulk.name or "", ohms, branch.rated, Added(branch=branch)
    ohms = _preferred(DAMPING_RESISTOR * surge)
    yield "r-c", "", ohms, highest, Added(branch=Input("R-C", DAMPING_RATIO * farads, ohms))
    ohms = _preferred(max(2 * surge, highest / (10 * max(steady, 0.1))))
    yield "ntc", "", ohms, 0.0, Added(series=ohms)
    ohms = _preferred(max(2 * surge, highest / max(steady, 0.1)))
    yield "pre-charge", "", ohms, 0.0, Added(series=ohms)
    stand_off = next((float(one) for one in STAND_OFFS if one >= highest), None)
    if stand_off is not None:
        slope = (CLAMPED - BREAKDOWN) * stand_off / (CLAMP_POWER / (CLAMPED * stand_off))
        yield "clamp", "", slope, stand_off, Added(clamp=diode(BREAKDOWN * stand_off, slope))
    ramp = max(LEAST_RAMP, SLOW * 2 * math.pi * math.sqrt(henries * farads))
    yield "soft switch", "", 0.0, 0.0, Added(ramp=ramp)


def _electrolytic(farads: float, volts: float) -> Capacitor | None:
    """The smallest aluminium electrolytic of the tables for that voltage with at least so much capacitance; else the largest."""
    parts = [table[name] for table in standard_tables() for name in table]
    usable = [
        one
        for one in parts
        if isinstance(one, Capacitor) and one.kind == "aluminium" and float(one.rated_voltage) >= volts
    ]
    usable.sort(key=lambda one: float(one.capacitance))
    return next((one for one in usable if float(one.capacitance) >= farads), usable[-1] if usable else None)


def _preferred(ohms: float) -> float:
    """The next value of E12 at or above [ohm]."""
    decade = 10.0 ** math.floor(math.log10(ohms))
    return float(
        f"{next(m * s for s in (decade, 10 * decade) for m in preferred_values('E12') if m * s >= ohms * (1 - 1e-9)):.3g}"
    )
