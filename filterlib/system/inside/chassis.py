"""The third conductor: what drives current through the chassis, and the ways by which it returns."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from filterlib.errors import Problem
from filterlib.network.shapes import ring
from filterlib.network.spectrum import phasors, sincs
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


class NodeRing(Model):
    """The ring behind each edge of the switching node: ``overshoot`` as a share of the swing."""

    frequency: Annotated[Ranged, RangedQuantity("Hz", "ring frequency of the switching node", low=1e6, high=1e9)] = (
        default(50e6, 25e6, 100e6, "switching nodes ring at 25 to 100 MHz (common practice, no source)")
    )
    cycles: Annotated[Ranged, RangedQuantity("", "cycles of the switching node's ring", low=0.2, high=50)] = default(
        2.0, 1.0, 5.0, "the ring falls to 1/e in one to five cycles (common practice, no source)"
    )
    overshoot: Annotated[Ranged, RangedQuantity("", "overshoot of the switching node", low=0, high=2)] = default(
        0.2, 0.05, 0.5, "a snubbed node overshoots by a twentieth, a bare one by half (common practice, no source)"
    )


class CommonMode(Model):
    """What drives current through the chassis: the switching node's swing behind a coupling capacitance.

    The node is a trapezoid; its edges take the converter's ``edge_time`` where ``rise_time`` and ``fall_time`` are not
    stated, and its width is the converter's ``duty``.
    """

    swing: Annotated[Ranged, RangedQuantity("V", "switching node's swing", above=0, high=2000)]
    coupling: Annotated[Ranged, RangedQuantity("F", "coupling to the chassis", above=0, high=1e-7)] = default(
        30e-12, 10e-12, 100e-12, "switching node to heat sink or winding to winding (common practice, no source)"
    )
    resistance: Annotated[Ranged, RangedQuantity("ohm", "losses of the way through the chassis", low=0, high=1e4)] = (
        default(
            15.0,
            5.0,
            50.0,
            "losses of the way through heat sink and chassis, which damp its ring (common practice, no source)",
        )
    )
    rise_time: (
        Annotated[Ranged, RangedQuantity("s", "rise time of the switching node", low=1e-10, high=1e-5)] | None
    ) = None
    fall_time: (
        Annotated[Ranged, RangedQuantity("s", "fall time of the switching node", low=1e-10, high=1e-5)] | None
    ) = None
    ring: NodeRing | None = None

    def way(self, s: np.ndarray) -> np.ndarray:
        """The coupling with its losses [ohm] at ``s`` = j 2 pi f [1/s]; (f,) or (designs, f)."""
        return self.resistance.value + 1 / (s * self.coupling.value)

    def add(self, circuit: Wiring, swings_against: str, reaches: str) -> None:
        """Add the source "common_mode" and its coupling: isolated, the input side swings and the output is reached.

        Not isolated, the switching node swings against the return that both sides share, and reaches the chassis.
        """
        circuit.voltage_source("common_mode", "converter:switch", swings_against)
        circuit.resistor("converter.coupling_resistance", "converter:switch", "converter:sink", self.resistance.value)
        circuit.capacitor("converter.coupling", "converter:sink", reaches, self.coupling.value)

    def node(self, count: int, period: float, duty: Value, edge_time: Value, *, high_first: bool) -> np.ndarray:
        """Coefficients c_1 .. c_count [V] of the switching node, its first edge at t = 0, its second at duty * period.

        ``high_first``: the first edge is the rising one (the main switch pulls the node up); else the falling one.
        """
        k = np.arange(1, count + 1)
        rise, fall = (edge_time if t is None else t.value for t in (self.rise_time, self.fall_time))
        first, second = (rise, fall) if high_first else (fall, rise)
        late = phasors(count, duty)[..., 1:]
        steps = sincs(count, first / period) - late * sincs(count, second / period)
        wave: np.ndarray = steps / (2j * np.pi * k)
        if self.ring is not None:
            wave = wave + self._rings(self.ring, k, period, duty)
        scaled: np.ndarray = (1 if high_first else -1) * self.swing.value * wave
        return scaled

    @staticmethod
    def _rings(node: NodeRing, k: np.ndarray, period: float, duty: Value) -> np.ndarray:
        """A damped ring at both edges, upwards at the rising one; it builds up within a quarter of its cycle."""
        frequency = node.frequency.value
        wave = ring(period, frequency, node.cycles.value / frequency, (0.0, duty * period), signs=(1, -1))
        built_up = sincs(len(k), 0.25 / frequency / period)
        return np.asarray(node.overshoot.value * wave.coefficients(len(k))[..., 1:] * built_up)


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
