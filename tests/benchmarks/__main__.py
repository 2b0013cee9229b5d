"""One command, one run: `python -m tests.benchmarks`. BLAS threads pinned; ratios to what is compared, times beside them.

Ratio: to the engine or the bare start; of many designs and long recordings, time a piece over that of the smaller size.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from threadpoolctl import threadpool_limits

from tests.benchmarks import designs, engine, mitigations, panels, recordings

ROOT = Path(__file__).parents[2]


def _best(command: list[str], runs: int = 3) -> float:
    """Least wall time [s] of a command."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run(command, capture_output=True, check=False)
        times.append(time.perf_counter() - start)
    return min(times)


def commands() -> list[engine.Row]:
    """`import filterlib` and the whole command on the demo designs, beside a bare start of Python."""
    bare = _best([sys.executable, "-c", "pass"])
    light = _best([sys.executable, "-c", "import filterlib"])
    rows = [engine.Row("import filterlib, beside a bare Python", light, light / bare, "under 0.5 s")]
    for name in ("clean", "brick"):
        with tempfile.TemporaryDirectory() as folder:
            design = str(ROOT / "data" / "designs" / f"tide-gauge-{name}.toml")
            whole = _best([sys.executable, "-m", "filterlib.cli", "review", design, "--out", f"{folder}/out"], runs=2)
        rows.append(engine.Row(f"review of the demo, {name}, beside import", whole, whole / light, "under 4 s"))
    return rows


def main() -> None:
    """Print the table."""
    with threadpool_limits(limits=1):
        print(f"{'what':<64} {'time':>12} {'ratio':>7} {'memory':>8}  aim")
        for rows in (engine.rows, commands, designs.rows, recordings.rows, panels.rows, mitigations.rows):
            for row in rows():
                memory = "" if row.memory is None else f"{row.memory / 1e6:.0f} MB"
                print(f"{row.what:<64} {row.time * 1e3:>9.2f} ms {row.ratio:>7.2f} {memory:>8}  {row.aim}", flush=True)


if __name__ == "__main__":
    main()
