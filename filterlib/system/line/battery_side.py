"""What feeds the converter: battery, supply wire, fuse and switch. What a design file leaves open is a default with a range."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator, Field, model_validator

from filterlib.errors import Problem, QuantityError
from filterlib.parts.base import Quantity
from filterlib.parts.values import ROOM, Value
from filterlib.parts.wire import awg_diameter, resistance_per_metre
from filterlib.system.inside.converter import Converter
from filterlib.system.model import Count, Given, Model, Note, Validated
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default, usual
from filterlib.system.ranges.uncertain_parameter import UncertainParameter, ranges

__all__ = ["Battery", "BatterySide", "Fuse", "SupplyWire", "Switch"]
LOWEST, HIGHEST = (
    0.875,
    1.2,
)  # of a battery's nominal voltage: 10.5 to 14.4 V of 12 V, lead-acid; common practice, no source
PER_METRE = (0.7e-6, 0.4e-6, 1.2e-6)  # [H/m] of a pair's loop, twisted to apart: `two_wire_inductance`


class Battery(Model):
    """The battery: ``voltage`` [V] from empty to full, inner ``resistance`` [ohm] and ``inductance`` [H], ``capacity`` [C];
    ``ripple_limit`` [A], the most ripple current, peak to peak, that its line may carry.

    Without a voltage it is the converter's input voltage, empty at 87.5 % and full at 120 % of it, as lead-acid has it.

    >>> Battery(capacity="40 Ah").capacity
    144000.0
    """

    voltage: Annotated[Ranged, RangedQuantity("V", "battery voltage", low=0.5, high=1000)] | None = None
    resistance: Annotated[Ranged, RangedQuantity("ohm", "inner resistance of the battery", above=0, high=100)] = usual(
        30e-3, 5e-3, 150e-3, "new and warm to old and cold, with its terminals"
    )
    inductance: Annotated[Ranged, RangedQuantity("H", "inductance of the battery", low=0, high=1e-4)] = usual(
        200e-9, 50e-9, 1e-6, "a box and its links"
    )
    capacity: Annotated[float, Quantity("C", above=0, high=1e9)] | None = None
    ripple_limit: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    usable: Annotated[Ranged, RangedQuantity("", "usable share of the battery's capacity", above=0, high=1)] = usual(
        0.6, 0.4, 0.9, "lead-acid about half, lithium four fifths; cold and age take more"
    )
    note: Note = ""

    def volts(self, converter: Converter) -> Ranged | None:
        """Its voltage [V], from the converter's input voltage where it states none; None where neither is known."""
        if self.voltage is not None or converter.input_voltage is None:
            return self.voltage
        nominal, why = converter.input_voltage, "lead-acid from empty to charging (common practice, no source)"
        return default(nominal, round(LOWEST * nominal, 9), round(HIGHEST * nominal, 9), why)


def _gauge(value: object) -> object:
    """24, "24 AWG", "AWG 24" and "2/0" as the number of the gauge, "2/0" being -1."""
    text = value.strip()[:20] if isinstance(value, str) else ""
    match = re.fullmatch(r"(?:AWG *)?(?:(\d{1,2})|([1-4])/0)(?: *AWG)?", text, re.IGNORECASE | re.ASCII)
    if match:
        value = int(match[1]) if match[1] else 1 - int(match[2])
    if isinstance(value, bool) or not isinstance(value, int) or not -3 <= value <= 40:
        why = 'no such gauge; a whole number from 0 to 40 is right, such as "14 AWG", or "1/0" to "4/0"'
        raise QuantityError(why, value=value)
    return value


def _loop_default(data: Validated) -> Ranged:
    length = data.get("length") or default(2.0, 0.5, 5.0, "")
    usual, tight, wide = PER_METRE
    why = "0.7 µH a metre of the pair, 0.4 µH twisted and 1.2 µH apart (two-wire formula)"
    return default(float(np.max(usual * length.value)), tight * length.low, wide * length.high, why)


