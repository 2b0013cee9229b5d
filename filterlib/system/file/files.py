"""The design file: TOML in, a checked `Design` out, or everything that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.curves.measured import MEASURED, curve_in_file
from filterlib.parts.reading import Toml, read_toml
from filterlib.parts.tables import KIND_WORDS, KINDS, Table, find_part, load_tables, part_from, standard_tables
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.file.kept import put_kept
from filterlib.system.limits import load_limit, standard_limits
from filterlib.system.line.stages import KINDS as STAGES
from filterlib.system.model import read

_LONGEST_NAME = 80  # of a part


MOST = {
    "filter": 60, "load": 50, "operating_point": 50, "requirement": 300, "emission": 50, "coupling": 300, "accepted": 300, "tables": 100,
}  # fmt: skip
"""Entries of each kind that a design may have."""

Prepare: TypeAlias = Callable[[Toml, Path], list[Problem]]
_Way: TypeAlias = tuple[str | int, ...]  # keys, and numbers of entries


def read_design(path: str | Path, *, prepare: Prepare | None = None) -> Design:
    """Read a design file.

    Parameters
    ----------
    path : str or Path
        A TOML file; the part tables that its ``tables`` names are looked for in its folder.
    prepare : callable, optional
        Puts what this module cannot read in place of its names in the file's contents; gives what is wrong with it.
        `filterlib.load_design`, which also reads recordings, does so.

    Returns
    -------
    Design
        Frozen; parts that are named in the file are in it as parts.

    Raises
    ------
    InputError
        With every problem: file, key, value, and what would be right.
    """
    file = str(path)
    raw = read_toml(path)
    _refuse_many(raw, file)
    tables, problems = _tables(raw, Path(path))
    lacking, kept = put_kept(raw, Path(path))
    problems += lacking
    unread, broken = bool(problems), ["converter"] if lacking else []
    if prepare is not None:
        unreadable = prepare(raw, Path(path))
        problems += unreadable
        broken += ["converter"] if unreadable else []
    for place, why in _own_limits(raw, Path(path)):
        broken.append(_written(place))
        problems += why
    for key, why in _own_impedance(raw, Path(path)):
        broken.append(key)
        problems += why
    for place, wanted in _places(raw):
        key, holder = _written(place), _get(raw, place[:-1])
        try:
            holder[place[-1]] = _part(holder.get(place[-1]), wanted, file, key, tables)
        except InputError as error:
            broken.append(key)
            problems += [p for p in error.problems if not (unread and p.key == key)]  # may be in the unread table
    try:
        design = Design(**raw)
    except InputError as error:
        left = [p for p in error.problems if not _below(p.key, broken)]
        problems += [Problem(kept.get(".".join(p.key.split(".")[:2]), file), p.key, p.value, p.why) for p in left]
    if problems:
        raise InputError(problems)
    return design


def _refuse_many(raw: Toml, file: str) -> None:
    """Before each of them is looked at."""
    counts = ((key, len(raw[key]), most) for key, most in MOST.items() if isinstance(raw.get(key), list))
    many = [
        Problem(file, key, None, f"{count:,} entries, and a design may have {most}")
        for key, count, most in counts
        if count > most
    ]
    if many:
        raise InputError(many)


def _own_limits(raw: Toml, path: Path) -> Iterator[tuple[_Way, list[Problem]]]:
    """Puts limit files of one's own in place of their names, looked for in the design's folder; gives what is wrong, by place."""
    taken = dict.fromkeys(standard_limits(), "a limit that comes with the library")
    for place in _limit_places(raw):
        named = _get(raw, place)
        if not isinstance(named, str) or not named.endswith(".toml"):
            continue
        file = str(path.parent / named)
        try:
            limit = load_limit(file)
        except InputError as error:
            yield place, [p if p.key else Problem(str(path), _written(place), named, p.why) for p in error.problems]
            continue
        other = taken.setdefault(limit.name, file)
        if other == file:
            _get(raw, place[:-1])[place[-1]] = limit
        else:
            why = f'the name "{limit.name}" is taken by {other}; give the file another name'
            yield place, [Problem(str(path), _written(place), named, why)]


def _own_impedance(raw: Toml, path: Path) -> Iterator[tuple[str, list[Problem]]]:
    """Reads the converter's measured output impedance from its file, looked for in the design's folder; gives what is wrong."""
    key, held = "converter.control.output_impedance", read(raw, "converter", "control", "output_impedance")
    if not isinstance(held, dict):
        return
    held.pop("curve", None)
    try:
        held["curve"] = curve_in_file(held, path.parent)
    except InputError as error:
        yield key, [p if p.file else Problem(str(path), f"{key}.{p.key}", p.value, p.why) for p in error.problems]


def _limit_places(raw: Toml) -> Iterator[_Way]:
    for number, wanted in enumerate(_list(raw, "requirement")):
        if wanted.get("kind") == "emission" and "limit" in wanted:
            yield "requirement", number, "limit"
    for number, estimate in enumerate(_list(raw, "emission")):
        named = estimate.get("limits")
        yield from (("emission", number, "limits", one) for one in range(len(named) if isinstance(named, list) else 0))


def _below(key: str, broken: list[str]) -> bool:
    """True where a problem is in a part that is wrong already."""
    return any(key == one or key.startswith((f"{one}.", f"{one}[")) for one in broken)


def _tables(raw: Toml, path: Path) -> tuple[tuple[Table, ...], list[Problem]]:
    """The library's own tables and the user's; what is wrong with the latter."""
    own, names = standard_tables(), raw.get("tables", [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        return own, []  # refused with the rest, by the model
    paths = {str(path.parent / name): f"tables[{number}]" for number, name in enumerate(names, 1)}
    try:
        return (*load_tables(*paths, beside=own), *own), []
    except InputError as error:
        return own, [p if p.key else Problem(str(path), paths[p.file], p.file, p.why) for p in error.problems]


def _part(entry: object, wanted: type[Part], file: str, key: str, tables: tuple[Table, ...]) -> Part:
    """The part that is named, or written out, under a key; raises InputError where there is none of the wanted kind."""
    kinds = [kind for kind, part in KINDS.items() if issubclass(part, wanted)]
    if isinstance(entry, dict):
        usual = [kind for kind in kinds if (kind in MEASURED) == ("file" in entry)]
        kind = entry.get("kind", usual[0] if len(usual) == 1 else None)
        if kind not in kinds:
            why = f"missing: {KIND_WORDS[wanted]} is needed" if kind is None else f"{KIND_WORDS[wanted]} is needed here"
            raise InputError([Problem(file, f"{key}.kind", kind, f"{why}; {did_you_mean(str(kind), kinds)}")])
        return part_from({**entry, "kind": kind}, file, key)
    if not isinstance(entry, str) or len(entry) > _LONGEST_NAME:
        start = "missing: " if entry is None else ""
        why = f"{start}the name of {KIND_WORDS[wanted]} is needed here, in quotes, or a table of its keys and values"
        raise InputError([Problem(file, key, entry, why)])
    try:
        return find_part(entry, wanted, tables)
    except FilterlibError as error:
        raise InputError([Problem(file, key, entry, str(error))]) from None


def _places(raw: Toml) -> Iterator[tuple[_Way, type[Part]]]:
    for number, stage in enumerate(_list(raw, "filter")):
        kind = STAGES.get(str(stage.get("kind")))
        if kind is not None:
            yield ("filter", number, "part"), kind.model_fields["part"].annotation  # type: ignore[misc]
        if isinstance(stage.get("damping"), dict) and "part" in stage["damping"]:
            yield ("filter", number, "damping", "part"), DifferentialChoke
    yield from _load_places(raw, ("load",))
    if isinstance(raw.get("input_side"), dict):
        for number, fitted in enumerate(_list(raw["input_side"], "capacitors")):
            if "part" in fitted:
                yield ("input_side", "capacitors", number, "part"), Capacitor
    if isinstance(raw.get("converter"), dict):
        yield from _load_places(raw["converter"], ("converter", "measured_with"))


def _load_places(raw: Toml, way: _Way) -> Iterator[tuple[_Way, type[Part]]]:
    for number, load in enumerate(_list(raw, str(way[-1]))):
        if isinstance(load.get("input_capacitor"), dict):
            yield (*way, number, "input_capacitor", "part"), Capacitor
        if "lead" in load:
            yield (*way, number, "lead"), WirePair


def _list(raw: Toml, key: str) -> list[Toml]:
    """The tables under a key; anything else counts as an empty one, and is refused by the model."""
    entries = raw.get(key)
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, list) else []


def _get(raw: Any, place: _Way) -> Any:
    for step in place:
        raw = raw[step]
    return raw


def _written(place: _Way) -> str:
    text = ""
    for step in place:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text
