"""The command `filterlib bench`: readings of a built board beside what its design promised."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from filterlib.show.arguments import Commands, add_command, add_folder
from filterlib.show.terminal import ProgressLine, about, say

if TYPE_CHECKING:
    from filterlib.bench.answers.answers_result import BenchResult
    from filterlib.bench.answers.explained import BothRanges, Explained

EXAMPLES = """\
examples:
  filterlib bench tide-gauge.toml --before terminals.csv --after modem.csv --out answers
      predicts the capture at the first load from the one at the bare converter, and compares both
  filterlib bench tide-gauge.toml --after modem@listening=quiet.csv --after logger=logger.csv
      captures at named loads, and at an operating point; several of one place are averaged
  filterlib bench tide-gauge.toml --reading "modem 20MHz 4.8 mV" --reading "logger full listening 21 mV"
      figures that were read off the screen: place, band (20MHz or full), operating point if not the first, figure; at another load
      "modem 20MHz 4.8 mV at 2 A"
  filterlib bench tide-gauge.toml --before terminals.csv --before-load "2 A" --after modem.csv
      a capture at another load is converted to that of the operating point; lines "Load current" and "Input voltage" in a file do the same
  filterlib bench tide-gauge.toml --before terminals.csv --after modem.csv --learned learned.toml
      also writes a design file in which the ranges of the converter's values are narrowed by the captures
  filterlib bench tide-gauge.toml --before terminals.csv --after modem.csv --keep skerry-brick
      keeps the converter's model in a folder of your own, for other designs: kept = "skerry-brick" under [converter]
  filterlib bench tide-gauge.toml --readings bench/readings.toml
      the file that filterlib verify writes, filled in

exit codes of bench:
  0  every reading agrees, and no fault explains the harmonics better than the board as designed
  1  a reading does not agree, or does not decide; or harmonics point to a fault
  2  the input was refused
  3  the output could not be written
