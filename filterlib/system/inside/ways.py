"""The ways by which current returns through the third conductor: bonds to the chassis, and the input cable."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from filterlib.errors import Problem
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Quantity
from filterlib.parts.values import Value
from filterlib.system.model import Given, Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

CHASSIS = "chassis"
INPUT, BATTERY = "converter_input", "battery"
INSULATION = 10e6
"""[ohm] from the chassis to the load's return, so that no node hangs on capacitors alone: an assumption, no source."""
HAZARDOUS = 60.0
"""[V] DC above which extra low voltage ends: IEC 61140 and IEC 60364-4-41 (120 V there), here the lower."""


class Bond(Model):
    """A connection to the chassis: a strap or screw (inductance, resistance), or a capacitor where one is stated.

    What is not stated is a short strap, 20 nH and 5 mohm: common practice, no source.
    """

    inductance: Annotated[Value, Quantity("H", low=0, high=1e-4)] = 20e-9
    resistance: Annotated[Value, Quantity("ohm", low=0, high=1e9)] = 5e-3
    capacitance: Annotated[Value, Quantity("F", above=0, high=1e-2)] | None = None
    safety_class: Literal["Y1", "Y2"] | None = None

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if fields.get("safety_class") is not None and fields.get("capacitance") is None:
            why = "only a capacitor has one: state the capacitance too, or leave this out"
            yield Problem("", "safety_class", fields["safety_class"], why)

    def impedance(self, frequency: float) -> Value:
        """Its magnitude [ohm] at a frequency above 0 [Hz].

        >>> round(float(Bond(inductance="600 nH").impedance(23.6e6)), 1)
        89.0
        """
        magnitude: Value = np.abs(self.way(np.array(2j * np.pi * frequency)))
        return magnitude

    def way(self, s: np.ndarray) -> np.ndarray:
        """Its impedance [ohm] at ``s`` = j 2 pi f [1/s]; a number, (f,) or (designs, f)."""
        strap = self.resistance + s * self.inductance
        return strap if self.capacitance is None else strap + 1 / (s * self.capacitance)

    def add(self, circuit: Wiring, name: str, node: str, to: str = CHASSIS) -> None:
        """Add the bond between ``node`` and the chassis."""
        inner = f"{name}:x"
        circuit.inductor(f"{name}.inductance", node, inner, self.inductance)
        if self.capacitance is None:
            circuit.resistor(f"{name}.resistance", inner, to, self.resistance)
        else:
            circuit.resistor(f"{name}.resistance", inner, f"{name}:y", self.resistance)
            circuit.capacitor(f"{name}.capacitance", f"{name}:y", to, self.capacitance)


class Supply(Model):
    """What feeds the converter, as the common mode sees it: the input cable, and the battery's bond to the chassis.

    ``inductance`` and ``resistance``: of the cable's conductors together, from the converter's input to the battery; at DC
    the resistance is that of the return conductor. ``bond``: a strap unless stated; a battery that floats has a capacitor.
    ``earthed_pole``: which pole of the supply is earthed; None where nobody says. It decides where the fuse is.
    """

    inductance: Annotated[
        Ranged, RangedQuantity("H", "inductance of the input cable to the chassis", low=0, high=1e-4)
    ] = default(1e-6, 0.3e-6, 3e-6, "an input cable of 0.3 to 3 m, a microhenry a metre (common practice, no source)")
    resistance: Annotated[Ranged, RangedQuantity("ohm", "resistance of the input cable's return", low=0, high=100)] = (
        default(10e-3, 2e-3, 50e-3, "the return conductor of the input cable (common practice, no source)")
    )
    bond: Bond = Field(default_factory=Bond)
    earthed_pole: Literal["negative", "positive", "neither"] | None = None

    def way(self, s: np.ndarray) -> np.ndarray:
        """From the converter's input to the chassis [ohm] at ``s`` = j 2 pi f [1/s]; (f,) or (designs, f)."""
        return np.asarray(self.resistance.value + s * self.inductance.value + self.bond.way(s))

    def add(self, circuit: Wiring, node: str, *, shared: bool) -> None:
        """Add cable and bond from ``node``; where that return is ``shared`` with the output, the input current too.

        The source "converter.input_current" [A] is DC: what the converter draws, on its way back to the battery.
        """
        circuit.inductor("converter.supply.inductance", node, "supply:x", self.inductance.value)
        circuit.resistor("converter.supply.resistance", "supply:x", BATTERY, self.resistance.value)
        self.bond.add(circuit, "converter.supply.bond", BATTERY)
        if shared:
            circuit.current_source("converter.input_current", node, BATTERY)
        elif self.bond.capacitance is not None:
            circuit.resistor("converter.supply.insulation", BATTERY, CHASSIS, INSULATION)
