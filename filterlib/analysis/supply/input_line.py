"""The line that feeds the converter while it starts: whether what it draws pulls its own input below its lock-out.

What the output takes while it comes up is power from the input, at whatever voltage is there: the lower that is, the more current (a
negative resistance), behind the battery's and the cable's resistance and inductance and beside the input capacitor.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Farads, Henries, Ohms, Ratio, Unit, Volts
from filterlib.analysis.supply.hot_plug import ends_of
from filterlib.analysis.supply.supply_result import InputStart
from filterlib.network.nonlinear.bend import Bend, constant_power
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.course import course
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.ranges.ranged import OPPOSITE

__all__ = ["LOCK_OUT", "InputLine", "input_line", "input_start"]
LOCK_OUT = (0.75, 0.6, 0.8)
"""Of the battery's nominal voltage, below which a converter that does not say it switches off: common practice, no source."""
STAIRS = 10  # in which the power rises and falls
LITTLE, REST = 0.01, 1e-3  # of the highest power: what counts as moving; and [s] that are followed behind it
PIECES = 12  # of a constant power
MOST = 4000  # events, after which it is given up
OFF = Bend((0.0,), (0.0,), 1e-7, 1e-7)


@dataclass(frozen=True)
class InputLine:
    """A battery of ``volts`` behind ``ohms`` and ``henries``, the input capacitor ``farads`` with its ``esr``; ``lock_out`` and ``efficiency``
    of the converter."""

    volts: Volts[float]
    ohms: Ohms[float]
    henries: Henries[float]
    farads: Farads[float]
    esr: Ohms[float]
    lock_out: Annotated[float, Unit("V", "lock-out", "lock_out")]
    efficiency: Ratio[float]

    def lowest(self, times: np.ndarray, watts: np.ndarray) -> tuple[float, float]:
        """The lowest input voltage [V] and when [s], or the lock-out and when it is reached, for powers (t - 1,) [W] between ``times`` (t,).

        The line is at rest at the battery's voltage before. Raises CircuitError where events do not end.
        """
        circuit = PiecewiseCircuit().voltage_source("battery", "battery", "0", [(0.0, self.volts)])
        circuit.resistor("R", "battery", "x", self.ohms).inductor("L", "x", "input", max(self.henries, 1e-10))
        circuit.capacitor("C", "input", "e", self.farads).resistor("E", "e", "0", max(self.esr, 1e-6))
        _draw(circuit, times, watts / self.efficiency, self)
        run = course(circuit, float(times[-1]), {"C": self.volts}, most=MOST, stop="draw: off")
        fallen, at = run.peak(("0", "input"))
        return max(-fallen, self.lock_out), at


def _draw(circuit: PiecewiseCircuit, times: np.ndarray, watts: np.ndarray, line: InputLine) -> None:
    curves, rules = {"off": OFF}, list[Rule]()
    for k, power in enumerate(watts):
        most = max(float(power), 1e-6)
        curves[f"draws {k}"] = constant_power(most, 0.9 * line.lock_out, 1.5 * line.volts, PIECES)
        rules.append(Rule(f"draws {k}", "off", "input", line.lock_out, above=False))
        if k + 1 < len(watts):
            rules.append(Rule(f"draws {k}", f"draws {k + 1}", after=float(times[k + 1] - times[k])))
    circuit.switched("draw", "input", "0", curves, "draws 0", rules)


def input_line(design: Design, end: str = "value") -> InputLine | None:
    """The line of a design: at its nominal values, or at the ``end`` "low" that makes a start hard, or "high" that makes it easy.

    None where no voltage of the battery is known.
    """
    known = design.battery_side.battery.volts(design.converter)
    if known is None:
        return None
    other = OPPOSITE[end]
    side, box = design.battery_side, design.input_side or InputSide()
    fed = side if end == "value" else ends_of(side, other, ohms=other, henries=other)
    stated = box.lowest_voltage
    shares = dict(zip(("value", "high", "low"), LOCK_OUT, strict=True))
    lock_out = shares[end] * float(known.value) if stated is None else stated
    return InputLine(
        float(getattr(known, end)), float(fed.resistance), float(fed.inductance), float(getattr(box.capacitance, end)),
        float(getattr(box.esr, end)), lock_out, float(getattr(design.converter.efficiency, end)),
    )  # fmt: skip


def input_start(line: InputLine, times: np.ndarray, watts: np.ndarray) -> InputStart:
    """The input of a line in a start that draws ``watts`` of the output at ``times`` (t,): in `STAIRS` of the highest power in each.

    Raises: CircuitError where events do not end.

    By hand: 100 W at 80 % from 24 V behind 0.4 ohm need 24 i - 0.4 i^2 = 125: 5.76 A, and 21.7 V are left.

    >>> line = InputLine(24.0, 0.4, 1e-6, 1e-3, 10e-3, 18.0, 0.8)
    >>> round(input_start(line, np.linspace(0.0, 0.1, 101), np.linspace(0.0, 100.0, 101)).lowest, 1)
    21.7
    """
    if line.volts <= line.lock_out:
        return InputStart(line.volts, 0.0, line.lock_out)
    edges = np.linspace(0.0, _settled(times, watts), STAIRS + 1)
    held = np.interp(edges, times, watts)
    inside = [watts[(times >= a) & (times <= b)] for a, b in pairwise(edges)]
    most = np.array([max(a, b, *one) for a, b, one in zip(held, held[1:], inside, strict=False)])
    lowest, at = line.lowest(edges, np.maximum(most, 0.0))
    return InputStart(lowest, at, line.lock_out)


def _settled(times: np.ndarray, watts: np.ndarray) -> float:
    """The time [s] after which the power keeps its last value, and a little more."""
    moving = np.flatnonzero(abs(watts - watts[-1]) > LITTLE * max(float(watts.max()), 1e-9))
    last = float(times[min(moving[-1] + 1, len(times) - 1)]) if len(moving) else 0.0
    return min(1.1 * last + REST, max(float(times[-1]), REST))
