"""The command `filterlib bench`: readings of a built board beside what its design promised."""

from __future__ import annotations

import argparse

from filterlib.show.terminal import ProgressLine, about, say

EXAMPLES = """\
examples:
  filterlib bench tide-gauge.toml --before terminals.csv --after modem.csv --out answers
      from the capture at the bare converter predicts what the capture at the first load should show, and compares
  filterlib bench tide-gauge.toml --after modem@listening=quiet.csv --after logger=logger.csv
      captures at named loads, and at an operating point
  filterlib bench tide-gauge.toml --reading "modem 20MHz 4.8 mV" --reading "logger full listening 21 mV"
      figures that were read off the screen: place, band (20MHz or full), operating point if not the first, figure
  filterlib bench tide-gauge.toml --readings bench/readings.toml
      the file that filterlib verify writes, filled in

exit codes of bench:
  0  every reading agrees
  1  a reading does not agree, or cannot tell
  2  the input was refused
  3  the output could not be written
"""


def add_bench(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Adds the command and its options."""
    command = commands.add_parser(
        "bench",
        help="compare captures and readings of a built board with its design, and say what explains a difference",
        description="Compare captures and readings of a built board with what its design promises.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("design", metavar="DESIGN.toml", help="the design file")
    command.add_argument("--before", metavar="A.csv", help="a capture at the converter's terminals, without the filter")
    after = "a capture with the filter: FILE, PLACE=FILE or PLACE@POINT=FILE; may be given several times"
    command.add_argument("--after", metavar="B.csv", action="append", default=[], help=after)
    reading = 'a figure peak to peak, as "modem 20MHz 4.8 mV"; may be given several times'
    command.add_argument("--reading", metavar="WORDS", action="append", default=[], help=reading)
    command.add_argument("--readings", metavar="FILE.toml", help="a filled-in readings file of filterlib verify")
    exchanged = "take captures as they are given, also where the one behind the filter reads more"
    command.add_argument("--as-stated", action="store_true", help=exchanged)
    files = "folder for bench.html, bench.json and the figures; without it nothing is written"
    command.add_argument("--out", metavar="FOLDER", help=files)
    command.set_defaults(run=_bench)


def _bench(chosen: argparse.Namespace) -> int:
    from filterlib.bench.answers.answer import Capture, bench
    from filterlib.bench.answers.explanation import explain
    from filterlib.bench.answers.readings_file import read_readings
    from filterlib.show.bench_page.answer_page import write_answers
    from filterlib.words.answer_sentences import bench_text

    with ProgressLine() as progress, about(chosen.design):
        lines, scope = read_readings(chosen.readings) if chosen.readings else ((), None)
        result = bench(
            chosen.design,
            before=chosen.before,
            after=[Capture(*_parts(text)) for text in chosen.after],
            readings=[*chosen.reading, *lines],
            scope=scope,
            as_stated=chosen.as_stated,
            progress=lambda share, text: progress(0.7 * share, text),
        )
        progress(0.7, "faults, one at a time")
        explained = explain(result) if result.ripples else None
        page = write_answers(result, explained, chosen.out) if chosen.out is not None else None
    say(bench_text(result, explained))
    say("Figures: give --out FOLDER" if page is None else f"Page: {page}")
    return result.exit_code


def _parts(text: str) -> tuple[str, str | None, str | None]:
    """File, place and operating point of one --after."""
    where, equals, file = text.rpartition("=")
    if not equals:
        return text, None, None
    place, at, point = where.partition("@")
    return file, place, point if at else None
