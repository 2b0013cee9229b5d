"""What the commands say on a terminal: lines, complaints, and how far long work is."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from filterlib.errors import FilterlibError, InputError, OutputError

if TYPE_CHECKING:
    from rich.progress import Progress

PATIENCE = 1.0  # [s] of work before a progress line appears
AGAIN = 0.3  # [s] after which an interrupt is repeated
LAST_MOMENT = 0.8  # [s] after an interrupt at which the process ends, whatever it does
INTERRUPTED = "interrupted; no half-written results are left"


class ProgressLine:
    """One line on standard error that says how far long work is; nothing where that is not a terminal."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._shown: Progress | None = None

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
            self._shown = self._opened()
        self._shown.update(self._shown.task_ids[0], completed=share, description=text)

    def _opened(self) -> Progress:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

        description = TextColumn("{task.description}", markup=False)
        shown = Progress(BarColumn(30), TaskProgressColumn(), description, console=Console(stderr=True), transient=True)
        shown.add_task("", total=1.0)
        shown.start()
        return shown


@contextmanager
def interruptible() -> Iterator[None]:
    """Ctrl-C ends the work inside within a second.

    An interrupt that a library's own callback swallows comes again; where a library computes on without looking, the process ends
    `LAST_MOMENT` after the first. What is in the results' folder is whole at any moment.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(*_: object) -> None:
        signal.setitimer(signal.ITIMER_REAL, AGAIN)
        raise KeyboardInterrupt

    told, tells = os.pipe()
    os.set_blocking(tells, False)
    ended = threading.Event()
    before = {number: signal.signal(number, interrupt) for number in (signal.SIGINT, signal.SIGALRM)}
    listened = signal.set_wakeup_fd(tells, warn_on_full_buffer=False)
    threading.Thread(target=_end_at_the_last_moment, args=(told, ended), daemon=True).start()
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        ended.set()
        signal.set_wakeup_fd(listened)
        os.close(tells)
        for number, handler in before.items():
            signal.signal(number, handler)


def _end_at_the_last_moment(told: int, ended: threading.Event) -> None:
    """In a thread of its own: waits for a signal; returns when the work has ended, ends the process when it goes on."""
    while signals := os.read(told, 1):
        if signals[0] == signal.SIGINT and not ended.wait(LAST_MOMENT):
            os._exit(complain(INTERRUPTED, 130))
    os.close(told)


def survive_odd_terminals() -> None:
    """A terminal that has no µ or Ω shows a question mark instead of stopping the work."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _plain(text: str) -> str:
    """Without the control characters that a name from a file could send to the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)


def say(text: str) -> None:
    """Print a text; a reader that went away is no reason to fail."""
    try:
        print(_plain(text), flush=True)
    except BrokenPipeError:  # the reader has seen enough; what was asked for is written
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(text: str, code: int) -> int:
    """Say on standard error what is wrong, one line a problem, each once."""
    for line in dict.fromkeys(text.splitlines()):
        print(f"filterlib: {_plain(line)}", file=sys.stderr)
    return code


@contextmanager
def about(*files: str) -> Iterator[None]:
    """What cannot be computed of a design is raised again with the name of its file."""
    try:
        yield
    except (InputError, OutputError):
        raise
    except FilterlibError as error:
        raise FilterlibError(f"{' and '.join(files)}: {error}") from error
