"""Tables of parts: TOML files, ours in data/parts and the user's own, read alike."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.curves.measured import MEASURED, part_from_file
from filterlib.parts.problems import problems_from
from filterlib.parts.reading import data_folder, read_toml
from filterlib.parts.supercapacitor import Supercapacitor
from filterlib.parts.values import Stated
from filterlib.parts.wire import Lead, WirePair

__all__ = [
    "KINDS",
    "Table",
    "data_folder",
    "find_part",
    "load_table",
    "load_tables",
    "named_table",
    "part_from",
    "problems_from",
    "read_toml",
    "standard_tables",
]

KINDS: dict[str, type[Part]] = {
    "film": Capacitor,
    "ceramic_class_1": Capacitor,
    "ceramic_class_2": Capacitor,
    "aluminium": Capacitor,
    "polymer": Capacitor,
    "supercapacitor": Supercapacitor,
    "differential_choke": DifferentialChoke,
    "common_mode_choke": CommonModeChoke,
    "wire_pair": WirePair,
    "lead": Lead,
    **MEASURED,
}
_TABLE_TEXTS = (
    ("title", str, "text in quotes"),
    ("source", str, "text in quotes"),
    ("invented", bool, "true or false"),
)
_TABLE_KEYS = ("title", "source", "invented", "part")


@dataclass(frozen=True)
class Table(Mapping[str, Part]):
    """Parts by name, in the order of the file. ``file``, ``title`` and ``source`` say where they are from."""

    file: str
    title: str
    source: str
    parts: Mapping[str, Part]

    def __getitem__(self, name: str) -> Part:
        return self.parts[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.parts)

    def __len__(self) -> int:
        return len(self.parts)


@lru_cache(maxsize=1)
def standard_tables() -> tuple[Table, ...]:
    """The tables that come with the library: data/parts, every part invented.

    >>> [table.title for table in standard_tables()][-3]
    'Film capacitors'
    """
    return load_tables(*sorted((data_folder() / "parts").glob("*.toml")))


def named_table(name: str | Path) -> Table:
    """A table that comes with the library, by the name of its file such as "ceramic", or one of the user's, by path.

    Raises
    ------
    InputError
        As `load_table`; where there is no such file, with the nearest of the library's names.

    Examples
    --------
    >>> named_table("film").title
    'Film capacitors'
    """
    own = {Path(table.file).stem: table for table in standard_tables()}
    if str(name) in own:
        return own[str(name)]
    if not str(name) or not os.path.exists(name):
        why = f"no such file, and no table of that name; {did_you_mean(str(name), own)}"
        raise InputError([Problem(str(name) or "an empty name", "", None, why)])
    return load_table(name)


def load_table(path: str | Path) -> Table:
    """A table of parts from a TOML file: ``title``, ``source``, ``invented``, and one ``[[part]]`` for each part.

    Raises
    ------
    InputError
        With everything that is wrong, at once: file, key (such as ``part "C1".esl``), value, and what would be right.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> filterlib.load_table(data_folder() / "parts" / "film.toml").title
    'Film capacitors'
    """
    return load_tables(path)[0]


def load_tables(*paths: str | Path, beside: Sequence[Table] = ()) -> tuple[Table, ...]:
    """Several tables; no name may occur twice in them, nor in the other tables ``beside``. Raises InputError."""
    tables: list[Table] = []
    problems: list[Problem] = []
    file_of = {name: table.file for table in beside for name in table}
    for path in paths:
        try:
            tables.append(_checked(read_toml(path), str(path), file_of))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return tuple(tables)


def _checked(contents: Stated, file: str, file_of: dict[str, str]) -> Table:
    problems = [
        Problem(file, key, None, f"unknown key; {did_you_mean(key, _TABLE_KEYS)}")
        for key in contents
        if key not in _TABLE_KEYS
    ]
    for key, kind, words in _TABLE_TEXTS:
        if not isinstance(contents.get(key, kind()), kind):
            problems.append(Problem(file, key, contents[key], f"{words} is needed here"))
    entries = contents.get("part")
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        problems.append(Problem(file, "part", None, "a table needs its parts, each under a line [[part]]"))
        entries = []
    parts: dict[str, Part] = {}
    for number, entry in enumerate(entries, start=1):
        try:
            part = _entry(entry, file, number, contents.get("invented") is True, file_of)
            parts[part.name] = part
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return Table(file, contents.get("title", Path(file).stem), contents.get("source", ""), parts)


def _entry(entry: Stated, file: str, number: int, invented: bool, file_of: dict[str, str]) -> Part:
    name, problems = entry.get("name"), list[Problem]()
    named = isinstance(name, str) and bool(name.strip())
    key = f'part "{name}"' if named else f"part[{number}]"
    if not isinstance(name, str) or not named:
        problems.append(Problem(file, f"{key}.name", name, "missing: every part of a table needs a name, as text"))
    elif name in file_of:
        problems.append(Problem(file, f"{key}.name", name, f"this name was used before, in {file_of[name]}"))
    else:
        file_of[name] = file
    try:
        part = part_from({"invented": invented, **entry}, file, key)
    except InputError as error:
        problems += [problem for problem in error.problems if named or problem.key != f"{key}.name"]
    if problems:
        raise InputError(problems)
    return part


def part_from(mapping: Stated, file: str, key: str) -> Part:
    """A part from keys and values, as under ``[[part]]`` of a table or written into a design file under ``key``.

    The ``file`` of a measured part is looked for next to ``file``.

    Raises
    ------
    InputError
        With everything that is wrong: the file, the key below ``key``, the value, and what would be right.
    """
    kind = mapping.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        wrong = "missing: it says what the part is" if kind is None else "no such kind of part"
        raise InputError([Problem(file, f"{key}.kind", kind, f"{wrong}; {did_you_mean(str(kind), KINDS)}")])
    try:
        return part_from_file(mapping, Path(file).parent) if kind in MEASURED else KINDS[kind](**mapping)
    except InputError as error:
        raise InputError(_of_key(problem, kind, mapping, file, key) for problem in error.problems) from None


def _of_key(problem: Problem, kind: str, mapping: Stated, file: str, key: str) -> Problem:
    """A problem of a part, said of the file and key that hold it; one of a line of a measured file is left as it is."""
    if kind not in MEASURED or not problem.file:
        return Problem(file, f"{key}.{problem.key}", problem.value, problem.why)
    return problem if problem.key else Problem(file, f"{key}.file", mapping["file"], problem.why)


def find_part(name: str, kind: type[Part] | str | None, tables: Sequence[Table]) -> Part:
    """The part of that name.

    Parameters
    ----------
    name : str
        As in the table.
    kind : class, kind or None
        What is needed, such as `Capacitor` or "polymer"; None for any.
    tables : sequence of Table
        Searched in order.

    Raises
    ------
    FilterlibError
        Where there is none, with the nearest name of the right kind, or where it is of another kind.

    Examples
    --------
    >>> find_part("no such part", "lead", [])
    Traceback (most recent call last):
    filterlib.errors.FilterlibError: no part "no such part" in the tables; valid: none
    """
    right = [part for table in tables for part in table.values() if _is(part, kind)]
    for table in tables:
        if name in table and _is(table[name], kind):
            return table[name]
        if name in table:
            needed = kind if isinstance(kind, str) else KIND_WORDS[kind] if kind else ""
            raise FilterlibError(
                f'"{name}" is of the kind {table[name].kind}, and {needed} is needed here; '
                + did_you_mean(name, [part.name for part in right])
            )
    raise FilterlibError(f'no part "{name}" in the tables; {did_you_mean(name, [part.name for part in right])}')


KIND_WORDS: dict[type[Part], str] = {
    Capacitor: "a capacitor",
    DifferentialChoke: "a differential choke",
    CommonModeChoke: "a common-mode choke",
    WirePair: "a wire pair",
    Lead: "a lead",
}


def _is(part: Part, kind: type[Part] | str | None) -> bool:
    return kind is None or (part.kind == kind if isinstance(kind, str) else isinstance(part, kind))
