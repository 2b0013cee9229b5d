"""The command `filterlib`: review a design, compare two, look at a recording or a part, make the sheet for the bench.

Exit codes: 0 done; 2 the input or the command was refused; 3 the output could not be written; 70 a fault of the program
itself; 130 interrupted. ``review`` and ``compare`` alone also have 1: a requirement or a rating is not met over the whole range
at every operating point, or undecided, or the circuit is unstable (the page is written and says so).
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING
from urllib.parse import quote

from filterlib.errors import FilterlibError, InputError, OutputError, Problem, one_line
from filterlib.show import terminal
from filterlib.show.arguments import Commands, add_command, add_folder
from filterlib.show.bank.bank_command import add_bank
from filterlib.show.bench_page.bench_command import add_bench
from filterlib.show.command_help import COMPARE, LAB, PAGES, PART, RECORDING, REVIEW, VERIFY
from filterlib.show.damping.damp_command import add_damp
from filterlib.show.first_file.command import add_new
from filterlib.show.keys.key_command import add_schema
from filterlib.show.process import keep_memory
from filterlib.show.terminal import ProgressLine, about, complain, interruptible, say, survive_odd_terminals

if TYPE_CHECKING:
    from filterlib.analysis.review_result import ReviewResult
    from filterlib.system.design import Design

REFUSED, NOT_WRITTEN, FAULT, INTERRUPTED = 2, 3, 70, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    survive_odd_terminals()
    # for small matrices threads wait for each other; also in the kernels that this starts
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if arguments is None:  # a program of its own
        keep_memory()
    try:
        with interruptible():
            own, passed_on = _split(list(sys.argv[1:] if arguments is None else arguments))
            chosen = _parser().parse_args(own, argparse.Namespace(passed_on=passed_on))
            if getattr(chosen, "out", None) is not None:  # refused before the work, and not after it
                from filterlib.show.folder import place_of

                place_of(chosen.out)
            return int(chosen.run(chosen))
    except OutputError as error:
        return complain(one_line(str(error)), NOT_WRITTEN)
    except InputError as error:
        return complain(str(error), REFUSED)
    except FilterlibError as error:
        return complain(one_line(str(error)) or type(error).__name__, REFUSED)
    except KeyboardInterrupt:
        complain(terminal.INTERRUPTED, INTERRUPTED)
        if (
            arguments is None
        ):  # a program of its own: Python would end by the signal where one passed through its exec()
            os._exit(INTERRUPTED)
        return INTERRUPTED
    except Exception as error:  # a fault must not look like "a requirement is not met", which is exit code 1
        import traceback

        traceback.print_exception(error)
        return complain("this is a fault in filterlib, not in what it read; nothing was written", FAULT)


def _split(arguments: list[str]) -> tuple[list[str], list[str]]:
    """The arguments, and those behind a lone -- that `lab` passes on."""
    if arguments[:1] != ["lab"] or "--" not in arguments:
        return arguments, []
    place = arguments.index("--")
    return arguments[:place], arguments[place + 1 :]


def _parser() -> argparse.ArgumentParser:
    from filterlib import __version__

    parser = argparse.ArgumentParser(
        prog="filterlib",
        description="The filter between a switch-mode DC-DC converter and the electronics that it feeds.",
        epilog=REVIEW + "\nfilterlib COMMAND --help has examples and exit codes of the others.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"filterlib {__version__}")
    parser.set_defaults(run=lambda _: _help(parser))
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    add_new(commands)
    add_schema(commands)
    _add_review(commands)
    _add_compare(commands)
    _add_recording(commands)
    _add_part(commands)
    _add_verify(commands)
    add_bench(commands)
    add_damp(commands)
    add_bank(commands)
    _add_lab(commands)
    _add_pages(commands)
    return parser


def _help(parser: argparse.ArgumentParser) -> int:
    parser.print_help()
    return 0


def _add_review(commands: Commands) -> None:
    command = add_command(
        commands, "review", _review, epilog=REVIEW,
        short="review a design file and write a page, the numbers and the figures",
        long="Review a design file: ripple before and after the filter, its range, stability, steps, impedances.",
    )  # fmt: skip
    command.add_argument("design", metavar="DESIGN.toml", help="the design file")
    files = "folder for review.html, results.json and the figures; other files in it stay as they are"
    command.add_argument("--out", required=True, metavar="FOLDER", help=files)
    asked = "when exit code is 0: requirements met over the whole range (possible, the default) or in 95 %% of the plausible cases"
    command.add_argument("--accept", choices=("possible", "probable"), default="possible", help=asked)


def _add_compare(commands: Commands) -> None:
    command = add_command(
        commands, "compare", _compare, epilog=COMPARE,
        short="compare two designs: what differs, how much ripple each leaves, and why",
        long="Compare two design files: the same filter on two converters, two filters on one, or whatever differs.",
    )  # fmt: skip
    command.add_argument("first", metavar="A.toml", help="a design file")
    command.add_argument("second", metavar="B.toml", help="another one, with a load of the same name")
    files = "folder for compare.html, compare.json and the figures; other files in it stay as they are"
    command.add_argument("--out", required=True, metavar="FOLDER", help=files)


def _add_recording(commands: Commands) -> None:
    command = add_command(
        commands, "recording", _recording, epilog=RECORDING,
        short="measure an oscilloscope's recording, and draw it",
        long="Measure one channel of an oscilloscope's CSV file: period, jitter, ripple and spike, noise, harmonics.",
    )  # fmt: skip
    command.add_argument("file", metavar="FILE.csv", help="the recording, as the oscilloscope exported it")
    command.add_argument("--channel", metavar="N", help="name of the channel, or its number from 1 on; else the first")
    for option, example, words in (
        ("--sample-interval", "4ns", "where the file has neither times nor the interval"),
        ("--probe-factor", "10", "by what the probe divides, where the file is wrong or silent about it"),
        ("--bandwidth", "20MHz", "of scope and probe, where the file is wrong or silent about it"),
        ("--full-scale", "160mV", "lowest to highest level at the probe's tip: decides what is clipped"),
        ("--coupling", "AC", "AC or DC, where the file is wrong or silent about it"),
    ):
        command.add_argument(option, metavar=example, help=words)
    command.add_argument("--ripple-to", default="20MHz", metavar="20MHz", help="border between ripple and spike")
    command.add_argument("--order", default=1, type=int, metavar="1", help="of the low-pass at that border")
    add_folder(command, "recording.html, recording.json and the figures")


def _add_part(commands: Commands) -> None:
    command = add_command(
        commands, "part", _part, epilog=PART,
        short="show one part of a table: impedance, curves, values; or list the table",
        long="Show one part: its values, its impedance under several conditions, its curves and its equivalent circuit.",
    )  # fmt: skip
    command.add_argument(
        "table", metavar="TABLE", help="a table of parts: a TOML file, or the name of a table in filterlib"
    )
    command.add_argument("name", metavar="NAME", nargs="?", help="the part; without it the table's parts are listed")
    add_folder(command, "part.html, part.json and the figures")


def _add_lab(commands: Commands) -> None:
    command = add_command(
        commands, "lab", _lab, epilog=LAB,
        short="open the notebooks in JupyterLab, in a folder of your own",
        long="Copy the notebooks into a folder and open them in JupyterLab.",
    )  # fmt: skip
    command.add_argument(
        "folder", metavar="FOLDER", nargs="?", default="filterlib-notebooks", help="filterlib-notebooks unless given"
    )
    command.add_argument(
        "--design", metavar="DESIGN.toml", help="a design file to be put on sliders, in a notebook of its own"
    )
    command.add_argument("--no-browser", action="store_true", help="print the address instead of opening a browser")


def _add_pages(commands: Commands) -> None:
    command = add_command(
        commands, "pages", _pages, epilog=PAGES,
        short="write the notebooks as pages with still pictures",
        long="Run every notebook once and write it as a page that needs neither Jupyter nor a network.",
    )  # fmt: skip
    command.add_argument("--out", required=True, metavar="FOLDER", help="folder for index.html and the pages")


def _add_verify(commands: Commands) -> None:
    command = add_command(
        commands, "verify", _verify, epilog=VERIFY,
        short="make the sheet for the bench: what to measure, where, how, and what to expect",
        long="Make the sheet for the bench: safety first, then each reading with its probe point, arrangement and range.",
    )  # fmt: skip
    command.add_argument("design", metavar="DESIGN.toml", help="the design file")
    files = "folder for verify.html, verify.json and the circuit diagram; other files in it stay as they are"
    command.add_argument("--out", required=True, metavar="FOLDER", help=files)


def _review(chosen: argparse.Namespace) -> int:
    from filterlib import load_design
    from filterlib.analysis.review import review
    from filterlib.show.review_page.report import write_review
    from filterlib.words.review.summary import terminal_summary

    with ProgressLine() as progress, about(chosen.design):
        progress(0.0, f"reading {chosen.design}")
        design = load_design(chosen.design)
        result = review(design, accept=chosen.accept, progress=lambda share, text: progress(0.8 * share, text))
        page = write_review(
            result, chosen.out, file=chosen.design, progress=lambda share, text: progress(0.8 + 0.2 * share, text)
        )
    say(terminal_summary(result, _ending(result, chosen.out, str(page))))
    return result.exit_code


def _compare(chosen: argparse.Namespace) -> int:
    from textwrap import wrap

    from filterlib import load_design
    from filterlib.analysis.review import compare
    from filterlib.show.compare_page.compare import write_comparison
    from filterlib.words.review.comparison_sentences import in_short
    from filterlib.words.review.findings import outcome_words
    from filterlib.words.review.summary import WIDTH

    with ProgressLine() as progress, about(chosen.first, chosen.second):
        progress(0.0, f"reading {chosen.first} and {chosen.second}")
        first, second = _both(load_design, chosen.first, chosen.second)
        result = compare(first, second, progress=lambda share, text: progress(0.9 * share, text))
        page = write_comparison(result, chosen.out, progress=lambda share, text: progress(0.9 + 0.1 * share, text))
    outcomes = [
        f"{letter}: {symbol} {word}: {one.design.name}"
        for letter, one in zip("AB", result.reviews, strict=True)
        for symbol, word in [outcome_words(one)]
    ]
    say("\n".join([*(line for one in in_short(result) for line in wrap(one, WIDTH)), *outcomes, f"Page: {page}"]))
    return result.exit_code


def _both(load_design: Callable[[str], Design], *paths: str) -> list[Design]:
    """Both designs, or everything that is wrong with either."""
    designs: list[Design] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            designs.append(load_design(path))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return designs


def _recording(chosen: argparse.Namespace) -> int:
    from filterlib.bench.capture.harmonics import harmonics
    from filterlib.bench.capture.measurement import measure
    from filterlib.bench.capture.recording import load_recording
    from filterlib.show.recording.recording_page import recording_text, write_recording
    from filterlib.units import quantity

    border = quantity(chosen.ripple_to, "Hz", low=1e3, name="ripple_to")
    factor = chosen.probe_factor
    with ProgressLine() as progress:
        progress(0.0, f"reading {chosen.file}")
        recording = load_recording(
            chosen.file,
            int(chosen.channel) if re.fullmatch("[0-9]{1,4}", str(chosen.channel)) else chosen.channel,
            probe_factor=None if factor is None else quantity(factor, "", above=0, name="probe_factor"),
            bandwidth=chosen.bandwidth,
            full_scale=chosen.full_scale,
            sample_interval=chosen.sample_interval,
            coupling=chosen.coupling,
        )
        progress(0.5, "overlaying the periods")
        measurement = measure(recording, bandwidth=border, order=chosen.order)
        spectrum = harmonics(measurement) if measurement.average else None
        page = write_recording(measurement, spectrum, chosen.out) if chosen.out is not None else None
    say(recording_text(measurement, spectrum))
    say("\nFigures: give --out FOLDER" if page is None else f"\nPage: {page}")
    return 0


def _part(chosen: argparse.Namespace) -> int:
    from filterlib.analysis.linear.part_curves import examine
    from filterlib.errors import QuantityError
    from filterlib.parts.tables import find_part, named_table
    from filterlib.show.part_page.part import part_text, write_part
    from filterlib.show.part_page.part_tables import list_table
    from filterlib.show.text import table_text

    table = named_table(chosen.table)
    if chosen.name is None:
        if chosen.out is not None:
            raise QuantityError("a part's name is needed: a list of parts has no figures", name="--out")
        say(table_text(list_table(table, table.title)))
        return 0
    result = examine(find_part(chosen.name, None, [table]))
    page = write_part(result, chosen.out) if chosen.out is not None else None
    say(part_text(result))
    say("\nFigures: give --out FOLDER" if page is None else f"\nPage: {page}")
    return 0


def _lab(chosen: argparse.Namespace) -> int:
    from filterlib import load_design
    from filterlib.show.notebook_pages.notebooks import fresh_copies, own_notebook
    from filterlib.show.notebook_pages.prompt import lab_command, run_lab

    if chosen.design is not None:
        load_design(chosen.design)  # what is wrong with it is said here, and not in a notebook
    for copy in fresh_copies(chosen.folder):
        fresh = f" is changed and stays as it is; the fresh copy is {copy.fresh}" if copy.fresh else f": {copy.state}"
        say(f"{copy.name}{fresh}")
    options = [*(["--no-browser"] if chosen.no_browser else []), *chosen.passed_on]
    if chosen.design is not None:
        own = own_notebook(chosen.folder, chosen.design)
        say(f"{own.name}: {chosen.design} on sliders")
        options.append(f"--LabApp.default_url=/lab/tree/{quote(own.name)}")
    say("In a notebook: menu Run, Run All Cells; then the sliders are there.")
    if getattr(os, "geteuid", lambda: -1)() == 0 and "--allow-root" not in options:
        say(f"As root JupyterLab starts only with: filterlib lab {shlex.quote(chosen.folder)} -- --allow-root")
    return run_lab(lab_command(chosen.folder, *options))


def _pages(chosen: argparse.Namespace) -> int:
    from filterlib.show.notebook_pages.pages import write_pages

    with ProgressLine() as progress:
        page = write_pages(chosen.out, progress=progress)
    say(f"Pages: {page}")
    return 0


def _verify(chosen: argparse.Namespace) -> int:
    from filterlib import load_design
    from filterlib.analysis.bench.bench_sheet import bench_sheet
    from filterlib.analysis.review import review
    from filterlib.show.verify import sheet_text, write_sheet

    with ProgressLine() as progress, about(chosen.design):
        progress(0.0, f"reading {chosen.design}")
        design = load_design(chosen.design)
        result = review(design, progress=lambda share, text: progress(0.8 * share, text))
        sheet = bench_sheet(result, progress=lambda share, text: progress(0.8 + 0.1 * share, text))
        progress(0.9, "writing")
        page = write_sheet(sheet, chosen.out)
    say(f"{sheet_text(sheet)}\nPage: {page}")
    return 0


def _ending(result: ReviewResult, folder: str, page: str) -> list[str]:
    """The change to try first, with the command that reviews it, and where the page is."""
    from filterlib.show.review_page.change_files import named_changes

    paths = {os.path.join(folder, name): one for name, one in named_changes(result.reasons).items()}
    best = next((path for path in paths if os.path.exists(path)), None)
    if best is None:
        return [f"Page: {page}"]
    start = "Change first" if paths[best].robust else "Helps, not enough"
    return [f"{start}: filterlib review {shlex.quote(best)} --out ...", f"Page: {page}"]


if __name__ == "__main__":
    sys.exit(main())
