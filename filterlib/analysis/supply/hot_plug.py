"""Hot plug: a charged battery onto its wire and the converter's empty input capacitors: peaks, heat and what a fuse sees.

The converter itself still stands still: its soft start is longer than the plug by orders. The capacitors' own inductance, nanohenries
beside the wire's microhenries, is left out, and so is what an arc adds.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from filterlib.analysis.supply.supply_result import Added, Input, Plug
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, capacitor_bend
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import Course, course
from filterlib.parts.capacitor import Capacitor
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.battery_side import PER_METRE, BatterySide

__all__ = ["falling", "inputs", "line_circuit", "plug", "plug_course", "seen"]
PIECES = 24  # of a capacitance over its voltage: the peak is good to a few parts in a thousand
REACH = 4.0  # of the battery's voltage up to which a curve is divided
HALF = 0.5  # of its small capacitance that an unknown class 2 ceramic keeps at the battery's voltage: common practice, no source


NOTHING = Added()


def inputs(
    design: Design, volts: float, *, farads: str = "value", esr: str = "value", ceramic: bool = False
) -> tuple[Input, ...]:
    """The input capacitors of a design; without parts one of the input side's capacitance.

    ``farads``, ``esr``: which end of their ranges, "low", "value" or "high"; ``ceramic``: a capacitor whose kind is not stated is a
    class 2 ceramic, whose capacitance falls by half at ``volts`` [V] and goes on as 1/(1 + (v/v0)^2).
    """
    side = design.input_side or InputSide()
    if side.capacitors:
        return tuple(
            _of_part(one.part, one.count, number, volts, _sign(farads), _sign(esr))
            for number, one in enumerate(side.capacitors, 1)
        )
    size, ohms = float(getattr(side.capacitance, farads)), max(float(getattr(side.esr, esr)), 1e-4)
    if ceramic:
        return (Input("input capacitor", falling(size, volts), ohms),)
    return (Input("input capacitor", size, ohms),)


def _sign(end: str) -> float:
    return {"low": -1.0, "value": 0.0, "high": 1.0}[end]


@lru_cache(maxsize=64)
def falling(size: float, volts: float) -> Bend:
    """A class 2 ceramic of ``size`` [F] at 0 V that keeps `HALF` of it at ``volts`` [V], and goes on as 1/(1 + (v/v0)^2)."""
    knee = volts * math.sqrt(HALF / (1 - HALF))
    return capacitor_bend(lambda v: size / (1 + (v / knee) ** 2), REACH * volts, PIECES)


def _of_part(part: Capacitor, count: int, number: int, volts: float, tolerance: float, esr: float) -> Input:
    scale = count * (1 + tolerance * float(part.tolerance))
    ring = 1e5  # [Hz] of such plugs, between 10 kHz and 1 MHz
    ohms = float(part.esr_at(ring, bias=volts)) / count * max(1 + esr * float(part.esr_tolerance), 0.1)
    flat = part.kind != "ceramic_class_2" or abs(
        float(part.capacitance_at(volts)) - float(part.capacitance_at(0.0))
    ) < 1e-3 * float(part.capacitance)
    size: float | Bend = scale * float(part.capacitance_at(volts))
    if not flat:
        size = capacitor_bend(lambda v: scale * np.asarray(part.capacitance_at(v)), REACH * volts, PIECES)
    rated = float(part.rated_voltage)
    return Input(f"{part.name or 'input capacitor'} ({number})", size, max(ohms, 1e-5), rated)


def line_circuit(
    side: BatterySide, capacitors: tuple[Input, ...], volts: float, added: Added = NOTHING
) -> PiecewiseCircuit:
    """Battery, wire, fuse and switch as a loop of one resistance and one inductance, and what is at the converter's input, "in"."""
    ramp = max(added.ramp, side.switch.ramp)
    corners = [(0.0, 0.0), (ramp, volts)] if ramp else [(0.0, volts)]
    circuit = PiecewiseCircuit().voltage_source("battery", "plug", "0", corners)
    circuit.resistor("line resistance", "plug", "line", float(side.resistance) + added.series)
    circuit.inductor("line", "line", "in", float(side.inductance))
    for one in (*capacitors, *((added.branch,) if added.branch else ())):
        circuit.resistor(f"{one.name} ESR", "in", one.name, one.ohms).capacitor(
            f"{one.name} C", one.name, "0", one.farads
        )
    if added.clamp is not None:
        circuit.bend("clamp", "in", "0", added.clamp)
    return circuit


