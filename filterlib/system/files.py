"""The design file: TOML in, a checked `Design` out, or everything that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from filterlib.errors import FilterlibError, InputError, Problem
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.reading import problems_from, read_toml
from filterlib.parts.tables import Table, find_part, load_tables, part_from, standard_tables
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.stages import KINDS

_DEFAULT_KIND = {WirePair: "wire_pair"}


def load_design(path: str | Path) -> Design:
    """Read a design file.

    Parameters: ``path`` of a TOML file; part tables named in its ``tables`` are looked for beside it.
    Returns: a frozen `Design`.
    Raises: InputError with every problem: file, key, value, and what would be right.
    """
    file = str(path)
    raw = read_toml(path)
    tables, problems = _tables(raw, Path(path))
    raw = dict(raw)
    for key, found in list(_parts(raw, file, tables)):
        if isinstance(found, Part):
            _set(raw, key, found)
        else:
            problems += found
    try:
        design = Design(**raw)
    except ValidationError as error:
        broken = tuple(problem.key for problem in problems)
        problems += [p for p in problems_from(error, file, model=Design) if not _follows(p.key, broken)]
    if problems:
        raise InputError(Problem(file, p.key, p.value, p.why) if not p.file else p for p in problems)
    return design


def _follows(key: str, broken: tuple[str, ...]) -> bool:
    """True where a problem only repeats one that was found before, at the same place or below it."""
    return any(key == one or key.startswith((f"{one}.", f"{one}[")) or one.startswith(f"{key}.") for one in broken)


def _tables(raw: dict[str, Any], path: Path) -> tuple[tuple[Table, ...], list[Problem]]:
    """The library's own tables and the user's; what is wrong with the latter."""
    own, names = standard_tables(), raw.get("tables", [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        return own, []  # refused with the rest, by the model
    try:
        return (*load_tables(*(path.parent / name for name in names), beside=own), *own), []
    except InputError as error:
        return own, list(error.problems)


def _parts(raw: dict[str, Any], file: str, tables: tuple[Table, ...]) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Each place of a part, with the part or with the problems that stand there."""
    for place, wanted in _places(raw):
        given, key = _get(raw, place), _written(place)
        try:
            if isinstance(given, str):
                yield place, find_part(given, wanted, tables)
            elif isinstance(given, dict):
                kind = {"kind": _DEFAULT_KIND[wanted]} if wanted in _DEFAULT_KIND else {}
                part = part_from({**kind, **given}, file, key)
                if not isinstance(part, wanted):
                    yield (
                        place,
                        [Problem(file, f"{key}.kind", given.get("kind"), f"a {wanted.__name__} is needed here")],
                    )
                else:
                    yield place, part
        except InputError as error:
            yield place, list(error.problems)
        except FilterlibError as error:
            yield place, [Problem(file, key, given, str(error))]


def _places(raw: dict[str, Any]) -> Iterator[tuple[tuple[Any, ...], type[Part]]]:
    for number, stage in enumerate(_list(raw, "filter")):
        kind = KINDS.get(str(stage.get("kind")))
        if kind is not None and "part" in stage:
            yield ("filter", number, "part"), kind.model_fields["part"].annotation  # type: ignore[misc]
    for number, load in enumerate(_list(raw, "load")):
        if isinstance(load.get("input_capacitor"), dict) and "part" in load["input_capacitor"]:
            yield ("load", number, "input_capacitor", "part"), Capacitor
        if "lead" in load:
            yield ("load", number, "lead"), WirePair


def _list(raw: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """The tables under a key; anything else stands in for an empty one, and is refused by the model."""
    entries = raw.get(key)
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, list) else []


def _get(raw: Any, place: tuple[Any, ...]) -> Any:
    for step in place:
        raw = raw[step]
    return raw


def _set(raw: Any, place: tuple[Any, ...], part: Part) -> None:
    _get(raw, place[:-1])[place[-1]] = part


def _written(place: tuple[Any, ...]) -> str:
    text = ""
    for step in place:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text
