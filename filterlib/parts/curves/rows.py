"""Rows of numbers in a text file of any length, read with a limit, with the line number of whatever is wrong.

The numbers are read by ``numpy.loadtxt``, block by block, which is as fast as a table library would be; only a block
that it refuses is gone through line by line.
"""

from __future__ import annotations

import codecs
import io
import os
import re
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TextIO

import numpy as np

from filterlib.disk import open_regular
from filterlib.errors import FilterlibError, InputError, Problem, problem, refused

BLOCK = 4_000_000
"""Characters read at a time; a line that is longer is refused."""
MOST_ROWS = 100_000_000
"""Rows that are read at most; four channels and the time of that many fill 4 GB."""
MOST_PROBLEMS = 10
"""Broken lines that are listed."""
MOST_PREAMBLE = 2_000
"""Lines above the first row of numbers."""
MOST_FIELDS = 1_000
"""Fields of a row."""
LONGEST_TITLE = 100
"""Characters in which a name and its unit are looked for."""

_NUMBER = re.compile(r"\s*[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?\s*", re.ASCII)
NOT_FINITE = re.compile(r"[+-]?(nan|inf(inity)?|1\.#\w+)", re.IGNORECASE)


@dataclass(frozen=True)
class Rows:
    """What a file holds: ``preamble`` (pairs of line number and text), ``separator`` ("" for one column), ``decimal``
    ("." or ","), ``values`` array (rows, columns) as written, and the lines they are in, see `line`.
    """

    file: str
    preamble: tuple[tuple[int, str], ...]
    separator: str
    decimal: str
    values: np.ndarray
    first_line: int
    blanks: tuple[int, ...]

    def line(self, row: int) -> int:
        """Number of the line, from 1 on, in which a row is."""
        return self.first_line + row + bisect_right(self.blanks, row)

    def fields(self, text: str) -> list[str]:
        """The fields of a line of the preamble, which may have a separator although the rows have one column."""
        return split(text, self.separator or next((sign for sign in (";", "\t", ",") if sign in text), ""))


def is_number(text: str) -> bool:
    """Whether a field is a number, with a point or with a comma.

    >>> [is_number(text) for text in ("1,5", " -2.e-9", "1_000", "0x1F", "nan", "")]
    [True, True, False, False, False, False]
    """
    return _NUMBER.fullmatch(text) is not None


def name_and_unit(text: str, units: str) -> tuple[str, str]:
    """Name and unit of a column's title; ``units`` is an expression for those that need no brackets around them.

    >>> [name_and_unit(text, "m?V|s") for text in ("Time [ms]", "CH1 in mV", "t/s", "CH2", "mV", "u_out_mV")]
    [('Time', 'ms'), ('CH1', 'mV'), ('t', 's'), ('CH2', ''), ('', 'mV'), ('u_out', 'mV')]
    """
    text = text.strip()
    if len(text) > LONGEST_TITLE:
        return text, ""
    for pattern in (
        r"(?P<name>.*?)\s*[\[(]\s*(?P<unit>[^\[\]()]*?)\s*[\])]",
        r"(?P<name>.+?)\s*/\s*(?P<unit>\S+)",
        rf"(?P<name>.+?)(?:\s+in\s+|[_\s])(?P<unit>{units})",
        rf"(?P<name>)(?P<unit>{units})",
    ):
        if match := re.fullmatch(pattern, text):
            return match["name"].strip(), match["unit"]
    return text, ""


def split(line: str, separator: str) -> list[str]:
    """The fields of a line without spaces and quotes; a separator at the end makes no field."""
    line = line.rstrip(" \r\n")
    fields = line.split(separator) if separator else [line]
    if separator and len(fields) > 1 and not fields[-1].strip():
        fields.pop()
    return [field.strip().strip('"').strip() for field in fields]


def refuse_broken_rows(rows: Rows) -> None:
    """A line of the preamble that begins like a row and is none. Raises InputError."""
    broken = []
    for line, text in rows.preamble:
        first, *others = rows.fields(text)
        empty = not first and any(is_number(one) for one in others)
        if (others and is_number(first)) or empty or NOT_FINITE.fullmatch(first):
            broken.append(problem(rows.file, line, text.strip(), "not a row of numbers"))
    if broken:
        raise InputError(broken[:MOST_PROBLEMS])


