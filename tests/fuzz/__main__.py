"""`python -m tests.fuzz`: 100,000 damaged files, and every key of a design at both ends of its range, alone and in pairs.

Prints what became of the files, every fault with the number that makes it again, and the share of the lines of the readers that
were executed in the first thousand. Exit code 1 where there was a fault.
"""

import argparse
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

from tests.fuzz.executed import executed, shares
from tests.fuzz.mutated import file
from tests.fuzz.reading import NAMING, named_outcome, outcome
from tests.fuzz.sweep import COMMANDS, alone, looked, pairs, whole, words

COVERED = ("parts/reading.py", "parts/curves/rows.py", "parts/tables.py", "system", "bench")
TRACED = 1000


def placed(folder, number, seed):
    sort, ending, text = file(seed, number)
    path = folder / f"file.{ending}"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    return sort, path


def in_time(things, chosen):
    """The things until its ``end`` [s]; all where that is 0."""
    for thing in things:
        if chosen.end and time.monotonic() >= chosen.end:
            return
        yield thing


def fuzz(folder, numbers, seed, deep):
    """Counter of sort and outcome of the files of these numbers; a fault is printed with its number."""
    tally = Counter()
    for number in numbers:
        sort, path = placed(folder, number, seed)
        ways = {sort: lambda sort=sort, path=path: outcome(sort, path, deep=deep)}
        if sort in NAMING:
            ways[f"{sort} that a design names"] = lambda sort=sort, path=path: named_outcome(sort, path)
        for way, look in ways.items():
            try:
                result = look()
            except Exception as error:
                result = "fault"
                print(
                    f"number {number}, {way}: {type(error).__name__}: {error}", traceback.format_exc()[-800:], sep="\n"
                )
            tally[way, result] += 1
    return tally


def sweep(folder, cases, how):
    """What became of the cases; ``how``: from a case, its number and the folder to an outcome. A fault is printed with its keys."""
    tally = Counter()
    for number, case in enumerate(cases):
        try:
            tally[how(case, number, folder)] += 1
        except Exception as error:
            tally["fault"] += 1
            at = traceback.extract_tb(error.__traceback__)[-1]
            print(f"{words(case)}: {type(error).__name__}: {str(error)[-600:]} ({at.filename}:{at.lineno})", flush=True)
    return tally


def swept(folder, chosen):
    """Lines that say what became of the keys at their ends, and how many faults there were."""
    cases, faults = [*(alone() if chosen.alone else ()), *pairs(chosen.pairs, chosen.seed)], 0
    ways = {
        "read": (chosen.read, read),
        "looked at in every piece": (chosen.look, pieces),
        "whole commands": (chosen.sweep, commands(chosen.commands.split(","))),
    }
    for name, (step, how) in ways.items():
        some = cases[chosen.start :: step] if step else []
        tally = sweep(folder, in_time(some, chosen), how)
        faults += tally["fault"]
        print(f"keys at their ends, {name}: {sum(tally.values())} of {len(some)}: {dict(tally)}", flush=True)
    return faults


def read(case, number, folder):
    return looked(case, folder, deep=False)


def pieces(case, number, folder):
    return looked(case, folder, deep=True)


def commands(chosen):
    """From a case to how it ends in a whole command: each case in the next one of those chosen."""

    def how(case, number, folder):
        command = chosen[number % len(chosen)]
        return f"{command} {whole(case, folder, command)}"

    return how


def files(folder, chosen):
    """Damaged files: what became of them, and the share of the readers' lines that the first thousand reach."""
    traced = min(chosen.count, TRACED)
    with executed(COVERED) as lines:
        tally = fuzz(folder, range(chosen.first, chosen.first + traced), chosen.seed, chosen.deep)
    rest = range(chosen.first + traced, chosen.first + chosen.count)
    tally += fuzz(folder, in_time(rest, chosen), chosen.seed, chosen.deep)
    print(f"{sum(count for (sort, _), count in tally.items() if 'names' not in sort)} files")
    print("\n".join(f"{sort} {result}: {count}" for (sort, result), count in sorted(tally.items())))
    found = list(shares(lines, COVERED))
    for name, share, count in found:
        print(f"{100 * share:4.0f} % of {count:4d} lines in functions of {name}")
    print(
        f"{100 * sum(s * n for _, s, n in found) / sum(n for *_, n in found):4.0f} % of all of them, in {traced} files"
    )
    return tally


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--count", type=int, default=100_000, help="damaged files")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--deep", action="store_true", help="also solve what is taken at every operating point")
    parser.add_argument("--pairs", type=int, default=2000, help="pairs of keys at their ends, beside every key alone")
    parser.add_argument(
        "--look", type=int, default=0, metavar="STEP", help="every STEP-th of them solved, in every piece"
    )
    parser.add_argument("--sweep", type=int, default=0, metavar="STEP", help="every STEP-th through a whole command")
    parser.add_argument("--commands", default=",".join(COMMANDS), help="these in turn")
    parser.add_argument("--read", type=int, default=1, metavar="STEP", help="every STEP-th of them read, 0: none")
    parser.add_argument("--alone", type=int, default=1, choices=(0, 1), help="0: pairs only")
    parser.add_argument("--start", type=int, default=0, help="and the first of these")
    parser.add_argument(
        "--seconds",
        type=float,
        default=0,
        help="ends after so many, or when it is told to (SIGTERM), and says how far it came",
    )
    chosen = parser.parse_args()
    chosen.end = chosen.seconds and time.monotonic() + chosen.seconds
    signal.signal(signal.SIGTERM, lambda *_: setattr(chosen, "end", time.monotonic()))
    tally = Counter()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        if chosen.count:
            tally = files(folder, chosen)
        faults = swept(folder, chosen)
    sys.exit(any(result == "fault" for _, result in tally) or faults > 0)


if __name__ == "__main__":
    main()
