"""`python -m tests.fuzz`: 100,000 damaged files, and every key of a design at both ends of its range.

Prints what became of the files, every fault with the number that makes it again, and the share of the lines of the readers that
were executed in the first thousand. Exit code 1 where there was a fault.
"""

import argparse
import contextlib
import io
import sys
import tempfile
import traceback
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

from filterlib import cli
from tests.fuzz.ends import at_ends
from tests.fuzz.executed import executed, shares
from tests.fuzz.mutated import file
from tests.fuzz.reading import in_time, outcome
from tests.system.test_bad_input import TREE, changed, key_of, written

COVERED = ("parts/reading.py", "parts/rows.py", "parts/tables.py", "system", "bench")
TRACED = 1000


def placed(folder, number, seed):
    sort, ending, text = file(seed, number)
    path = folder / f"file.{ending}"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    return sort, path


def fuzz(folder, first, count, seed, deep):
    """Counter of sort and outcome; a fault is printed with its number."""
    tally = Counter()
    for number in range(first, first + count):
        sort, path = placed(folder, number, seed)
        try:
            result = outcome(sort, path, deep=deep)
        except Exception as error:
            result = "fault"
            print(f"number {number}, {sort}: {type(error).__name__}: {error}", traceback.format_exc()[-800:], sep="\n")
        tally[sort, result] += 1
    return tally


def whole(folder, text):
    """The exit code of a whole review of a text; raises AssertionError where what it writes does not parse."""
    path, out = folder / "board.toml", folder / "out"
    path.write_text(text, encoding="utf-8")
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said), in_time(120):
        code = cli.main(["review", str(path), "--out", str(out)])
    assert code in (0, 1, 2), said.getvalue()[-2000:]
    assert " inf " not in said.getvalue()
    assert "nan" not in said.getvalue().split()
    if code == 2:
        assert str(path) in said.getvalue()
        return code
    for figure in out.glob("*.svg"):
        ElementTree.fromstring(figure.read_text(encoding="utf-8"))
    HTMLParser().feed((out / "review.html").read_text(encoding="utf-8"))
    return code


def sweep(folder, start, step):
    """Every key at both ends of its range, through the whole command; a fault is printed with its key."""
    tally = Counter()
    for path, value in list(at_ends(TREE))[start::step]:
        text = "\n".join(f"{key} = {written(inner)}" for key, inner in changed(path, value).items())
        try:
            tally[whole(folder, text)] += 1
        except Exception as error:
            tally["fault"] += 1
            print(f"{key_of(path)} = {value}: {type(error).__name__}: {error}")
    return tally


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--count", type=int, default=100_000, help="damaged files")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--deep", action="store_true", help="also solve what is taken at every operating point")
    parser.add_argument(
        "--sweep", type=int, default=0, metavar="STEP", help="also every STEP-th key and end, as a whole review"
    )
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with executed(COVERED) as lines:
            tally = fuzz(folder, chosen.first, min(chosen.count, TRACED), chosen.seed, chosen.deep)
        tally += fuzz(folder, chosen.first + TRACED, chosen.count - TRACED, chosen.seed, chosen.deep)
        print("\n".join(f"{sort} {result}: {count}" for (sort, result), count in sorted(tally.items())))
        found = list(shares(lines, COVERED))
        for name, share, count in found:
            print(f"{100 * share:4.0f} % of {count:4d} lines in functions of {name}")
        print(
            f"{100 * sum(s * n for _, s, n in found) / sum(n for *_, n in found):4.0f} % of all of them, in {TRACED} files"
        )
        swept = sweep(folder, 0, chosen.sweep) if chosen.sweep else Counter()
        print("\n".join(f"whole review, exit code {code}: {count}" for code, count in swept.items()))
    sys.exit(any(result == "fault" for _, result in tally) or swept["fault"] > 0)


if __name__ == "__main__":
    main()
