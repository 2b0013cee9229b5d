"""The command `filterlib new`: from options, or from questions on a terminal, to a design file that `review` takes."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
import tempfile
from pathlib import Path

from filterlib.disk import write_text
from filterlib.errors import FilterlibError, InputError, OutputError, Problem, QuantityError
from filterlib.show.arguments import Commands, add_command
from filterlib.show.terminal import say

EXAMPLES = """\
examples:
  filterlib new boost
      asks on the terminal, one question a line, and writes boost.toml
  filterlib new boost --kind step-up --input-voltage 12V --output-voltage 19V --frequency 150kHz --current 3A \\
      --ripple 300mV --spike 0.9V --filter "1 µF film + 2 x 1 mH + 1 µF" --load 35W --load-capacitor 470µF --limit 30mV
      writes the same without a question

What you do not know may be left out; kind, ratings and resistance of a part too: the file lists what was assumed; change it there.

exit codes:
  0  done
  2  an answer or option was refused, or the file is there already
  3  the file could not be written
"""


def add_new(commands: Commands) -> None:
    """Adds the command and its options."""
    from filterlib.show.first_file.answers import QUESTIONS

    short = "write a first design file, from a few questions or options"
    command = add_command(commands, "new", run, short=short, epilog=EXAMPLES)
    command.add_argument("name", metavar="NAME", help="of the design: NAME.toml is written")
    for question in QUESTIONS:
        command.add_argument(question.option, metavar=f'"{question.example}"', help=question.words.replace("%", "%%"))


def run(chosen: argparse.Namespace) -> int:
    """Writes the file; asks where a needed answer is missing and a person is there. Raises FilterlibError."""
    from filterlib.show.first_file.answers import QUESTIONS, answers
    from filterlib.show.first_file.draft import draft
    from filterlib.show.keys.schema import SCHEMA, schema_text

    path = Path(chosen.name if chosen.name.endswith(".toml") else f"{chosen.name}.toml")
    if not Path(chosen.name).name.removesuffix(".toml").strip("."):
        raise FilterlibError("new: NAME is empty; the design needs one, such as boost")
    if os.path.lexists(path):
        raise FilterlibError(f"{path}: is there already; choose another name, or remove it first")
    said: dict[str, str | None] = {one.name: getattr(chosen, one.name) for one in QUESTIONS}
    if sys.stdin.isatty() and sys.stdout.isatty() and any(one.needed and not said[one.name] for one in QUESTIONS):
        ask(said)
    found = answers(said)
    text = draft(path.stem, found, f"./{SCHEMA}")
    _refuse_unreadable(text, path)
    _write_both(path, text, path.parent / SCHEMA, schema_text())
    out = shlex.quote(str(path.with_suffix("")) + "-review")
    say(
        f"Written: {path}, and {SCHEMA} beside it, by which editors complete and check. Next: filterlib review {shlex.quote(str(path))} --out {out}"
    )
    return 0


def _write_both(path: Path, text: str, beside: Path, schema: str) -> None:
    """The design, and the schema where there is none yet; without the design no new schema stays. Raises OutputError."""
    new = not os.path.lexists(beside)
    if new and path.parent.is_dir():  # else it is the design that cannot be written, and that is what is said
        write_text(beside, schema)
    try:
        write_text(path, text)
    except BaseException:
        if new:
            beside.unlink(missing_ok=True)
        raise


def ask(said: dict[str, str | None]) -> None:
    """Asks on the terminal for what no option said, until each answer can be read; an empty one where it is not needed is none.

    Raises KeyboardInterrupt at the end of the input.
    """
    from filterlib.show.first_file.answers import QUESTIONS

    say("A few questions. Press Enter where you do not know; every answer can be changed in the file.")
    for question in (one for one in QUESTIONS if not said[one.name]):
        needed = "" if question.needed else ", or Enter"
        while not said[question.name]:
            try:
                answer = input(f"{question.words} (such as {question.example}{needed}): ").strip()
            except EOFError:
                raise KeyboardInterrupt from None
            if not answer and not question.needed:
                break
            try:
                question.read(answer)
                said[question.name] = answer
            except FilterlibError as error:
                say(f"  {error.why if isinstance(error, QuantityError) else error}")


def _refuse_unreadable(text: str, path: Path) -> None:
    """Raises InputError where `review` would not take the file, as answers contradict each other; OutputError where it cannot be tried."""
    from filterlib import load_design

    try:
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            trial = Path(folder) / "design.toml"
            write_text(trial, text)
            load_design(trial)
    except InputError as error:
        told = "not written, because review would refuse it: "
        raise InputError(Problem(str(path), one.key, one.value, told + one.why) for one in error.problems) from None
    except (OSError, OutputError) as error:
        why = getattr(error, "strerror", None) or error
        raise OutputError(f"{path}: cannot be tried in the folder for temporary files: {why}") from None
