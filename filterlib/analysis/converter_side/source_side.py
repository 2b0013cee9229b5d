"""The converter's input as a load of constant power behind its cable: does the line that feeds it ring at the lowest input?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Henries, Ohms, Unit, Volts, Watts
from filterlib.analysis.stability.minor_loop import LoopLimits, limits
from filterlib.errors import FilterlibError, QuantityError
from filterlib.network.circuit import Circuit
from filterlib.system.input_side import InputSide
from filterlib.system.solution import Solution


@dataclass(frozen=True)
class SourceSide:
    """The input of a converter at ``voltage``, drawing ``power``: a negative ``resistance`` behind cable and input capacitor.

    ``critical_power``, from which the line rings, at ``critical_frequency``; ``least_capacitance`` at the input from which it does not
    ring with what is drawn, its ESR as that of the one there is; ``more``: how much more power may be drawn, as a share.
    """

    voltage: Volts[float]
    power: Watts[float]
    resistance: Ohms[float]
    critical_power: Annotated[float, Unit("W", "critical power", "critical")]
    critical_frequency: Annotated[float, Unit("Hz", "rings there at", "critical")]
    least_capacitance: Annotated[float, Unit("F", "least input capacitance", "least_input")]

    @property
    def more(self) -> Annotated[float, Unit("", "more power before it rings", "more")]:
        """Share of the power drawn that may be added."""
        return self.critical_power / self.power - 1


def source_side(
    solution: Solution,
    *,
    cable_resistance: Ohms[float],
    cable_inductance: Henries[float] | None = None,
    lowest: Volts[float] | None = None,
) -> SourceSide:
    """Whether the line that feeds the converter stays up, at its lowest input.

    Parameters: ``solution`` of one design; ``cable_resistance`` there and back, the battery's included [ohm]; ``cable_inductance`` of the
    loop [H], else that of the design's input side; ``lowest`` input voltage [V], else that of the operating point or converter.
    Returns: SourceSide.
    Raises: FilterlibError where no input voltage is known; QuantityError for what is not positive; where the cable cannot deliver the power.
    Valid well below the converter's loop bandwidth and switching frequency, where its input draws a constant power.
    """
    converter, side = solution.design.converter, solution.design.input_side or InputSide()
    volts = lowest or solution.state.input_voltage or converter.input_voltage
    if volts is None:
        raise FilterlibError("converter.input_voltage: missing: what the input draws follows from it")
    henries = float(side.lead_inductance.value) if cable_inductance is None else cable_inductance
    for name, value in (("cable_resistance", cable_resistance), ("cable_inductance", henries), ("lowest", volts)):
        if not (np.isfinite(value) and value > 0):
            raise QuantityError("must be positive", name=name, value=value)
    drawn = float(solution.state.terminal_voltage * solution.state.converter_current / converter.efficiency.value)
    there = volts / 2 + np.sqrt(max(volts**2 / 4 - drawn * cable_resistance, 0.0))
    if volts**2 < 4 * drawn * cable_resistance:
        raise FilterlibError(
            f"the cable of {cable_resistance:g} ohm cannot deliver {drawn:.3g} W at {volts:g} V: the input collapses without ringing"
        )
    farads = float(side.capacitance.value)
    found = _limits(side, cable_resistance, henries, farads)
    return SourceSide(
        float(volts), drawn, -(there**2) / drawn, found.exact * there**2, found.frequency,
        _least(side, cable_resistance, henries, drawn / there**2),
    )  # fmt: skip


def _limits(side: InputSide, ohms: float, henries: float, farads: float) -> LoopLimits:
    circuit = Circuit().resistor("R", "0", "a", ohms).inductor("L", "a", "b", henries)
    circuit.capacitor("C", "b", "c", farads).resistor("E", "c", "d", float(side.esr.value))
    circuit.inductor("M", "d", "0", float(side.esl.value))
    return limits(lambda f: circuit.impedance(f, "b"), lambda f: -np.ones(len(f)), 1.0, 1e8)


def _least(side: InputSide, ohms: float, henries: float, siemens: float) -> float:
    """Capacitance from which the line stays up, by halving over six decades; 0 where the least does, inf where the most does not."""
    low, high = 1e-8, 1e-2
    if _limits(side, ohms, henries, low).exact > siemens:
        return 0.0
    if _limits(side, ohms, henries, high).exact <= siemens:
        return np.inf
    for _ in range(30):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if _limits(side, ohms, henries, middle).exact > siemens else (middle, high)
    return high
