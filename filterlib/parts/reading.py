"""Files that people write: read strictly, and everything that is wrong said at once, in plain words."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, TypeAlias

from filterlib.disk import open_regular
from filterlib.errors import FilterlibError, InputError, Problem

LARGEST_FILE = 5_000_000  # bytes; a design file or a table of a thousand parts is a tenth of this
LONGEST_LINE = 200_000  # characters; a curve of a thousand points in one line is a tenth of this
MOST_KEYS_IN_A_ROW = 100  # dots and brackets in a line that names a table or a key: each is a level of tables
MOST_ENTRIES = 20_000  # tables and values in a file


def data_folder() -> Path:
    """The folder ``data``: inside an installed package, else next to it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    return package / "_data" if (package / "_data").is_dir() else package.parent / "data"


Toml: TypeAlias = dict[str, Any]
"""A table of a TOML file: text, numbers, lists, tables."""


def read_toml(path: str | Path) -> Toml:
    """The contents of a TOML file.

    Raises
    ------
    InputError
        With one `Problem`: no such file, a folder, unreadable, too large, empty, not text, or not TOML (with the line).
    """
    file = str(path)
    text = _text(path, file)
    _refuse_unreadably_long(text, file)
    try:
        contents = tomllib.loads(text)
    except RecursionError:
        raise InputError([Problem(file, "", None, "not read: lists or tables nested too deeply")]) from None
    except ValueError as error:  # what is not TOML, and a number of thousands of digits
        raise InputError([Problem(file, "", None, f"not TOML: {_with_line(str(error), text)}")]) from None
    if not contents:
        raise InputError([Problem(file, "", None, "the file is empty: no key and no value in it")])
    return contents


def _refuse_unreadably_long(text: str, file: str) -> None:
    """What would take minutes to read, and no person wrote."""
    lines = text.split("\n")
    long = next((number for number, line in enumerate(lines, 1) if len(line) > LONGEST_LINE), None)
    if long is not None:
        raise InputError([Problem(file, f"line {long}", None, f"longer than {LONGEST_LINE:,} characters")])
    keys = (line.partition("=")[0] if "=" in line else line if "," not in line else "" for line in lines)
    deep = next((number for number, key in enumerate(keys, 1) if key.count(".") > MOST_KEYS_IN_A_ROW), None)
    if deep is not None:
        why = f"more than {MOST_KEYS_IN_A_ROW} points: tables nested too deeply"
        raise InputError([Problem(file, f"line {deep}", None, why)])
    if text.count("=") > MOST_ENTRIES:
        raise InputError(
            [Problem(file, "", None, f"more than {MOST_ENTRIES:,} keys and values: split it into several files")]
        )


def _text(path: str | Path, file: str) -> str:
    why: str | None
    try:
        with open(open_regular(path), "rb") as opened:
            raw = opened.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        why = "no such file"
    except FilterlibError as error:
        why = str(error)
    except (OSError, ValueError) as error:
        why = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    else:
        why = _not_text(raw)
        if why is None:
            return raw.decode("utf-8-sig")
    raise InputError([Problem(file, "", None, why)])


def _not_text(raw: bytes) -> str | None:
    if len(raw) > LARGEST_FILE:
        return f"larger than {LARGEST_FILE // 1_000_000} MB, which no design file and no table is"
    if 0 in raw:
        return f"not text: a zero byte at position {raw.index(0) + 1}"
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"not text: byte {raw[error.start]:#04x} at position {error.start + 1} is not UTF-8"
    return None


def _with_line(message: str, text: str) -> str:
    """What the TOML reader says, with the line as it is in the file: it names the key."""
    end = f"(at line {text.count(chr(10)) + 1}, the end of the file)"
    match = re.search(r"at line ([0-9]+), column", message)
    line = text.split("\n")[int(match[1]) - 1].strip() if match else ""
    return message.replace("(at end of document)", end) + (f': "{line[:60]}"' if line else "")
