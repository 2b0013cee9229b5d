"""Common-mode chokes: two windings, a magnetising branch that they share and a leakage branch each."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal, Self, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import model_validator

from filterlib.errors import QuantityError
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Assumed, Quantity, Toleranced, Unequal, nominal, shown
from filterlib.parts.constant_phase import branches, power_law
from filterlib.parts.copper import copper_factor
from filterlib.parts.usual import usual_chokes as usual
from filterlib.parts.values import ROOM, Value, angular
from filterlib.parts.wound import (
    Capacitance,
    CoreResistance,
    Current,
    Inductance,
    Ratio,
    Resistance,
    Saturation,
    Tolerance,
    Wound,
    saturated,
)

MOST = 0.999  # of the inductance that may be leakage: some of the windings' field is always shared
_LEAKAGE = "leakage inductance of {owner}"
LeakageMeasured = Literal["per_winding", "loop", "shorted"]
Imbalance = Annotated[Value, Quantity("", above=-0.5, below=0.5)]
_UNEQUAL_LEAKAGE = Unequal(
    0.1,
    "leakage of the two windings of {owner}, one over the other",
    "windings laid by hand or by sector (common practice, no source)",
)
_UNEQUAL_CAPACITANCE = Unequal(
    0.2,
    "capacitance across the two windings of {owner}, one over the other",
    "turns never lie twice alike (common practice, no source)",
)


def leakage_per_winding(inductance: Value, leakage: Value, measured: LeakageMeasured) -> Value:
    """Leakage inductance of each of two like windings, L - M [H], from the way in which it was measured.

    "per_winding": L - M itself. "loop": both windings in series opposition, 2 (L - M). "shorted": one winding with the
    other shorted, L - M**2/L, which is nearly 2 (L - M) too.

    Source: the definitions of L and M; any text on coupled coils.

    >>> [round(float(leakage_per_winding(2.7e-3, 30e-6, how)) * 1e6, 3) for how in ("per_winding", "loop", "shorted")]
    [30.0, 15.0, 15.042]
    """
    if measured == "per_winding":
        return leakage
    return leakage / 2 if measured == "loop" else inductance * (1 - np.sqrt(1 - leakage / inductance))


class CommonModeChoke(Wound):
    """A choke in both lines: current that goes out and comes back meets the leakage, what does not return the core.

    Winding 1 is a1 to b1, winding 2 a2 to b2, the dots at a1 and a2, b1 and b2 being the load's side. Each winding has
    its copper and its leakage (with ``leakage_resistance`` across it) in series with the shared magnetising branch
    s L/(1 + (s/w_r)**x): the permeability relaxes at ``relaxation_frequency`` with the exponent x (1: a plain
    resistance across the magnetising inductance; less: broader, as in nanocrystalline ribbon).

    Attributes
    ----------
    inductance : of one winding, the other open, no current, low frequency [H]
    leakage, leakage_measured : [H] and "per_winding", "loop" or "shorted": see `leakage_per_winding`
    imbalance : by how much winding 1 exceeds winding 2, as a ratio of their mean (0 unless stated)
    leakage_imbalance, capacitance_imbalance : the same of the leakages, in addition to ``imbalance``, and of the capacitances
    relaxation_frequency, relaxation_exponent : [Hz], and above 0 to 1
    saturation_current, saturation_ratio, saturation : unbalanced DC current [A] that leaves that ratio of the core's L
    leakage_saturation_current : balanced DC current [A] that leaves that ratio of the leakage
    leakage_resistance : across each leakage [ohm]
    rated_current : balanced, for the allowed temperature rise [A]
    dc_resistance : of one winding at 20 °C, copper [ohm]
    winding_capacitance : across each winding [F]
    interwinding_capacitance : between the windings, half at each end [F]
    tolerance, leakage_tolerance : either way (30 % unless stated)
    and those of `Wound`: temperature, heat and the core's loss

    Notes
    -----
    Source: the form of the permeability: K. S. Cole and R. H. Cole, Journal of Chemical Physics 9 (1941) 341 (from
    memory); leakage as the differential inductance: learnemc.com, question of the week of 4 February 2019.

    Examples
    --------
    >>> choke = CommonModeChoke(inductance="1 mH", leakage="10 µH", leakage_measured="loop", rated_current="5 A",
    ...     saturation_current="100 mA", dc_resistance="15 mΩ", relaxation_frequency="1 MHz")
    >>> round(choke.leakage_per_winding * 1e6, 6), round(choke.coupling, 6)
    (5.0, 0.995)
    """

    kind: Literal["common_mode_choke"] = "common_mode_choke"
    inductance: Annotated[Inductance, Toleranced("tolerance", "inductance of {owner}")]
    rated_current: Current
    dc_resistance: Resistance
    leakage: Annotated[Inductance, Toleranced("leakage_tolerance", _LEAKAGE), Assumed(usual.leakage, _LEAKAGE)] = (
        nominal(usual.leakage)
    )
    leakage_measured: LeakageMeasured = "per_winding"
    saturation_current: Annotated[Current, Assumed(usual.unbalance, "saturation current of {owner}")] = nominal(
        usual.unbalance
    )
    relaxation_frequency: Annotated[
        Value,
        Quantity("Hz", above=0, plausible=(1e3, 1e9)),
        Assumed(usual.relaxation_frequency, "relaxation frequency of the core of {owner}"),
    ] = nominal(usual.relaxation_frequency)
    relaxation_exponent: Annotated[Value, Quantity("", above=0, high=1, plausible=(0.3, 1.0))] = 1.0
    saturation: Saturation = "soft"
    saturation_ratio: Ratio = 0.7
    leakage_saturation_current: Current | None = None
    leakage_resistance: CoreResistance | None = None
    imbalance: Imbalance = 0.0
    leakage_imbalance: Annotated[Imbalance, _UNEQUAL_LEAKAGE] = 0.0
    capacitance_imbalance: Annotated[Imbalance, _UNEQUAL_CAPACITANCE] = 0.0
    winding_capacitance: Annotated[
        Capacitance, Assumed(usual.turns_capacitance, "capacitance across each winding of {owner}")
    ] = nominal(usual.turns_capacitance)
    interwinding_capacitance: Capacitance = 0.0
    tolerance: Tolerance = 0.3
    leakage_tolerance: Tolerance = 0.3

    @model_validator(mode="after")
    def _coupled(self) -> Self:
        if np.any(self.leakage >= self.inductance):
            raise QuantityError("must be below the inductance of one winding", name="leakage", value=self.leakage)
        if "leakage" in self.model_fields_set and "leakage_measured" not in self.model_fields_set:
            why = f"missing: it makes a factor of two of the leakage; one of {', '.join(get_args(LeakageMeasured))} is needed"
            raise QuantityError(why, name="leakage_measured")
        return self

    def replace(self, **changes: object) -> Self:
        """A copy with other values; a leakage that was assumed is of each winding. Raises InputError."""
        how = {"leakage_measured": self.leakage_measured} if "leakage" in changes else {}
        return super().replace(**how | changes)

    def bounded(self, name: str, low: float, high: float) -> tuple[float, float]:
        """Windings stay coupled: leakage ends below the inductance, and the inductance above the largest leakage."""
        if name == "leakage":
            return low, float(np.min(np.minimum(high, MOST * self.inductance)))
        if name == "inductance":
            largest = np.minimum(self.leakage * (1 + self.leakage_tolerance), MOST * self.inductance)
            return float(np.max(np.maximum(low, largest / MOST))), high
        return low, high

    @property
    def leakage_per_winding(self) -> Value:
        """L - M of the mean winding [H], without current."""
        return leakage_per_winding(self.inductance, self.leakage, self.leakage_measured)

    @property
    def loop_leakage(self) -> Value:
        """Leakage of both windings, out through one and back through the other [H], without current."""
        return 2 * self.leakage_per_winding

    @property
    def coupling(self) -> Value:
        """Coefficient k = M/L between the windings, without current and at low frequency."""
        return 1 - self.leakage_per_winding / self.inductance

    @property
    def _halves(self) -> tuple[Value, Value]:
        return 1 + self.imbalance / 2, 1 - self.imbalance / 2

    @property
    def _strays(self) -> tuple[Value, Value]:
        """Shares of the two leakages."""
        first, second = self._halves
        return first * (1 + self.leakage_imbalance / 2), second * (1 - self.leakage_imbalance / 2)

    def magnetising_at(self, unbalance: Value = 0.0, current: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Magnetising inductance [H], of the mean winding at low frequency.

        ``unbalance`` is the DC current that does not return through the other winding [A]; the balanced ``current`` [A]
        counts as far as the windings differ: the turns differ by half of ``imbalance``. ``temperature`` [K].
        """
        bias = np.abs(unbalance) + np.abs(current * self.imbalance) / 2
        left = saturated(bias, self.saturation_current, self.saturation_ratio, self.saturation)
        return (self.inductance - self.leakage_per_winding) * left * self.warm_factor(temperature)

    def leakage_at(self, current: Value = 0.0) -> Value:
        """Leakage per winding [H] at the balanced DC ``current`` [A]."""
        if self.leakage_saturation_current is None:
            return self.leakage_per_winding
        limit = self.leakage_saturation_current
        return self.leakage_per_winding * saturated(current, limit, self.saturation_ratio, "soft")

    def resistance_at(self, temperature: Value = ROOM) -> Value:
        """Of one winding [ohm] at ``temperature`` [K]."""
        return self.dc_resistance * copper_factor(temperature)

    def magnetising_impedance(self, frequencies: ArrayLike, inductance: Value | None = None) -> NDArray[np.complex128]:
        """Of the shared branch [ohm], (f,) or (designs, f), at the mean winding."""
        s, inductance = angular(frequencies), self.magnetising_at() if inductance is None else inductance
        relaxed = power_law(s / (2 * np.pi * self.relaxation_frequency), self.relaxation_exponent)
        return s * inductance / (1 + relaxed)

    def core_voltage(
        self, frequencies: ArrayLike, first: NDArray[np.complex128], second: NDArray[np.complex128], inductance: Value
    ) -> NDArray[np.complex128]:
        """Voltage [V] across the magnetising branch of the mean winding, (f,) or (designs, f).

        ``first`` and ``second`` [A]: the windings' currents, both into the dots; ``inductance``: `magnetising_at` there.
        """
        into = np.sqrt(self._halves[0]) * first + np.sqrt(self._halves[1]) * second
        return self.magnetising_impedance(frequencies, inductance) * into

    def impedance(
        self,
        frequencies: ArrayLike,
        *,
        current: Value = 0.0,
        unbalance: Value = 0.0,
        temperature: Value = ROOM,
    ) -> NDArray[np.complex128]:
        """Impedance matrix of the two windings [ohm], without their capacitances.

        Parameters
        ----------
        frequencies : array (f,)
            Not negative [Hz].
        current, unbalance, temperature : float or array (designs, 1)
            Balanced and unbalanced DC current [A], temperature [K].

        Returns
        -------
        complex array (f, 2, 2) or (designs, f, 2, 2)

        Raises
        ------
        QuantityError
            Where a frequency is negative or not finite.
        """
        magnetising, leakage = self.magnetising_at(unbalance, current, temperature), self.leakage_at(current)
        return self._matrix(frequencies, magnetising, leakage, self.resistance_at(temperature))

    def _matrix(
        self, frequencies: ArrayLike, magnetising: Value, leakage: Value, resistance: Value
    ) -> NDArray[np.complex128]:
        s, (first, second) = angular(frequencies), self._halves
        loss = 0.0 if self.leakage_resistance is None else 1 / self.leakage_resistance
        core = self.magnetising_impedance(frequencies, magnetising)
        stray = [s * share * leakage / (1 + s * share * leakage * loss) for share in self._strays]
        z11, z12, z22 = np.broadcast_arrays(
            resistance + stray[0] + first * core, np.sqrt(first * second) * core, resistance + stray[1] + second * core
        )
        return np.stack([np.stack([z11, z12], axis=-1), np.stack([z12, z22], axis=-1)], axis=-2)

    def ladder(self, *, current: Value = 0.0, unbalance: Value = 0.0, temperature: Value = ROOM) -> Wiring:
        """The same as resistors and inductors between nodes a1, b1 and a2, b2: exact where the exponent is 1.

        Otherwise within LADDER_ERROR over LADDER_BAND; passive everywhere.
        """
        circuit = Wiring()
        magnetising, leakage = self.magnetising_at(unbalance, current, temperature), self.leakage_at(current)
        for number, (half, share) in enumerate(zip(self._halves, self._strays, strict=True), start=1):
            circuit.resistor(f"R{number}", f"a{number}", f"r{number}", self.resistance_at(temperature))
            circuit.inductor(f"Ll{number}", f"r{number}", f"m{number}", share * leakage)
            if self.leakage_resistance is not None:
                circuit.resistor(f"Rl{number}", f"r{number}", f"m{number}", self.leakage_resistance)
            circuit.inductor(f"Lm{number}", f"m{number}", f"b{number}", half * magnetising)
        circuit.couple("K", "Lm1", "Lm2", 1.0)
        return self._core_loss(circuit, self._halves[0] * magnetising)

    def _core_loss(self, circuit: Wiring, inductance: Value) -> Wiring:
        """Across the magnetising inductance of winding 1: its admittance s**(x - 1)/(L w_r**x), branch by branch."""
        exponent = self.relaxation_exponent
        slow, weights, rates, fast = branches(1 - exponent)
        scale = inductance * (2 * np.pi * self.relaxation_frequency) ** exponent
        circuit.resistor("Rm", "m1", "b1", scale / fast)
        if np.any(exponent < 1):
            circuit.inductor("Ls", "m1", "b1", scale / np.maximum(slow, 1e-12))
            for number, (weight, rate) in enumerate(zip(weights, rates, strict=True), start=1):
                branch = scale / np.maximum(weight, 1e-12)
                circuit.resistor(f"Rm{number}", "m1", f"x{number}", branch * rate)
                circuit.inductor(f"Lx{number}", f"x{number}", "b1", branch)
        return circuit

    def add(
        self,
        circuit: Wiring,
        name: str,
        first: tuple[str, str],
        second: tuple[str, str],
        *,
        current: Value = 0.0,
        unbalance: Value = 0.0,
        temperature: Value = ROOM,
    ) -> Wiring:
        """Adds ``name``, windings along ``first`` and ``second`` (dots at their first nodes), and its capacitances.

        Capacitors where they are stated: ``name``.cw1 and .cw2 across the windings, .ci1 and .ci2 between them.
        """
        matrix = partial(
            self._matrix,
            magnetising=self.magnetising_at(unbalance, current, temperature),
            leakage=self.leakage_at(current),
            resistance=self.resistance_at(temperature),
        )
        ladder = partial(self.ladder, current=current, unbalance=unbalance, temperature=temperature)
        circuit.coupled(name, first, second, matrix, ladder=ladder)
        if np.any(self.winding_capacitance):
            for number, (ends, sign) in enumerate(((first, 1), (second, -1)), start=1):
                share = 1 + sign * self.capacitance_imbalance / 2
                circuit.capacitor(f"{name}.cw{number}", *ends, share * self.winding_capacitance)
        if np.any(self.interwinding_capacitance):
            circuit.capacitor(f"{name}.ci1", first[0], second[0], self.interwinding_capacitance / 2)
            circuit.capacitor(f"{name}.ci2", first[1], second[1], self.interwinding_capacitance / 2)
        return circuit

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        leakage = f"{shown(self.leakage_per_winding, 'H')} ± {shown(self.leakage_tolerance * 100, '')} %"
        left = f"{shown(self.saturation_ratio * 100, '')} % left at {shown(self.saturation_current, 'A')} unbalanced"
        return super().describe() | {
            "inductance of one winding": f"{shown(self.inductance, 'H')} ± {shown(self.tolerance * 100, '')} %",
            "leakage per winding": leakage,
            "rated current": shown(self.rated_current, "A"),
            "saturation": left,
            "DC resistance of one winding": shown(self.dc_resistance, "ohm"),
            "winding capacitance": shown(self.winding_capacitance, "F"),
            "between the windings": shown(self.interwinding_capacitance, "F"),
        }
