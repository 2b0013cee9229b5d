"""What an instability comes from: a load of constant power against what feeds it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.causes.resonances import Resonance
from filterlib.analysis.described import Hertz, Ohms, Unit
from filterlib.analysis.stability.over_uncertainty import Turn
from filterlib.system.solution import Solution


@dataclass(frozen=True)
class Clash:
    """A load of constant power against what feeds it, in the case that oscillates.

    ``resistance``: what the load is for small changes, negative; ``impedance`` of what feeds it, its own capacitor with it, at
    its peak at ``frequency``: stable while the latter is the smaller of the two (Middlebrook; sufficient, not necessary).
    ``oscillates``: frequency of the oscillation, 0 where it grows without, NaN where the poles are not known; at the operating
    ``point``. ``case``: the values that make it, () where the nominal ones do; ``solution`` with all values of that case.
    """

    load: str
    resistance: Ohms[float]
    impedance: Ohms[float]
    frequency: Hertz[float]
    resonance: Resonance
    oscillates: Annotated[float, Unit("Hz", key="oscillates_at")]
    case: tuple[Turn, ...]
    solution: Solution

    @property
    def point(self) -> str:
        """Name of the operating point."""
        return self.solution.point
