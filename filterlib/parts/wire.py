"""Wire: resistance, skin depth, and the inductance of a lead and of a pair."""

from __future__ import annotations

import re
from functools import partial
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BeforeValidator, model_validator

from filterlib.errors import QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Part, Quantity, Toleranced, Unequal, shown
from filterlib.parts.copper import COPPER_RESISTIVITY, copper_factor
from filterlib.parts.skin_effect import internal_impedance
from filterlib.parts.values import ROOM, Value

LADDER_SECTIONS = 4  # of the skin effect, each one state: good to a radius of some eight skin depths
MU_0 = 4e-7 * np.pi  # H/m
EPSILON_0 = 1 / (MU_0 * 299792458.0**2)  # F/m


def resistance_per_metre(cross_section: Value, temperature: Value = ROOM) -> Value:
    """DC resistance of a copper conductor [ohm/m] of ``cross_section`` [m2] at ``temperature`` [K].

    Without skin effect: see `filterlib.parts.skin_effect`. Source: IEC 60028 (from memory).

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
    diameter: float = 0.127e-3 * 92 ** ((36 - gauge) / 39)
    return diameter


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


def wire_over_plane_inductance(height: Value, diameter: Value, *, internal: bool = True) -> Value:
    """Inductance per metre [H/m] of a wire whose current returns in the plane ``height`` [m] below its centre.

    Valid for a long wire some diameters (``diameter`` [m]) above a good conductor: image theory.
    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, 2nd ed. (2006), section 4.2 (from memory);
    half of a pair's, `two_wire_inductance`, twice as far apart.

    >>> float(round(wire_over_plane_inductance(0.4, 0.01) * 1e6, 3))
    1.065
    """
    return two_wire_inductance(2 * height, diameter, internal=internal) / 2


def over_plane_mutual(height: Value, spacing: Value) -> Value:
    """Mutual inductance per metre [H/m] of two wires ``height`` over a plane, ``spacing`` from centre to centre [m].

    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, 2nd ed. (2006), section 9.3 (from memory).

    >>> float(round(over_plane_mutual(0.01, 0.02) * 1e9, 2))
    69.31
    """
    return MU_0 / (4 * np.pi) * np.log(1 + (2 * height / spacing) ** 2)


def pair_over_plane_capacitance(height: Value, diameter: Value, spacing: Value) -> Value:
    """Capacitance per metre [F/m] from each wire of a pair to the plane ``height`` [m] below, both on one potential.

    mu_0 epsilon_0 over the sum of the two inductances per metre, in air; insulation adds some tens of percent.
    Source: C. R. Paul, Introduction to Electromagnetic Compatibility, 2nd ed. (2006), section 9.3 (from memory).

    >>> float(round(pair_over_plane_capacitance(0.05, 1e-3, 1e3) * 1e12, 2))  # alone: 2 pi epsilon_0 / ln(200)
    10.5
    """
    alone = wire_over_plane_inductance(height, diameter, internal=False)
    return MU_0 * EPSILON_0 / (alone + over_plane_mutual(height, spacing))


def _gauge(value: object) -> object:
    """24, "24 AWG", "AWG 24" and "24" are the gauge 24."""
    if isinstance(value, str):
        match = re.fullmatch(r"(?:AWG *)?(\d{1,2})(?: *AWG)?", value.strip()[:20], re.IGNORECASE | re.ASCII)
        value = int(match[1]) if match else value
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 40:
        raise QuantityError('a wire gauge is a whole number from 0 to 40, such as "24 AWG"', value=value)
    return value


Length = Annotated[Value, Quantity("m", above=0, plausible=(1e-4, 1e4))]
Width = Annotated[Value, Quantity("m", above=0, plausible=(1e-5, 1.0))]
_UNEQUAL_LENGTH = Unequal(
    0.05,
    "length of the two conductors of {owner}, one over the other",
    "leads cut by hand (common practice, no source)",
)


def skin_ladder(resistance: Value, inductance: Value) -> Wiring:
    """The inside of a wire (`internal_impedance`) between nodes "a" and "b" as R, 3R, 5R ... in series behind L, L/2, L/3 ... across: the fraction cut short.

    Exact at low frequency; above a radius of some eight skin depths its resistance stays where it is. No Raises.
    """
    circuit = Wiring().resistor("R0", "a", "1", resistance)
    for number in range(1, LADDER_SECTIONS + 1):
        circuit.inductor(f"L{number}", str(number), "b", inductance / number)
        onward = str(number + 1) if number < LADDER_SECTIONS else "b"
        circuit.resistor(f"R{number}", str(number), onward, (2 * number + 1) * resistance)
    return circuit


class _Conductor(Part):
    length: Annotated[Length, Toleranced("tolerance", "length of {owner}")]
    tolerance: Annotated[Value, Quantity("", low=0, high=0.5)] = 0.0
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

    @property
    def internal_inductance(self) -> Value:
        """Of one conductor at low frequency [H]: mu_0/(8 pi) for each metre. It vanishes as the current moves to the skin."""
        return MU_0 / (8 * np.pi) * self.length

    def add_inside(
        self, circuit: Wiring, name: str, a: str, b: str, *, temperature: Value, share: Value = 1.0
    ) -> Wiring:
        """Adds ``name`` from ``a`` to ``b``: resistance and internal inductance of a ``share`` of the length, with skin effect."""
        ohms, henries = self.resistance(temperature), self.internal_inductance

        def inside(frequencies: ArrayLike) -> NDArray[np.complex128]:
            return np.asarray(share * internal_impedance(frequencies, ohms, henries))

        return circuit.immittance(name, a, b, inside, ladder=partial(skin_ladder, share * ohms, share * henries))

    @property
    def shortest(self) -> float:
        """Length that such a wire has at least [m]: five diameters."""
        return float(np.max(5 * self.diameter))

    def bounded(self, name: str, low: float, high: float) -> tuple[float, float]:
        """The ends of its length no shorter than such a wire is."""
        return (max(low, self.shortest), high) if name == "length" else (low, high)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        size = f"{self.awg} AWG" if self.cross_section is None else shown(self.cross_section * 1e6, "") + " mm²"
        spread = f" ± {shown(self.tolerance * 100, '')} %" if np.any(self.tolerance) else ""
        return super().describe() | {"length": shown(self.length, "m") + spread, "size": size}


class Lead(_Conductor):
    """One straight copper wire: ``length`` [m] and ``cross_section`` [m2] or ``awg``; current returns far away.

    ``tolerance``: how far its length may be off, as a share of it (0 unless stated; at most a half).

    Its resistance rises, and the inductance of its inside vanishes, as `internal_impedance` says.

    >>> float(round(Lead(length="100 mm", awg=24).inductance * 1e9, 1))
    118.3
    """

    kind: Literal["lead"] = "lead"

    @property
    def inductance(self) -> Value:
        """Partial self-inductance at low frequency [H]."""
        return straight_wire_inductance(self.length, self.diameter)

    def add(self, circuit: Wiring, name: str, a: str, b: str, *, temperature: Value = ROOM) -> Wiring:
        """Adds ``name``.r from ``a`` to the node ``name``:r and ``name``.l from there to ``b``."""
        self.add_inside(circuit, f"{name}.r", a, f"{name}:r", temperature=temperature)
        return circuit.inductor(f"{name}.l", f"{name}:r", b, self.inductance - self.internal_inductance)


class WirePair(_Conductor):
    """A pair of copper wires, out and back, ``spacing`` [m] from centre to centre; else like `Lead`.

    Solid round wires of that cross-section, with skin effect (`internal_impedance`); the proximity of the other
    wire, which adds some tens of percent to the resistance of a tight pair, is left out. Valid while the pair is short against a
    wavelength. ``imbalance``: by how
    much the first conductor is longer than the second, of their mean (0 unless stated). Over a chassis plane, ``height``
    [m] from the wires' centres to it: the plane takes the return of what both carry, and each conductor has a
    ``chassis_capacitance`` [F], from the height unless stated. Without a height what both carry returns far away.

    >>> float(round(WirePair(length="2 m", awg="24 AWG", spacing="1.5 mm").loop_inductance * 1e6, 3))
    1.616
    """

    kind: Literal["wire_pair"] = "wire_pair"
    spacing: Width
    imbalance: Annotated[Value, Quantity("", above=-0.5, below=0.5), _UNEQUAL_LENGTH] = 0.0
    height: Width | None = None
    chassis_capacitance: Annotated[Value, Quantity("F", low=0, plausible=(1e-14, 1e-7))] | None = None

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if np.any(self.spacing < self.diameter):
            raise QuantityError("less than a wire's diameter from centre to centre", name="spacing", value=self.spacing)
        if np.any(self.spacing > self.length):
            raise QuantityError("wider than the pair is long", name="spacing", value=self.spacing)
        if self.height is not None and np.any(2 * self.height <= self.diameter):
            raise QuantityError("the wire would reach into the plane: state more than its radius", name="height")
        if self.height is not None and np.any(self.height > self.length):
            raise QuantityError("higher than the pair is long", name="height", value=self.height)
        return self

    @property
    def shortest(self) -> float:
        """As of any wire, and no shorter than it is wide or high [m]."""
        return float(np.max([super().shortest, np.max(self.spacing), np.max(self.height or 0.0)]))

    @property
    def self_inductance(self) -> Value:
        """Self-inductance of the mean conductor at low frequency [H]: partial, or with the plane as return where there is a height."""
        if self.height is not None:
            return self.length * wire_over_plane_inductance(self.height, self.diameter)
        return straight_wire_inductance(self.length, self.diameter)

    @property
    def mutual_inductance(self) -> Value:
        """Mutual inductance of the two conductors [H], alike."""
        if self.height is not None:
            return self.length * over_plane_mutual(self.height, self.spacing)
        return parallel_wire_mutual(self.length, self.spacing)

    @property
    def capacitance_to_chassis(self) -> Value:
        """From each conductor to the chassis [F]; 0 where neither it nor a height is stated."""
        if self.chassis_capacitance is not None:
            return self.chassis_capacitance
        if self.height is None:
            return 0.0
        return self.length * pair_over_plane_capacitance(self.height, self.diameter, self.spacing)

    @property
    def reaches_chassis(self) -> bool:
        """True where a capacitance to the chassis is stated or follows from the height."""
        return bool(np.any(self.capacitance_to_chassis))

    @property
    def loop_inductance(self) -> Value:
        """Out and back, at low frequency: 2 (self - mutual) [H], the coupling of unequal conductors being that of equal ones."""
        return 2 * (self.self_inductance - self.mutual_inductance * np.sqrt(1 - self.imbalance**2 / 4))

    def add(
        self, circuit: Wiring, name: str, first: tuple[str, str], second: tuple[str, str], *,
        temperature: Value = ROOM, chassis: str = "chassis",
    ) -> Wiring:  # fmt: skip
        """Adds each conductor, ``name``.r1 and .l1 along ``first``, .r2 and .l2 along ``second``, and their coupling.

        Both are named in the same direction, from the source to the load. Capacitance to the node ``chassis`` is half
        at each end: ``name``.c1a, .c1b, .c2a, .c2b.
        """
        outside = self.self_inductance - self.internal_inductance
        for number, (a, b, share) in enumerate(
            ((*first, 1 + self.imbalance / 2), (*second, 1 - self.imbalance / 2)), start=1
        ):
            self.add_inside(circuit, f"{name}.r{number}", a, f"{name}:r{number}", temperature=temperature, share=share)
            circuit.inductor(f"{name}.l{number}", f"{name}:r{number}", b, share * outside)
            if self.reaches_chassis:
                circuit.capacitor(f"{name}.c{number}a", a, chassis, share * self.capacitance_to_chassis / 2)
                circuit.capacitor(f"{name}.c{number}b", b, chassis, share * self.capacitance_to_chassis / 2)
        return circuit.couple(f"{name}.k", f"{name}.l1", f"{name}.l2", self.mutual_inductance / outside)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return (
            super().describe()
            | {
                "spacing": shown(self.spacing, "m"),
                "resistance of one conductor": shown(self.resistance(), "ohm"),
                "loop inductance": shown(self.loop_inductance, "H"),
            }
            | ({"to the chassis, each": shown(self.capacitance_to_chassis, "F")} if self.reaches_chassis else {})
        )
