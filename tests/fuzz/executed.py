"""Which lines of the library were executed: counted by the interpreter's own tracing, without a library."""

import sys
from collections import defaultdict
from contextlib import contextmanager
from pathlib import Path

import filterlib

ROOT = Path(filterlib.__file__).parent


@contextmanager
def executed(places):
    """Lines executed inside, by file, of the files below the library's folder whose path begins with one of the places."""
    lines = defaultdict(set)
    starts = tuple(str(ROOT / place) for place in places)

    def of_line(frame, event, _):
        if event == "line":
            lines[frame.f_code.co_filename].add(frame.f_lineno)
        return of_line

    def of_call(frame, event, _):
        if frame.f_code.co_filename.startswith(starts):
            lines[frame.f_code.co_filename].add(frame.f_lineno)
            return of_line
        return None

    before = sys.gettrace()
    sys.settrace(of_call)
    try:
        yield lines
    finally:
        sys.settrace(before)


def shares(lines, places):
    """Pairs of a file and the share of the lines of its functions that were executed."""
    for place in places:
        for path in (
            sorted(ROOT.glob(f"{place}*")) if not (ROOT / place).is_dir() else sorted((ROOT / place).rglob("*.py"))
        ):
            wanted = lines_in_functions(compile(path.read_text(encoding="utf-8"), str(path), "exec"))
            if wanted:
                yield str(path.relative_to(ROOT)), len(lines[str(path)] & wanted) / len(wanted), len(wanted)


def lines_in_functions(code):
    """Numbers of the lines with code in functions, those below them too; what runs at the import is no achievement."""
    inner = [one for one in code.co_consts if hasattr(one, "co_code")]
    own = {line for *_, line in code.co_lines() if line} if code.co_flags & 0x2 else set()
    return own.union(*map(lines_in_functions, inner))
