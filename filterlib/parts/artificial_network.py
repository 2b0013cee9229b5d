"""Artificial networks: what is between supply and device while its conducted emission is measured, one in each line.

A real one holds some 10 µF to earth: connect its earth first and take it off last, and feed it through an isolating
transformer where it hangs on the mains, for its leakage current trips residual-current devices. Follow its maker's
instructions and the local code.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.errors import FilterlibError, QuantityError, did_you_mean, short
from filterlib.network.wiring import Wiring
from filterlib.parts.values import Value, angular


def network_impedance(
    frequencies: ArrayLike,
    inductance: Value,
    *,
    resistance: Value = 0.0,
    receiver: Value = 50.0,
    coupling: Value = np.inf,
    bleeder: Value = np.inf,
) -> NDArray[np.complex128]:
    """Impedance between the device's terminal and chassis, the supply's terminal being shorted to chassis.

    Parameters
    ----------
    frequencies : array (f,)
        Not negative [Hz].
    inductance, resistance : float
        In series, towards the supply [H], [ohm].
    receiver : float
        Input of the measuring receiver [ohm].
    coupling : float
        Capacitance from the line to the receiver [F]; infinite: none is in the way.
    bleeder : float
        In parallel with the receiver, behind the coupling capacitor [ohm]; infinite: none.

    Returns
    -------
    complex array (f,)
        [ohm]

    Raises
    ------
    QuantityError
        Where a frequency is negative or not finite, or inductance or receiver is not positive.

    Notes
    -----
    Source: CISPR 16-1-2 (2003), 4.2, 4.3 and annex A (from memory): 50 ohm in parallel with 50 µH, or with 50 µH + 5 ohm. Valid
    in the range of the network; the standard allows ±20 %.

    Examples
    --------
    >>> [round(float(abs(z)), 2) for z in network_impedance([150e3, 1e6, 30e6], 50e-6)]
    [34.29, 49.38, 50.0]
    """
    for name, value in (("inductance", inductance), ("receiver", receiver)):
        if not np.all(value > 0):
            raise QuantityError("must be above 0", name=name, value=value)
    s = angular(frequencies)
    with np.errstate(divide="ignore", invalid="ignore"):
        reactance = np.where(s == 0, np.inf, 1 / (s * coupling)) if np.all(np.isfinite(coupling)) else 0.0
    through = resistance + s * inductance
    return through / (1 + through / (1 / (1 / receiver + 1 / bleeder) + reactance))


@dataclass(frozen=True)
class ArtificialNetwork:
    """One line's network: ``inductance`` [H] and ``resistance`` [ohm] towards the supply, and the way to the receiver.

    ``coupling`` [F] (infinite: none) and ``bleeder`` [ohm] lie before the ``receiver`` [ohm]; ``low`` to ``high`` [Hz] is the
    range in which it is specified. The supply's terminal is at chassis potential, which its capacitor there ensures.

    >>> network = NETWORKS["50uH"]
    >>> network.title
    'V-network 50 µH / 50 ohm'
    """

    name: str
    title: str
    low: float
    high: float
    inductance: Value
    resistance: Value = 0.0
    coupling: Value = np.inf
    bleeder: Value = np.inf
    receiver: Value = 50.0

    def impedance(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """From the line to chassis (f,) [ohm]: see `network_impedance`."""
        return network_impedance(
            frequencies,
            self.inductance,
            resistance=self.resistance,
            receiver=self.receiver,
            coupling=self.coupling,
            bleeder=self.bleeder,
        )

    def scaled(self, factor: Value) -> ArtificialNetwork:
        """The same with ``factor`` times the impedance, at all frequencies; an array (designs, 1) makes as many.

        >>> NETWORKS["50uH"].scaled(1.2).receiver
        60.0
        """
        return replace(
            self,
            inductance=self.inductance * factor,
            resistance=self.resistance * factor,
            coupling=self.coupling / factor,
            bleeder=self.bleeder * factor,
            receiver=self.receiver * factor,
        )

    def add(self, circuit: Wiring, name: str, line: str, chassis: str) -> str:
        """Add the network between ``line`` and ``chassis``; returns the node at which the receiver reads.

        Elements NAME.inductance and NAME.receiver, and where they exist NAME.resistance, NAME.coupling, NAME.bleeder.
        """
        inner = f"{name}:r" if np.any(self.resistance) else chassis
        circuit.inductor(f"{name}.inductance", line, inner, self.inductance)
        if np.any(self.resistance):
            circuit.resistor(f"{name}.resistance", inner, chassis, self.resistance)
        port = line
        if np.all(np.isfinite(self.coupling)):
            port = f"{name}:port"
            circuit.capacitor(f"{name}.coupling", line, port, self.coupling)
        circuit.resistor(f"{name}.receiver", port, chassis, self.receiver)
        if np.all(np.isfinite(self.bleeder)):
            circuit.resistor(f"{name}.bleeder", port, chassis, self.bleeder)
        return port


# CISPR 16-1-2 for the first two, CISPR 25 and ISO 7637 for the third: values and ranges from memory.
NETWORKS: dict[str, ArtificialNetwork] = {
    network.name: network
    for network in (
        ArtificialNetwork("50uH", "V-network 50 µH / 50 ohm", 150e3, 30e6, 50e-6),
        ArtificialNetwork("50uH+5ohm", "V-network (50 µH + 5 ohm) / 50 ohm", 9e3, 30e6, 50e-6, 5.0),
        ArtificialNetwork("5uH", "network 5 µH / 50 ohm", 100e3, 108e6, 5e-6, 0.0, 100e-9, 1e3),
    )
}


def artificial_network(name: str) -> ArtificialNetwork:
    """The network of that name in `NETWORKS`. Raises FilterlibError with the nearest one."""
    if name not in NETWORKS:
        raise FilterlibError(f"no artificial network {short(name)}; {did_you_mean(str(name), NETWORKS)}")
    return NETWORKS[name]
