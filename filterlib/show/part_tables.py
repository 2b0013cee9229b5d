"""What is known of one part, and of the parts of a table, as tables and as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from filterlib.parts.constant_phase import LADDER_BAND
from filterlib.show.results import at_frequency
from filterlib.show.tables import Row, Table
from filterlib.units import format_quantity, format_temperature
from filterlib.words.quantities import number

FORMAT = 1  # of part.json; raised whenever a key changes its name or its meaning
DECADES = (1e3, 1e4, 1e5, 1e6, 1e7, 1e8)  # [Hz] at which impedances are listed
EXACT = 1e-6  # difference of impedance and ladder that is rounding, and no approximation
_HOUR = 3600.0


def list_table(table: Mapping[str, Any], title: str) -> Table:
    """The parts of a table, one a row."""
    rows = tuple((name, part.kind.replace("_", " "), _short(part)) for name, part in table.items())
    return Table(f"{title}: {len(rows)} parts", ("Name", "Kind", "Values"), rows)


def _short(part: Any) -> str:
    described = [f"{label} {text}" for label, text in part.describe().items() if label not in ("name", "kind", "note")]
    return ", ".join(described[:3])


def part_tables(found: Any) -> tuple[Table, ...]:
    """Tables of a `PartResult`: its values, its impedance, its equivalent circuit, its curves."""
    name = found.part.name or found.part.kind
    made = [
        Table(f"{name} in short", ("", ""), tuple(found.part.describe().items())),
        Table(f"Values of {name}", ("", "", ""), tuple(_values(found))),
    ]
    made += [_impedances(found, mode) for mode in found.modes]
    if found.impedances:
        made.append(_faces(found))
    if found.curves:
        rows = tuple(_curve(curve) for curve in found.curves)
        made.append(Table("Curves", ("What", "Over", "From", "To", "Value there", "and there"), rows))
    return tuple(made)


def _values(found: Any) -> Iterator[Row]:
    for field in found.fields:
        words = field.name.replace("_", " ").replace("esr", "ESR").replace("esl", "ESL")
        yield words, field_text(field), "" if field.stated else "default"


def field_text(field: Any) -> str:
    """The value of a field with its unit; a curve by its ends.

    >>> from filterlib.parts.fields import Field
    >>> field_text(Field("rated_life", 1.8e7, "s", False, True)), field_text(Field("awg", 24, None, False, True))
    ('5000 h', '24')
    """
    if field.curve:
        (first, low), (last, high) = field.value[0], field.value[-1]
        ends = f"{in_unit(first, field.unit)} to {in_unit(last, field.unit)}"
        return f"{low:.3g} to {high:.3g} over {ends}, {len(field.value)} points"
    if field.unit is None:
        words = {True: "yes", False: "no"}
        return words[field.value] if isinstance(field.value, bool) else " ".join(str(field.value).split())[:200]
    values = np.ravel(field.value)
    return " to ".join(dict.fromkeys(in_unit(float(end), field.unit) for end in (values.min(), values.max())))


def in_unit(value: float, unit: str) -> str:
    """A value with its unit: temperatures in degrees, long times in hours."""
    if unit == "K":
        return format_temperature(value)
    if unit == "s" and value >= _HOUR:
        return f"{value / _HOUR:.6g} h"
    return format_quantity(value, unit, 4)


def _impedances(found: Any, mode: str) -> Table:
    shown = [one for one in found.impedances if one.mode == mode]
    rows = tuple(
        (
            one.words or "no bias, no current, 20 °C",
            *(number(at_frequency(found.frequencies, np.abs(one.exact), at), "ohm") for at in DECADES),
        )
        for one in shown
    )
    head = ("At", *(format_quantity(at, "Hz") for at in DECADES))
    return Table(f"Impedance, magnitude{f', {mode}' if mode else ''}", head, rows)


def _faces(found: Any) -> Table:
    rows = tuple((one.mode or "the part", one.words or "none", _difference(found, one)) for one in found.impedances)
    low, high = (format_quantity(end, "Hz") for end in LADDER_BAND)
    head = ("Way through it", "Condition", f"Ladder against impedance, {low} to {high}")
    return Table(
        "Equivalent circuit: the R-L-C ladder used for poles and time, compared with the impedance", head, rows
    )


def _difference(found: Any, one: Any) -> str:
    largest = found.difference(one)
    if largest is None:
        return "no ladder: no poles with this part"
    return "the same" if largest < EXACT else f"{number(100 * largest, '', 2)} % at most"


def _curve(curve: Any) -> Row:
    ends = [in_unit(float(curve.x[end]), curve.x_unit) for end in (0, -1)]
    values = [in_unit(float(curve.y[end]), curve.unit) for end in (0, -1)]
    return (curve.label, curve.against, *ends, *values)


def part_numbers(found: Any) -> dict[str, Any]:
    """The same for other programs; magnitudes and phases over frequency as arrays, unit at the end of each key."""
    return {
        "name": found.part.name,
        "kind": found.part.kind,
        "note": found.part.note,
        "described": found.part.describe(),
        "values": {
            f"{field.name}_{_ending(field.unit)}" if field.unit else field.name: field.value
            for field in found.fields
            if field.unit is not None and not field.curve
        },
        "remark": found.remark,
        "measured": _measured_numbers(getattr(found.part, "measurement", None)),
        "impedance": {
            "frequency_Hz": found.frequencies,
            "curves": [_impedance_numbers(found, one) for one in found.impedances],
        },
        "curves": [
            {"what": c.label, "unit": c.unit, "over": c.against, "over_unit": c.x_unit, "x": c.x, "y": c.y}
            for c in found.curves
        ],
    }


def _measured_numbers(fitted: Any) -> dict[str, Any] | None:
    """Of a measured part: its curve, and how far its network is from it; phases only where they were measured."""
    if fitted is None:
        return None
    curve = fitted.curve
    return {
        "frequency_Hz": curve.frequencies,
        "magnitude_ohm": curve.magnitude,
        "phase_deg": np.degrees(np.angle(curve.impedance)) if curve.has_phase else None,
        "error_dB": fitted.errors,
        "largest_error_dB": fitted.largest_error,
        "rms_error_dB": fitted.rms_error,
    }


def _ending(unit: str) -> str:
    return unit.replace("/", "_per_")


def _impedance_numbers(found: Any, one: Any) -> dict[str, Any]:
    return {
        "mode": one.mode,
        "condition": one.words,
        "magnitude_ohm": np.abs(one.exact),
        "phase_deg": np.degrees(np.angle(one.exact)),
        "ladder_magnitude_ohm": None if one.ladder is None else np.abs(one.ladder),
        "largest_difference": found.difference(one),
    }
