"""The converter's input: what it draws from the line that feeds it, and what is between that and the line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Self

import numpy as np
from pydantic import model_validator

from filterlib.errors import FilterlibError, Problem, QuantityError
from filterlib.network.shapes import rectangle, triangle
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Quantity
from filterlib.parts.values import ROOM, Value
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import InputCapacitor
from filterlib.system.model import Given, Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, usual
from filterlib.system.ranges.uncertain_parameter import UncertainParameter, one_range, ranges

SOURCE = "input_current"


_LUMPED = ("capacitance", "esr", "esl")
_AT = 100e3  # [Hz] of the ESR of capacitors in parallel


def _parallel(capacitors: Sequence[InputCapacitor]) -> tuple[float, float, float]:
    """C [F], ESR [ohm] and ESL [H] of capacitors in parallel, at half of their rated voltage."""
    farads = sum(one.count * float(np.mean(one.part.capacitance_at(one.part.usable_voltage / 2))) for one in capacitors)
    siemens = sum(one.count / float(np.mean(one.part.esr_at(_AT))) for one in capacitors)
    reluctance = sum(one.count / float(np.mean(one.part.esl + one.mounting_loop.value)) for one in capacitors)
    return farads, 1 / siemens, 1 / reluctance


class InputSide(Model):
    """Input capacitor, lead and input current of a converter; what is not stated is a default with a range.

    ``ripple_current`` [A]: peak to peak of what the switches draw: of the triangle, or the height of the pulse; without
    it the current is estimated, see `input_current`. ``lead_inductance`` [H] of the whole loop, half of it in each line. ``capacitors``: the input capacitors as parts, in
    place of ``capacitance``, ``esr`` and ``esl``, which are then those of all in parallel at half of their rated voltage. ``highest_voltage`` [V] that the input bears, and
    ``lowest_voltage`` [V], below which the converter switches off.
    """

    ripple_current: Annotated[Ranged, RangedQuantity("A", "ripple of the input current", above=0, high=1000)] | None = (
        None
    )
    ripple_ratio: Annotated[
        Ranged, RangedQuantity("", "ripple of the input choke's current over its mean", above=0, high=2)
    ] = usual(0.3, 0.2, 0.5, "chokes are chosen for that")
    capacitance: Annotated[Ranged, RangedQuantity("F", "input capacitor", low=1e-9, high=0.1)] = usual(
        10e-6, 2.2e-6, 100e-6, "a few ceramics, or one electrolytic"
    )
    esr: Annotated[Ranged, RangedQuantity("ohm", "ESR of the input capacitor", low=0, high=10)] = usual(
        10e-3, 3e-3, 100e-3, "ceramics a few milliohm with their tracks, electrolytics tens"
    )
    esl: Annotated[Ranged, RangedQuantity("H", "ESL of the input capacitor", low=0, high=1e-6)] = usual(
        5e-9, 1e-9, 15e-9, "the capacitor with its loop on the board"
    )
    capacitors: tuple[InputCapacitor, ...] = ()
    highest_voltage: Annotated[float, Quantity("V", above=0, high=2000)] | None = None
    lowest_voltage: Annotated[float, Quantity("V", above=0, high=2000)] | None = None
    lead_inductance: Annotated[Ranged, RangedQuantity("H", "loop of the lead to the networks", low=0, high=1e-4)] = (
        usual(0.6e-6, 0.1e-6, 1.5e-6, "a pair of wires, a microhenry a metre")
    )

    @model_validator(mode="before")
    @classmethod
    def _one_efficiency(cls, fields: object) -> object:
        if isinstance(fields, Mapping) and "efficiency" in fields:
            why = "the converter has one efficiency: state it as efficiency under [converter]"
            raise QuantityError(why, name="efficiency", value=fields["efficiency"])
        return fields

    @model_validator(mode="after")
    def _of_its_parts(self) -> Self:
        if self.capacitors:
            for name, value in zip(_LUMPED, _parallel(self.capacitors), strict=True):
                self.__dict__[name] = Ranged(value, value, value)
        return self

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        for key in _LUMPED if fields.get("capacitors") else ():
            if fields.get(key) is not None:
                yield Problem(
                    "", key, fields[key], "the capacitors are stated as parts: state the parts or this key, not both"
                )

    def add(
        self,
        circuit: Wiring,
        lines: tuple[str, str],
        inner_return: str,
        *,
        voltage: float = 0.0,
        temperature: Value = ROOM,
    ) -> None:
        """Add lead, capacitors and the source `SOURCE` [A] between the two ``lines`` and the converter's own return.

        ``voltage`` [V] and ``temperature`` [K] are those of capacitors that are stated as parts.
        """
        circuit.inductor("input.lead_plus", lines[0], "input:bus", self.lead_inductance.value / 2)
        circuit.inductor("input.lead_return", lines[1], inner_return, self.lead_inductance.value / 2)
        for number, one in enumerate(self.capacitors, 1):
            one.part.add(
                circuit, f"input.capacitor{number}", "input:bus", inner_return, bias=voltage, temperature=temperature,
                mounting_loop=one.mounting_loop.value, count=one.count,
            )  # fmt: skip
        if self.capacitors:
            circuit.current_source(SOURCE, inner_return, "input:bus")
            return
        circuit.capacitor("input.capacitance", "input:bus", "input:c", self.capacitance.value)
        circuit.resistor("input.esr", "input:c", "input:r", self.esr.value)
        circuit.inductor("input.esl", "input:r", inner_return, self.esl.value)
        circuit.current_source(SOURCE, inner_return, "input:bus")

    def uncertain_parameters(self, converter: Converter) -> Iterator[UncertainParameter]:
        """What is not known exactly and matters for this converter; keys "input_side.NAME", "converter.efficiency"."""
        unused = {"ripple_ratio"} if self.ripple_current or not steps_up(converter) else set()
        unused |= set(_LUMPED) if self.capacitors else set()
        if not self.ripple_current:
            yield from one_range("converter", converter, "efficiency")
        yield from (one for one in ranges("input_side", self) if one.key.partition(".")[2] not in unused)

    def at(self, values: Mapping[str, Value]) -> InputSide:
        """The same with other values under the keys of `uncertain_parameters`; other keys are passed over."""
        mine = {
            key.removeprefix("input_side."): value for key, value in values.items() if key.startswith("input_side.")
        }
        return self.model_copy(update={name: getattr(self, name).at(value) for name, value in mine.items()})


def steps_up(converter: Converter) -> bool:
    """True for a step-up stage, whose choke is in its input: it draws a triangle, and every other stage a pulse."""
    supply = converter.input_voltage
    return (
        not converter.isolated
        and converter.shape != "triangle"
        and supply is not None
        and converter.output_voltage > supply
    )


def input_current(
    converter: Converter,
    side: InputSide,
    harmonics: np.ndarray,
    *,
    power: Value,
    full_power: float,
    voltage: float | None,
) -> np.ndarray:
    """Coefficients c_k [A] of the current that the switches draw from the input capacitor.

    Parameters
    ----------
    converter, side : Converter, InputSide
        Their values may be arrays (designs, 1).
    harmonics : array (h,)
        Orders k, from 1 on.
    power, full_power : float
        Delivered at this operating point, and at full load [W].
    voltage : float or None
        At the input [V].

    Returns
    -------
    complex array (h,) or (designs, h)

    Raises
    ------
    FilterlibError
        Where the input voltage is needed and not known.

    Notes
    -----
    A step-up stage draws its choke's triangle, ``ripple_ratio`` of the mean current at full load, which does not fall with
    the load. Every other stage draws a pulse while its switch is closed: as high as the output current in a step-down
    stage, else as the mean input current over the duty cycle; its top is taken as flat. Corners are rounded over the
    edge time; what rings at the edges is not in it. Source: R. W. Erickson and D. Maksimović, "Fundamentals of Power
    Electronics", 3rd ed. (2020), chapters 2 and 6 (from memory).

    Examples
    --------
    10 W out at 90 % and 20 V: 0.556 A in the mean, a pulse of 1.11 A at half the period, 0.354 A of it at the fundamental:

    >>> one = Converter(name="Tarn", isolated=True, input_voltage=20, output_voltage=10, switching_frequency=1e5, duty=0.5,
    ...                 edge_time=1e-9, shape="pulse", ripple={"peak_to_peak": 0.1})
    >>> c = input_current(one, InputSide(), np.array([1]), power=10.0, full_power=10.0, voltage=20.0)
    >>> float(abs(c[0]).round(3))
    0.354
    """
    duty, triangular = converter.duty.value, steps_up(converter)
    wave = triangle(harmonics, duty) if triangular else rectangle(harmonics, duty)
    wave = wave * np.sinc(harmonics * converter.edge_time.value * converter.switching_frequency)
    if side.ripple_current is not None:
        return side.ripple_current.value * wave
    if not triangular and not converter.isolated and converter.shape != "pulse":
        return power / (converter.efficiency.value * converter.output_voltage) * wave
    if triangular:
        return side.ripple_ratio.value * mean_input_current(converter, full_power, voltage) * wave
    return mean_input_current(converter, power, voltage) / duty * wave


def mean_input_current(converter: Converter, power: Value, voltage: float | None) -> Value:
    """Drawn at the input at a ``power`` [W] delivered. Raises FilterlibError where the input ``voltage`` [V] is not known."""
    if voltage is None:
        raise FilterlibError(
            "converter.input_voltage: missing: the input current is estimated from it; state it, or the input's ripple_current"
        )
    return power / (converter.efficiency.value * voltage)
