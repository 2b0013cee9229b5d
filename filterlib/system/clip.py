"""An earthed oscilloscope's clip: a bond of its own while one measures, and what the scope then reads."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.network.circuit import Circuit
from filterlib.system.chassis import CHASSIS
from filterlib.system.converter import PLUS, RETURN
from filterlib.system.model import Model
from filterlib.system.ranged import Ranged, RangedQuantity, default

if TYPE_CHECKING:
    from filterlib.system.design import Design

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

    def port(self, design: Design) -> tuple[str, str]:
        """The two nodes at the place: where the tip goes, and where the clip is."""
        if self.place == TERMINALS:
            return PLUS, RETURN
        return design.named_load(self.place).port

    def add(self, circuit: Circuit, node: str) -> None:
        """Add the clip's lead from ``node``, the return at the place, and the way from there to the chassis."""
        circuit.inductor("clip.lead", node, GROUND, self.lead_inductance.value)
        circuit.inductor("clip.earth_inductance", GROUND, "clip:x", self.earth_inductance.value)
        circuit.resistor("clip.earth_resistance", "clip:x", CHASSIS, self.earth_resistance.value)

    def readings(self, design: Design) -> dict[str, tuple[str, str]]:
        """What the scope shows: `MEASURED`, tip on the plus line, and `OWN_CLIP`, tip on its own clip."""
        plus, minus = self.port(design)
        return {MEASURED: (plus, GROUND), OWN_CLIP: (minus, GROUND)}


def measured(design: Design, place: str, clip: Clip | None = None) -> Design:
    """The design while an earthed oscilloscope's clip stands on the return at a place.

    Parameters
    ----------
    design : Design
    place : str
        "terminals", or the name of a load.
    clip : Clip, optional
        Another lead and earth than the defaults.

    Returns
    -------
    Design
        With the clip as one more bond; its ripple then has the places `MEASURED` and `OWN_CLIP` beside the others, and at
        ``place`` stands what is truly there while the clip is on.

    Raises
    ------
    FilterlibError
        Where there is no such place, or no chassis (`InputError`).
    """
    places = [TERMINALS, *(load.name for load in design.loads)]
    if place not in places:
        raise FilterlibError(f'no place "{place}"; {did_you_mean(place, places)}')
    return design.replace(clip=Clip(place=place) if clip is None else clip.replace(place=place))
