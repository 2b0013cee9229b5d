"""The converter's side of a design: its loop with the filter on, what it starts into, and the line that feeds it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np

from filterlib.analysis.converter_side.converter_side_result import (
    ConverterSide,
    SourceSide,
    Start,
    limit_of,
)
from filterlib.analysis.converter_side.measured_output import measured_output
from filterlib.analysis.converter_side.regulation import regulations
from filterlib.analysis.converter_side.source_side import source_side
from filterlib.analysis.converter_side.start_up import constant_power, largest_capacitance
from filterlib.analysis.supply.starting import share_at_start
from filterlib.analysis.supply.supply_result import BEGINS
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution

_Found = TypeVar("_Found")
SHORTEST = 1e-6  # [s] of a soft start: of converters that have none


def converter_side(solution: Solution) -> ConverterSide:
    """What is to be known of the converter with its filter on; what cannot be derived is None with the reason.

    Parameters: ``solution`` of one design, at the point at which most is drawn.
    """
    design = solution.design
    loop, why_no_loop = _found(lambda: regulations(solution))
    impedance = design.converter.control.output_impedance
    measured, why_not_measured = (
        (None, "") if impedance is None else _found(lambda: measured_output(solution, impedance.curve))
    )
    source, why_no_source = _found(lambda: _source(solution))
    worst, why = _found(lambda: _worst_source(solution))
    control = design.converter.control
    own = [one for one in loop or () if one.sensed == control.sensing and control.phase_margin.stated]
    rings = any(not one.stable for one in own) or (measured is not None and not measured.stable)
    may_ring = rings or any(np.isnan(one.least_phase_margin) for one in own)
    feed, feed_worst = (one is not None and _states_the_line(design) and one.more <= 0 for one in (source, worst))
    return ConverterSide(
        solution.point, loop or (), why_no_loop, measured, why_not_measured, _start(design), source, worst, why_no_source or why,
        "loop" if rings else "source" if feed else "", "loop" if may_ring else "source" if feed or feed_worst else "",
    )  # fmt: skip


def _states_the_line(design: Design) -> bool:
    """Whether the file says what feeds the converter, and what is at its input."""
    stated = set() if design.input_side is None else design.input_side.model_fields_set
    return design.states_battery_side and bool(stated & {"capacitance", "capacitors"})


def _found(ask: Callable[[], _Found]) -> tuple[_Found | None, str]:
    try:
        return ask(), ""
    except FilterlibError as error:
        return None, str(error)


def _source(solution: Solution) -> SourceSide:
    """The line at its values, the battery at its lowest."""
    return source_side(solution, lowest=_lowest(solution.design))


def _worst_source(solution: Solution) -> SourceSide:
    """The line as it rings first: little resistance and capacitance, much inductance, with the shortest or the longest wire."""
    design, feed = solution.design, solution.design.battery_side
    side, wire = design.input_side or InputSide(), feed.wire
    least = side.model_copy(
        update={name: getattr(side, name).at(getattr(side, name).low) for name in ("capacitance", "esr")}
    )
    there = Solution(design.model_copy(update={"input_side": least}), solution.state)
    found = []
    for length in (wire.length.low, wire.length.high):
        share = 1.0 if wire.inductance.stated else length / wire.length.high
        values = {f"{name}.resistance": getattr(feed, name).resistance.low for name in ("battery", "fuse", "switch")}
        values |= {"supply_wire.length": length, "supply_wire.cross_section": wire.cross_section.high}
        values |= {
            "battery.inductance": feed.battery.inductance.high,
            "supply_wire.inductance": share * wire.inductance.high,
        }
        at = feed.at(values)
        ends = {"cable_resistance": float(np.max(at.resistance)), "cable_inductance": float(np.max(at.inductance))}
        found.append(source_side(there, lowest=_lowest(design), **ends))
    return min(found, key=lambda one: one.more)


def _lowest(design: Design) -> float | None:
    """Input voltage [V]: the lowest of the operating points and of the battery; None where neither is known."""
    battery = design.battery_side.battery.volts(design.converter)
    known = [point.input_voltage for point in design.operating_points if point.input_voltage]
    return min([*known, *([] if battery is None else [battery.low])], default=None)


def _start(design: Design) -> Start:
    limit, volts = limit_of(design), design.converter.output_voltage
    back, inside = limit.short_circuit_current, float(np.max(design.converter.output_capacitance.value))

    def largest(amps: float, seconds: float, begins: float) -> float:
        def available(v: np.ndarray) -> np.ndarray:
            return amps + 0 * v if back is None else back + (amps - back) * v / volts

        def drawn(v: np.ndarray) -> np.ndarray:
            return np.asarray(np.sum([_drawn(load, begins * volts)(v) for load in design.loads], axis=0))

        time = max(seconds, SHORTEST)
        found = largest_capacitance(volts, available, soft_start=time, allowed=time, drawn=drawn)
        return max(found.within_limit - inside, 0.0)

    amps, time, (usual, early, late) = limit.current, limit.soft_start, BEGINS
    nominal = float(amps.value), float(time.value)
    low, high = largest(amps.low, time.low, early), largest(amps.high, time.high, late)
    return Start(design.attached_capacitance, largest(*nominal, usual), low, high, *nominal)


def _drawn(load: Load, begins: float) -> Callable[[np.ndarray], np.ndarray]:
    """Current [A] of voltages (v,) while the output rises: a load of constant power waits until it starts."""
    share = share_at_start(load)
    if load.power is None:
        return lambda v: np.broadcast_to(np.asarray(load.draws(v, share), float), v.shape)
    return constant_power(share * float(np.max(load.power)), load.starts_at or begins)
