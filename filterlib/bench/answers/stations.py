"""Where and how a reading was taken: place, band and operating point, as a person writes them on one line."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.ripple.ripple_result import bands
from filterlib.bench.answers.answers_result import BARE, Station
from filterlib.errors import FilterlibError, did_you_mean
from filterlib.system.design import Design
from filterlib.system.line.clip import TERMINALS
from filterlib.units import quantity


def named_station(design: Design, place: str | None, point: str | None, band: str = "20MHz") -> Station:
    """The station of a place and a point: the first load, and the first operating point, unless given.

    Raises: FilterlibError for a name that the design has not, with the nearest one.
    """
    places = [*(load.name for load in design.loads), TERMINALS]
    points, labelled = _points(design), {one.label: one for one in bands(design)}
    chosen = place or places[0], band, point or points[0]
    for what, given, known in zip(
        ("place", "band", "operating point"), chosen, (places, labelled, (*points, BARE)), strict=True
    ):
        if given not in known:
            raise FilterlibError(f'no {what} "{given}" in the design; {did_you_mean(given, known)}')
    return Station(chosen[0], labelled[chosen[1]], chosen[2])


def station_and_figure(design: Design, line: str) -> tuple[Station, float]:
    """A reading as a person writes it, "modem 20MHz 4.8 mV" or "modem 20MHz listening 4.8 mV": where, and how many volts.

    Raises: FilterlibError that says what is missing, or which name the design has not.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> station, volts = station_and_figure(design, "modem 20 MHz listening 4.8 mV")
    >>> station.name, volts
    ('modem 20MHz listening', 0.0048)
    """
    rest = " ".join(line.replace("20 MHz", "20MHz").split())
    place, rest = _first_of([*(load.name for load in design.loads), TERMINALS], rest, line, "the place")
    band, rest = _first_of([one.label for one in bands(design)], rest, line, "the band")
    points = [*_points(design), BARE]
    point = next((one for one in points if rest.lower().startswith(f"{one.lower()} ")), None)
    figure = rest[len(point) :] if point else rest
    volts = quantity(figure.strip(), "V", low=0.0, high=1e3, name=f'reading "{line}"')
    return named_station(design, place, point, band), volts


def _first_of(known: Iterable[str], text: str, line: str, what: str) -> tuple[str, str]:
    """The name that a text begins with, the longest that fits, and the text behind it."""
    names = sorted(known, key=len, reverse=True)
    found = next((one for one in names if text.lower().startswith(f"{one.lower()} ")), None)
    if found is None:
        begun = text.split(" ", 1)[0]
        raise FilterlibError(
            f'reading "{line}": {what} is needed here, and "{begun}" is none; {did_you_mean(begun, names)}. '
            'Written as "modem 20MHz 4.8 mV"'
        )
    return found, text[len(found) + 1 :]


def _points(design: Design) -> tuple[str, ...]:
    return tuple(point.name for point in design.operating_points)
