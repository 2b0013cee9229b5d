"""Models of converters that a person keeps: one file each in a folder of the person's own, used by name in any design."""

from __future__ import annotations

import os
import re
from pathlib import Path

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.parts.reading import Toml, read_toml

_NAME = re.compile(r"[\w.-]{1,60}")
NOT_KEPT = ("kept",)  # keys of a converter that stay out of its file


def folder() -> Path:
    """Where they are: below ``XDG_DATA_HOME``, or ``~/.local/share`` where that is not set."""
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "filterlib" / "converters"


def kept_file(name: str) -> Path:
    """The file of a name. Raises FilterlibError for what can be no name of a file.

    >>> kept_file("skerry-brick").name
    'skerry-brick.toml'
    """
    if not _NAME.fullmatch(name) or name.startswith("."):
        raise FilterlibError(f'"{name}" can be no name: use at most 60 letters, digits, "-", "_" and "."')
    return folder() / f"{name}.toml"


def put_kept(raw: Toml, path: Path) -> tuple[list[Problem], dict[str, str]]:
    """A kept model under what a design file states of its converter, which goes before it; what is wrong with it, and its file by key.

    A name that ends in ".toml" is that of a file beside the design, any other one of `folder`.
    """
    held = raw.get("converter")
    name = held.get("kept") if isinstance(held, dict) else None
    if not isinstance(held, dict) or not isinstance(name, str):
        return [], {}  # refused with the rest, by the model
    try:
        file = path.parent / name if name.endswith(".toml") else kept_file(name)
    except FilterlibError as error:
        return [Problem(str(path), "converter.kept", name, str(error))], {}
    if not os.path.exists(file):
        known = sorted(one.stem for one in folder().glob("*.toml"))
        nearest = f"; {did_you_mean(name, known)}" if known else ""
        return [Problem(str(path), "converter.kept", name, f"no converter is kept in {file}{nearest}")], {}
    try:
        kept = read_toml(file).get("converter")
    except InputError as error:
        return list(error.problems), {}
    if not isinstance(kept, dict):
        return [Problem(str(file), "converter", None, "a table [converter] is needed")], {}
    taken = {key: one for key, one in kept.items() if key not in NOT_KEPT and key not in held}
    raw["converter"] = {**taken, **held}
    return [], {f"converter.{key}": str(file) for key in taken}
