"""What a scope with its lead would show of a design, beside what is there: the ground lead's ring, and an earthed clip."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from filterlib.analysis.bench.clipped import clipped
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stability.stability import stability
from filterlib.bench.answers.answers_result import BARE, ScopeView, Station
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.errors import FilterlibError
from filterlib.network.extremes import peak_to_peak
from filterlib.system.design import Design
from filterlib.system.solution import solve


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
