"""What the filter feeds: one load or several on the same line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, ClassVar, Literal

import numpy as np

from filterlib.errors import Problem, QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Quantity
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.values import Value
from filterlib.parts.wire import WirePair
from filterlib.system.inside.ways import CHASSIS, Bond
from filterlib.system.keys import elsewhere
from filterlib.system.line.components import MOUNTING_LOOP, Component, Loop, capacitor
from filterlib.system.line.profile import Profile
from filterlib.system.model import Count, Given, Model, Name, Note
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default
from filterlib.system.state import State
from filterlib.units import quantity

LEFT_OVER = 1e-3
"""Share of its slope that a constant-power load keeps, positive, above its loop: so that no node is left open."""
LOOP_BANDWIDTH = 20e3  # [Hz] of a constant-power load that states none: common practice, no source
STRAY = default(50e-12, 10e-12, 200e-12, "a box of a few decimetres near the chassis (common practice, no source)")
STRAY_LOSS = 15.0  # [ohm] in series with it, as in the converter's way through the chassis: common practice, no source
_STATES = {"resistive": "resistance", "constant_current": "current", "constant_power": "power"}


class InputCapacitor(Model):
    """A capacitor across the load's own terminals."""

    part: Capacitor
    count: Count = 1
    mounting_loop: Loop = MOUNTING_LOOP


class ReflectedRipple(Model):
    """Ripple current that the load's own converter draws: a triangle at its own frequency."""

    peak_to_peak: Annotated[float, Quantity("A", above=0, high=1000, form="pp")]
    frequency: Annotated[float, Quantity("Hz", low=1e3, high=2e7)]
    duty: Annotated[float, Quantity("", low=0.01, high=0.99)] = 0.5


def _volts(given: object) -> float | None:
    """A voltage as it is read, or None for what is refused elsewhere."""
    try:
        return None if given is None else quantity(given, "V")
    except QuantityError:
        return None


