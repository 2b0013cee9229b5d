"""Supercapacitors: cells of a few volts, set in series for a line's voltage, with ESR, leakage, balancing and life."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from filterlib.network.wiring import Wiring
from filterlib.parts.ageing import electrolytic_life
from filterlib.parts.base import Curve, Part, Quantity, on_curve, shown
from filterlib.parts.values import ROOM, Points, Value

HALVED_BY = 0.2  # [V] above which a cell lives half as long: common practice, no source; makers say 0.1 to 0.2 V
BALANCING = 10.0  # times its leakage that a cell's balancing resistor carries: common practice, no source
Resistance = Annotated[Value, Quantity("ohm", above=0, plausible=(1e-5, 1e3))]


class Supercapacitor(Part):
    """One cell of an electric double-layer capacitor.

    Attributes
    ----------
    capacitance : of one cell, new, at room temperature [F]
    rated_voltage : DC, of one cell [V]
    esr : DC resistance of one cell, new [ohm]
    tolerance, esr_tolerance : of both, either way
    ripple_current : rms that a cell carries all the time [A]
    peak_current : for a second, from the rated voltage to half of it [A]
    leakage : at the rated voltage after days of charge [A]
    voltage_derating : share of the rated voltage that is used (90 % unless stated)
    esr_temperature_curve, temperature_curve : [[K, ratio], ...] of ESR and capacitance
    maximum_temperature, rated_life : the life [s] at that temperature [K] and the rated voltage
    life_end_capacitance, life_end_esr : ratios at the end of the life

    Raises
    ------
    InputError
        As every part, with everything that is wrong.

    Notes
    -----
    ESR and capacitance alone: valid for bursts of a tenth of a second and longer; in shorter ones the pores of the
    electrodes give less capacitance, and a lower ESR (common practice, no source).

    Examples
    --------
    >>> cell = Supercapacitor(kind="supercapacitor", capacitance="10 F", rated_voltage="2.7 V", esr="50 mΩ", leakage="30 µA")
    >>> cell.in_series(28.0), round(cell.balancing_power(12), 4)    # hand: 12 x 2.43 V = 29.2 V; 12 x 2.7 V x 0.3 mA
    (12, 0.0097)
    """

    kind: Literal["supercapacitor"]
    capacitance: Annotated[Value, Quantity("F", above=0, plausible=(1e-3, 1e4))]
    rated_voltage: Annotated[Value, Quantity("V", above=0, plausible=(1, 10))]
    esr: Resistance
    leakage: Annotated[Value, Quantity("A", above=0, plausible=(1e-8, 0.1))]
    tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.2
    esr_tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.3
    voltage_derating: Annotated[Value, Quantity("", above=0, high=1)] = 0.9
    ripple_current: Annotated[Value, Quantity("A", above=0, plausible=(1e-3, 1e3))] | None = None
    peak_current: Annotated[Value, Quantity("A", above=0, plausible=(1e-3, 1e4))] | None = None
    temperature_curve: Annotated[Points, Curve("K", reference=298.15, low=200, high=500)] | None = None
    esr_temperature_curve: Annotated[Points, Curve("K", reference=298.15, low=200, high=500)] | None = None
    maximum_temperature: Annotated[Value, Quantity("K", low=300, high=500)] = 338.15
    rated_life: Annotated[Value, Quantity("s", above=0, plausible=(1.0, 1e10))] | None = None
    life_end_capacitance: Annotated[Value, Quantity("", above=0, high=1)] = 0.7
    life_end_esr: Annotated[Value, Quantity("", low=1, high=10)] = 2.0
    package: str = ""

    @property
    def usable_voltage(self) -> Value:
        """What is used of the rated voltage of one cell [V]."""
        return self.voltage_derating * self.rated_voltage

    def in_series(self, volts: float) -> int:
        """Cells in series for a line of so many ``volts`` [V]."""
        return math.ceil(volts / float(self.usable_voltage) - 1e-9)

    def capacitance_at(self, temperature: Value = ROOM) -> Value:
        """Capacitance of a new cell [F] at ``temperature`` [K]."""
        return self.capacitance * (on_curve(self.temperature_curve, temperature) if self.temperature_curve else 1.0)

    def resistance_at(self, temperature: Value = ROOM) -> Value:
        """Resistance of a new cell [ohm] at ``temperature`` [K]."""
        return self.esr * (on_curve(self.esr_temperature_curve, temperature) if self.esr_temperature_curve else 1.0)

    def life_at(self, temperature: Value, voltage: Value | None = None) -> Value | None:
        """Life [s] of a cell at ``temperature`` [K] and ``voltage`` [V], unless given the rated one; None where none is rated.

        Twice as long for each 10 K and each 0.2 V below the rated ones: common practice, no source.
        """
        if self.rated_life is None:
            return None
        rested = 1.0 if voltage is None else 2 ** ((self.rated_voltage - voltage) / HALVED_BY)
        return electrolytic_life(self.rated_life, self.maximum_temperature, temperature) * rested

    def balancing_power(self, count: int) -> Value:
        """What balancing resistors across ``count`` cells in series take [W] at the rated voltage."""
        return count * self.rated_voltage * BALANCING * self.leakage

    def add(self, circuit: Wiring, name: str, a: str, b: str, *, temperature: Value = ROOM, count: int = 1) -> Wiring:
        """Adds ``count`` cells in series between two nodes."""
        circuit.capacitor(name, a, f"{name}:x", self.capacitance_at(temperature) / count)
        return circuit.resistor(f"{name}.esr", f"{name}:x", b, self.resistance_at(temperature) * count)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return super().describe() | {
            "capacitance": f"{shown(self.capacitance, 'F')} ± {shown(self.tolerance * 100, '')} %",
            "rated voltage": shown(self.rated_voltage, "V"),
            "ESR": shown(self.esr, "ohm"),
            "leakage": shown(self.leakage, "A"),
        }
