"""Pulses and fuses, stored charge and energy beside published limits, and the resistor that takes the charge away."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import InUnit
from filterlib.errors import FilterlibError

__all__ = ["LIMITS", "Limit", "bleeder", "melting_needed", "withstand"]
_PULSES = ((100.0, 0.48), (1e3, 0.38), (1e4, 0.29), (1e5, 0.22))
"""Pulses, and the share of the nominal melting I2t that each may have, at least 10 s between them: a fuse maker's catalogue."""


@dataclass(frozen=True)
class Limit:
    """A published limit of what may be touched: a ``value`` in ``unit``, charge [C] or energy [J], and where it is from."""

    unit: str
    value: InUnit[float]
    source: str


LIMITS = (
    Limit("C", 60e-6, "IEC 60204-1, 6.2.4: plugs that are exposed (read second-hand)"),
    Limit("C", 45e-6, "IEC 61010-1, above its voltage limits (read second-hand)"),
    Limit("J", 20.0, "hazardous energy in equipment for information technology (from memory)"),
)


def withstand(pulses: float) -> float:
    """Share of a fuse's nominal melting I2t that each of so many pulses may have; between the points by their logarithm.

    Raises
    ------
    FilterlibError
        For more pulses than the catalogue has: 100,000.

    >>> withstand(1e4), round(withstand(3162.2776601684), 3)
    (0.29, 0.335)
    """
    if not 0 < pulses <= _PULSES[-1][0]:
        raise FilterlibError(f"{pulses:g} pulses: the catalogue's curve ends at {_PULSES[-1][0]:g}")
    counts, shares = zip(*_PULSES, strict=True)
    return float(np.interp(math.log10(pulses), np.log10(counts), shares))


def melting_needed(pulse: float, pulses: float) -> float:
    """Nominal melting I2t [A2s] that a fuse needs for so many pulses of ``pulse`` [A2s]."""
    return pulse / withstand(pulses)


def bleeder(farads: float, volts: float, safe: float, seconds: float) -> tuple[float, float]:
    """Resistance [ohm] that brings a bank from ``volts`` to ``safe`` within ``seconds``, and the power it takes [W] all the time.

    Raises FilterlibError for a safe voltage that is not below the first, and for what is not above zero.

    >>> ohms, watts = bleeder(30e-3, 28.0, 10.0, 30.889)    # by hand: t = R C ln(28 / 10)
    >>> round(ohms), round(watts, 3)
    (1000, 0.784)
    """
    if not (farads > 0 and 0 < safe < volts and seconds > 0):
        raise FilterlibError(
            f"from {volts:g} V to {safe:g} V in {seconds:g} s: a lower voltage and a time above zero are right"
        )
    ohms = seconds / (farads * math.log(volts / safe))
    return ohms, volts**2 / ohms
