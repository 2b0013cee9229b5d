"""A burst from a full bank in time, by exact straight pieces: the second method beside the charge balance."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.described import Seconds
from filterlib.analysis.hold_up.bank_result import InTime
from filterlib.analysis.hold_up.holding import Demand
from filterlib.network.nonlinear.bend import constant_power
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import Course, course

__all__ = ["in_time"]
PIECES = 700  # of a constant power between the lowest voltage and the first: chords are off by 1e-8
ROOM = 1.05  # times the expected time that is looked at
HALVINGS = 50


def in_time(
    farads: float, ohms: float, volts: float, lowest: float, demand: Demand, expected: Seconds[float], points: int = 41
) -> InTime:
    """A bank of ``farads`` behind ``ohms`` at ``volts``, which gives what ``demand`` draws beyond its supply.

    ``expected``: how long it should hold [s], finite and above zero.

    >>> from filterlib.system.line.load import Load
    >>> deficit = Demand(Load(name="radio", kind="constant_current", current="1 A"), 1.0, 0.0)
    >>> round(in_time(30e-3, 0.0, 28.0, 22.0, deficit, 0.18).holds, 7)
    0.18
    """
    run = course(_circuit(farads, ohms, volts, lowest, demand), ROOM * expected, {"bank": volts})
    holds = _reaches(run, lowest, ROOM * expected)
    times = np.linspace(0.0, holds, points)
    return InTime(holds, times, run.at(times, "out"))


def _circuit(farads: float, ohms: float, volts: float, lowest: float, demand: Demand) -> PiecewiseCircuit:
    load = demand.load
    circuit = PiecewiseCircuit().capacitor("bank", "bank", "0", farads)
    circuit.resistor("ESR", "bank", "out", max(ohms, 1e-9)).current_source("supply", "out", "0", [(0.0, demand.supply)])
    if load.resistance is not None:
        return circuit.resistor("load", "out", "0", float(load.resistance) / demand.scale)
    drawn = float(load.draws(volts, demand.scale))
    if load.current is not None:
        return circuit.current_source("load", "0", "out", [(0.0, drawn)])
    return circuit.bend("load", "out", "0", constant_power(drawn * volts, 0.998 * lowest, 1.002 * volts, PIECES))


def _reaches(run: Course, lowest: float, until: float) -> float:
    low, high = 0.0, until
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if run.at(middle, "out")[0] > lowest else (low, middle)
    return high