"""


def add_bench(commands: Commands) -> None:
    """Adds the command and its options."""
    command = add_command(
        commands, "bench", _bench, epilog=EXAMPLES,
        short="compare captures and readings of a built board with its design, and say what explains a difference",
        long="Compare captures and readings of a built board with what its design promises.",
    )  # fmt: skip
    command.add_argument("design", metavar="DESIGN.toml", help="the design file")
    before = "a capture at the converter's terminals, without the filter; several are averaged"
    command.add_argument("--before", metavar="A.csv", action="append", default=[], help=before)
    load = "load current of that capture, if it differs from the design file's and the capture does not state it"
    command.add_argument("--before-load", metavar="AMPERES", help=load)
    fed = "input voltage of that capture, if the capture does not state it"
    command.add_argument("--before-input", metavar="VOLTS", help=fed)
    after = "a capture with the filter: FILE, PLACE=FILE or PLACE@POINT=FILE; may be given several times, those of one place are averaged"
    command.add_argument("--after", metavar="B.csv", action="append", default=[], help=after)
    reading = 'a figure peak to peak, as "modem 20MHz 4.8 mV"; may be given several times'
    command.add_argument("--reading", metavar="WORDS", action="append", default=[], help=reading)
    command.add_argument("--readings", metavar="FILE.toml", help="a filled-in readings file of filterlib verify")
    exchanged = "take captures as they are given, even if the one behind the filter shows more ripple"
    command.add_argument("--as-stated", action="store_true", help=exchanged)
    learned = "a new design file, with the ranges of the converter's values narrowed by the readings"
    command.add_argument("--learned", metavar="NEW.toml", help=learned)
    keep = 'saves the converter\'s model, fitted to the readings, for other designs: kept = "NAME" under [converter]'
    command.add_argument("--keep", metavar="NAME", help=keep)
    add_folder(command, "bench.html, bench.json and the figures")


def _bench(chosen: argparse.Namespace) -> int:
    from filterlib.bench.answers.answer import bench
    from filterlib.bench.answers.answers_result import Capture, Taken
    from filterlib.bench.answers.explained import exit_code
    from filterlib.bench.answers.readings_file import read_readings
    from filterlib.errors import FilterlibError
    from filterlib.show.bench_page.answer_page import write_answers
    from filterlib.words.bench.answer_sentences import bench_text

    with ProgressLine() as progress, about(chosen.design):
        if not chosen.before and (chosen.before_load or chosen.before_input):
            raise FilterlibError(
                "--before-load and --before-input are of the capture before the filter: give --before, too"
            )
        files = _files(chosen)
        lines, scope = read_readings(chosen.readings) if chosen.readings else ((), None)
        with _of_file(chosen.readings, lines):
            result = bench(
                chosen.design,
                before=chosen.before,
                before_taken=Taken(
                    _stated(chosen.before_load, "A", "--before-load"),
                    _stated(chosen.before_input, "V", "--before-input"),
                ),
                after=[Capture(*_parts(text)) for text in chosen.after],
                readings=[*chosen.reading, *lines],
                scope=scope,
                progress=lambda share, text: progress(0.7 * share, text),
            )
        progress(0.7, "faults, one at a time")
        explained = _explained(chosen, result) if result.behind else None
        page = write_answers(result, explained, chosen.out) if chosen.out is not None else None
    say(bench_text(result, explained))
    if files:
        both = _learned(chosen, result, explained)
        if page is not None:
            write_answers(result, explained, chosen.out, both)
        say(_kept(chosen, files, both, [*chosen.before, *chosen.after, *result.typed]))
    say("Figures: give --out FOLDER" if page is None else f"Page: {page}")
    return exit_code(result, explained)


def _explained(chosen: argparse.Namespace, result: BenchResult) -> Explained:
    """What explains the readings. Raises InputError where captures that are exchanged would explain them better, unless they are taken as stated."""
    from filterlib.bench.answers.answer import exchange
    from filterlib.bench.answers.explanation import explain
    from filterlib.bench.answers.trials import trials
    from filterlib.errors import InputError, Problem
    from filterlib.words.bench.answer_sentences import exchange_question

    known = trials(result)
    found = exchange(chosen.design, result, known)
    if found is not None and found.asks and not chosen.as_stated:
        raise InputError([Problem(found.file, "", None, exchange_question(found))])
    return replace(explain(result, known), exchange=found)


@contextmanager
def _of_file(file: str | None, lines: Sequence[str]) -> Iterator[None]:
    """What is wrong with a line of a readings file is said with the name of that file."""
    from filterlib.errors import FilterlibError, InputError, Problem

    try:
        yield
    except FilterlibError as error:
        if not any(f'reading "{line.partition(" at ")[0]}' in str(error) for line in lines):
            raise
        raise InputError([Problem(str(file), "readings", None, str(error))]) from error


def _learned(chosen: argparse.Namespace, result: BenchResult, explained: Explained | None) -> BothRanges:
    """What the readings tell of the converter; refused of a board with a fault."""
    from filterlib.bench.answers.learned import both_ranges
    from filterlib.errors import QuantityError

    if explained is None or not explained.sound:
        why = "nothing is learned of a board that is not as designed; mend it and measure again"
        raise QuantityError(why, name="--learned" if chosen.keep is None else "--keep")
    return both_ranges(result)


def _files(chosen: argparse.Namespace) -> dict[str, str | Path]:
    """What is to be written, by option; refused before any work where it has no name, or is there already."""
    from filterlib.errors import QuantityError
    from filterlib.system.file.kept import kept_file

    named = {"--learned": chosen.learned, "--keep": None if chosen.keep is None else kept_file(chosen.keep)}
    files = {option: file for option, file in named.items() if file is not None}
    for option, file in files.items():
        if not str(file).strip():
            raise QuantityError("a file needs a name", name=option, value=file)
        if os.path.lexists(file):
            raise QuantityError(f"{file} is there already: give another name", name=option)
    return files


def _kept(
    chosen: argparse.Namespace, files: Mapping[str, str | Path], both: BothRanges, captures: Sequence[str]
) -> str:
    """Writes the design file with narrowed ranges, and the converter's model to be kept; returns what to say of them."""
    from filterlib.bench.answers.learned import learned_text
    from filterlib.disk import write_text
    from filterlib.system.file.writing import kept_text
    from filterlib.words.bench.answer_sentences import learned_sentences

    said, design = [*learned_sentences(both)], both.design
    if chosen.learned is not None and both.learned.narrowed:
        write_text(chosen.learned, learned_text(chosen.design, both, captures))
        said.append(f"Next: filterlib review {chosen.learned} --out ...")
    if "--keep" in files:
        file = Path(files["--keep"])
        head = [f"{design.converter.name}, as {', '.join(captures)} have it", f"kept from {chosen.design}"]
        file.parent.mkdir(parents=True, exist_ok=True)
        write_text(file, kept_text(design, head))
        said.append(f'Kept: {file}. In another design: kept = "{chosen.keep}" under [converter].')
    return "\n".join(said)


def _stated(text: str | None, unit: str, name: str) -> float | None:
    from filterlib.units import quantity

    return None if text is None else quantity(text, unit, low=0.0, high=1e3, name=name)


def _parts(text: str) -> tuple[str, str | None, str | None]:
    """File, place and operating point of one --after."""
    where, equals, file = text.rpartition("=")
    if not equals:
        return text, None, None
    place, at, point = where.partition("@")
    return file, place, point if at else None
