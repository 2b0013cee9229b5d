"""The DC state that parts are linearised at: temperature, voltages, currents, bias, unbalance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from filterlib.parts.values import Value

ROOM = 293.15  # [K]


@dataclass(frozen=True)
class State:
    """One operating point of a design; every mapping is by name; values are floats or arrays (designs, 1).

    ``temperature`` [K]; ``age`` of the parts [s]; ``load_scale``: share of each load's full draw; ``load_voltages`` [V]; ``load_currents`` [A];
    ``biases`` [V] across capacitors; ``currents`` [A] through chokes and wires, balanced; ``unbalances`` [A]: sum of
    both lines' currents; ``terminal_voltage`` [V]; ``converter_current`` [A]. Names that are absent read as zero (bias,
    current, unbalance), as full load, or as ``nominal_voltage``.
    """

    point: str = "unloaded"
    temperature: float = ROOM
    nominal_voltage: float = 1.0
    input_voltage: float | None = None
    age: float = 0.0
    load_scale: Mapping[str, float] = field(default_factory=dict)
    load_voltages: Mapping[str, Value] = field(default_factory=dict)
    load_currents: Mapping[str, Value] = field(default_factory=dict)
    biases: Mapping[str, Value] = field(default_factory=dict)
    currents: Mapping[str, Value] = field(default_factory=dict)
    unbalances: Mapping[str, Value] = field(default_factory=dict)
    terminal_voltage: Value = 0.0
    converter_current: Value = 0.0

    def scale(self, load: str) -> float:
        """Share of its full draw that a load takes."""
        return self.load_scale.get(load, 1.0)

    def voltage(self, load: str) -> Value:
        """Voltage at a load [V]."""
        return self.load_voltages.get(load, self.nominal_voltage)

    def bias(self, part: str) -> Value:
        """DC voltage across a capacitor [V]."""
        return self.biases.get(part, 0.0)

    def current(self, part: str) -> Value:
        """Balanced DC current through a choke or wire [A]."""
        return self.currents.get(part, 0.0)

    def unbalance(self, part: str) -> Value:
        """Sum of the currents of both windings, each towards the load [A]."""
        return self.unbalances.get(part, 0.0)
