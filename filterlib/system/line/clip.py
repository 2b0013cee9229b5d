"""An earthed oscilloscope's clip: a bond of its own while one measures, and what the scope then reads."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from filterlib.network.wiring import Wiring
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.inside.ways import CHASSIS
from filterlib.system.line.load import Load
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

TERMINALS = "terminals"
GROUND = "clip"  # node: where the clip's lead ends, in the probe; what the scope takes as zero
MEASURED, OWN_CLIP = "measured", "tip_on_clip"


class Clip(Model):
    """The clip of a probe on the return at ``place``, "terminals" or a load's name; the scope is earthed to the chassis.

    ``lead_inductance`` [H] of the clip's own lead; ``earth_inductance`` [H] and ``earth_resistance`` [ohm] from the scope
    to the chassis, through probe cable, mains lead and wiring. The scope reads the tip against the end of that lead:
    current through the clip makes a voltage along it, which tip on clip shows alone.
    """

    place: str
    lead_inductance: Annotated[Ranged, RangedQuantity("H", "lead of the scope's clip", low=0, high=1e-5)] = default(
        150e-9, 50e-9, 250e-9, "a clip lead of 15 cm is about 150 nH, a long one more (common practice, no source)"
    )
    earth_inductance: Annotated[Ranged, RangedQuantity("H", "way from the scope to the chassis", low=0, high=1e-4)] = (
        default(2e-6, 0.5e-6, 5e-6, "probe cable and mains lead, a microhenry a metre (common practice, no source)")
    )
    earth_resistance: Annotated[
        Ranged, RangedQuantity("ohm", "resistance from the scope to the chassis", low=0, high=1e6)
    ] = default(0.2, 0.05, 1.0, "protective earth of a bench (common practice, no source)")

    def port(self, loads: Iterable[Load]) -> tuple[str, str]:
        """The two nodes at the place, the terminals or one of the loads: where the tip goes, and where the clip is."""
        return next((load.port for load in loads if load.name == self.place), (PLUS, RETURN))

    def add(self, circuit: Wiring, node: str) -> None:
        """Add the clip's lead from ``node``, the return at the place, and the way from there to the chassis."""
        circuit.inductor("clip.lead", node, GROUND, self.lead_inductance.value)
        circuit.inductor("clip.earth_inductance", GROUND, "clip:x", self.earth_inductance.value)
        circuit.resistor("clip.earth_resistance", "clip:x", CHASSIS, self.earth_resistance.value)

    def readings(self, loads: Iterable[Load]) -> dict[str, tuple[str, str]]:
        """What the scope shows: `MEASURED`, tip on the plus line, and `OWN_CLIP`, tip on its own clip."""
        plus, minus = self.port(loads)
        return {MEASURED: (plus, GROUND), OWN_CLIP: (minus, GROUND)}