def read_rows(path: str | Path, *, most: int = MOST_ROWS) -> Rows:
    """Read preamble and numbers of a text file.

    Parameters
    ----------
    path : str or Path
        UTF-8, UTF-16 with a byte order mark, or Latin-1; line ends of any kind, mixed ones too.
    most : int
        Rows that are read at most.

    Raises
    ------
    InputError
        With the numbers of the lines that are no rows of numbers; for a file that is empty, no text, no regular file,
        has a line longer than `BLOCK`, too many rows, or changes while it is read.
    """
    file = str(path)
    with _refusing(file), _opened(path) as text:
        return _rows(file, _blocks(text, file), most)


def read_lines(path: str | Path, *, most: int) -> list[str]:
    """The lines of a text file of at most ``most`` characters, read and refused as `read_rows` does."""
    file = str(path)
    pieces: list[str] = []
    with _refusing(file), _opened(path) as text:
        for _, piece in _blocks(text, file):
            pieces.append(piece)
            if sum(map(len, pieces)) > most:
                raise refused(file, f"more than {most:,} characters: thin it out")
    if not "".join(pieces).strip():
        raise refused(file, "the file is empty")
    return "".join(pieces).split("\n")


@contextmanager
def _refusing(file: str) -> Iterator[None]:
    """What the system says of a file, as an InputError."""
    try:
        yield
    except FileNotFoundError:
        raise refused(file, "no such file") from None
    except InputError:
        raise
    except FilterlibError as error:
        raise refused(file, str(error)) from None
    except (OSError, ValueError) as error:
        raise refused(file, f"cannot be read: {getattr(error, 'strerror', None) or error}") from None


def _opened(path: str | Path) -> TextIO:
    raw = open(open_regular(path), "rb")  # noqa: SIM115  closed with what is made of it
    head = raw.read(65536)
    raw.seek(0)
    return io.TextIOWrapper(raw, encoding=_encoding(head), errors="replace", newline=None)


def _encoding(head: bytes) -> str:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)  # a character cut at the end is no error
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8-sig"


def _blocks(text: TextIO, file: str) -> Iterator[tuple[int, str]]:
    """Whole lines, about `BLOCK` characters at a time, with the number of the first one."""
    before = os.fstat(text.fileno())
    line, rest = 1, ""
    while piece := text.read(BLOCK):
        piece = rest + piece
        if "\0" in piece:
            at = line + piece.partition("\0")[0].count("\n")
            raise refused(file, "holds a NUL byte: no text, or UTF-16 without its byte order mark", at)
        whole, newline, rest = piece.rpartition("\n")
        if len(rest) > BLOCK:
            at = line + piece.count("\n")
            raise refused(file, f"longer than {BLOCK:,} characters: a row a line is needed", at)
        if newline:
            yield line, whole + newline
            line += whole.count("\n") + 1
        _refuse_change(file, before, os.fstat(text.fileno()))
    if rest.strip():
        yield line, rest + "\n"
    _refuse_change(file, before, os.fstat(text.fileno()))


def _refuse_change(file: str, before: os.stat_result, after: os.stat_result) -> None:
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        sizes = f"{before.st_size:,} bytes before, {after.st_size:,} after"
        raise refused(file, f"was changed while it was read ({sizes}): wait until it is written to its end")


def _rows(file: str, blocks: Iterator[tuple[int, str]], most: int) -> Rows:
    _, text = next(blocks, (1, ""))
    if not text.strip():
        raise refused(file, "the file is empty")
    preamble, start, row = _preamble(file, text)
    first = len(preamble) + 1
    separator, decimal = _dialect(file, preamble, row, text[start:])
    pieces: list[np.ndarray] = []
    blanks: list[int] = []
    count = 0
    for line, body in chain([(first, text[start:])], blocks):
        decimal = decimal or _decimal(body)
        values = _numbers(file, line, body, separator, decimal or ".", len(split(row, separator)))
        if body.count("\n") != len(values):
            empty = [place for place, one in enumerate(body.split("\n")[:-1]) if not one]
            blanks += [count + place - nth for nth, place in enumerate(empty)]
        count += len(values)
        pieces.append(values)
        if count > most:
            raise refused(file, f"more than {most:,} rows: cut it into pieces, or thin it out")
    kept = tuple((number, one) for number, one in enumerate(preamble, start=1) if one.strip())
    return Rows(file, kept, separator, decimal or ".", np.concatenate(pieces), first, tuple(blanks))


