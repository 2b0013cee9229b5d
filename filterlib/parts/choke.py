"""Differential chokes: inductance against DC current, copper, core loss, winding capacitance."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import model_validator

from filterlib.errors import QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Assumed, Toleranced, nominal, shown
from filterlib.parts.copper import copper_factor
from filterlib.parts.usual import usual_chokes as usual
from filterlib.parts.values import ROOM, Value, angular
from filterlib.parts.wound import (
    Capacitance,
    CoreResistance,
    Current,
    Frequency,
    Inductance,
    Ratio,
    Resistance,
    Saturation,
    Tolerance,
    Wound,
    saturated,
)


def self_capacitance(first: tuple[Value, Value], second: tuple[Value, Value]) -> tuple[Value, Value]:
    """Self-capacitance [F] and inductance [H] of a coil that was brought to resonance at two frequencies.

    Parameters
    ----------
    first, second : (frequency [Hz], tuning capacitance [F])
        As read from a Q meter; the second frequency is the higher one.

    Notes
    -----
    Cd = (C1 - n**2 C2)/(n**2 - 1) with n = f2/f1. Valid while L and Cd do not change between the two.
    Source: R. K. Rajput, Electronic Measurements and Instrumentation, Q meter, examples 2.30 and 2.31.

    Examples
    --------
    >>> cd, _ = self_capacitance((2e6, 420e-12), (4e6, 90e-12))
    >>> round(cd * 1e12, 3)
    20.0
    """
    (f1, c1), (f2, c2) = first, second
    n2 = (f2 / f1) ** 2
    capacitance = (c1 - n2 * c2) / (n2 - 1)
    return capacitance, 1 / ((2 * np.pi * f1) ** 2 * (c1 + capacitance))


class DifferentialChoke(Wound):
    """A choke in one line: R in series with L, core loss and winding capacitance in parallel.

    Attributes
    ----------
    inductance : without DC current [H]
    saturation_current, saturation_ratio : the DC current [A] that leaves that ratio (0.7 unless stated)
    saturation : "soft" (powder core) or "hard" (gapped ferrite)
    rated_current : for the allowed temperature rise [A]
    dc_resistance : at 20 °C, copper [ohm]
    winding_capacitance or self_resonance : exactly one of them [F] or [Hz]
    parallel_resistance : core and winding loss as a resistance across the winding [ohm]
    tolerance : of the inductance, either way (20 % unless stated)
    and those of `Wound`: temperature, heat and the core's loss

    Examples
    --------
    >>> choke = DifferentialChoke(inductance="10 µH", saturation_current="6 A", rated_current="5 A",
    ...     dc_resistance="20 mΩ", self_resonance="20 MHz")
    >>> round(float(choke.inductance_at(6.0)) * 1e6, 3), round(float(choke.impedance([0.0])[0].real), 3)
    (7.0, 0.02)
    """

    kind: Literal["differential_choke"] = "differential_choke"
    inductance: Annotated[Inductance, Toleranced("tolerance", "inductance of {owner}")]
    rated_current: Current
    dc_resistance: Resistance
    saturation_current: Annotated[Current, Assumed(usual.saturation_current, "saturation current of {owner}")] = (
        nominal(usual.saturation_current)
    )
    saturation: Saturation = "soft"
    saturation_ratio: Ratio = 0.7
    self_resonance: Frequency | None = None
    winding_capacitance: Annotated[
        Capacitance | None, Assumed(usual.winding_capacitance, "capacitance across the winding of {owner}")
    ] = nominal(usual.winding_capacitance)
    parallel_resistance: Annotated[
        CoreResistance | None,
        Assumed(usual.parallel_resistance, "loss resistance across {owner}", ("winding_capacitance", "self_resonance")),
    ] = nominal(usual.parallel_resistance)
    tolerance: Tolerance = 0.2

    @model_validator(mode="after")
    def _one_capacitance(self) -> Self:
        if (self.winding_capacitance is None) == (self.self_resonance is None):
            raise QuantityError(
                "state exactly one of winding_capacitance and self_resonance", name="winding_capacitance"
            )
        return self

    @property
    def capacitance(self) -> Value:
        """Across the winding [F], as stated or from the self-resonance without DC current."""
        if self.self_resonance is None:
            return self.winding_capacitance if self.winding_capacitance is not None else 0.0
        return 1 / ((2 * np.pi * self.self_resonance) ** 2 * self.inductance)

    def inductance_at(self, current: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Small-signal inductance [H] at a DC ``current`` [A] and ``temperature`` [K]."""
        left = saturated(current, self.saturation_current, self.saturation_ratio, self.saturation)
        return self.inductance * left * self.warm_factor(temperature)

    def resistance_at(self, temperature: Value = ROOM) -> Value:
        """Of the winding [ohm] at ``temperature`` [K]."""
        return self.dc_resistance * copper_factor(temperature)

    def impedance(
        self, frequencies: ArrayLike, *, current: Value = 0.0, temperature: Value = ROOM
    ) -> NDArray[np.complex128]:
        """Complex impedance of the choke.

        Parameters
        ----------
        frequencies : array (f,)
            Not negative [Hz].
        current, temperature : float or array (designs, 1)
            DC current [A] and temperature [K].

        Returns
        -------
        complex array (f,) or (designs, f) [ohm]

        Raises
        ------
        QuantityError
            Where a frequency is negative or not finite.
        """
        return self._winding(frequencies, self.inductance_at(current, temperature), self.resistance_at(temperature))

    def _winding(self, frequencies: ArrayLike, inductance: Value, resistance: Value) -> NDArray[np.complex128]:
        s = angular(frequencies)
        loss = 0.0 if self.parallel_resistance is None else 1 / self.parallel_resistance
        reactance = s * inductance
        resonant = 1 + reactance * (loss + s * self.capacitance)  # 0 where nothing damps the self-resonance: open there
        tank = np.divide(reactance, resonant, out=np.full(resonant.shape, np.inf + 0j), where=resonant != 0)
        return np.asarray(resistance + tank)

    def ladder(self, *, current: Value = 0.0, temperature: Value = ROOM) -> Wiring:
        """The same between nodes "a" and "b", exactly."""
        circuit = Wiring().resistor("R", "a", "1", self.resistance_at(temperature))
        circuit.inductor("L", "1", "b", self.inductance_at(current, temperature)).capacitor(
            "C", "1", "b", self.capacitance
        )
        if self.parallel_resistance is not None:
            circuit.resistor("Rp", "1", "b", self.parallel_resistance)
        return circuit

    def add(
        self, circuit: Wiring, name: str, a: str, b: str, *, current: Value = 0.0, temperature: Value = ROOM
    ) -> Wiring:
        """Adds ``name`` from ``a`` to ``b``."""
        winding = partial(
            self._winding,
            inductance=self.inductance_at(current, temperature),
            resistance=self.resistance_at(temperature),
        )
        return circuit.immittance(
            name, a, b, winding, ladder=partial(self.ladder, current=current, temperature=temperature)
        )

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return super().describe() | {
            "inductance": f"{shown(self.inductance, 'H')} ± {shown(self.tolerance * 100, '')} %",
            "saturation": self._saturation_words(),
            "rated current": shown(self.rated_current, "A"),
            "DC resistance": shown(self.dc_resistance, "ohm"),
            "winding capacitance": shown(self.capacitance, "F"),
        }

    def _saturation_words(self) -> str:
        left, at = shown(self.saturation_ratio * 100, ""), shown(self.saturation_current, "A")
        return f"{self.saturation}, {left} % left at {at}"
