"""Pulses and fuses, stored charge and energy beside published limits, and the resistor that takes the charge away."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import InUnit, Volts
from filterlib.errors import FilterlibError

__all__ = ["LIMITS", "SHAPES", "Limit", "bleeder", "melting_needed", "pulse_heat", "withstand"]
_PULSES = ((100.0, 0.48), (1e3, 0.38), (1e4, 0.29), (1e5, 0.22))
"""Pulses, and the share of the nominal melting I2t that each may have, at least 10 s between them: a fuse maker's catalogue."""


SHAPES = {"rectangle": 1.0, "half sine": 1 / 2, "exponential": 1 / 2, "triangle": 1 / 3, "square law": 1 / 5}
"""I2t of a pulse over its peak squared times its length; of an exponential its time constant. "square law": i = k t^2."""


@dataclass(frozen=True)
class Limit:
    """A published limit of what may be touched: a ``value`` in ``unit``, charge [C], capacitance [F] or energy [J], and where it is from.

    ``above``: the voltage [V] from which it is asked.
    """

    unit: str
    value: InUnit[float]
    source: str
    above: Volts[float] = 0.0


LIMITS = (
    Limit("C", 60e-6, "IEC 60204-1, 6.2.4: plugs that are exposed (read second-hand)"),
    Limit("C", 45e-6, "IEC 61010-1, above its voltage limits (read second-hand)"),
    Limit("F", 0.1e-6, "household appliances, 42.4 V to 450 V (read second-hand)", 42.4),
    Limit("C", 45e-6, "household appliances, 450 V to 15 kV (read second-hand)", 450.0),
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


def pulse_heat(shape: str, peak: float, seconds: float, base: float = 0.0) -> float:
    """I2t [A2s] of one pulse of a ``peak`` [A] and a length [s]; a "trapezoid" goes from ``base`` [A] to the peak.

    Source: Littelfuse, Fuse characteristics, catalogue page 12 (2017).

    Raises
    ------
    FilterlibError
        For another shape, with the valid ones.

    Examples
    --------
    >>> round(pulse_heat("square law", 8.0, 4e-3), 4)
    0.0512
    """
    if shape == "trapezoid":
        return (peak**2 + peak * base + base**2) / 3 * seconds
    if shape not in SHAPES:
        raise FilterlibError(f'no pulse of the shape "{shape}"; valid: trapezoid, {", ".join(SHAPES)}')
    return SHAPES[shape] * peak**2 * seconds


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