def _preamble(file: str, text: str) -> tuple[list[str], int, str]:
    """The lines before the first row of numbers, where that begins, and the row itself."""
    lines: list[str] = []
    start = 0
    while start < len(text):
        end = text.find("\n", start) + 1
        row = text[start:end]
        separator = _separator(row)
        if separator and row.count(separator) > MOST_FIELDS:
            raise refused(file, f"more than {MOST_FIELDS:,} fields in a line", len(lines) + 1)
        if len(lines) == MOST_PREAMBLE:
            raise refused(file, f"no row of numbers in the first {MOST_PREAMBLE:,} lines")
        fields = split(row, separator)
        if all(is_number(field) for field in fields):
            return lines, start, row
        lines.append(row.rstrip("\n"))
        start = end
    last = next((number for number in range(len(lines), 0, -1) if lines[number - 1].strip()), 1)
    raise refused(file, "no row of numbers in the file: header only", last, lines[last - 1].strip() or None)


def _separator(row: str) -> str:
    return next((sign for sign in (";", "\t", ",") if sign in row), "")


def _decimal(text: str) -> str:
    """The first decimal sign of a text whose separator is neither."""
    places = {text.find(sign): sign for sign in ",."}
    places.pop(-1, None)
    return places[min(places)] if places else ""


def _dialect(file: str, preamble: list[str], row: str, body: str) -> tuple[str, str]:
    """Separator, and decimal sign or "" while none occurred. The comma can be either: then the header decides."""
    separator = _separator(row)
    if separator != ",":
        return separator, _decimal(body)
    fields = len(split(row, ","))
    header = next((one for one in reversed(preamble) if one.strip()), "")
    named = len(split(header, ","))
    if "." in body or (_separator(header) == "," and named == fields):
        return ",", "."
    if fields == 2 and header and _separator(header) != ",":
        return "", ","
    why = "the comma may be separator or decimal sign here"
    if header and named != fields:
        why = f"{fields} columns, and the line before has {named}: is the comma separator and decimal sign at once?"
    raise refused(file, f"{why}; write semicolons between columns, or a decimal point", len(preamble) + 1, row.strip())


def _numbers(file: str, line: int, text: str, separator: str, decimal: str, columns: int) -> np.ndarray:
    """The numbers of whole lines, (rows, columns)."""
    plain = text.replace('"', "") if '"' in text else text
    if separator:
        for padding in ("", " "):
            plain = plain.replace(separator + padding + "\n", "\n")
    if decimal == ",":
        if "." in plain:
            raise InputError(_broken(file, line, text, separator, decimal, columns))
        plain = plain.replace(",", ".")
    if not plain.strip():
        return np.empty((0, columns))
    try:
        values = np.loadtxt(io.StringIO(plain), delimiter=separator or None, comments=None, ndmin=2)
    except ValueError:
        values = np.empty((0, 0))
    if values.shape[1] != columns or not np.all(np.isfinite(values)):
        raise InputError(_broken(file, line, text, separator, decimal, columns))
    return values


def _broken(file: str, line: int, text: str, separator: str, decimal: str, columns: int) -> list[Problem]:
    """Each line that is no row of numbers, the first `MOST_PROBLEMS` of them."""
    problems: list[Problem] = []
    for number, row in enumerate(text.split("\n"), start=line):
        why = _why(split(row, separator), decimal, columns) if row else ""
        if why:
            problems.append(problem(file, number, row.strip() or None, why))
        if len(problems) == MOST_PROBLEMS:
            break
    return problems or [problem(file, line, None, "no rows of numbers from here on")]


def _why(fields: list[str], decimal: str, columns: int) -> str:
    """What is wrong with one row, or "" where nothing is."""
    other = "," if decimal == "." else "."
    for place, field in enumerate(fields, start=1):
        if not field:
            return f"column {place} is empty"
        if NOT_FINITE.fullmatch(field):
            return f"column {place} is not a finite number"
        if not is_number(field):
            return f"column {place} is not a number: {field[:40]!r}"
        if other in field:
            return f"column {place} has the decimal sign {other!r}, and the rows before have {decimal!r}"
        if not np.isfinite(float(field.replace(",", "."))):
            return f"column {place} is too large for a number"
    return "" if len(fields) == columns else f"number of columns: {len(fields)}, and in the first row {columns}"
