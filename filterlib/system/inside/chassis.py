"""The third conductor: what drives current through the chassis."""

from __future__ import annotations

from typing import Annotated

import numpy as np

from filterlib.network.shapes import ring
from filterlib.network.spectrum import phasors, sincs
from filterlib.network.wiring import Wiring
from filterlib.parts.values import Value
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

UNLIKE = 6.0  # times as long one edge of a switching node may take as the other: common practice, no source


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
    stated, the rising one longer than the falling one by ``edge_ratio``, and its width is the converter's ``duty``.
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
    edge_ratio: Annotated[
        Ranged, RangedQuantity("", "rise time over fall time of the switching node", low=0.01, high=100)
    ] = default(
        1.0,
        1 / UNLIKE,
        UNLIKE,
        "one edge is driven, the other is as fast as its load charges the node (common practice, no source)",
    )
    ring: NodeRing | None = None

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """The ratio of edges of which one is stated."""
        return () if self.rise_time is None and self.fall_time is None else ("edge_ratio",)

    def alike(self) -> CommonMode:
        """With edges that are known to be alike, unless their ratio is stated."""
        if self.edge_ratio.stated:
            return self
        one = self.model_copy(update={"edge_ratio": default(1.0, 1.0, 1.0, "both edges take the stated time")})
        one.model_fields_set.discard("edge_ratio")  # it is no statement of the file
        return one

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
        alone = self.rise_time is None and self.fall_time is None
        unlike: Value = np.sqrt(self.edge_ratio.value) if alone else 1.0
        rise = edge_time * unlike if self.rise_time is None else self.rise_time.value
        fall = edge_time / unlike if self.fall_time is None else self.fall_time.value
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
