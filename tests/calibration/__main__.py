"""One command: `python -m tests.calibration --count 300 [--kinds number,load] [--seed 1] [--first 0] [--jobs 2] [--json FILE] [--quick]`.

Converters of the population are given to the library with more and more knowledge. Printed: how often the truth lies in the
probable and in the possible interval, how wide they are, what was refused, every truth that lies outside, and whether each further
piece of knowledge narrows the interval and loses no truth.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from operator import attrgetter
from pathlib import Path

from threadpoolctl import threadpool_limits

from tests.calibration.files import KINDS
from tests.calibration.trials import Tally, Trial, further, tallies, trials

HEAD = ("knowledge", "cases", "refused", "probable", "width", "of 9 in 10", "aim", "possible", "width", "nominal off")


def row(tally: Tally) -> str:
    """One kind on one line."""
    cells = (
        tally.kind, str(len(tally.trials)), str(len(tally.refused)), share(tally.coverage("probable")),
        f"{tally.width('probable'):.3g}", f"{tally.width('probable', 0.9):.3g}", f"{KINDS[tally.kind].aim:g}",
        share(tally.coverage("possible")),
        f"{tally.width('possible'):.3g}", f"{tally.off:.3g}",
    )  # fmt: skip
    return line(cells)


def line(cells: Sequence[str]) -> str:
    return f"{cells[0]:<22}" + "".join(f"{cell:>12}" for cell in cells[1:])


def share(value: float) -> str:
    return "-" if value != value else f"{100 * value:.1f} %"


def outside(trial: Trial) -> str:
    """A truth that lies outside, or what was refused."""
    start = f"{trial.number:>4} {trial.topology:<25} {trial.kind:<20}"
    if trial.refused:
        return f"{start} refused: {trial.refused}"
    ends = f"probable {trial.probable_low:.3g} to {trial.probable_high:.3g} V, possible {trial.low:.3g} to {trial.high:.3g} V"
    return f"{start} truth {trial.truth:.3g} V; {ends}"


def _some(task: tuple[int, list[int], list[str], bool]) -> list[Trial]:
    *which, whole = task
    with threadpool_limits(limits=1):
        return list(trials(*which, whole=whole))


def run(seed: int, numbers: Sequence[int], kinds: list[str], jobs: int, whole: bool) -> Iterator[list[Trial]]:
    """Converter by converter, shared among processes."""
    tasks = [(seed, [number], kinds, whole) for number in numbers]
    if jobs == 1:
        yield from map(_some, tasks)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(_some, tasks)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table and what lies outside; 0, as what is wanted is judged by whoever reads it."""
    parser = argparse.ArgumentParser(prog="python -m tests.calibration", description=__doc__)
    parser.add_argument("--count", type=int, default=300, help="how many converters")
    parser.add_argument("--first", type=int, default=0, help="number of the first one")
    parser.add_argument("--kinds", default=",".join(KINDS), help=f"with commas: {', '.join(KINDS)}")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="how many at a time")
    parser.add_argument("--quick", action="store_true", help="the probable interval alone, in a tenth of the time")
    parser.add_argument("--json", type=Path, help="a file for every trial")
    given = parser.parse_args(arguments)
    kinds = [kind.strip() for kind in given.kinds.split(",")]
    done: list[Trial] = []
    for some in run(given.seed, range(given.first, given.first + given.count), kinds, given.jobs, not given.quick):
        done += some
        for one in filter(attrgetter("surprises"), some):
            print(outside(one), flush=True)
        if given.json:
            given.json.write_text(json.dumps([asdict(one) for one in done], indent=1) + "\n", encoding="utf-8")
    print("", line(HEAD), *map(row, tallies(done, kinds)), sep="\n")
    for known, more, ratio, lost in further(done, kinds):
        print(f"{more} after {known}: median interval narrower by {ratio:.3g}; truths lost: {lost or 'none'}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
