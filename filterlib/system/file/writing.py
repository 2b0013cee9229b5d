"""A design back into a design file: what `load_design` reads again as the same design; or its converter alone, to be kept."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TypeAlias

import numpy as np
from pydantic import BaseModel

from filterlib.disk import write_text
from filterlib.errors import FilterlibError, QuantityError
from filterlib.parts.base import Curve, Part
from filterlib.parts.curves.measured import MeasuredCapacitor, MeasuredChoke
from filterlib.parts.tables import standard_tables
from filterlib.parts.values import Points
from filterlib.system.design import Design
from filterlib.system.file.kept import NOT_KEPT
from filterlib.system.inside.burst import LoadThreshold
from filterlib.system.inside.control import OutputImpedance
from filterlib.system.inside.converter import Bandwidth, Converter
from filterlib.system.inside.recorded import Recorded
from filterlib.system.limits import LimitFile, standard_limits
from filterlib.system.model import marks
from filterlib.system.ranges.ranged import ENDS, Ranged, RangedQuantity
from filterlib.units import format_hours, format_quantity, format_temperature, quantity

Text: TypeAlias = "str | dict[str, Text] | list[Text]"
"""What is written under a key: text ready for the file, or more of it in a table or a list."""
MOST_DIGITS = 17  # that a float can need
HOUR = 3600.0  # [s] from which a time is written in hours
SECTIONS = ("filter", "load", "operating_point", "requirement", "emission", "coupling", "accepted")


def save_design(design: Design, path: str | Path) -> None:
    """Write a design file, encoded as UTF-8. Raises FilterlibError as `design_toml`, OutputError where it cannot be.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     filterlib.save_design(design, f"{folder}/copy.toml")
    ...     filterlib.load_design(f"{folder}/copy.toml") == design
    True
    """
    write_text(path, design_toml(design))


def design_toml(design: Design) -> str:
    """The text of a design file.

    Defaults are left out, so that they stay defaults with their ranges; a part of the library's tables is written by
    its name, any other with all its values, a measured one and a limit of one's own with the whole path of the file; ``tables`` are left out,
    because the parts are in the file.

    Raises
    ------
    FilterlibError
        Where a value is an array: one file holds one design; where a measured part was changed away from its file; and
        where the converter was recorded: how the recording was read is in the file that names it, so a copy of that
        file is the one to change.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> [line for line in design_toml(design).splitlines() if "lead_i" in line or "power" in line]
    ['lead_inductance = "20 nH ± 50 %"', 'kind = "constant_power"', 'power = "84 W"']
    """
    burst = design.converter.burst
    if design.converter.ripple.recording is not None or (burst is not None and burst.recording is not None):
        why = "a recorded converter is not written: change a copy of the design file that names the recording"
        raise FilterlibError(f"converter.ripple.recording: {why}")
    return _toml(design)


def _toml(design: Design) -> str:
    fields = stated(design)
    fields.pop("tables", None)
    lines = [f"{key} = {value}" for key, value in fields.items() if isinstance(value, str)]
    for name, value in fields.items():
        if isinstance(value, dict):
            lines += _section(f"[{name}]", value, name if name == "converter" else "")
    for name in SECTIONS:
        for entry in fields.get(name, ()):
            lines += _section(f"[[{name}]]", entry, "")
    return "\n".join(lines).strip() + "\n"


def changed_sections(was: Design, now: Design) -> tuple[str, ...]:
    """The sections of a design file that differ, as the second design has them: ready to paste in place of the first one's.

    A new stage says before which one it goes. Raises FilterlibError as `design_toml`, except for a recorded converter.

    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> from filterlib.system.ranges.changes import changed
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> print(*changed_sections(design, changed(design, {"filter.C2.count": 2})))
    [[filter]]
    name = "C2"
    kind = "capacitor"
    part = "class2-2u2-50V-1206"
    count = 2
    """
    before, after = (_toml(one).strip().split("\n\n")[1:] for one in (was, now))
    names = {stage.name for stage in was.filter}
    sections = []
    for number, text in enumerate(after):
        if text not in before:
            sections.append(text if _stage(text) in {"", *names} else f"{_place(after[number + 1 :], names)}\n{text}")
    return tuple(sections)


def _stage(section: str) -> str:
    """Name of the stage that a section describes, or ""."""
    lines = section.splitlines()
    name = next((line for line in lines if line.startswith("name = ")), "")
    return json.loads(name.removeprefix("name = ")) if lines[0] == "[[filter]]" else ""


def _place(behind: list[str], names: set[str]) -> str:
    """Where a new stage goes, as a comment: before the next one that is known."""
    following = next((name for name in map(_stage, behind) if name in names), "")
    return f"# before {following}:" if following else "# as the last [[filter]]:"


def stated_converter(converter: Converter) -> dict[str, Text]:
    """What a design file states of a converter, as `stated` has it, with the loads that it was measured with."""
    return dict(_fields(converter))


def stated(design: Design) -> dict[str, Text]:
    """What a design file states, nested as in the file: every value its text there, a recording its file.

    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> stated(load_design(data_folder() / "designs" / "tide-gauge-clean.toml"))["converter"]["duty"]
    '"0.55 ± 10 %"'
    """
    fields, converter = dict(_fields(design)), dict(_fields(design.converter))
    if design.converter.measured_with == design.loads:
        converter.pop("measured_with", None)  # as it is where a file does not state them
    return fields | {"converter": converter}


def _section(head: str, fields: Text, name: str) -> Iterator[str]:
    """A heading and its keys; what is below it gets a heading of its own where it has a name, else braces."""
    assert isinstance(fields, dict)  # a model's
    yield from ("", head)
    for key, value in fields.items():
        if not _headed(value, name):
            yield f"{key} = {inline(value)}"
    for key, value in fields.items():
        if _headed(value, name):
            yield from _section(f"[{name}.{key}]", value, "")


def _headed(value: Text, name: str) -> bool:
    """True for what gets a heading of its own: a table that is no range."""
    return isinstance(value, dict) and bool(name) and set(value) != set(ENDS)


def inline(value: Text) -> str:
    """A value as it is written behind its key, on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {inline(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(inline(one) for one in value) + "]"
    return str(value)


def _key(name: str) -> str:
    return name if name.isascii() and name.replace("_", "").replace("-", "").isalnum() else _text(name)


def _fields(model: BaseModel) -> Iterator[tuple[str, Text]]:
    """Key and value of what was stated, in the order of the model: text ready for the file, dict or list."""
    for name, field in type(model).model_fields.items():
        if name not in model.model_fields_set or name in getattr(model, "COMPUTED", ()):
            continue
        value, found = getattr(model, name), marks(type(model))[name]
        if value is None and any(isinstance(mark, Bandwidth) for mark in found):
            yield name, '"full"'
        elif value is not None and not (isinstance(value, Ranged) and not value.stated):
            unit = next((_unit(mark) for mark in found if _unit(mark)), "")
            curve = any(isinstance(mark, Curve) for mark in found)
            yield field.alias or name, _points(value, unit) if curve else _written(value, unit, name)


def _points(curve: Points, unit: str) -> Text:
    return [[_number(x, unit), repr(ratio)] for x, ratio in curve]


def _unit(mark: object) -> str:
    return "Hz" if isinstance(mark, Bandwidth) else getattr(mark, "unit", "")


def _written(value: object, unit: str, name: str) -> Text:
    if isinstance(value, MeasuredCapacitor | MeasuredChoke):
        return dict(_measured(value))
    if isinstance(value, OutputImpedance):
        return dict(_fields(value)) | {"file": _text(str(Path(value.curve.file).resolve()))}
    if isinstance(value, Part):
        return _text(value.name) if _in_tables(value) else dict(_fields(value))
    if isinstance(value, LoadThreshold):
        return _text(value.text)
    if isinstance(value, Recorded):
        return _text(value.file)
    if isinstance(value, LimitFile):
        return _text(value.name if standard_limits().get(value.name) == value else str(Path(value.file).resolve()))
    if isinstance(value, BaseModel):
        return dict(_fields(value))
    if isinstance(value, Ranged):
        return _ranged(value, unit, name)
    if isinstance(value, Mapping):
        return {key: _written(one, unit, name) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_written(one, "", name) for one in value]
    return _scalar(value, unit, name)


def _measured(part: MeasuredCapacitor | MeasuredChoke) -> Iterator[tuple[str, Text]]:
    """What was stated with the file; the rest is read from it again."""
    for name, read in part.computed(part.measurement).items():
        if np.any(getattr(part, name) != read):
            raise FilterlibError(
                f"{name}: a measured part that was changed away from {part.file} cannot be written: its values are those of that file"
            )
    for name, value in _fields(part):
        if name == "file":
            yield name, _text(str(Path(part.measurement.curve.file).resolve()))
        elif name not in part.COMPUTED:
            yield name, value


def _scalar(value: object, unit: str, name: str) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, np.ndarray):
        raise FilterlibError(f"{name}: is an array of {len(value)} designs; a file holds one")
    return _number(value, unit) if unit and isinstance(value, int | float) else repr(value)


def _in_tables(part: Part) -> bool:
    one = not any(isinstance(value, np.ndarray) for value in part.__dict__.values())
    return one and any(table.get(part.name) == part for table in standard_tables())


def _ranged(value: Ranged, unit: str, name: str) -> Text:
    if value.known and value.value == value.low:
        return _scalar(value.value, unit, name)
    if (
        isinstance(value.value, float)
        and 0 < value.high < 2 * value.value
        and (nominal := _on_paper(value.value, unit))
    ):
        spread = f"{nominal} ± {100 * (value.high / value.value - 1):.6g} %"
        if RangedQuantity(unit).parse(spread) == value:
            return _text(spread)
    return {key: _scalar(getattr(value, key), unit, name) for key in ENDS}


def _number(value: float, unit: str) -> str:
    """As on paper; else the bare number in SI."""
    written = _on_paper(value, unit)
    return repr(float(value)) if written is None else _text(written)


def _on_paper(value: float, unit: str) -> str | None:
    """The number with prefix and unit, and as many digits as it needs; None where that does not read as the same."""
    for digits in range(3, MOST_DIGITS + 1):
        text = _with_unit(value, unit, digits)
        try:
            if quantity(text, unit) == value:
                return text
        except QuantityError:
            break
    return None


def _with_unit(value: float, unit: str, digits: int) -> str:
    """As a person writes it: temperatures in degrees Celsius, long times in hours."""
    if unit == "K":
        return format_temperature(value, digits)
    return format_hours(value, digits) if unit == "s" and value >= HOUR else format_quantity(value, unit, digits)


def _text(value: str) -> str:
    """A TOML basic string: JSON's escapes are a part of TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def kept_text(design: Design, comments: Iterable[str]) -> str:
    """The file of a design's converter: all that is stated of it, with the load and the line that it was measured with.

    Raises: FilterlibError for a converter that was recorded, which is in the file that names the recording.
    """
    converter = design.converter
    if converter.ripple.recording is not None:
        raise FilterlibError("a recorded converter is not kept: its recording is named in the design file")
    if converter.ripple.load_current is None:
        ripple = converter.ripple.model_copy(update={"load_current": design.full_current})
        converter = converter.model_copy(update={"ripple": ripple})
    fields: dict[str, Text] = {key: one for key, one in stated_converter(converter).items() if key not in NOT_KEPT}
    lines = [f"# {one}" for one in comments]
    return "\n".join([*lines, "[converter]", *(f"{key} = {inline(one)}" for key, one in fields.items()), ""])
