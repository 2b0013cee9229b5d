"""A design file changed: what moved is put into the file's own text, so that its comments, names and units stay."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeAlias

import tomlkit
from tomlkit.items import InlineTable

from filterlib.bench.design_file import design_as_written
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.file.writing import Text, design_toml, inline, stated
from filterlib.system.ranges.changes import CHANGED
from filterlib.system.ranges.ranged import ENDS

Table: TypeAlias = "dict[str, Text]"
Place: TypeAlias = Any  # a table of a TOML document, whose types say nothing more
SHORT = 4  # keys of a table that stands on one line
FILE = ".toml"


def changed_text(file: str | Path | None, design: Design) -> str:
    """The text of a design file with the values of a changed design in it.

    What did not move stays as it is written, with its comments. Files that the text names, its schema too, get their whole path,
    so that it may be saved elsewhere. A file that is written in a way that does not allow this is written anew, without its comments; so is a design of no file.

    Raises: InputError where the file cannot be read any more; FilterlibError as `filterlib.system.file.writing.design_toml`.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> file = data_folder() / "designs" / "tide-gauge-clean.toml"
    >>> design = filterlib.changed(filterlib.load_design(file), {"load.modem.length": "1 m"})
    >>> text = changed_text(file, design)
    >>> [line for line in text.splitlines() if "lead = " in line or "service" in line]  # doctest: +NORMALIZE_WHITESPACE
    ['service_life = "87600 h"               # ten years, asked of the electrolytics',
     'lead = { length = "1 m", cross_section = "0.75 mm2", spacing = "3 mm" }']
    """
    if file is None:
        return design_toml(design)
    file = Path(file)
    document = tomlkit.parse(file.read_text(encoding="utf-8"))
    try:
        _put(document, stated(design_as_written(file)), stated(design))
        _whole_paths(document, file.parent.resolve())
        text = _with_schema(tomlkit.dumps(document), file.parent.resolve())
        if _says(text, design):
            return text
    except (FilterlibError, tomlkit.exceptions.TOMLKitError, KeyError, TypeError, ValueError):
        pass  # a key that the file writes in a way of its own
    return design_toml(design)


def _says(text: str, design: Design) -> bool:
    """Whether a text is read as a design; files are taken as the same wherever they are named from."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.toml"
        copy.write_text(text, encoding="utf-8")
        return _without_files(stated(design_as_written(copy))) == _without_files(stated(design))


def _without_files(stated: Table) -> Table:
    return {
        key: _without_files(value) if isinstance(value, dict) else value
        for key, value in stated.items()
        if key not in ("tables", "recording")
    }


# ---- what moved -----------------------------------------------------------------------------------------------------


def _put(place: Place, was: Table, now: Table) -> None:
    """Change what differs; the rest of a table stays as it is written."""
    for key in was.keys() - now.keys():
        place.pop(key, None)
    for key, new in now.items():
        old = was.get(key)
        if new != old:
            _put_one(place, key, old, new)


def _put_one(place: Place, key: str, old: Text | None, new: Text) -> None:
    if isinstance(old, dict) and isinstance(new, dict) and isinstance(place.get(key), dict) and _same_thing(old, new):
        _put(place[key], old, new)
    elif _entries(new) and _entries(old) and key in place:
        _put_entries(place, key, old, new)  # type: ignore[arg-type]
    else:
        place[key] = _item(new, headed=not isinstance(place, InlineTable))


def _entries(value: Text | None) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


def _same_thing(old: Table, new: Table) -> bool:
    """True for a thing with other values, and false for another thing in its place: of that no comment holds."""
    return old.get("name") == new.get("name") or new.get("name") == f'{str(old.get("name"))[:-1]}{CHANGED}"'


def _put_entries(place: Place, key: str, old: list[Table], new: list[Table]) -> None:
    """A list of tables: each with its values, where they are the same things; else made anew of those that stay and the new."""
    entries = place[key]
    if [one.get("name") for one in old] == [one.get("name") for one in new]:
        for entry, was, now in zip(entries, old, new, strict=True):
            _put(entry, was, now)
        return
    made, left = tomlkit.aot(), list(zip(old, entries, strict=True))
    for one in new:
        same = next(
            (pair for pair in left if pair[0].get("name") == one.get("name") and ("name" in one or pair[0] == one)),
            None,
        )
        if same:
            left.remove(same)
            _put(same[1], same[0], one)
        made.append(same[1] if same else _table(one))
    place[key] = made


def _item(value: Text, *, headed: bool = True) -> Any:
    """A value as the document takes it; a long table gets a heading of its own where it may."""
    if headed and isinstance(value, dict) and set(value) != set(ENDS) and len(value) > SHORT:
        return _table(value)
    if headed and _entries(value) and value:
        made = tomlkit.aot()
        for one in value:
            made.append(_table(one))  # type: ignore[arg-type]
        return made
    return tomlkit.parse(f"x = {inline(value)}\n")["x"]


def _table(values: Table) -> Any:
    made = tomlkit.table()
    for key, one in values.items():
        made.append(key, _item(one))
    made.add(tomlkit.nl())
    return made


# ---- files that a design file names ---------------------------------------------------------------------------------


def _with_schema(text: str, folder: Path) -> str:
    """The first line, by which editors check, with the whole path of its schema."""
    found = re.match(r"#:schema (\S+)", text)
    return text if found is None else f"#:schema {(folder / found[1]).resolve()}{text[found.end() :]}"


def _whole_paths(document: Place, folder: Path) -> None:
    for place, key in _named_files(document):
        if isinstance(place[key], str):
            place[key] = str((folder / place[key]).resolve())


def _named_files(document: Place) -> Iterator[tuple[Place, Any]]:
    """Where files are named: part tables, limits, recordings, measured parts."""
    tables = document.get("tables", [])
    yield from ((tables, number) for number in range(len(tables)))
    for entry in (*document.get("requirement", ()), *document.get("emission", ())):
        if str(entry.get("limit", "")).endswith(FILE):
            yield entry, "limit"
        limits = entry.get("limits", [])
        yield from ((limits, number) for number, one in enumerate(limits) if str(one).endswith(FILE))
    yield from _within(document)


def _within(place: Place) -> Iterator[tuple[Place, str]]:
    for key, value in place.items():
        if key in ("file", "recording") and isinstance(value, str):
            yield place, key
        elif isinstance(value, dict):
            yield from _within(value)
        elif isinstance(value, list):
            yield from (found for one in value if isinstance(one, dict) for found in _within(one))
