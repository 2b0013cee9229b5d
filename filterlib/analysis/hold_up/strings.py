"""What a bank is made of: parts, in series where the line's voltage asks for it, cold, old and at the low end of their tolerance."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.hold_up.bank_result import String
from filterlib.parts.ageing import SEAL_LIFE
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.supercapacitor import Supercapacitor
from filterlib.parts.tables import standard_tables
from filterlib.system.design import Design

__all__ = ["strings"]
SLOW = 100.0  # [Hz] at which the series resistance of a capacitor is taken: bursts of milliseconds and longer
OLD = 1e12  # [s]: at the end of its life


def strings(design: Design, volts: float, period: float) -> Iterator[String]:
    """Every part of the tables as a string for ``volts`` [V], for bursts each ``period`` [s]."""
    hot, cold = (pick(point.temperature for point in design.operating_points) for pick in (max, min))
    for table in standard_tables():
        for part in table.values():
            if isinstance(part, Supercapacitor):
                yield _of_cells(part, volts, hot, cold)
            elif isinstance(part, Capacitor) and part.safety_class is None and float(part.usable_voltage) >= volts:
                yield _of_one(part, volts, period, design.service_life, hot, cold)


def _of_one(part: Capacitor, volts: float, period: float, service: float | None, hot: float, cold: float) -> String:
    old = part.aged(OLD if service is None else service, hot)
    low, high = 1 - float(part.tolerance), 1 + float(part.tolerance)
    ripple = part.rated_ripple(hot)
    return String(
        part.name, part.kind, 1, float(part.capacitance), high * float(part.capacitance),
        float(part.capacitance_at(volts, cold)), float(old.capacitance_at(volts)), low * float(old.capacitance_at(volts, cold)),
        float(old.esr_at(SLOW, bias=volts, temperature=cold)) * (1 + float(part.esr_tolerance)),
        math.inf if ripple is None else float(ripple) * float(part.ripple_factor(1 / period)), math.inf,
        _or_nan(part.leakage_current(volts)), 0.0, _sealed(part.life_at(hot)),
    )  # fmt: skip


def _of_cells(part: Supercapacitor, volts: float, hot: float, cold: float) -> String:
    cells = part.in_series(volts)
    one = float(part.capacitance) / cells
    cold_share = float(part.capacitance_at(cold)) / float(part.capacitance)
    aged, tolerance = float(part.life_end_capacitance), float(part.tolerance)
    worn = float(part.life_end_esr) * (1 + float(part.esr_tolerance))
    return String(
        part.name, part.kind, cells, one, one * (1 + tolerance), one * cold_share, one * aged,
        one * cold_share * aged * (1 - tolerance), cells * float(part.resistance_at(cold)) * worn,
        _or_inf(part.ripple_current), _or_inf(part.peak_current), float(part.leakage),
        float(part.balancing_power(cells)), _sealed(part.life_at(hot, volts / cells)),
    )  # fmt: skip


def _sealed(life: object) -> float:
    """A life that ends with the seal [s]; nan where none is stated."""
    return math.nan if life is None else min(float(life), SEAL_LIFE)  # type: ignore[arg-type]


def _or_nan(value: object) -> float:
    return math.nan if value is None else float(value)  # type: ignore[arg-type]


def _or_inf(value: object) -> float:
    return math.inf if value is None else float(value)  # type: ignore[arg-type]
