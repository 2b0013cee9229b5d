"""Files of a person's: only regular ones are opened, so that nothing waits for ever, and a text is written as one."""

from __future__ import annotations

import os
import re
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from filterlib.errors import FilterlibError, OutputError

KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)

_ILL_FORMED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


def open_regular(path: str | Path) -> int:
    """Descriptor of a regular file, to be read; a pipe, a device or a socket would be waited for.

    Raises OSError as the system says, FilterlibError for what is no regular file.
    """
    _refuse_other(os.stat(path).st_mode)
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        _refuse_other(os.fstat(descriptor).st_mode)  # it may have become another since
    except FilterlibError:
        os.close(descriptor)
        raise
    return descriptor


def _refuse_other(mode: int) -> None:
    if not stat.S_ISREG(mode):
        kind = next((words for is_kind, words in KINDS if is_kind(mode)), "no regular file")
        raise FilterlibError(f"{kind}, and a {'' if stat.S_ISDIR(mode) else 'regular '}file is needed")


def well_formed(text: str) -> str:
    """A text with a replacement character in place of each that no page, figure or file of numbers may hold.

    Source: XML 1.0, production 2 (from memory); half a surrogate pair, as in a file's name that is no UTF-8, has no encoding.

    >>> well_formed("CH1\\x01 µ\\n") == "CH1\\N{REPLACEMENT CHARACTER} µ\\n"
    True
    """
    return _ILL_FORMED.sub("\N{REPLACEMENT CHARACTER}", text)


def write_text(path: str | Path, text: str) -> None:
    """Write a text, encoded as UTF-8, in place of a file: who reads finds all of the old text or all of the new one.

    Raises OutputError with path and reason; the file is then as it was. A link that leads nowhere is not followed.
    """
    target = Path(os.path.realpath(path))
    temporary = ""
    try:
        if os.path.islink(path) and not os.path.exists(path):
            raise FilterlibError("a link that leads nowhere")
        if os.path.lexists(target):
            _refuse_other(os.stat(target).st_mode)
        descriptor, temporary = tempfile.mkstemp(prefix=f".{target.name[:100]}.", dir=target.parent)
        with open(descriptor, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(well_formed(text))
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, _rights(target))
        os.replace(temporary, target)
    except BaseException as error:
        if temporary:
            with suppress(OSError):
                os.unlink(temporary)
        if isinstance(error, OSError | ValueError):  # FilterlibError is a ValueError
            raise OutputError(f"{path}: cannot be written: {getattr(error, 'strerror', None) or error}") from error
        raise


def _rights(target: Path) -> int:
    """Those of the file that is there, or those of a new one."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0o077)
    os.umask(mask)
    return 0o666 & ~mask