class Load(Model):
    """One load: resistive, constant current or constant power (up to its own loop bandwidth).

    ``starts_at`` and ``stops_at`` [V]: its undervoltage lock-out, rising and falling.
    """

    ELSEWHERE: ClassVar[Mapping[str, str]] = elsewhere.LOAD

    name: Name
    kind: Literal["resistive", "constant_current", "constant_power"]
    resistance: Annotated[Value, Quantity("ohm", low=1e-3, high=1e9)] | None = None
    current: Annotated[Value, Quantity("A", low=0, high=1e3, plausible=(1e-15, 1e3))] | None = None
    power: Annotated[Value, Quantity("W", low=0, high=1e5, plausible=(1e-15, 1e5))] | None = None
    loop_bandwidth: Annotated[Value, Quantity("Hz", low=1, high=1e7)] = LOOP_BANDWIDTH
    input_capacitor: InputCapacitor | None = None
    lead: WirePair | None = None
    bond: Bond | None = None
    stray_capacitance: Annotated[
        Ranged, RangedQuantity("F", "stray capacitance of {owner} to the chassis", low=0, high=1e-7)
    ] = STRAY
    ripple: ReflectedRipple | None = None
    profile: Profile | None = None
    starts_at: Annotated[float, Quantity("V", above=0, high=1000)] | None = None
    stops_at: Annotated[float, Quantity("V", above=0, high=1000)] | None = None
    note: Note = ""

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        """Each kind states what it draws in its own key, and in no other."""
        starts, stops = (_volts(fields.get(key)) for key in ("starts_at", "stops_at"))
        if starts is not None and stops is not None and stops > starts:
            yield Problem("", "stops_at", fields["stops_at"], f"above starts_at, {starts:g} V: it would never run")
        kind = fields.get("kind")
        if not isinstance(kind, str) or kind not in _STATES:
            return
        for key in _STATES.values():
            value = fields.get(key)
            if key == _STATES[kind] and value is None:
                yield Problem("", key, None, f"missing: a {kind} load states its {key}")
            elif key != _STATES[kind] and value is not None:
                yield Problem("", key, value, f"a {kind} load states its {_STATES[kind]}; leave this key out")

    @property
    def plus(self) -> str:
        """Node of the load's own input; behind its lead where it has one."""
        return f"{self.name}_plus" if self.lead is not None else "load_plus"

    @property
    def minus(self) -> str:
        """The return node of the load's input."""
        return f"{self.name}_return" if self.lead is not None else "0"

    @property
    def port(self) -> tuple[str, str]:
        """The two nodes between which the load's voltage is meant."""
        return self.plus, self.minus

    @property
    def source(self) -> str:
        """Name of the current source in the circuit that draws this load's current."""
        return f"{self.name}.current"

    @property
    def full_draw(self) -> tuple[Value, str]:
        """What the load states of its draw, in the one key of its kind, and the unit."""
        if self.resistance is not None:
            return self.resistance, "ohm"
        return (self.current, "A") if self.current is not None else (self._full_power, "W")

    def draws(self, voltage: Value, scale: float) -> Value:
        """DC current [A] at a voltage [V] (not zero) and at a share of the full load."""
        if self.resistance is not None:
            return scale * voltage / self.resistance
        return scale * self.current if self.current is not None else scale * self._full_power / voltage

    def slope(self, voltage: Value, scale: float) -> Value:
        """Derivative of `draws` after the voltage: small-signal conductance [S], negative at constant power."""
        if self.resistance is not None:
            return scale / self.resistance
        return 0.0 * voltage if self.current is not None else -scale * self._full_power / voltage**2

    @property
    def _full_power(self) -> Value:
        """Of a constant-power load [W]."""
        assert self.power is not None  # as checked: the two other kinds state something else
        return self.power

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """An assumed stray capacitance where nothing drives the chassis, or where the load is bonded to it."""
        return () if self.stray_capacitance.stated or (driven and self.floats) else ("stray_capacitance",)

    @property
    def reaches_chassis(self) -> bool:
        """True where something that the file states reaches the chassis."""
        led = self.lead is not None and self.lead.reaches_chassis
        return self.bond is not None or led or (self.stray_capacitance.stated and self.stray_capacitance.high > 0)

    @property
    def floats(self) -> bool:
        """True where nothing but a stray capacitance that nobody stated reaches the chassis from the load's return."""
        return self.bond is None and not self.stray_capacitance.stated

    @property
    def power_branches(self) -> tuple[str, str]:
        """The elements of `add_input` whose opening takes the load's small-signal conductance away."""
        return f"{self.name}.conductance", f"{self.name}.loop_capacitance"

    @property
    def input_branches(self) -> tuple[str, ...]:
        """Those whose opening takes all of it away."""
        return f"{self.name}.capacitor", *self.power_branches

    def add(self, circuit: Wiring, state: State, *, stray: bool = False) -> None:
        """Add lead, current source, what is at the load's own terminals, and its bond.

        ``stray``: a floating load's default capacitance to the chassis too.
        """
        if self.lead is not None:
            pair = ("load_plus", self.plus), ("0", self.minus)
            self.lead.add(circuit, f"{self.name}.lead", *pair, temperature=state.temperature)
        circuit.current_source(self.source, self.minus, self.plus)
        self.add_input(circuit, state)
        if self.bond is not None:
            self.bond.add(circuit, f"{self.name}.bond", self.minus)
        if (stray and self.floats) or (self.stray_capacitance.stated and np.any(self.stray_capacitance.value)):
            circuit.capacitor(f"{self.name}.stray", self.minus, f"{self.name}:stray", self.stray_capacitance.value)
            circuit.resistor(f"{self.name}.stray_loss", f"{self.name}:stray", CHASSIS, STRAY_LOSS)

    def add_input(self, circuit: Wiring, state: State) -> None:
        """Add what is at the load's own terminals: capacitor and small-signal conductance."""
        name, plus, minus = self.name, self.plus, self.minus
        if self.input_capacitor is not None:
            fitted = self.input_capacitor
            fitted.part.aged(state.age, state.temperature).add(
                circuit, f"{name}.capacitor", plus, minus,
                bias=state.voltage(name), temperature=state.temperature,
                mounting_loop=fitted.mounting_loop.value, count=fitted.count,
            )  # fmt: skip
        scale = state.scale(name)
        if self.current is not None or scale == 0:
            return
        if self.resistance is not None:
            circuit.conductance(f"{name}.conductance", plus, minus, scale / self.resistance)
            return
        conductance, resistance, capacitance = self.power_elements(state)
        if np.all(conductance == 0):
            return
        circuit.conductance(f"{name}.conductance", plus, minus, conductance)
        circuit.resistor(f"{name}.loop_resistance", plus, f"{name}:loop", resistance)
        circuit.capacitor(f"{name}.loop_capacitance", f"{name}:loop", minus, capacitance)

    def components(self, state: State) -> Iterator[Component]:
        """The capacitor at the load's own terminals, as it is placed."""
        if self.input_capacitor is not None:
            fitted, bias = self.input_capacitor, np.abs(state.voltage(self.name))
            yield capacitor(f"{self.name}.capacitor", f"input of {self.name}", fitted.part, fitted.count, bias)

    def power_elements(self, state: State) -> tuple[Value, Value, Value]:
        """The equivalent of a constant power: a conductance [S], negative, in parallel with a resistance [ohm] and a capacitance [F]
        in series, which take it away above the load's loop bandwidth. All vanish (0, inf, 0) where nothing is drawn."""
        slope = state.scale(self.name) * self._full_power / state.voltage(self.name) ** 2
        with np.errstate(divide="ignore"):
            return -slope, (1 - LEFT_OVER) / np.asarray(slope), slope / (2 * np.pi * self.loop_bandwidth)
