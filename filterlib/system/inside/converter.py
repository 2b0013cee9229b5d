"""The converter: a source with an inside. What was measured at its terminals, and what is behind them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field, StrictBool, ValidationInfo, field_validator

from filterlib.errors import QuantityError
from filterlib.network.extremes import Harmonics
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Curve, Quantity, on_curve
from filterlib.parts.values import Points, Value
from filterlib.system.inside import usual_inside
from filterlib.system.inside.arrangement import Arrangement, Bandwidth, FixtureCapacitor, Ripple, Spike, WithCapacitor
from filterlib.system.inside.burst import Burst, LoadThreshold, LoadThresholdField
from filterlib.system.inside.chassis import CommonMode
from filterlib.system.inside.control import Control
from filterlib.system.inside.output_limit import OutputLimit
from filterlib.system.inside.rating import ConverterRating
from filterlib.system.inside.unequal import Unequal, by_part, unequal
from filterlib.system.inside.ways import CHASSIS, INPUT, Bond, Supply
from filterlib.system.keys import elsewhere
from filterlib.system.line.load import Load
from filterlib.system.model import Model, Note, Title, Validated
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, usual
from filterlib.units import format_quantity

LOOP_ZERO = 0.25  # the integral part of the loop acts below this share of its bandwidth: common practice, no source
LOOP_DELAY = 5.0  # the loop lets go above this multiple of its bandwidth: common practice, no source
IDLE = 0.1  # [Hz] bandwidth of a loop at rest: nothing flows through it at any harmonic
USUAL_SHAPE = 0.95  # of step-up or step-down stages without isolation: common practice, no source
LEAST_LOAD = 1e-3  # share of the measured load below which a pulse output's ripple is taken as falling no further
PLUS, RETURN = "converter_plus", "converter_return"
CAPACITORS = ("output_capacitance", "output_esr", "output_esl", "bulk_esr_ratio")
INSIDE = (*CAPACITORS, "lead_inductance", "output_resistance", "loop_bandwidth")


def _no_room(rise: Value, fall: Value, data: Validated) -> str:
    """Why two edges leave the switching node no time to get up or down, or ""; half of each is in either part."""
    duty, frequency = data.get("duty"), data.get("switching_frequency")
    if duty is None or frequency is None or np.ndim(duty.value) or np.ndim(rise) or np.ndim(fall):
        return ""
    shorter = min(duty.value, 1 - duty.value) / frequency
    if (rise + fall) / 2 <= shorter:
        return ""
    both = format_quantity(float(rise + fall), "s", 3)
    return (
        f"rise and fall take {both} together, and at a duty cycle of {100 * duty.value:g} % there is room for "
        f"{format_quantity(2 * shorter, 's', 3)}: the node would not get up, or not down, between them"
    )


class Converter(Model):
    """A switch-mode converter as seen from its output.

    Fields in SI; what the file leaves open is a default with a range. ``shape``: "triangle", the current of an output
    inductor (step-down), or "pulse", the diode current of a boost or flyback output; None: either. ``burst_below``: the load
    below which it switches in groups of pulses, ``burst``, see `filterlib.system.inside.light_load`. ``synchronous``: its rectifier lets
    an output inductor's current reverse. ``tied_to_load``: False
    where its current does not follow from the load's, see `filterlib.system.sources.likelihood`. ``measured_with``: the loads that were on the line while its figures were measured, which matter where they reach the chassis: those of the design
    where something drives it and the file says nothing; a resistor on usual leads where there are none.
    """

    ELSEWHERE: ClassVar[Mapping[str, str]] = elsewhere.CONVERTER

    kept: Title | None = None
    name: Title
    output_voltage: Annotated[float, Quantity("V", low=0.5, high=1000)]
    switching_frequency: Annotated[float, Quantity("Hz", low=5e3, high=2e7)]
    input_voltage: Annotated[float, Quantity("V", low=0.5, high=1000)] | None = None
    isolated: StrictBool = False
    shape: Literal["triangle", "pulse"] | None = None
    duty: Annotated[Ranged, RangedQuantity("", "duty cycle", low=0.01, high=0.99)] = Field(
        default_factory=usual_inside.duty
    )
    edge_time: Annotated[Ranged, RangedQuantity("s", "edge time", low=1e-10, high=1e-5)] = Field(
        default_factory=usual_inside.edge
    )
    pulse_fall: Annotated[Ranged, RangedQuantity("", "share by which a pulse's current falls", low=0, high=1)] = Field(
        default_factory=usual_inside.fall
    )
    output_capacitance: Annotated[
        Ranged, RangedQuantity("F", "capacitance inside the converter", low=1e-8, high=0.1)
    ] = usual(22e-6, 0.4e-6, 470e-6, "from one small ceramic under its bias to several electrolytics")
    output_esr: Annotated[Ranged, RangedQuantity("ohm", "ESR inside the converter", low=0, high=10)] = usual(
        12e-3, 3e-3, 200e-3, "ceramics a few milliohm, electrolytics tens and hundreds"
    )
    output_esl: Annotated[Ranged, RangedQuantity("H", "ESL inside the converter", low=0, high=1e-6)] = usual(
        4e-9, 1e-9, 15e-9, "the output capacitor with its loop on the board"
    )
    bulk_esr_ratio: Annotated[
        Ranged,
        RangedQuantity(
            "", "ESR of the largest capacitor inside, over that of all", low=usual_inside.OF_ONE_KIND, high=1000
        ),
    ] = Field(default_factory=usual_inside.bulk)
    lead_inductance: Annotated[Ranged, RangedQuantity("H", "lead inside the converter", low=0, high=1e-5)] = usual(
        15e-9, 3e-9, 70e-9, "track and pins from the output capacitor to the terminals"
    )
    output_resistance: Annotated[Ranged, RangedQuantity("ohm", "output resistance", low=0, high=100)] = usual(
        20e-3, 4e-3, 100e-3, "load regulation of a fraction of a percent"
    )
    efficiency: Annotated[Ranged, RangedQuantity("", "efficiency", low=0.1, high=1)] = usual(
        0.9, 0.8, 0.95, "small converters lose a tenth"
    )
    efficiency_over_load: Annotated[Points, Curve("", low=0, high=2)] | None = None
    efficiency_over_input: Annotated[Points, Curve("V", low=1, high=1000)] | None = None
    loop_bandwidth: Annotated[Ranged, RangedQuantity("Hz", "loop bandwidth", low=10, high=5e6)] = Field(
        default_factory=usual_inside.loop
    )
    ripple: Ripple
    spike: Spike | None = None
    spike_share: Annotated[Ranged, RangedQuantity("", "spikes in the ripple's reading", low=0, high=0.95)] = Field(
        default_factory=usual_inside.spikes
    )
    tied_to_load: StrictBool = True
    rating: ConverterRating | None = None
    limit: OutputLimit | None = None
    control: Control = Control()
    synchronous: StrictBool = False
    burst_below: Annotated[LoadThreshold, LoadThresholdField()] | None = None
    burst: Burst | None = None
    common_mode: CommonMode | None = None
    bond: Bond | None = None
    bridge: Bond | None = None
    supply: Supply | None = Field(default_factory=usual_inside.supply)
    measured_with: tuple[Load, ...] = ()
    note: Note = ""

    @field_validator("ripple")
    @classmethod
    def _ripple_can_be(cls, ripple: Ripple, others: ValidationInfo) -> Ripple:
        """A reading through a bandwidth below the switching frequency holds no ripple; no output swings by more than itself."""
        switching, volts = others.data.get("switching_frequency", 0.0), others.data.get("output_voltage", np.inf)
        if ripple.bandwidth is not None and ripple.bandwidth < switching:
            why = f"below the switching frequency, {format_quantity(switching, 'Hz')}: such a reading holds no ripple"
            raise QuantityError(why, name="bandwidth", value=ripple.bandwidth)
        if float(np.max(ripple.peak_to_peak)) > volts:
            why = f"more than the output voltage, {format_quantity(volts, 'V')}; was a prefix forgotten?"
            raise QuantityError(why, name="peak_to_peak", value=ripple.peak_to_peak)
        return ripple

    @field_validator("efficiency_over_load", "efficiency_over_input")
    @classmethod
    def _gives_no_more_than_it_takes(cls, points: Points | None) -> Points | None:
        if points is not None and max(ratio for _, ratio in points) > 1:
            raise QuantityError("no efficiency is above 100 %", value=max(ratio for _, ratio in points))
        return points

    @field_validator("edge_time")
    @classmethod
    def _edges_fit_the_period(cls, edge_time: Ranged, others: ValidationInfo) -> Ranged:
        longest = usual_inside.LONGEST_EDGE / others.data.get("switching_frequency", 1e-9)
        if edge_time.high > longest:
            raise QuantityError(f"must stay below a fifth of the switching period, {format_quantity(longest, 's')}")
        if edge_time.stated and (why := _no_room(edge_time.value, edge_time.value, others.data)):
            raise QuantityError(why)
        return edge_time

    @field_validator("common_mode")
    @classmethod
    def _node_edges_fit_the_period(cls, drive: CommonMode | None, others: ValidationInfo) -> CommonMode | None:
        longest = usual_inside.LONGEST_EDGE / others.data.get("switching_frequency", 1e-9)
        for name in ("rise_time", "fall_time"):
            edge = getattr(drive, name, None)
            if edge is not None and edge.high > longest:
                why = f"must stay below a fifth of the switching period, {format_quantity(longest, 's')}"
                raise QuantityError(why, name=name, value=edge.high)
        if drive is not None and (drive.rise_time is not None or drive.fall_time is not None):
            shared = others.data.get("edge_time")
            rise, fall = drive.rise_time or shared, drive.fall_time or shared
            if rise and fall and (why := _no_room(rise.value, fall.value, others.data)):
                raise QuantityError(why, name="rise_time" if drive.rise_time else "fall_time")
        return drive

    @field_validator("common_mode")
    @classmethod
    def _stated_edges_are_alike(cls, drive: CommonMode | None, others: ValidationInfo) -> CommonMode | None:
        edge = others.data.get("edge_time")
        return drive.alike() if drive is not None and edge is not None and edge.stated else drive

    @field_validator("burst")
    @classmethod
    def _pulses_fit_the_burst(cls, burst: Burst | None, others: ValidationInfo) -> Burst | None:
        shortest = 0.0 if burst is None else (burst.pulses or 0) / others.data.get("switching_frequency", np.inf)
        if burst is not None and burst.period is not None and burst.period < shortest * (1 - 1e-9):
            raise QuantityError(
                f"{burst.pulses} pulses take {format_quantity(shortest, 's', 3)}: the burst's period is from its first pulse to "
                "the first pulse of the next burst",
                name="period",
                value=burst.period,
            )
        return burst

    @field_validator("bridge")
    @classmethod
    def _bridges_an_isolation(cls, bridge: Bond | None, others: ValidationInfo) -> Bond | None:
        if bridge is not None and bridge.capacitance is None:
            raise QuantityError("missing: what bridges the isolation is a capacitor", name="capacitance")
        if bridge is not None and others.data.get("isolated") is False:
            raise QuantityError("this converter is not isolated (isolated = true): there is nothing to bridge")
        return bridge

    @field_validator("loop_bandwidth")
    @classmethod
    def _loop_is_slower_than_the_switch(cls, loop_bandwidth: Ranged, others: ValidationInfo) -> Ranged:
        highest = others.data.get("switching_frequency", np.inf) / 2
        if loop_bandwidth.high > highest:
            raise QuantityError(f"must stay below half the switching frequency, {format_quantity(highest, 'Hz')}")
        return loop_bandwidth

    @field_validator("spike_share")
    @classmethod
    def _spikes_are_said_once(cls, share: Ranged, others: ValidationInfo) -> Ranged:
        ripple = others.data.get("ripple")
        if share.stated and share.high > 0 and (others.data.get("spike") or (ripple and ripple.recording)):
            raise QuantityError("a stated spike or recording tells what is in the ripple's reading; leave this out")
        return share

    @property
    def period(self) -> float:
        """Switching period [s]."""
        return 1 / self.switching_frequency

    @property
    def shape_share(self) -> float:
        """Share of all converters of these voltages that have this shape: without isolation one steps up by a diode's current, down by an inductor's."""
        if self.isolated or self.input_voltage is None or self.shape is None:
            return 0.5
        usual = "pulse" if self.output_voltage > self.input_voltage else "triangle"
        return USUAL_SHAPE if self.shape == usual else 1 - USUAL_SHAPE

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """What a recording of the ripple leaves without effect, where no other source needs it; no ripple sees efficiency."""
        others = self.spike is not None or self.common_mode is not None
        shape = () if self.ripple.recording is None or others else ("duty", "edge_time")
        fall = () if self.ripple.recording is None else ("pulse_fall",)
        return ("efficiency", *shape, *fall)

    @property
    def bank_measured_with(self) -> WithCapacitor | None:
        """What was across the terminals while its bank was measured; None where it has none."""
        return None

    @property
    def bank_factors(self) -> dict[str, Value]:
        """Of each value of it, over what is stated: none without a bank."""
        return {}

    @property
    def reaches_chassis(self) -> bool:
        """True where something inside or at the terminals reaches the chassis."""
        return any(one is not None for one in (self.common_mode, self.bond, self.supply))

    @property
    def within(self) -> Converter:
        """The converter without all that reaches the chassis."""
        return self.model_copy(
            update={**dict.fromkeys(("common_mode", "bond", "bridge", "supply")), "measured_with": ()}
        )

    @property
    def idle(self) -> Converter:
        """The converter between bursts: its regulation is at rest, so that the output capacitor alone holds the voltage."""
        return self.model_copy(update={"loop_bandwidth": self.loop_bandwidth.at(IDLE)})

    def capacitor_impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """Output capacitor with ESR and ESL [ohm]; (f,) or (designs, f); infinite at f = 0."""
        w = 2j * np.pi * np.asarray(frequencies, float)
        if (both := self.unequal) is not None:
            return np.where(w == 0, np.inf, both.impedance(np.where(w == 0, 1j, w)))
        with np.errstate(divide="ignore", invalid="ignore"):
            reactance = np.where(w == 0, np.inf, 1 / (w * self.output_capacitance.value))
        return self.output_esr.value + w * self.output_esl.value + reactance

    def capacitor_voltages(self, frequencies: np.ndarray) -> dict[str, np.ndarray]:
        """Its three voltages in series at 1 A: of the capacitance, the ESR and the ESL [ohm]; (f,) or (designs, f), f > 0."""
        if self.unequal is not None:
            return by_part(self.capacitor_impedance(frequencies))
        w = 2j * np.pi * np.asarray(frequencies, float)
        return {
            "ripple_c": 1 / (w * self.output_capacitance.value),
            "ripple_esr": self.output_esr.value + 0 * w,
            "ripple_esl": w * self.output_esl.value,
        }

    @property
    def unequal(self) -> Unequal | None:
        """The capacitors inside where they are of more than one kind."""
        if np.all(self.bulk_esr_ratio.value <= 1):
            return None
        capacitance, esr, esl, ratio = (getattr(self, name).value for name in CAPACITORS)
        return unequal(capacitance, esr, esl, ratio, self.switching_frequency)

    def transfer_impedance(self, frequencies: np.ndarray, inner: np.ndarray | None = None) -> Harmonics:
        """Voltage at the open terminals per ampere of the switches' current [ohm]; ``inner`` where it is known already."""
        inner = self.inner_impedance(frequencies) if inner is None else inner
        both = self.unequal
        return inner if both is None else inner * both.passed(2j * np.pi * np.asarray(frequencies))

    def ripple_scale(self, drawn: Value, full: float) -> Value:
        """Ripple at a current ``drawn`` [A] over the stated: a pulse output's grows with it, a triangle's does not.

        ``full`` [A]: what was drawn while measuring, where the file does not say.
        """
        measured = full if self.ripple.load_current is None else self.ripple.load_current
        return np.maximum(drawn / measured, LEAST_LOAD) if self.shape == "pulse" and measured > 0 else 1.0

    def efficiency_ratio(self, share: float, volts: float) -> float:
        """Efficiency at a ``share`` of full load and ``volts`` [V] at the input, over that at full load and the nominal input.

        It follows the curves that are stated, each relative to its own value there, and is 1 without.
        """
        ratio, nominal = 1.0, self.input_voltage
        if self.efficiency_over_load is not None:
            ratio *= float(on_curve(self.efficiency_over_load, share) / on_curve(self.efficiency_over_load, 1.0))
        if self.efficiency_over_input is not None and nominal is not None:
            ratio *= float(on_curve(self.efficiency_over_input, volts) / on_curve(self.efficiency_over_input, nominal))
        return ratio

    @property
    def loop_elements(self) -> tuple[Value, Value, Value]:
        """Resistance [ohm], inductance [H] and delay inductance [H] of the regulating loop, seen from the output.

        With a loop gain of wc/s the output capacitor C is damped by R = 1/(wc C); below LOOP_ZERO wc the integral part
        takes over (inductance R/(LOOP_ZERO wc) in parallel with R, so C rings with Q = 1/2 when LOOP_ZERO is 1/4), and above
        LOOP_DELAY wc the loop lets go (inductance R/(LOOP_DELAY wc) in series).
        """
        crossover = 2 * np.pi * self.loop_bandwidth.value
        damping = 1 / (crossover * self.output_capacitance.value)
        return damping, damping / (LOOP_ZERO * crossover), damping / (LOOP_DELAY * crossover)

    def loop_impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """The branch that holds the regulated voltage: output resistance and loop [ohm]; (f,) or (designs, f)."""
        w = 2j * np.pi * np.asarray(frequencies, float)
        resistance, inductance, delay = self.loop_elements
        return self.output_resistance.value + w * inductance * resistance / (w * inductance + resistance) + w * delay

    def inner_impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """What the switching current sees: capacitor in parallel with the regulating branch, without the lead [ohm]."""
        return 1 / (1 / self.capacitor_impedance(frequencies) + 1 / self.loop_impedance(frequencies))

    def terminal_impedance(self, frequencies: np.ndarray, inner: np.ndarray | None = None) -> np.ndarray:
        """The same with the lead: what is seen into the terminals [ohm]; ``inner`` where it is known already."""
        inner = self.inner_impedance(frequencies) if inner is None else inner
        return inner + 2j * np.pi * np.asarray(frequencies, float) * self.lead_inductance.value

    def add(self, circuit: Wiring) -> None:
        """Add the converter between `PLUS` and `RETURN`; sources "regulated", "ripple" and, if any, "common_mode"."""
        circuit.voltage_source("regulated", "converter:set", RETURN)
        circuit.immittance(
            "converter.loop", "converter:set", "converter:inner", self.loop_impedance, ladder=self._loop_ladder
        )
        circuit.immittance(
            "converter.capacitor", "converter:inner", RETURN, self.capacitor_impedance, ladder=self._capacitor_ladder
        )
        circuit.voltage_source("ripple", "converter:emf", "converter:inner")
        circuit.inductor("converter.lead", "converter:emf", PLUS, self.lead_inductance.value)
        self.add_ways_to_the_chassis(circuit)

    def add_ways_to_the_chassis(self, circuit: Wiring) -> None:
        """The bond; the drive and its way back through the input cable: isolated, its input's return swings against the output's."""
        if self.bond is not None:
            self.bond.add(circuit, "converter.bond", RETURN)
        if self.supply is not None and (not self.isolated or self.common_mode is not None or self.bridge is not None):
            self.supply.add(circuit, INPUT if self.isolated else RETURN, shared=not self.isolated)
        if self.bridge is not None:
            self.bridge.add(circuit, "converter.bridge", RETURN, INPUT)
        if self.common_mode is not None:
            self.common_mode.add(circuit, *((INPUT, RETURN) if self.isolated else (RETURN, CHASSIS)))

    def _loop_ladder(self) -> Wiring:
        damping, inductance, delay = self.loop_elements
        ladder = Wiring().resistor("resistance", "a", "x", self.output_resistance.value)
        return (
            ladder.resistor("damping", "x", "y", damping)
            .inductor("integral", "x", "y", inductance)
            .inductor("delay", "y", "b", delay)
        )

    def _capacitor_ladder(self) -> Wiring:
        if (both := self.unequal) is not None:
            return both.ladder()
        ladder = Wiring().capacitor("c", "a", "x", self.output_capacitance.value)
        return ladder.resistor("esr", "x", "y", self.output_esr.value).inductor("esl", "y", "b", self.output_esl.value)


__all__ = ["Arrangement", "Bandwidth", "Converter", "FixtureCapacitor", "Ripple", "Spike", "WithCapacitor"]
