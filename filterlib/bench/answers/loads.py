"""At which load and input voltage a reading was taken: stated or read from its file; brought to one load, or refused."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from filterlib.analysis.uncertainty.interval import shapes
from filterlib.bench.answers.answers_result import BARE, Station, Taken
from filterlib.bench.capture.recording import Recording
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.inside.arrangement import AGREES
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.light_load import LIGHT
from filterlib.system.solution import solve
from filterlib.system.sources.source_spectra import reading, source_spectra
from filterlib.units import format_quantity, quantity

ALIKE = 0.05  # share by which currents, or input voltages, may differ and count as one: common practice, no source
_MOST = 2.0  # times the draw of an operating point, up to which a reading is brought there
_AT = re.compile(r"^(?P<reading>.*\S)\s+at\s+(?P<amps>\S+\s*\S*A)\s*$")


def as_taken(recording: Recording, load: float | None = None, fed: float | None = None) -> Taken:
    """What a person states of a capture, or else what its file says.

    Raises: FilterlibError where both say it, and not the same.

    >>> as_taken(Recording(np.zeros(3), 1e-9, load_current=2.0))
    Taken(load_current=2.0, input_voltage=None)
    """
    pairs = (("load current", load, recording.load_current, "A"), ("input voltage", fed, recording.input_voltage, "V"))
    for words, stated, written, unit in pairs:
        if stated is not None and written is not None and not alike(stated, written):
            shown = format_quantity(written, unit), format_quantity(stated, unit)
            raise FilterlibError(f"{recording.file}: its {words} is {shown[0]} in the file, and {shown[1]} is stated")
    return Taken(*(written if stated is None else stated for _, stated, written, _ in pairs))


def alike(one: float, other: float) -> bool:
    """Within `ALIKE`."""
    return abs(one - other) <= ALIKE * abs(other)


def reading_and_current(line: str) -> tuple[str, Taken]:
    """A reading as a person writes it, and the load current behind it.

    Raises: QuantityError for a current that is none.

    >>> reading_and_current("terminals 20MHz bare 80 mV at 2 A")
    ('terminals 20MHz bare 80 mV', Taken(load_current=2.0, input_voltage=None))
    """
    found = _AT.match(line)
    if found is None:
        return line, Taken()
    amps = quantity(found["amps"], "A", low=0.0, high=1e3, name=f'load current of reading "{line}"')
    return found["reading"], Taken(amps)


def at_its_load(design: Design, station: Station, taken: Taken) -> tuple[Design, Station]:
    """The design with an operating point at which a reading was taken, and its station there; both as they are where that is the same.

    Every load's draw is changed by the same share. Raises: FilterlibError where the load is too far from that of the point, or
    another input voltage is stated.

    >>> import filterlib
    >>> from filterlib.bench.answers.stations import named_station
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> at_its_load(design, named_station(design, "modem", "transmitting"), Taken(1.8))[1].name
    'modem 20MHz transmitting at 1.8 A'
    """
    if station.point == BARE or taken == Taken():
        return design, station
    point, amps = design.point(station.point), taken.load_current
    fed = point.input_voltage or design.converter.input_voltage
    if taken.input_voltage is not None and fed is not None and not alike(taken.input_voltage, fed):
        raise FilterlibError(
            f"{station.place}: taken at an input of {format_quantity(taken.input_voltage, 'V')}, and {point.name} has "
            f"{format_quantity(fed, 'V')}: name another operating point, or write one with that input_voltage into the design"
        )
    drawn = {name: float(np.max(i)) for name, i in solve(design, point.name).state.load_currents.items()}
    whole = sum(drawn.values())
    if amps is None or alike(amps, whole) or (station.place in drawn and alike(amps, drawn[station.place])):
        return design, station
    share = amps / whole
    if not LIGHT <= share <= _MOST:
        raise FilterlibError(
            f"{station.place}: taken at {format_quantity(amps, 'A')}, and {point.name} draws {format_quantity(whole, 'A')}: too far "
            "to bring one to the other; name another operating point, or write one into the design"
        )
    name = f"{point.name} at {format_quantity(amps, 'A')}"
    loads = {load.name: share * point.scale(load.name) for load in design.loads}
    if name not in [one.name for one in design.operating_points]:
        moved = point.model_copy(update={"name": name, "loads": loads, "share_of_time": None})
        design = design.replace(operating_points=(*design.operating_points, moved))
    return design, Station(station.place, station.band, name)


def refuse_before(design: Design, taken: Taken, file: str, *, bursts: bool = False) -> None:
    """Raises FilterlibError for a capture of the bare converter that says nothing of the loads of the design; ``bursts`` say it of light ones."""
    full, amps, fed = design.full_current, taken.load_current, design.converter.input_voltage
    if amps is not None and amps < LIGHT * full and not bursts:
        raise FilterlibError(
            f"{file}: taken at {format_quantity(amps, 'A')}, less than a tenth of the {format_quantity(full, 'A')} that the loads draw: "
            "a converter may skip pulses there, and its ripple says nothing of that under load; take it with a load"
        )
    if taken.input_voltage is not None and fed is not None and not alike(taken.input_voltage, fed):
        raise FilterlibError(
            f"{file}: taken at an input of {format_quantity(taken.input_voltage, 'V')}, and the file's converter has "
            f"{format_quantity(fed, 'V')}: take it there, or state converter.input_voltage"
        )


def bare_ripple(design: Design, taken: Taken) -> tuple[float, float, float]:
    """What the bare converter's stated figure [V peak to peak] is at the load of a reading, and between which it may be.

    An inductor's triangle stays as it is and a pulse grows with the current, so where the shape is not stated it is between both.
    """
    ripple, amps = design.converter.ripple, taken.load_current
    stated, at = float(np.max(ripple.peak_to_peak)), ripple.load_current or design.full_current
    found = [stated]
    if amps is not None and not alike(amps, at):
        found = [_reads(one.converter, amps, design.full_current) for one in shapes(design)]
    return float(np.sqrt(min(found) * max(found))), (1 - AGREES) * min(found), (1 + AGREES) * max(found)


def _reads(converter: Converter, amps: float, full: float) -> float:
    """What the arrangement of the stated ripple shows with another current drawn [V peak to peak]."""
    sources = source_spectra(converter, full)
    scaled = replace(sources, ripple=sources.ripple * converter.ripple_scale(amps, full))
    return float(np.max(reading(converter, converter.ripple.model_copy(update={"load_current": amps}), scaled, amps)))
