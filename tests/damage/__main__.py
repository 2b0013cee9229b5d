"""One command: `python -m tests.damage [--only 3,17] [--jobs 2] [--limit SECONDS] [--near] [--json FILE] [--list]`.

Damages 100 lines of physics, one at a time in a copy of the tree, and says which of them no test notices.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from tests.damage.damages import Damage, chosen
from tests.damage.runs import Result, results

ROOT = Path(__file__).parents[2]


def line(number: int, damage: Damage) -> str:
    """A damage on one line."""
    return f"{number:>3}  {damage.path}:{damage.line}  {damage.kind}: {damage.old}  ->  {damage.new}"


def record(number: int, result: Result) -> dict[str, object]:
    """A result for JSON."""
    plain = dataclasses.asdict(result.damage)
    said = {key: plain[key] for key in ("path", "line", "function", "kind", "old", "new")}
    return {"number": number, **said, "outcome": result.outcome, "why": result.why, "tests": result.tests}


def main(arguments: Sequence[str] | None = None, root: Path = ROOT) -> int:
    """Print what becomes of each damage, then what survives; 1 if more than 3 of 100 do."""
    parser = argparse.ArgumentParser(prog="python -m tests.damage", description=__doc__)
    parser.add_argument("--count", type=int, default=100, help="how many lines are damaged")
    parser.add_argument("--only", help="numbers of the damages to try, with commas; without it all")
    parser.add_argument("--jobs", type=int, default=1, help="how many at a time")
    parser.add_argument("--limit", type=float, default=600.0, help="seconds for the tests of one damage")
    parser.add_argument(
        "--near", action="store_true", help="the nearest tests alone: those of the module and of its folder"
    )
    parser.add_argument("--json", type=Path, help="a file for the results")
    parser.add_argument("--list", action="store_true", help="say what would be damaged, and do nothing")
    given = parser.parse_args(arguments)
    drawn = dict(enumerate(chosen(root, given.count), start=1))
    if given.only:
        drawn = {number: drawn[number] for number in map(int, given.only.split(","))}
    if given.list:
        print(*(line(number, one) for number, one in drawn.items()), sep="\n")
        return 0
    told = lambda text: print(text, flush=True)  # noqa: E731
    done: dict[int, Result] = {}
    options = {"jobs": given.jobs, "limit": given.limit, "near": given.near, "told": told}
    for number, result in zip(drawn, results(root, list(drawn.values()), **options), strict=True):
        done[number] = result
        print(f"{line(number, result.damage)}\n     {result.outcome}: {result.why}", flush=True)
        if given.json:
            given.json.write_text(json.dumps([record(*one) for one in done.items()], indent=1) + "\n", encoding="utf-8")
    print(
        f"\n{len(done)} lines damaged:",
        ", ".join(f"{n} {what}" for what, n in Counter(r.outcome for r in done.values()).items()),
    )
    alive = {number: one for number, one in done.items() if one.outcome in ("survived", "not called")}
    print(*(f"{line(number, one.damage)}  ({one.outcome})" for number, one in alive.items()), sep="\n")
    return 100 * len(alive) > 3 * len(done)


if __name__ == "__main__":
    raise SystemExit(main())
