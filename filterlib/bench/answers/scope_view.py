"""What a scope with its lead would show of a design, beside what is there: the ground lead's ring, and an earthed clip."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.bench.clipped import clipped
from filterlib.analysis.described import Unit
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stability.stability import stability
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.answers.stations import BARE, Station
from filterlib.errors import FilterlibError
from filterlib.network.extremes import peak_to_peak
from filterlib.system.design import Design
from filterlib.system.solution import solve

FOOLED = 0.1  # share by which a reading is off, from which on it is said


@dataclass(frozen=True)
class ScopeView:
    """Peak to peak at a ``station``, of the design's nominal values.

    ``there``: what the load sees; ``short``, ``long``: what the scope shows with the shortest and the longest ground lead of its
    `ScopeErrors`; ``clipped``: an earthed one, its clip on the return; ``own_clip``: the same, its tip on its own clip. The last two
    are NaN where that makes no steady state.
    """

    station: Station
    there: Annotated[float, Unit("V", "there", "there_pp")]
    short: Annotated[float, Unit("V", "shortest ground lead", "short_lead_pp")]
    long: Annotated[float, Unit("V", "longest ground lead", "long_lead_pp")]
    clipped: Annotated[float, Unit("V", "earthed, clip on the return", "clipped_pp")] = np.nan
    own_clip: Annotated[float, Unit("V", "tip on its own clip", "own_clip_pp")] = np.nan

    @property
    def fooled(self) -> bool:
        """Whether any of these ways of reading is off by more than `FOOLED`."""
        read = np.array([self.short, self.long, self.clipped])
        return bool(np.nanmax(np.abs(read / self.there - 1)) > FOOLED)


def scope_views(design: Design, stations: Iterable[Station], scope: ScopeErrors) -> tuple[ScopeView, ...]:
    """What a scope would show at each station behind the converter, in their order; nothing where the circuit is unstable.

    Validity: the probe as in `ScopeErrors.response`; one earthed scope with the usual clip lead and way to earth.

    >>> import filterlib
    >>> from filterlib.bench.answers.stations import named_station
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-brick.toml")
    >>> found = scope_views(design, [named_station(design, "logger", None, "full")], ScopeErrors())[0]
    >>> found.clipped > 1.5 * found.there, found.fooled
    (True, True)
    """
    several = [one for one in dict.fromkeys(stations) if one.point != BARE]
    found = []
    for point in dict.fromkeys(one.point for one in several):
        solution = solve(design, point)
        if stability(solution).stable is False:
            continue
        there = spectra(solution)
        for station in (one for one in several if one.point == point):
            wave = there.whole(station.place) * station.band.response(there.frequencies)
            short, long = (float(peak_to_peak(wave * scope.response(there.frequencies, one))) for one in scope.lead)
            found.append(ScopeView(station, float(peak_to_peak(wave)), short, long, *_earthed(design, station)))
    return tuple(sorted(found, key=lambda one: several.index(one.station)))


def _earthed(design: Design, station: Station) -> tuple[float, float]:
    """What an earthed scope shows, and with its tip on its own clip."""
    try:
        result = clipped(design, station.place, point=station.point)
    except FilterlibError:
        return np.nan, np.nan
    figures = result.figures.get(station.band.label)
    return (figures.shown, figures.own_clip) if figures else (np.nan, np.nan)
