"""What is above the numbers of a recording: settings by key, names of the columns, and their units."""

from __future__ import annotations

import re
from dataclasses import dataclass

from filterlib.errors import QuantityError, refused
from filterlib.parts.curves.rows import Rows, is_number, name_and_unit, refuse_broken_rows
from filterlib.units import quantity

DIVISIONS = 8
"""Vertical divisions of the screen, where a file gives volts per division alone; common practice, no source."""

_KEYS = {
    "sample_interval": "sample interval|sampling interval|sample period|sample time|time step|interval|increment|dt",
    "sample_rate": "sample rate|sampling rate|sampling frequency|sample frequency",
    "start": "start time|first sample|time of first sample|start",
    "probe_factor": "probe factor|probe attenuation|probe ratio|probe|attenuation",
    "coupling": "coupling|input coupling|channel coupling",
    "bandwidth": "bandwidth limit|bandwidth|bw limit",
    "full_scale": "full scale|vertical range|input range|range",
    "per_division": "volts per division|volts/div|vertical scale|v/div|scale",
    "offset": "vertical offset|offset",
    "samples": "samples|number of samples|record length|points|number of points",
    "load_current": "load current|output current",
    "input_voltage": "input voltage|supply voltage",
    "channel": "channel|channels|source|trace",
    "time_unit": "time unit|horizontal unit|horizontal units",
    "volt_unit": "voltage unit|vertical unit|vertical units",
}
_KEY_OF = {name: key for key, names in _KEYS.items() for name in names.split("|")}
MOST_VALUES, LONGEST_VALUE = 100, 200  # of a setting: values, and characters of each
FREE = re.compile(r"full|off|none|no limit|unlimited", re.IGNORECASE)
_SPELLED = {"volt": "V", "volts": "V", "millivolt": "mV", "millivolts": "mV", "sec": "s", "second": "s"}
_SPELLED |= {"seconds": "s", "msec": "ms", "usec": "us", "nsec": "ns"}
_UNIT = r"(?:[fpnuµμmkMG]?(?:V|s)|volts?|millivolts?|sec|seconds?|[mun]sec)"
_TIME = re.compile(r"(time|t|seconds?|x)", re.IGNORECASE)
_CHANNEL = re.compile(r"(ch|channel|chan|trace|input|u|v)[ _]?\w?\d*", re.IGNORECASE)
_INDEX = re.compile(r"(sample|samples|index|point|no|n|#)\.?", re.IGNORECASE)


@dataclass(frozen=True)
class Column:
    """``name`` as written, ``unit`` as written or "" where none is, and the line of that (0: none)."""

    name: str
    unit: str = ""
    line: int = 0

    @property
    def is_time(self) -> bool:
        return bool(_TIME.fullmatch(self.name)) or bool(self.unit and _is(self.unit, "s"))

    @property
    def is_index(self) -> bool:
        return bool(_INDEX.fullmatch(self.name)) and not self.unit

    def factor(self, unit: str, file: str) -> float:
        """What a number of this column is multiplied with to be in V or s. Raises InputError for an unknown unit."""
        try:
            return quantity(f"1 {_SPELLED.get(self.unit.lower(), self.unit)}", unit)
        except QuantityError as error:
            raise refused(file, f"the unit of a column: {error.why}", self.line, self.unit) from None


@dataclass(frozen=True)
class Setting:
    """One key of the preamble: ``values`` as written (one, or one for each channel), and its line."""

    values: tuple[str, ...]
    line: int


def settings(rows: Rows) -> dict[str, Setting]:
    """The settings whose key is known, by the names of `_KEYS`; a key that occurs twice with different values is refused."""
    stated: dict[str, Setting] = {}
    for line, text in rows.preamble:
        key, values = _key_and_values(text, rows)
        if not values:
            continue
        if key in stated and stated[key].values != values:
            raise refused(rows.file, f"this was said before, otherwise, in line {stated[key].line}", line, text.strip())
        stated[key] = Setting(values, line)
    return stated


