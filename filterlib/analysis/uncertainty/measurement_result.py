"""Which measurement would narrow an interval, and by how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Farads, Unit

INSIDE = "inside"
LEAST = 0.01  # share of the interval, in decibels, that a measurement must take away to be worth its while
TELLS = (0.3, 10.0)
"""Impedance of the added capacitor over that inside, within which the reading with it tells: common practice, no source."""
LEAST_MOVE = 0.05
"""Share by which a reading must move at least to tell: less is supply, temperature and scope; common practice, no source."""


@dataclass(frozen=True)
class Measurement:
    """One measurement, and the interval if it proved its uncertain parameters to be as assumed.

    ``keys`` of the uncertain parameters that it settles; ``low``, ``high``: the figure's interval then; ``narrows``: share of the
    interval, in decibels, that it takes away, 0 to 1.
    """

    name: str
    keys: tuple[str, ...]
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    narrows: Annotated[float, Unit("", key="*_ratio")]

    @property
    def ratio(self) -> float:
        """High over low."""
        return self.high / self.low


@dataclass(frozen=True)
class MeasurementValues:
    """What would narrow the interval of the ripple at ``load`` in the band ``label``, at one operating point.

    ``low``, ``high``: the interval as it is; ``measurements``: the one that narrows it most first; ``capacitor``: the one
    to put across the terminals, where the converter's inside is uncertain. No measurements: no uncertain parameter moves it.
    """

    point: str
    load: str
    label: str
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    measurements: tuple[Measurement, ...] = ()
    capacitor: AddedCapacitor | None = None


@dataclass(frozen=True)
class AddedCapacitor:
    """A capacitor to put across the terminals for a second reading of the ripple.

    ``capacitance``, as it is at the output voltage, with the ESR and ESL of `USUAL`; ``orders``: harmonics at
    which it helps (see `TELLS`) over most of the uncertainty inside. ``bare``, ``loaded``: peak to peak that the
    stated arrangement reads without and with it, nominal; ``low``, ``high``: reading with it over the uncertainty
    inside. ``too_small``: the largest preferred value that moves the first harmonic by less than `LEAST_MOVE`, namely
    by ``too_small_moves``; NaN where every value moves it more. ``name``: of the filter's own capacitor that it is, or "".
    """

    capacitance: Farads[float]
    orders: tuple[int, ...]
    bare: Annotated[float, Unit("V", key="*_pp")]
    loaded: Annotated[float, Unit("V", key="*_pp")]
    low: Annotated[float, Unit("V", key="loaded_pp_low")]
    high: Annotated[float, Unit("V", key="loaded_pp_high")]
    too_small: Farads[float]
    too_small_moves: Annotated[float, Unit("", key="*_ratio")]
    name: str = ""
