"""One command, one run: `python -m tests.benchmarks`. BLAS threads pinned; ratios to what is compared, times beside them.

Ratio: to the engine or the bare start; of many designs and long recordings, time a piece over that of the smaller size.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from threadpoolctl import threadpool_limits

from tests.benchmarks import designs, engine, mitigations, panels, recordings, ringing, supply

ROOT = Path(__file__).parents[2]


def _best(command: list[str], runs: int = 3) -> float:
    """Least processor time [s] of a command, children included."""
    times = []
    for _ in range(runs):
        start = _children()
        subprocess.run(command, capture_output=True, check=False)
        times.append(_children() - start)
    return min(times)


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def commands() -> list[engine.Row]:
    """`import filterlib` beside a bare start of Python, and whole commands in units of `unit`: processor times."""
    bare = _best([sys.executable, "-c", "pass"])
    light = _best([sys.executable, "-c", "import filterlib"])
    rows = [engine.Row("import filterlib, beside a bare Python", light, light / bare, "under 0.5 s")]
    one = engine.unit()
    rows.append(engine.Row(f"unit: {engine.UNIT:,} dense systems of 14 unknowns", one, 1.0, ""))
    clean, brick = (str(ROOT / "data" / "designs" / f"tide-gauge-{name}.toml") for name in ("clean", "brick"))
    for words, aim in ((("review", clean), 4), (("review", brick), 8), (("compare", clean, brick), 11)):
        with tempfile.TemporaryDirectory() as folder:
            whole = _best([sys.executable, "-m", "filterlib.cli", *words, "--out", f"{folder}/out"], runs=2)
        named = " ".join(Path(word).stem for word in words)
        rows.append(engine.Row(f"{named}, in units", whole, whole / one, f"at most {aim}"))
    return rows


def main() -> None:
    """Print the table."""
    with threadpool_limits(limits=1):
        print(f"{'what':<64} {'time':>12} {'ratio':>7} {'memory':>8}  aim")
        for rows in (
            engine.rows,
            commands,
            designs.rows,
            recordings.rows,
            panels.rows,
            mitigations.rows,
            ringing.rows,
            supply.rows,
        ):
            for row in rows():
                memory = "" if row.memory is None else f"{row.memory / 1e6:.0f} MB"
                print(f"{row.what:<64} {row.time * 1e3:>9.2f} ms {row.ratio:>7.2f} {memory:>8}  {row.aim}", flush=True)


if __name__ == "__main__":
    main()