class SupplyWire(Model):
    """The pair of copper wires from the battery to the converter, ``length`` [m] one way; ``awg`` or ``cross_section`` [m2].

    ``inductance`` [H] of the whole loop. ``place``: what is around it, for the current that it may carry; ``drop`` that is allowed, there and back, as
    a share of the battery's voltage.
    """

    length: Annotated[Ranged, RangedQuantity("m", "length of the supply wire", above=0, high=1e3)] = usual(
        2.0, 0.5, 5.0, "within one vehicle, boat or cabinet"
    )
    cross_section: Annotated[Ranged, RangedQuantity("m2", "cross-section of the supply wire", low=1e-8, high=1e-3)] = (
        usual(1.5e-6, 0.75e-6, 4e-6, "what such converters are wired with")
    )
    awg: Annotated[int, BeforeValidator(_gauge)] | None = None
    inductance: Annotated[Ranged, RangedQuantity("H", "loop inductance of the supply wire", low=0, high=1e-3)] = Field(
        default_factory=_loop_default
    )
    place: Literal["outside", "engine_space"] = "outside"
    drop: Annotated[float, Quantity("", above=0, high=0.5)] = 0.03
    note: Note = ""

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if fields.get("awg") is not None and fields.get("cross_section") is not None:
            yield Problem("", "awg", fields["awg"], "a wire has one size: leave out cross_section or awg")

    @model_validator(mode="after")
    def _size_of_the_gauge(self) -> SupplyWire:
        if self.awg is not None:
            area = float(np.pi / 4 * awg_diameter(self.awg) ** 2)
            self.__dict__["cross_section"] = Ranged(area, area, area)
        return self

    def resistance(self, temperature: Value = ROOM) -> Value:
        """There and back [ohm] at ``temperature`` [K].

        >>> round(float(SupplyWire(length="3 m", awg=14).resistance()), 4)    # by hand: 6 m of 8.285 milliohm
        0.0497
        """
        return 2 * self.length.value * resistance_per_metre(self.cross_section.value, temperature)


class Fuse(Model):
    """The fuse at the battery: ``rated_current`` [A], ``kind`` for its limits, nominal ``melting_i2t`` [A2 s], ``resistance`` [ohm].

    ``pulses``: how often it has to stand the plug, or the start of a burst.
    """

    rated_current: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    kind: Literal["blade", "ul_248_14", "time_lag"] = "blade"
    melting_i2t: Annotated[float, Quantity("A2 s", above=0, high=1e9)] | None = None
    resistance: Annotated[Ranged, RangedQuantity("ohm", "resistance of the fuse", low=0, high=100)] = usual(
        8e-3, 2e-3, 40e-3, "100 mV to 150 mV at its rated current, with its holder"
    )
    rated_voltage: Annotated[float, Quantity("V", above=0, high=1e4)] | None = None
    pulses: Annotated[int, Field(strict=True, ge=1, le=100_000)] = 1000
    note: Note = ""


class Switch(Model):
    """What closes the line: a ``kind`` "mechanical" contact or plug, or a "transistor" that turns on within ``ramp`` [s].

    ``resistance`` [ohm] when on; ``rated_current`` [A], ``peak_current`` [A], ``rated_voltage`` [V] and ``avalanche_energy`` [J], each where
    stated; ``count`` of transistors in parallel.
    """

    kind: Literal["mechanical", "transistor"] = "mechanical"
    resistance: Annotated[Ranged, RangedQuantity("ohm", "resistance of the switch", above=0, high=100)] = usual(
        10e-3, 2e-3, 50e-3, "a contact or plug, or a transistor for some amperes"
    )
    ramp: Annotated[float, Quantity("s", low=0, high=100)] = 0.0
    rated_current: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    peak_current: Annotated[float, Quantity("A", above=0, high=1e5)] | None = None
    rated_voltage: Annotated[float, Quantity("V", above=0, high=1e4)] | None = None
    avalanche_energy: Annotated[float, Quantity("J", above=0, high=1e3)] | None = None
    count: Count = 1
    note: Note = ""

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        for key in ("ramp", "avalanche_energy"):
            if fields.get("kind") != "transistor" and fields.get(key) not in (None, 0, 0.0):
                yield Problem("", key, fields[key], 'only a transistor has one: state kind = "transistor" too')


@dataclass(frozen=True)
class BatterySide:
    """All four, those that a file does not state with their defaults."""

    battery: Battery
    wire: SupplyWire
    fuse: Fuse
    switch: Switch

    @property
    def resistance(self) -> Value:
        """Of the whole loop [ohm]: battery, wire there and back, fuse and switch."""
        return self.battery.resistance.value + self.wire.resistance() + self.fuse.resistance.value + self.on_resistance

    @property
    def on_resistance(self) -> Value:
        """Of the switch [ohm]."""
        return self.switch.resistance.value / self.switch.count

    @property
    def inductance(self) -> Value:
        """Of the whole loop [H]: battery and wire."""
        return self.battery.inductance.value + self.wire.inductance.value

    def uncertain_parameters(self) -> Iterator[UncertainParameter]:
        """What is not known exactly of it; keys "battery.NAME", "supply_wire.NAME", "fuse.NAME", "switch.NAME"."""
        for key, model in self._sections():
            yield from ranges(key, model)

    def at(self, values: Mapping[str, Value]) -> BatterySide:
        """The same with other values under the keys of `uncertain_parameters`; other keys are passed over."""
        models: list[Any] = []
        for key, model in self._sections():
            mine = {
                name: getattr(model, name).at(values[f"{key}.{name}"])
                for name in type(model).model_fields
                if f"{key}.{name}" in values
            }
            models.append(model.model_copy(update=mine))
        return BatterySide(*models)

    def _sections(self) -> tuple[tuple[str, Model], ...]:
        return ("battery", self.battery), ("supply_wire", self.wire), ("fuse", self.fuse), ("switch", self.switch)
