"""How large parts usually are, by what they store at their ratings: capacitors by kind, chokes.

Every figure is common practice, no source; good to a factor of two.
"""

from __future__ import annotations

import numpy as np

from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke

ENERGY = {
    "aluminium": 0.3e6,
    "polymer": 0.16e6,
    "ceramic_class_2": 0.4e6,
    "ceramic_class_1": 0.015e6,
    "film": 0.015e6,
}
"""[J/m3] of capacitors at their rated voltage."""
CHOKE = 300.0  # [J/m3] of chokes at their rated current


def usual_volume(part: Capacitor | DifferentialChoke) -> float:
    """Volume of the body [m3].

    >>> part = Capacitor(kind="aluminium", capacitance="470 µF", rated_voltage="63 V")
    >>> round(usual_volume(part) * 1e6, 1)  # cm3: a can of 12.5 mm by 25 mm
    3.1
    """
    if isinstance(part, Capacitor):
        return float(np.max(part.capacitance * part.rated_voltage**2)) / 2 / ENERGY[part.kind]
    return float(np.max(part.inductance * part.rated_current**2)) / 2 / CHOKE
