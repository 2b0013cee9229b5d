"""What is known of one part, and of the parts of a table, as tables and as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from filterlib.analysis.linear.frequency_response import at_frequency
from filterlib.analysis.linear.part_curves import Impedance, PartCurve, PartResult
from filterlib.parts.base import Part
from filterlib.parts.constant_phase import LADDER_BAND
from filterlib.parts.curves.one_port_fit import FittedCurve
from filterlib.parts.fields import Field
from filterlib.show.numbers import Section
from filterlib.show.table import Column, Row, Table, table
from filterlib.units import format_quantity, format_temperature
from filterlib.words.quantities import number

FORMAT = 1  # of part.json; raised whenever a key changes its name or its meaning
DECADES = (1e3, 1e4, 1e5, 1e6, 1e7, 1e8)  # [Hz] at which impedances are listed
EXACT = 1e-6  # difference of impedance and ladder that is rounding, and no approximation
_HOUR = 3600.0


def list_table(parts: Mapping[str, Part], title: str) -> Table:
    """The parts of a table, one a row."""
    return table(
        f"{title}: {len(parts)} parts",
        parts.items(),
        ("Name", lambda item: item[0]),
        ("Kind", lambda item: item[1].kind.replace("_", " ")),
        ("Values", lambda item: _short(item[1])),
    )


def _short(part: Part) -> str:
    described = [f"{label} {text}" for label, text in part.describe().items() if label not in ("name", "kind", "note")]
    return ", ".join(described[:3])


def part_tables(result: PartResult) -> tuple[Table, ...]:
    """Tables of a `PartResult`: its values, its impedance, its equivalent circuit, its curves."""
    name = result.part.name or result.part.kind
    tables = [
        Table(f"{name} in short", ("", ""), tuple(result.part.describe().items())),
        Table(f"Values of {name}", ("", "", ""), tuple(_values(result))),
    ]
    tables += [_impedances(result, mode) for mode in result.modes]
    if result.impedances:
        tables.append(_faces(result))
    if result.curves:
        rows = tuple(_curve(curve) for curve in result.curves)
        tables.append(Table("Curves", ("What", "Over", "From", "To", "Value there", "and there"), rows))
    return tuple(tables)


def _values(result: PartResult) -> Iterator[Row]:
    for field in result.fields:
        words = field.name.replace("_", " ").replace("esr", "ESR").replace("esl", "ESL")
        yield words, field_text(field), "" if field.stated else "default"


def field_text(field: Field) -> str:
    """The value of a field with its unit; a curve by its ends.

    >>> from filterlib.parts.fields import Field
    >>> field_text(Field("rated_life", 1.8e7, "s", False, True)), field_text(Field("awg", 24, None, False, True))
    ('5000 h', '24')
    """
    if field.unit is None:
        words = {True: "yes", False: "no"}
        return words[field.value] if isinstance(field.value, bool) else " ".join(str(field.value).split())[:200]
    if field.curve:
        (first, low), (last, high) = field.value[0], field.value[-1]
        ends = f"{in_unit(first, field.unit)} to {in_unit(last, field.unit)}"
        return f"{low:.3g} to {high:.3g} over {ends}, {len(field.value)} points"
    values = np.ravel(field.value)
    return " to ".join(dict.fromkeys(in_unit(float(end), field.unit) for end in (values.min(), values.max())))


def in_unit(value: float, unit: str) -> str:
    """A value with its unit: temperatures in degrees, long times in hours."""
    if unit == "K":
        return format_temperature(value)
    if unit == "s" and value >= _HOUR:
        return f"{value / _HOUR:.6g} h"
    return format_quantity(value, unit, 4)


def _impedances(result: PartResult, mode: str) -> Table:
    return table(
        f"Impedance, magnitude{f', {mode}' if mode else ''}",
        [one for one in result.impedances if one.mode == mode],
        ("At", lambda one: one.words or "no bias, no current, 20 °C"),
        *(_spot(result, at) for at in DECADES),
    )


def _spot(result: PartResult, at: float) -> Column[Impedance]:
    def cell(one: Impedance) -> str:
        return number(at_frequency(result.frequencies, np.abs(one.exact), at), "ohm")

    return format_quantity(at, "Hz"), cell


def _faces(result: PartResult) -> Table:
    low, high = (format_quantity(end, "Hz") for end in LADDER_BAND)
    return table(
        "Equivalent circuit: the R-L-C ladder used for poles and time, compared with the impedance",
        result.impedances,
        ("Way through it", lambda one: one.mode or "the part"),
        ("Condition", lambda one: one.words or "none"),
        (f"Ladder against impedance, {low} to {high}", lambda one: _difference(result, one)),
    )


def _difference(result: PartResult, one: Impedance) -> str:
    largest = result.difference(one)
    if largest is None:
        return "no ladder: no poles with this part"
    return "the same" if largest < EXACT else f"{number(100 * largest, '', 2)} % at most"


def _curve(curve: PartCurve) -> Row:
    ends = [in_unit(float(curve.x[end]), curve.x_unit) for end in (0, -1)]
    values = [in_unit(float(curve.y[end]), curve.unit) for end in (0, -1)]
    return (curve.label, curve.against, *ends, *values)


def part_numbers(result: PartResult) -> Section:
    """The same for other programs; magnitudes and phases over frequency as arrays, unit at the end of each key."""
    return {
        "name": result.part.name,
        "kind": result.part.kind,
        "note": result.part.note,
        "described": result.part.describe(),
        "values": {
            f"{field.name}_{_ending(field.unit)}" if field.unit else field.name: field.value
            for field in result.fields
            if field.unit is not None and not field.curve
        },
        "remark": result.remark,
        "measured": _measured_numbers(getattr(result.part, "measurement", None)),
        "impedance": {
            "frequency_Hz": result.frequencies,
            "curves": [_impedance_numbers(result, one) for one in result.impedances],
        },
        "curves": [
            {"what": c.label, "unit": c.unit, "over": c.against, "over_unit": c.x_unit, "x": c.x, "y": c.y}
            for c in result.curves
        ],
    }


def _measured_numbers(fitted: FittedCurve | None) -> Section | None:
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
        "largest_resistance_error_dB": fitted.resistance_error[0],
        "largest_resistance_error_frequency_Hz": fitted.resistance_error[1],
    }


def _ending(unit: str) -> str:
    return unit.replace("/", "_per_")


def _impedance_numbers(result: PartResult, one: Impedance) -> Section:
    return {
        "mode": one.mode,
        "condition": one.words,
        "magnitude_ohm": np.abs(one.exact),
        "phase_deg": np.degrees(np.angle(one.exact)),
        "ladder_magnitude_ohm": None if one.ladder is None else np.abs(one.ladder),
        "largest_difference": result.difference(one),
    }
