"""Time and memory for 100,000 toleranced designs with as many harmonics as 20 MHz asks for, each run in a process of its own."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from filterlib import Waveform, load_design
from filterlib.analysis.uncertainty.tolerance import tolerance
from filterlib.system.solution import solve
from tests.benchmarks.engine import Row, circuit
from tests.benchmarks.recordings import peak

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "designs" / "tide-gauge-clean.toml"
SIZES = (10_000, 100_000)
FREQUENCY, TOP = 180e3, 20e6
HARMONICS = int(np.ceil(TOP / FREQUENCY))  # 112


def of_the_demo(count: int) -> np.ndarray:
    """Ripple at the modem behind the demo filter, its parts within their tolerances."""
    design = load_design(DEMO)
    return tolerance(solve(design), "modem", designs=count, top=TOP).peak_to_peak


def of_a_circuit(count: int) -> np.ndarray:
    """The same number of values in one circuit of plain elements: its periodic steady state, held whole, and its extremes."""
    triangle = Waveform.lines(1 / FREQUENCY, [0, 0.55 / FREQUENCY], [-0.055, 0.055])
    scale = np.random.default_rng(1).uniform(0.8, 1.2, (count, 1))
    return circuit(scale).periodic_response(triangle, "V", "n2", harmonics=HARMONICS).peak_to_peak


RUNS: dict[str, tuple[str, Callable[[int], np.ndarray]]] = {
    "demo": ("demo filter, ripple", of_the_demo),
    "circuit": ("pi filter in one circuit, response", of_a_circuit),
}


def measured(run: str, count: int) -> None:
    """In the process of its own: writes time and memory to standard output."""
    RUNS[run][1](10)  # what is loaded and compiled once
    before, start = peak(), time.perf_counter()
    found = RUNS[run][1](count)
    seconds = time.perf_counter() - start
    assert found.shape == (count,)
    assert np.all(found > 0)
    sys.stdout.write(f"{seconds} {peak() - before}")


def rows(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """The table; ratio: time a design over that of the fewest."""
    table = []
    for run, (words, _) in RUNS.items():
        least = 0.0
        for count in sizes:
            command = [sys.executable, "-m", "tests.benchmarks.designs", run, str(count)]
            done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
            seconds, memory = map(float, done.stdout.split())
            least = least or seconds / count
            aim = "under 500 MB, in proportion" if count == SIZES[-1] else ""
            what = f"{count:,} designs, {HARMONICS} harmonics: {words}"
            table.append(Row(what, seconds, seconds / count / least, aim, memory))
    return table


if __name__ == "__main__":
    measured(sys.argv[1], int(sys.argv[2]))
