"""What is fitted to carry bursts: the capacitors of a design as one bank, over their range, and how long they hold each load."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.analysis.hold_up.holding import Demand, held
from filterlib.analysis.hold_up.strings import OLD, SLOW
from filterlib.analysis.hold_up.way import Branch, path_to, supply_of, together
from filterlib.analysis.supply.rules import Check, check
from filterlib.parts.capacitor import Capacitor
from filterlib.system.design import Design
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AcrossLines
from filterlib.system.ranges.ranged import ENDS

__all__ = ["fitted", "hold_checks"]


def hold_checks(design: Design) -> Iterator[Check]:
    """Of every load with bursts, the time for which the design as it is holds it up: at least the burst, at most until the next is counted."""
    for load in design.loads:
        if load.profile is not None:
            lowest = f"a burst of {load.name} is held above {load.profile.lowest_voltage:g} V, its profile's lowest"
            yield check(
                f"bursts.{load.name}.hold", load.name, "time that converter and fitted capacitors hold it in a burst", "s",
                [_holds(design, load, end) for end in ENDS], load.profile.burst, lowest, "the design file", at_least=True,
            )  # fmt: skip


def _holds(design: Design, load: Load, end: str) -> float:
    profile, supply = load.profile, supply_of(design, load, end)
    assert profile is not None  # as chosen
    resting = float(load.draws(design.converter.output_voltage, profile.idle))
    full = design.converter.output_voltage - path_to(design, load, supply).ohms * resting
    if full <= profile.lowest_voltage:
        return 0.0
    bank = fitted(design, end)
    return min(held(bank.farads, bank.ohms, full, profile.lowest_voltage, Demand(load, 1.0, supply)), profile.period)


def fitted(design: Design, end: str = "value") -> Branch:
    """The capacitors of filter and loads as one, at the line's voltage.

    ``end``: "value"; "low": cold, at the end of their life, at the low end of their tolerance; "high": at its high end.
    """
    stages = [one for one in design.filter if isinstance(one, AcrossLines)]
    own = [one.input_capacitor for one in design.loads if one.input_capacitor is not None]
    parts = [(one.part, one.count, float(getattr(one, "resistance", 0.0))) for one in (*stages, *own)]
    each = [_one(design, part, end) for part, _, _ in parts]
    behind = zip(each, parts, strict=True)
    every = [Branch(count * one.farads, one.ohms / count + more) for one, (_, count, more) in behind]
    return together(every) if parts else Branch(1e-12, 0.0)


def _one(design: Design, part: Capacitor, end: str) -> Branch:
    volts, tolerance = design.converter.output_voltage, float(np.max(part.tolerance))
    if end != "low":
        more = 1 + tolerance * (end == "high")
        return Branch(more * float(np.max(part.capacitance_at(volts))), float(np.max(part.esr_at(SLOW, bias=volts))))
    hot, cold = (pick(point.temperature for point in design.operating_points) for pick in (max, min))
    old = part.aged(OLD if design.service_life is None else design.service_life, hot)
    esr = float(np.max(old.esr_at(SLOW, bias=volts, temperature=cold))) * (1 + float(part.esr_tolerance))
    return Branch((1 - tolerance) * float(np.max(old.capacitance_at(volts, cold))), esr)
