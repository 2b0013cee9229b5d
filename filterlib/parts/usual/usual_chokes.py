"""What chokes usually have where nothing is stated: saturation, leakage, winding capacitance and the core's loss, each with its range.

Every figure is common practice, no source.
"""

from __future__ import annotations

import numpy as np

from filterlib.parts.values import Stated, Usual, Value


def winding_capacitance(stated: Stated) -> Usual | None:
    """Across the winding of a differential choke [F]: some picofarads, more with more turns; None where a self-resonance says it."""
    if stated["self_resonance"] is not None:
        return None
    return _about(7e-12 * (stated["inductance"] / 10e-6) ** 0.3, 3, 3, "a single layer or a few of them")


def parallel_resistance(stated: Stated) -> Usual:
    """Loss of core and winding of a differential choke, as a resistance across it [ohm]."""
    return _about(4e3 * (stated["inductance"] / 10e-6) ** 0.5, 3, 3, "ferrite and powder cores")


def saturation_current(stated: Stated) -> Usual:
    """DC current [A] that leaves 70 % of a differential choke's inductance, over its rated current."""
    return _about(1.25 * stated["rated_current"], 1.25 / 0.8, 2, "0.8 to 2.5 of the rated current")


def leakage(stated: Stated) -> Usual:
    """Of each winding of a common-mode choke, L - M [H]."""
    return _about(5e-3 * stated["inductance"], 6, 4, "0.1 % (windings side by side) to 2 % (in two sections) of L")


def unbalance(stated: Stated) -> Usual:
    """Unbalanced DC current [A] that leaves 70 % of a common-mode choke's inductance; larger inductances bear less.

    >>> round(unbalance({"inductance": 1e-3}).value, 3)
    0.1
    """
    return _about(0.1 * (1e-3 / stated["inductance"]) ** 0.7, 3, 3, "ring cores of ferrite or nanocrystalline ribbon")


def relaxation_frequency(stated: Stated) -> Usual:
    """Frequency [Hz] above which a common-mode choke's core is a resistance rather than an inductance."""
    why = "nanocrystalline ribbon some 50 kHz, manganese-zinc ferrite 1 MHz, nickel-zinc 10 MHz"
    return _about(1e6, 20, 10, why)


def turns_capacitance(stated: Stated) -> Usual:
    """Across each winding of a common-mode choke [F]."""
    return _about(10e-12, 10 / 3, 3, "a single layer or a few of them")


def _about(value: Value, below: float, above: float, why: str) -> Usual:
    middle = float(np.mean(value))
    return Usual(value, middle / below, middle * above, f"{why} (common practice, no source)")
