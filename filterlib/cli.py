"""The command `filterlib`: review a design file and write what was found.

Exit codes of ``review``: 0 every requirement is met throughout its band at every operating point; 1 one is not, or
hangs on something that is not known, or the circuit is unstable (the page is written and says so); 2 the input or the
command was refused; 3 the output could not be written; 70 a fault of the program itself; 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from typing import Any

from filterlib.errors import FilterlibError, OutputError

REFUSED, NOT_WRITTEN, FAULT, INTERRUPTED = 2, 3, 70, 130
PATIENCE = 1.0  # [s] of work before a progress line appears

EXAMPLES = """\
examples:
  filterlib review tide-gauge.toml --out review
      reads the design, writes review/review.html, review/results.json and the figures

exit codes of review:
  0  every requirement is met throughout its band, at every operating point
  1  one is not met or hangs on something that is not known, or the circuit is unstable
  2  the input was refused
  3  the output could not be written
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    _survive_odd_terminals()
    chosen = _parser().parse_args(arguments)
    try:
        return _review(chosen.design, chosen.out)
    except OutputError as error:
        return _complain(str(error), NOT_WRITTEN)
    except FilterlibError as error:
        return _complain(str(error) or type(error).__name__, REFUSED)
    except KeyboardInterrupt:
        return _complain("interrupted; nothing was written", INTERRUPTED)
    except Exception as error:  # a fault must not look like "a requirement is not met", which is exit code 1
        import traceback

        traceback.print_exception(error)
        return _complain("this is a fault in filterlib, not in the design; nothing was written", FAULT)


def _parser() -> argparse.ArgumentParser:
    from filterlib import __version__

    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(
        prog="filterlib",
        description="The filter between a switch-mode DC-DC converter and the electronics that it feeds.",
        epilog=EXAMPLES,
        formatter_class=layout,
    )
    parser.add_argument("--version", action="version", version=f"filterlib {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    review = commands.add_parser(
        "review",
        help="review a design file and write a page, the numbers and the figures",
        description="Review a design file: ripple before and after the filter, its band, stability, steps, impedances.",
        epilog=EXAMPLES,
        formatter_class=layout,
    )
    review.add_argument("design", metavar="DESIGN.toml", help="the design file")
    review.add_argument(
        "--out",
        required=True,
        metavar="FOLDER",
        help="folder for review.html, results.json and the figures; other files in it stay as they are",
    )
    return parser


def _review(design_file: str, folder: str) -> int:
    from filterlib.analysis.review import review
    from filterlib.bench.terminals import load_design
    from filterlib.show.report import write_review

    design = load_design(design_file)
    with ProgressLine() as progress:
        result = review(design, progress=lambda share, text: progress(0.8 * share, text))
        page = write_review(result, folder, progress=lambda share, text: progress(0.8 + 0.2 * share, text))
    _say(_summary(result, str(page)))
    return result.exit_code


def _summary(result: Any, page: str) -> str:
    from filterlib.show.words import SYMBOLS, summary

    lines = [summary(result), *(f"{SYMBOLS[verdict.verdict]} {verdict.sentence}" for verdict in result.verdicts)]
    return "\n".join([*lines, result.headline, f"Page: {page}"])


class ProgressLine:
    """One line on standard error that says how far long work is; nothing where that is not a terminal."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._shown: Any = None
        self._task: Any = None

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown is not None:
            self._shown.stop()

    def __call__(self, share: float, text: str) -> None:
        """Say that a share (0 to 1) is done, and what is being done."""
        if not sys.stderr.isatty() or time.monotonic() - self._start < PATIENCE:
            return
        if self._shown is None:
            self._open()
        self._shown.update(self._task, completed=share, description=text)

    def _open(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

        description = TextColumn("{task.description}", markup=False)
        self._shown = Progress(
            BarColumn(30), TaskProgressColumn(), description, console=Console(stderr=True), transient=True
        )
        self._task = self._shown.add_task("", total=1.0)
        self._shown.start()


def _survive_odd_terminals() -> None:
    """A terminal that has no µ or Ω shows a question mark instead of stopping the work."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _plain(text: str) -> str:
    """Without the control characters that a name from a file could send to the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)


def _say(text: str) -> None:
    try:
        print(_plain(text), flush=True)
    except BrokenPipeError:  # the reader has seen enough; what was asked for is written
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(text: str, code: int) -> int:
    """Say on standard error what is wrong, one line a problem."""
    for line in text.splitlines():
        print(f"filterlib: {_plain(line)}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
