"""Capacitors: film, ceramic, aluminium electrolytic and polymer, with loss, inductance, bias and temperature."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import model_validator

from filterlib.errors import QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.ageing import THOUSAND_HOURS, aged_capacitance, electrolytic_life, esr_growth
from filterlib.parts.base import Assumed, Curve, Part, Quantity, Toleranced, beyond, nominal, on_curve, shown
from filterlib.parts.constant_phase import branches, power_law
from filterlib.parts.leakage import electrolytic_leakage, insulation_leakage
from filterlib.parts.usual import usual_capacitors as usual
from filterlib.parts.values import ROOM, Points, Value, angular  # fmt: skip
from filterlib.units import format_hours, format_temperature

CapacitorKind = Literal["film", "ceramic_class_1", "ceramic_class_2", "aluminium", "polymer"]
LossAngle = Annotated[
    Value, Quantity("", low=0, plausible=(1e-6, 1.0)), Assumed(usual.loss_angle, "loss angle of {owner}")
]
Inductance = Annotated[Value, Quantity("H", low=0, plausible=(1e-12, 1e-6)), Assumed(usual.esl, "ESL of {owner}")]
Resistance = Annotated[Value, Quantity("ohm", low=0, plausible=(1e-6, 1e3))]
TemperatureCurve = Annotated[Points, Curve("K", reference=298.15, low=200, high=500)]
Time = Annotated[Value, Quantity("s", above=0, plausible=(1.0, 1e10))]
AtTheEnd = Annotated[Value, Quantity("", above=0, high=10)]

DRY: tuple[CapacitorKind, ...] = ("film", "ceramic_class_1", "ceramic_class_2")
WET: tuple[CapacitorKind, ...] = ("aluminium", "polymer")
ONLY: dict[str, tuple[CapacitorKind, ...]] = {  # fields that mean something in some kinds alone
    "ageing_rate": ("ceramic_class_2",), "insulation_time": DRY, "insulation_resistance": DRY,
    "rated_life": WET, "life_end_esr": WET, "life_end_capacitance": WET, "leakage_factor": WET, "leakage_least": WET,
}  # fmt: skip
_TYPICAL = "a table's values are typical ones: 30 % either way (common practice, no source)"
COLD = 25.0  # [K] in which an aluminium electrolytic's ESR may grow e times in the cold: common practice, no source
RIPPLE_FREQUENCY = 1e5  # Hz, at which a rated ripple current holds where a curve against frequency is stated


def esr_from_loss_angle(frequency: Value, capacitance: Value, loss_angle: Value) -> Value:
    """Equivalent series resistance [ohm] at ``frequency`` [Hz] of ``capacitance`` [F], ``loss_angle`` being tan(delta).

    Source: tan(delta) = omega R C of a series pair; R. K. Rajput, Electronic Measurements and Instrumentation.

    >>> round(esr_from_loss_angle(120, 1000e-6, 0.12) * 1e3, 2)
    159.15
    """
    return loss_angle / (2 * np.pi * frequency * capacitance)


def dissipation_factor(frequency: Value, capacitance: Value, resistance: Value) -> Value:
    """Dissipation factor tan(delta) at ``frequency`` [Hz] of ``capacitance`` [F] in series with ``resistance`` [ohm].

    2 pi f C R: the reverse of `esr_from_loss_angle`. Valid far below self-resonance.
    Source: R. K. Rajput, Electronic Measurements and Instrumentation.

    >>> round(dissipation_factor(1e3, 0.2e-6, 3000), 2)
    3.77
    """
    return 2 * np.pi * frequency * capacitance * resistance


def usable_voltage(kind: CapacitorKind, rated_voltage: Value) -> Value:
    """DC voltage with ripple [V] up to which a capacitor of ``rated_voltage`` [V] is used, where it states no derating.

    Polymer: 90 % of a rating up to 10 V, 80 % above: KEMET, "How much do I need to derate polymer capacitors?"
    (ec.kemet.com), for tantalum; taken for all polymers here. All others 80 %: common practice, no source. The loss of
    capacitance under bias is another matter, which the bias curve holds.

    >>> usable_voltage("polymer", 10.0), usable_voltage("polymer", 16.0), usable_voltage("film", 100.0)
    (9.0, 12.8, 80.0)
    """
    share = np.where(np.asarray(rated_voltage) <= 10, 0.9, 0.8) if kind == "polymer" else 0.8
    return float(share * rated_voltage) if np.ndim(rated_voltage) == 0 else share * rated_voltage


def self_resonance(capacitance: Value, inductance: Value) -> Value:
    """Frequency [Hz] at which ``capacitance`` [F] and ``inductance`` [H] resonate.

    >>> float(round(self_resonance(1e-6, 1e-9) / 1e6, 3))
    5.033
    """
    return 1 / (2 * np.pi * np.sqrt(capacitance * inductance))


class Capacitor(Part):
    """A capacitor: a dielectric of constant loss angle, a constant resistance and an inductance in series.

    What is not stated of the three is what its kind usually has, with a range (`filterlib.parts.usual`).
    The dielectric is Z = (j w/w0)**(2 delta/pi) / (j w C cos(delta)): its loss angle is delta at every frequency, its
    series capacitance is C at w0 and falls by 2 delta/pi decades a decade, as causality asks of a constant loss angle.

    Attributes
    ----------
    capacitance : at no bias, room temperature and ``reference_frequency`` (1 kHz unless stated) [F]
    rated_voltage : DC [V]
    loss_angle : tan(delta) of the dielectric, without ``esr``
    esr : the part of the series resistance that does not change with frequency: leads, electrodes, electrolyte [ohm]
    esl : inductance of the part alone, without the loop that it is mounted in [H]
    tolerance : of the capacitance, either way (20 % unless stated)
    esr_tolerance, esl_tolerance : of those, which tables state as typical, either way (30 % unless stated)
    bias_curve : [[V, ratio], ...] of the capacitance, for class 2 ceramics
    temperature_curve, esr_temperature_curve : [[temperature, ratio], ...] of ``capacitance`` and of ``esr``
    ripple_current : rated, rms [A]; at 100 kHz where ``ripple_frequency_curve`` is stated
    ripple_frequency_curve, ripple_temperature_curve : [[x, ratio], ...] of the rated ripple current
    maximum_temperature : of the body, heat of its own included [K]
    thermal_resistance : from the body to the surroundings [K/W]
    voltage_derating : share of the rated voltage that may be used; a rule of the trade where none is stated
    ageing_rate, ageing_reference : of class 2, ratio lost each decade, ``capacitance`` being that at this age [s]
    rated_life : of an electrolytic, at ``maximum_temperature`` [s]; "5000 h"
    life_end_esr, life_end_capacitance : ratios to the new part's at the end of that life
    leakage_factor, leakage_least : of an electrolytic, see `filterlib.parts.leakage` [1/s], [A]
    insulation_time, insulation_resistance : of the others, see there [s], [ohm]
    safety_class : "X1", "X2", "Y1" or "Y2"
    package : size, such as "0805"

    Notes
    -----
    Valid from 1 kHz to some 100 MHz, while the part is short against a wavelength; below 1 kHz it is extrapolated.
    Source: A. K. Jonscher, "The 'universal' dielectric response", Nature 267 (1977) 673; S. Westerlund and L. Ekstam,
    "Capacitor theory", IEEE Transactions on Dielectrics and Electrical Insulation 1 (1994) 826 (both from memory).

    Examples
    --------
    At the reference frequency the loss angle gives 1.592 ohm, to which the constant part is added:

    >>> part = Capacitor(kind="film", capacitance="1 µF", rated_voltage="63 V", loss_angle=0.01, esr="5 mΩ", esl="5 nH")
    >>> round(part.esr_at(1e3), 3)
    1.597
    """

    kind: CapacitorKind
    capacitance: Annotated[
        Value, Quantity("F", above=0, plausible=(1e-13, 0.1)), Toleranced("tolerance", "capacitance of {owner}")
    ]
    rated_voltage: Annotated[Value, Quantity("V", above=0, plausible=(1, 1e4))]
    loss_angle: LossAngle = nominal(usual.loss_angle)
    esl: Annotated[Inductance, Toleranced("esl_tolerance", "ESL of {owner}", _TYPICAL)] = nominal(usual.esl)
    esr: Annotated[
        Resistance,
        Assumed(usual.esr, "ESR of {owner}", ("loss_angle",), 0.0),
        Toleranced("esr_tolerance", "ESR of {owner}", _TYPICAL),
    ] = nominal(usual.esr)
    reference_frequency: Annotated[Value, Quantity("Hz", above=0, plausible=(10, 1e7))] = 1e3
    tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.2
    esr_tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.3
    esl_tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.3
    bias_curve: Annotated[Points, Curve("V", reference=0.0, low=0, high=1e4)] | None = None
    temperature_curve: TemperatureCurve | None = None
    esr_temperature_curve: TemperatureCurve | None = None
    ripple_current: Annotated[Value, Quantity("A", above=0, plausible=(1e-3, 1e3))] | None = None
    ripple_frequency_curve: Annotated[Points, Curve("Hz", reference=RIPPLE_FREQUENCY, low=1, high=1e9)] | None = None
    ripple_temperature_curve: Annotated[Points, Curve("K", low=200, high=500)] | None = None
    maximum_temperature: Annotated[Value, Quantity("K", low=300, high=500)] | None = None
    thermal_resistance: Annotated[Value, Quantity("K/W", above=0, plausible=(0.1, 1e4))] | None = None
    voltage_derating: Annotated[Value, Quantity("", above=0, high=1)] | None = None
    ageing_rate: Annotated[Value, Quantity("", low=0, below=0.2)] | None = None
    ageing_reference: Time = THOUSAND_HOURS
    rated_life: Time | None = None
    life_end_esr: AtTheEnd = 2.0
    life_end_capacitance: AtTheEnd = 0.8
    leakage_factor: Annotated[Value, Quantity("1/s", above=0, plausible=(1e-5, 1.0))] | None = None
    leakage_least: Annotated[Value, Quantity("A", low=0, plausible=(1e-9, 1e-2))] = 0.0
    insulation_time: Annotated[Value, Quantity("s", above=0, plausible=(0.1, 1e7))] | None = None
    insulation_resistance: Annotated[Value, Quantity("ohm", above=0, plausible=(1e5, 9e11))] | None = None
    safety_class: Literal["X1", "X2", "Y1", "Y2"] | None = None
    package: str = ""

    @model_validator(mode="after")
    def _of_this_kind(self) -> Self:
        for name, kinds in ONLY.items():
            stated = name in self.model_fields_set and getattr(self, name) is not None
            if stated and self.kind in DRY + WET and self.kind not in kinds:
                raise QuantityError(
                    f"belongs to {', '.join(kinds)} only; leave this key out", name=name, value=getattr(self, name)
                )
        if self.rated_life is not None and self.maximum_temperature is None:
            raise QuantityError("missing: the temperature at which rated_life holds", name="maximum_temperature")
        return self

    @property
    def electrolytic(self) -> bool:
        """True where it has an electrolyte, wet or solid: its ESR damps."""
        return self.kind in WET

    @property
    def bias_curve_missing(self) -> bool:
        """A class 2 ceramic loses capacitance under bias; this one does not say how much."""
        return self.kind == "ceramic_class_2" and self.bias_curve is None

    def beyond_curve(self, bias: Value = 0.0, temperature: Value = ROOM) -> bool | NDArray[np.bool_]:
        """Whether bias [V] or temperature [K] lie outside the curves, so that the last stated ratio is used."""
        outside = beyond(self.bias_curve, np.abs(bias)) | np.asarray(beyond(self.temperature_curve, temperature))
        return outside if outside.ndim else bool(outside)

    def capacitance_at(self, bias: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Small-signal capacitance [F] at a DC ``bias`` of either sign [V] and ``temperature`` [K]."""
        ratio = on_curve(self.bias_curve, np.abs(bias)) if self.bias_curve else 1.0
        warm = on_curve(self.temperature_curve, temperature) if self.temperature_curve else 1.0
        return self.capacitance * ratio * warm

    def cold_growth(self, temperature: float) -> float:
        """How many times its ESR an electrolytic may have at ``temperature`` [K] where no curve says so; else 1."""
        wet = self.kind == "aluminium" and self.esr_temperature_curve is None
        return float(np.exp(max(ROOM - temperature, 0.0) / COLD)) if wet else 1.0

    def in_the_cold(self, ohms: Value, temperature: float) -> Value:
        """What such an ESR [ohm] may be at ``temperature`` [K], see `cold_growth`; no more than such parts have."""
        return self.kept("esr", ohms * self.cold_growth(temperature))

    def resistance_at(self, temperature: Value = ROOM) -> Value:
        """The constant part of the series resistance [ohm] at ``temperature`` [K]."""
        return self.esr * (on_curve(self.esr_temperature_curve, temperature) if self.esr_temperature_curve else 1.0)

    def esr_at(self, frequency: Value, *, bias: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Whole series resistance [ohm] at ``frequency`` [Hz]: loss angle and constant part."""
        resistance = self.impedance(frequency, bias=bias, temperature=temperature).real
        return float(resistance[0]) if resistance.shape == (1,) and np.ndim(frequency) == 0 else resistance

    @property
    def usable_voltage(self) -> Value:
        """Voltage [V], ripple included, that may be used of the rated one: as stated, or by the rule of its kind."""
        if self.voltage_derating is not None:
            return self.voltage_derating * self.rated_voltage
        return usable_voltage(self.kind, self.rated_voltage)

    def dissipation_factor_at(self, frequency: Value, *, bias: Value = 0.0, temperature: Value = ROOM) -> Value:
        """tan(delta) of the whole at ``frequency`` [Hz], of the capacitance that it has at this bias and temperature."""
        resistance = self.esr_at(frequency, bias=bias, temperature=temperature)
        return dissipation_factor(frequency, self.capacitance_at(bias, temperature), resistance)

    def ripple_factor(self, frequency: Value) -> Value:
        """Rated ripple current at ``frequency`` [Hz] over the rated one; on a logarithmic frequency axis."""
        if self.ripple_frequency_curve is None:
            return 1.0
        return on_curve(
            tuple((float(np.log10(f)), ratio) for f, ratio in self.ripple_frequency_curve), np.log10(frequency)
        )

    def rated_ripple(self, temperature: Value = ROOM) -> Value | None:
        """Rated ripple current [A], rms, at ``temperature`` [K] around it; None where none is stated."""
        if self.ripple_current is None or self.ripple_temperature_curve is None:
            return self.ripple_current
        return self.ripple_current * on_curve(self.ripple_temperature_curve, temperature)

    def leakage_current(self, bias: Value) -> Value | None:
        """Largest leakage current [A] at a DC ``bias`` [V] and room temperature; None where nothing is stated of it."""
        if self.leakage_factor is not None:
            return electrolytic_leakage(self.capacitance, self.rated_voltage, self.leakage_factor, self.leakage_least)
        if self.insulation_time is None and self.insulation_resistance is None:
            return None
        time = np.inf if self.insulation_time is None else self.insulation_time
        resistance = np.inf if self.insulation_resistance is None else self.insulation_resistance
        return insulation_leakage(np.abs(bias), self.capacitance, time, resistance)

    def life_at(self, temperature: Value) -> Value | None:
        """Life [s] with the body at ``temperature`` [K]; None where none is rated."""
        if self.rated_life is None or self.maximum_temperature is None:
            return None
        return electrolytic_life(self.rated_life, self.maximum_temperature, temperature)

    def aged(self, age: Value, temperature: Value = ROOM) -> Capacitor:
        """The same part after ``age`` [s] of use at ``temperature`` [K]; as it is where nothing is stated of ageing.

        Class 2 loses capacitance by `aged_capacitance` (not above the stated one), an electrolytic's ESR grows by
        `esr_growth`, loss angle and capacitance with it, until its life is over; beyond that it is constant.
        """
        life = self.life_at(temperature)
        if life is not None and np.any(age > 0):
            used = np.minimum(age / life, 1.0)
            growth, left = esr_growth(used, self.life_end_esr), 1 - used * (1 - self.life_end_capacitance)
            grown = {"esr": self.esr * growth, "loss_angle": self.loss_angle * growth}
            return self.derived(**grown, capacitance=self.capacitance * left)
        if self.ageing_rate is not None and np.any(age > self.ageing_reference):
            age = np.maximum(age, self.ageing_reference)
            left = aged_capacitance(self.capacitance, age, self.ageing_rate, self.ageing_reference)
            return self.derived(capacitance=left)
        return self

    def self_resonance(self, *, bias: Value = 0.0, mounting_loop: Value = 0.0) -> Value:
        """Frequency [Hz] at which it stops being a capacitor, dispersion left out."""
        return self_resonance(self.capacitance_at(bias), self.esl + mounting_loop)

    def impedance(
        self,
        frequencies: ArrayLike,
        *,
        bias: Value = 0.0,
        temperature: Value = ROOM,
        mounting_loop: Value = 0.0,
        count: int = 1,
    ) -> NDArray[np.complex128]:
        """Complex impedance of ``count`` alike in parallel, each with its ``mounting_loop`` [H].

        Parameters
        ----------
        frequencies : array (f,)
            Not negative [Hz]; at 0 the impedance is infinite.
        bias, temperature : float or array (designs, 1)
            DC voltage [V] and temperature [K].

        Returns
        -------
        complex array (f,) or (designs, f) [ohm]

        Raises
        ------
        QuantityError
            Where a frequency is negative or not finite.
        """
        body = self._body(frequencies, self.capacitance_at(bias, temperature), self.resistance_at(temperature), count)
        return body + angular(frequencies) * (self.esl + mounting_loop) / count

    @property
    def _dispersion(self) -> Value:
        return 2 / np.pi * np.arctan(self.loss_angle)

    def _scale(self, capacitance: Value) -> Value:
        """Z = scale * s**-(1 - dispersion), the series capacitance being the stated one at the reference frequency."""
        w0, delta = 2 * np.pi * self.reference_frequency, np.arctan(self.loss_angle)
        return w0**-self._dispersion / (capacitance * np.cos(delta))

    def _body(
        self, frequencies: ArrayLike, capacitance: Value, resistance: Value, count: int
    ) -> NDArray[np.complex128]:
        """Without the inductance."""
        s = angular(frequencies)
        dielectric = self._scale(capacitance) * power_law(s, self._dispersion - 1)
        return np.where(s == 0, complex(np.inf, 0), (dielectric + resistance) / count)

    def ladder(self, *, bias: Value = 0.0, temperature: Value = ROOM, count: int = 1) -> Wiring:
        """The same without the inductance, as resistors and capacitors between nodes "a" and "b".

        Within LADDER_ERROR over LADDER_BAND, passive everywhere, a plain capacitor towards DC.
        """
        scale = self._scale(self.capacitance_at(bias, temperature)) / count
        slow, weights, rates, fast = branches(1 - self._dispersion)
        circuit, node = Wiring().capacitor("C", "a", "1", 1 / (scale * slow)), 1
        if np.any(self.loss_angle > 0):
            for node, (weight, rate) in enumerate(zip(weights, rates, strict=True), start=1):
                least = np.maximum(scale * weight, 1e-12 * scale)  # an array of loss angles may hold a zero
                circuit.capacitor(f"C{node}", str(node), str(node + 1), 1 / least)
                circuit.resistor(f"R{node}", str(node), str(node + 1), least / rate)
            node += 1
        resistance = scale * fast * (self.loss_angle > 0) + self.resistance_at(temperature) / count
        return circuit.resistor("R", str(node), "b", resistance)

    def add(
        self,
        circuit: Wiring,
        name: str,
        a: str,
        b: str,
        *,
        bias: Value = 0.0,
        temperature: Value = ROOM,
        mounting_loop: Value = 0.0,
        count: int = 1,
    ) -> Wiring:
        """Adds ``name`` from ``a`` to the node ``name``:x, and the inductor ``name``.loop from there to ``b``.

        The inductor holds the part's own inductance and the mounting loop [H], so that loops can be coupled by name.
        """
        capacitance, resistance = self.capacitance_at(bias, temperature), self.resistance_at(temperature)
        body = partial(self._body, capacitance=capacitance, resistance=resistance, count=count)
        ladder = partial(self.ladder, bias=bias, temperature=temperature, count=count)
        circuit.immittance(name, a, f"{name}:x", body, ladder=ladder)
        return circuit.inductor(f"{name}.loop", f"{name}:x", b, (self.esl + mounting_loop) / count)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        ripple = {"ripple current": shown(self.ripple_current, "A")} if self.ripple_current is not None else {}
        size = {"package": self.package} if self.package else {}
        if self.rated_life is not None and isinstance(self.rated_life, float):
            at = format_temperature(float(np.max(self.maximum_temperature)))  # type: ignore[arg-type]
            ripple["life"] = f"{format_hours(self.rated_life)} at {at}"
        texts = super().describe() | {
            "capacitance": f"{shown(self.capacitance, 'F')} ± {shown(self.tolerance * 100, '')} %",
            "rated voltage": shown(self.rated_voltage, "V"),
            "loss angle": shown(self.loss_angle, ""),
            "ESR, constant part": shown(self.esr, "ohm"),
            "ESL": shown(self.esl, "H"),
            "bias curve": "none stated" if self.bias_curve is None else f"to {self.bias_curve[-1][0]:g} V",
        }
        return texts | ripple | size
