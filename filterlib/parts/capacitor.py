"""Capacitors: film, ceramic, aluminium electrolytic and polymer, with loss, inductance, bias and temperature."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.network.circuit import Circuit
from filterlib.parts.base import ROOM, Curve, Part, Points, Quantity, Value, angular, beyond, on_curve, shown
from filterlib.parts.constant_phase import branches, power_law

CapacitorKind = Literal["film", "ceramic_class_1", "ceramic_class_2", "aluminium", "polymer"]
Resistance = Annotated[Value, Quantity("ohm", low=0, plausible=(1e-6, 1e3))]
TemperatureCurve = Annotated[Points, Curve("K", reference=298.15, low=200, high=500)]


def esr_from_loss_angle(frequency: Value, capacitance: Value, loss_angle: Value) -> Value:
    """Equivalent series resistance [ohm] at ``frequency`` [Hz] of ``capacitance`` [F], ``loss_angle`` being tan(delta).

    Source: tan(delta) = omega R C of a series pair; R. K. Rajput, Electronic Measurements and Instrumentation.

    >>> round(esr_from_loss_angle(120, 1000e-6, 0.12) * 1e3, 2)
    159.15
    """
    return loss_angle / (2 * np.pi * frequency * capacitance)


def self_resonance(capacitance: Value, inductance: Value) -> Value:
    """Frequency [Hz] at which ``capacitance`` [F] and ``inductance`` [H] resonate.

    >>> float(round(self_resonance(1e-6, 1e-9) / 1e6, 3))
    5.033
    """
    return 1 / (2 * np.pi * np.sqrt(capacitance * inductance))


class Capacitor(Part):
    """A capacitor: a dielectric of constant loss angle, a constant resistance and an inductance in series.

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
    bias_curve : [[V, ratio], ...] of the capacitance, for class 2 ceramics
    temperature_curve, esr_temperature_curve : [[temperature, ratio], ...] of ``capacitance`` and of ``esr``
    ripple_current : rated, rms [A]
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
    capacitance: Annotated[Value, Quantity("F", above=0, plausible=(1e-13, 0.1))]
    rated_voltage: Annotated[Value, Quantity("V", above=0, plausible=(1, 1e4))]
    loss_angle: Annotated[Value, Quantity("", low=0, plausible=(1e-6, 1.0))]
    esl: Annotated[Value, Quantity("H", low=0, plausible=(1e-12, 1e-6))]
    esr: Resistance = 0.0
    reference_frequency: Annotated[Value, Quantity("Hz", above=0, plausible=(10, 1e7))] = 1e3
    tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.2
    bias_curve: Annotated[Points, Curve("V", reference=0.0, low=0, high=1e4)] | None = None
    temperature_curve: TemperatureCurve | None = None
    esr_temperature_curve: TemperatureCurve | None = None
    ripple_current: Annotated[Value, Quantity("A", above=0, plausible=(1e-3, 1e3))] | None = None
    safety_class: Literal["X1", "X2", "Y1", "Y2"] | None = None
    package: str = ""

    @property
    def bias_curve_missing(self) -> bool:
        """A class 2 ceramic loses capacitance under bias; this one does not say how much."""
        return self.kind == "ceramic_class_2" and self.bias_curve is None

    def beyond_curve(self, bias: Value = 0.0, temperature: Value = ROOM) -> bool | NDArray[np.bool_]:
        """Whether bias [V] or temperature [K] lie outside the curves, so that the last stated ratio is held."""
        outside = beyond(self.bias_curve, np.abs(bias)) | np.asarray(beyond(self.temperature_curve, temperature))
        return outside if outside.ndim else bool(outside)

    def capacitance_at(self, bias: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Small-signal capacitance [F] at a DC ``bias`` of either sign [V] and ``temperature`` [K]."""
        ratio = on_curve(self.bias_curve, np.abs(bias)) if self.bias_curve else 1.0
        warm = on_curve(self.temperature_curve, temperature) if self.temperature_curve else 1.0
        return self.capacitance * ratio * warm

    def resistance_at(self, temperature: Value = ROOM) -> Value:
        """The constant part of the series resistance [ohm] at ``temperature`` [K]."""
        return self.esr * (on_curve(self.esr_temperature_curve, temperature) if self.esr_temperature_curve else 1.0)

    def esr_at(self, frequency: Value, *, bias: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Whole series resistance [ohm] at ``frequency`` [Hz]: loss angle and constant part."""
        resistance = self.impedance(frequency, bias=bias, temperature=temperature).real
        return float(resistance[0]) if resistance.shape == (1,) and np.ndim(frequency) == 0 else resistance

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

    def ladder(self, *, bias: Value = 0.0, temperature: Value = ROOM, count: int = 1) -> Circuit:
        """The same without the inductance, as resistors and capacitors between nodes "a" and "b".

        Within LADDER_ERROR over LADDER_BAND, passive everywhere, a plain capacitor towards DC.
        """
        scale = self._scale(self.capacitance_at(bias, temperature)) / count
        slow, weights, rates, fast = branches(1 - self._dispersion)
        circuit, node = Circuit().capacitor("C", "a", "1", 1 / (scale * slow)), 1
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
        circuit: Circuit,
        name: str,
        a: str,
        b: str,
        *,
        bias: Value = 0.0,
        temperature: Value = ROOM,
        mounting_loop: Value = 0.0,
        count: int = 1,
    ) -> Circuit:
        """Adds ``name`` from ``a`` to the node ``name``:x, and the inductor ``name``.loop from there to ``b``.

        The inductor holds the part's own inductance and the mounting loop [H], so that loops can be coupled by name.
        """
        capacitance, resistance = self.capacitance_at(bias, temperature), self.resistance_at(temperature)
        body = partial(self._body, capacitance=capacitance, resistance=resistance, count=count)
        ladder = self.ladder(bias=bias, temperature=temperature, count=count)
        circuit.immittance(name, a, f"{name}:x", body, ladder=ladder)
        return circuit.inductor(f"{name}.loop", f"{name}:x", b, (self.esl + mounting_loop) / count)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        ripple = {"ripple current": shown(self.ripple_current, "A")} if self.ripple_current is not None else {}
        size = {"package": self.package} if self.package else {}
        return (
            super().describe()
            | {
                "capacitance": f"{shown(self.capacitance, 'F')} ± {shown(self.tolerance * 100, '')} %",
                "rated voltage": shown(self.rated_voltage, "V"),
                "loss angle": shown(self.loss_angle, ""),
                "ESR, constant part": shown(self.esr, "ohm"),
                "ESL": shown(self.esl, "H"),
                "bias curve": "none stated" if self.bias_curve is None else f"to {self.bias_curve[-1][0]:g} V",
            }
            | ripple
            | size
        )
