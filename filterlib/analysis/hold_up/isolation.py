"""The diode that keeps a bank from feeding back: what it takes of the sag, its heat, and what leaks through it when hot."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Amperes, Farads, Unit, Volts

__all__ = ["DIODES", "SIZED", "Diode", "Isolation", "isolation"]
DOUBLES = 10.0  # [K] in which a junction's leakage doubles: common practice, no source


@dataclass(frozen=True)
class Diode:
    """Its forward drop is ``threshold`` [V] + ``ohms`` I; ``leakage`` backwards at 25 °C [A], of a ``junction`` or constant."""

    kind: str
    threshold: Volts[float]
    ohms: Annotated[float, Unit("ohm")]
    leakage: Amperes[float]
    junction: bool

    def drop(self, amperes: float) -> float:
        """Forward voltage [V] at a current [A].

        >>> round(SIZED.drop(5.0), 3)
        0.5
        """
        return self.threshold + self.ohms * amperes

    def leakage_at(self, temperature: float) -> float:
        """What flows backwards [A] at an ambient ``temperature`` [K]; a diode that blocks has no heat of its own.

        >>> round(SIZED.leakage_at(358.15) * 1e3, 1)    # hand: 0.2 mA doubled six times in 60 K
        12.8
        """
        return self.leakage * (2 ** ((temperature - 298.15) / DOUBLES) if self.junction else 1.0)


SIZED = Diode("Schottky diode", 0.35, 30e-3, 0.2e-3, True)
"""The one that banks are sized behind. Values: a part for 60 V and 5 A, from memory; its data sheet decides."""
DIODES = (
    Diode("no diode", 0.0, 0.0, math.inf, False),
    SIZED,
    Diode("ideal diode", 0.02, 10e-3, 20e-6, False),
)
"""The last: a transistor of 10 mohm with its controller, which holds 20 mV at least; from memory."""


@dataclass(frozen=True)
class Isolation:
    """One way to keep a bank apart from what feeds it.

    Attributes: ``kind``; ``drop`` at the idle current, by which the bank is less full; ``needed`` capacitance then;
    ``heat`` while the converter gives all it can, and on average; ``leakage`` backwards when hot; ``kept``, the time in
    which that brings the bank from full to the lowest voltage with the converter off (0 without a diode: it feeds back).
    """

    kind: str
    drop: Volts[float]
    needed: Farads[float]
    heat: Annotated[float, Unit("W", "heat in a burst")]
    mean: Annotated[float, Unit("W", "mean heat", "mean_heat")]
    leakage: Annotated[float, Unit("A", "leakage when hot")]
    kept: Annotated[float, Unit("s", "bank kept for")]


def isolation(
    diode: Diode, *, idle: float, most: float, mean: float, hot: float, sag: float, needed: Callable[[float], float]
) -> Isolation:
    """What a diode does to a bank.

    Parameters: ``idle``, ``most`` and ``mean`` current through it [A]; ``hot`` [K]; ``sag`` allowed without it [V];
    ``needed``: capacitance [F] for a drop [V], inf where none is enough.
    """
    drop, leakage = diode.drop(idle) if diode.ohms else 0.0, diode.leakage_at(hot)
    farads = needed(drop)
    kept = farads * (sag - drop) / leakage if math.isfinite(farads) and math.isfinite(leakage) else 0.0
    flows = 1.0 if diode.ohms else 0.0
    return Isolation(
        diode.kind, drop, farads, flows * diode.drop(most) * most, flows * diode.drop(mean) * mean, leakage, kept
    )