def plug_course(side: BatterySide, capacitors: tuple[Input, ...], volts: float, added: Added = NOTHING) -> Course:
    """The course of a plug from empty capacitors until the first peaks are over."""
    every = (*capacitors, *((added.branch,) if added.branch else ()))
    farads = sum(one.small for one in every)
    ring = math.pi * math.sqrt(float(side.inductance) * farads)
    slow = 3 * (float(side.resistance) + added.series) * farads
    return course(
        line_circuit(side, capacitors, volts, added), 1.25 * ring + slow + 1.5 * max(added.ramp, side.switch.ramp)
    )


def plug(side: BatterySide, capacitors: tuple[Input, ...], volts: float, added: Added = NOTHING) -> Plug:
    """What a plug does: peaks, heat, and what is stored when it is over.

    Parameters: ``side`` of one design, ``capacitors`` at the input, ``volts`` of the battery, what a fix has ``added``.
    Returns: Plug.
    Raises: CircuitError where the circuit has no course.

    >>> from filterlib.system.line.battery_side import Battery, Fuse, SupplyWire, Switch
    >>> side = BatterySide(Battery(resistance=20e-3, inductance=0), SupplyWire(length="0.1 mm", inductance="1 µH"),
    ...     Fuse(resistance=20e-3), Switch(resistance=10e-3))
    >>> found = plug(side, (Input("C", 10e-6, 1e-5),), 24.0)      # closed form: 42.71 V and 67.4 A with 50 milliohm
    >>> round(found.peak_voltage, 1), round(found.peak_current, 1)
    (42.7, 67.4)
    """
    return seen(plug_course(side, capacitors, volts, added), capacitors, volts, added)


def seen(run: Course, capacitors: tuple[Input, ...], volts: float, added: Added = NOTHING) -> Plug:
    """What the course of a plug comes to."""
    peak, time = run.peak("in")
    current = run.peak(Current("line"))[0]
    squared = run.integral(Current("line"), Current("line"))
    every = (*capacitors, *((added.branch,) if added.branch else ()))
    stored = sum(one.stored(volts) for one in every)
    clamped = run.integral("in", Current("clamp")) if added.clamp is not None else 0.0
    through = run.integral(Current("clamp")) if added.clamp is not None else 0.0
    heat = volts * (sum(_charge(one, volts) for one in every) + through) - stored - clamped
    return Plug(volts, max(peak, volts), current, time, heat, stored, float(squared), float(clamped))


def _charge(one: Input, volts: float) -> float:
    """Charge at a voltage [C]."""
    if isinstance(one.farads, Bend):
        return float(np.interp(volts, one.farads.y, one.farads.x))
    return one.farads * volts


def ends_of(side: BatterySide, length: str, *, ohms: str, henries: str) -> BatterySide:
    """All resistances and inductances at an end of their ranges; a default inductance is that of the wire's length then."""
    metres, wire = getattr(side.wire.length, length), side.wire
    per_metre = {"low": PER_METRE[1], "high": PER_METRE[2]}[henries]
    loop = getattr(wire.inductance, henries) if wire.inductance.stated else per_metre * metres
    thick = {"low": wire.cross_section.high, "high": wire.cross_section.low}[ohms]
    return side.at(
        {
            "battery.resistance": getattr(side.battery.resistance, ohms), "battery.inductance": getattr(side.battery.inductance, henries),
            "supply_wire.length": metres, "supply_wire.inductance": loop, "supply_wire.cross_section": thick,
            "fuse.resistance": getattr(side.fuse.resistance, ohms), "switch.resistance": getattr(side.switch.resistance, ohms),
        }
    )  # fmt: skip