def _key_and_values(text: str, rows: Rows) -> tuple[str, tuple[str, ...]]:
    """A known key and its values, or two empty ones."""
    fields = [field for field in rows.fields(text) if field]
    if fields and not is_number(fields[0]):
        fields = [*_at_colon(fields[0]), *fields[1:]]
    if len(fields) > MOST_VALUES or any(len(field) > LONGEST_VALUE for field in fields):
        return "", ()
    name, unit = name_and_unit(fields[0].strip("#: "), _UNIT) if fields else ("", "")
    key = _KEY_OF.get(fields[0].strip("#: ").casefold() if fields else "") or _KEY_OF.get(name.casefold())
    if key is None or len(fields) < 2:
        return "", ()
    values = [_pointed(field, rows) for field in fields[1:]]
    return key, _joined(values, unit)


def _at_colon(field: str) -> list[str]:
    """Key and value of "key: value" or "key = value"; the field itself where it is neither."""
    at = min((place for sign in ":=" if (place := field.find(sign)) > 0), default=0)
    key, value = field[:at].strip(" #"), field[at + 1 :].strip()
    return [key, value] if key and value else [field]


def _pointed(field: str, rows: Rows) -> str:
    number = re.match(r"[+-±]*[\d,]+", field)
    return field.replace(",", ".") if rows.decimal == "," and number else field


def _joined(values: list[str], unit: str) -> tuple[str, ...]:
    """A bare number takes the unit that follows it, or else the one of its key."""
    joined: list[str] = []
    for value in values:
        if joined and is_number(joined[-1]) and not re.search(r"\d", value):
            joined[-1] += f" {value}"
        else:
            joined.append(value)
    return tuple(f"{value} {unit}".strip() if is_number(value) else value for value in joined)


def columns(rows: Rows) -> tuple[Column, ...]:
    """The columns as the header names them, with empty names where there is none.

    Raises InputError for a line above the numbers that is a broken row, and for a header of another width.
    """
    refuse_broken_rows(rows)
    line, header, below = _header(rows)
    count = rows.values.shape[1]
    header_columns = (
        [Column(*name_and_unit(field, _UNIT), line) for field in rows.fields(header)] if line else [Column("")] * count
    )
    if len(header_columns) != count:
        raise refused(
            rows.file, f"{count} columns, and the header in line {line} names {len(header_columns)}", rows.line(0)
        )
    for at, text in below:
        units = rows.fields(text)
        if len(units) != count or not all(not unit or _any_unit(unit) for unit in units):
            raise refused(rows.file, "neither a row of numbers nor one of units", at, text.strip())
        pairs = zip(header_columns, units, strict=True)
        header_columns = [Column(one.name, unit.strip("[]() ") or one.unit, at) for one, unit in pairs]
    return tuple(header_columns)


def _header(rows: Rows) -> tuple[int, str, list[tuple[int, str]]]:
    """The line that names the columns, 0 where none does, its text, and the lines between it and the numbers."""
    count = rows.values.shape[1]
    titles = [(at, line, text) for at, (line, text) in enumerate(rows.preamble) if _may_name(text, rows)]
    for at, line, text in titles:
        first = Column(*name_and_unit(rows.fields(text)[0], _UNIT))
        if first.is_time or first.is_index or _CHANNEL.fullmatch(first.name) or (first.unit and _is(first.unit, "V")):
            return line, text, list(rows.preamble[at + 1 :])
    if titles and titles[-1][0] == len(rows.preamble) - 1 and len(rows.fields(titles[-1][2])) == count:
        return titles[-1][1], titles[-1][2], []
    return 0, "", []


def _may_name(text: str, rows: Rows) -> bool:
    fields = rows.fields(text)
    wide = len(fields) > 1 or rows.values.shape[1] == 1
    return wide and not _key_and_values(text, rows)[1] and not any(is_number(field) for field in fields)


def _any_unit(text: str) -> bool:
    unit = name_and_unit(text, _UNIT)[1] or text.strip("[]() ")
    return _is(unit, "s") or _is(unit, "V")


def _is(unit: str, base: str) -> bool:
    try:
        return quantity(f"1 {_SPELLED.get(unit.lower(), unit)}", base) > 0
    except QuantityError:
        return False
