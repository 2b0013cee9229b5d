"""Wire: resistance, skin depth, and the inductance of a lead and of a pair."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import BeforeValidator, model_validator

from filterlib.errors import QuantityError
from filterlib.network.circuit import Circuit
from filterlib.parts.base import ROOM, Part, Quantity, Value, shown

COPPER_RESISTIVITY = 1.7241e-8  # ohm m at 20 °C, 100 % IACS; IEC 60028 (from memory)
COPPER_COEFFICIENT = 0.00393  # 1/K at 20 °C; IEC 60028 (from memory)
MU_0 = 4e-7 * np.pi  # H/m


def copper_factor(temperature: Value) -> Value:
    """Resistance of copper at ``temperature`` [K] over that at 20 °C.

    Valid from about -50 to 150 °C, where the resistivity is linear. Source: IEC 60028 (from memory).

    >>> round(copper_factor(273.15 + 100), 4)
    1.3144
    """
    return 1 + COPPER_COEFFICIENT * (temperature - ROOM)


def resistance_per_metre(cross_section: Value, temperature: Value = ROOM) -> Value:
    """DC resistance of a copper conductor [ohm/m] of ``cross_section`` [m2] at ``temperature`` [K].

    Without skin effect: compare the radius with `skin_depth`. Source: IEC 60028 (from memory).

    >>> round(resistance_per_metre(1e-6) * 1e3, 2)
    17.24
    """
    return COPPER_RESISTIVITY * copper_factor(temperature) / cross_section


def awg_diameter(gauge: int) -> float:
    """Diameter [m] of a solid round wire of an American wire gauge, 0 to 40.

    Source: ASTM B258: 0.127 mm x 92**((36 - gauge)/39).

    >>> round(awg_diameter(24) * 1e3, 4)
    0.5106
    """
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


def skin_depth(frequency: Value, resistivity: Value = COPPER_RESISTIVITY) -> Value:
    """Depth [m] at which the current density in a thick conductor has fallen to 1/e, at ``frequency`` [Hz], mu = mu_0.

    Source: D. M. Pozar, Microwave Engineering, section 1.5: sqrt(2 rho / (omega mu)).

    >>> float(round(skin_depth(1e6) * 1e6, 2))
    66.08
    """
    return np.sqrt(resistivity / (np.pi * frequency * MU_0))


def straight_wire_inductance(length: Value, diameter: Value, *, internal: bool = True) -> Value:
    """Partial self-inductance [H] of a straight round wire of ``length`` and ``diameter`` [m].

    With the flux inside the wire (low frequency), or without (the current in the skin). Valid while the length is many
    diameters. Source: E. B. Rosa, "The Self and Mutual Inductances of Linear Conductors", Bulletin of the Bureau of
    Standards 4 (1908) 301, and F. W. Grover, Inductance Calculations, ch. 5 (from memory).

    >>> float(round(straight_wire_inductance(0.1, 1e-3) * 1e9, 2))
    104.83
    """
    return MU_0 / (2 * np.pi) * length * (np.log(4 * length / diameter) - (0.75 if internal else 1.0))


def parallel_wire_mutual(length: Value, spacing: Value) -> Value:
    """Partial mutual inductance [H] of two parallel wires of ``length``, ``spacing`` [m] from centre to centre.

    Source: E. B. Rosa (1908), as in `straight_wire_inductance`; F. W. Grover, ch. 5 (from memory).

    >>> float(round(parallel_wire_mutual(0.1, 0.01) * 1e9, 2))
    41.86
    """
    ratio = spacing / length
    return MU_0 / (2 * np.pi) * length * (np.arcsinh(1 / ratio) - np.sqrt(1 + ratio**2) + ratio)


def two_wire_inductance(spacing: Value, diameter: Value, *, internal: bool = True) -> Value:
    """Loop inductance per metre [H/m] of a long pair, ``spacing`` [m] centre to centre, of ``diameter`` [m].

    Valid while the pair is long against its spacing, and the spacing is some diameters (no proximity effect).
    Source: J. O. Bird, Electrical Circuit Theory and Technology, ch. 40: (mu_0/pi) (1/4 + ln(D/a)).

    >>> float(round(two_wire_inductance(0.8, 0.01) * 1e6, 2))
    2.13
    """
    return MU_0 / np.pi * (np.log(2 * spacing / diameter) + (0.25 if internal else 0.0))


def _gauge(value: Any) -> Any:
    """24, "24 AWG", "AWG 24" and "24" are the gauge 24."""
    if isinstance(value, str):
        found = re.fullmatch(r"\s*(?:AWG)?\s*(\d{1,2})\s*(?:AWG)?\s*", value, re.IGNORECASE)
        value = int(found[1]) if found else value
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 40:
        raise QuantityError('a wire gauge is a whole number from 0 to 40, such as "24 AWG"', value=value)
    return value


Length = Annotated[Value, Quantity("m", above=0, plausible=(1e-4, 1e4))]
Width = Annotated[Value, Quantity("m", above=0, plausible=(1e-5, 1.0))]


class _Conductor(Part):
    length: Length
    cross_section: Annotated[Value, Quantity("m2", above=0, plausible=(1e-9, 1e-3))] | None = None
    awg: Annotated[int, BeforeValidator(_gauge)] | None = None

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.cross_section is None) == (self.awg is None):
            raise QuantityError("state exactly one of cross_section and awg", name="cross_section")
        if np.any(self.length < 5 * self.diameter):
            raise QuantityError("a wire is at least five diameters long", name="length", value=self.length)
        return self

    @property
    def diameter(self) -> Value:
        """Of the solid round wire of that cross-section [m]."""
        if self.cross_section is not None:
            return np.sqrt(4 / np.pi * self.cross_section)
        assert self.awg is not None  # one of the two, as checked
        return awg_diameter(self.awg)

    def resistance(self, temperature: Value = ROOM) -> Value:
        """Of one conductor [ohm] at ``temperature`` [K]."""
        return self.length * resistance_per_metre(np.pi / 4 * self.diameter**2, temperature)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        size = f"{self.awg} AWG" if self.cross_section is None else shown(self.cross_section * 1e6, "") + " mm²"
        return super().describe() | {"length": shown(self.length, "m"), "size": size}


class Lead(_Conductor):
    """One straight copper wire: ``length`` [m] and ``cross_section`` [m2] or ``awg``; current returns far away.

    >>> float(round(Lead(length="100 mm", awg=24).inductance * 1e9, 1))
    118.3
    """

    kind: Literal["lead"] = "lead"

    @property
    def inductance(self) -> Value:
        """Partial self-inductance [H]."""
        return straight_wire_inductance(self.length, self.diameter)

    def add(self, circuit: Circuit, name: str, a: str, b: str, *, temperature: Value = ROOM) -> Circuit:
        """Adds ``name``.r from ``a`` to the node ``name``:r and ``name``.l from there to ``b``."""
        circuit.resistor(f"{name}.r", a, f"{name}:r", self.resistance(temperature))
        return circuit.inductor(f"{name}.l", f"{name}:r", b, self.inductance)


class WirePair(_Conductor):
    """A pair of copper wires, out and back, ``spacing`` [m] from centre to centre; else like `Lead`.

    Solid round wires of that cross-section; the skin effect is left out, so the pair damps more than computed above the
    frequency where `skin_depth` is the radius. Valid while the pair is short against a wavelength.

    >>> float(round(WirePair(length="2 m", awg="24 AWG", spacing="1.5 mm").loop_inductance * 1e6, 3))
    1.616
    """

    kind: Literal["wire_pair"] = "wire_pair"
    spacing: Width

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if np.any(self.spacing < self.diameter):
            raise QuantityError("less than a wire's diameter from centre to centre", name="spacing", value=self.spacing)
        if np.any(self.spacing > self.length):
            raise QuantityError("wider than the pair is long", name="spacing", value=self.spacing)
        return self

    @property
    def self_inductance(self) -> Value:
        """Partial self-inductance of one conductor [H]."""
        return straight_wire_inductance(self.length, self.diameter)

    @property
    def mutual_inductance(self) -> Value:
        """Partial mutual inductance of the two conductors [H]."""
        return parallel_wire_mutual(self.length, self.spacing)

    @property
    def loop_inductance(self) -> Value:
        """Out and back: 2 (self - mutual) [H]."""
        return 2 * (self.self_inductance - self.mutual_inductance)

    def add(
        self, circuit: Circuit, name: str, first: tuple[str, str], second: tuple[str, str], *, temperature: Value = ROOM
    ) -> Circuit:
        """Adds each conductor, ``name``.r1 and .l1 along ``first``, .r2 and .l2 along ``second``, and their coupling.

        Both are named in the same direction, from the source to the load.
        """
        for number, (a, b) in enumerate((first, second), start=1):
            circuit.resistor(f"{name}.r{number}", a, f"{name}:r{number}", self.resistance(temperature))
            circuit.inductor(f"{name}.l{number}", f"{name}:r{number}", b, self.self_inductance)
        return circuit.couple(f"{name}.k", f"{name}.l1", f"{name}.l2", self.mutual_inductance / self.self_inductance)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return super().describe() | {
            "spacing": shown(self.spacing, "m"),
            "resistance of one conductor": shown(self.resistance(), "ohm"),
            "loop inductance": shown(self.loop_inductance, "H"),
        }
