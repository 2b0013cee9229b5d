"""Time and memory for reading and measuring long recordings, each in a process of its own."""

from __future__ import annotations

import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import load_recording
from tests.benchmarks.engine import Row

SIZES = (1_000_000, 10_000_000)
INTERVAL, FREQUENCY, RING, DECAY = 2e-9, 180e3, 50e6, 60e-9
ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "tests.benchmarks.recordings"]
_PIECE = 500_000


def write(path: Path, samples: int) -> None:
    """A triangle with rings and noise in steps of an 8-bit scope, time and volts."""
    random = np.random.default_rng(1)
    with path.open("w") as out:
        out.write("Time [s],CH1 [V]\n")
        for start in range(0, samples, _PIECE):
            times = np.arange(start, min(start + _PIECE, samples)) * INTERVAL
            phase = np.mod(times * FREQUENCY, 1)
            volts = 0.1 * np.where(phase < 0.55, phase / 0.55, (1 - phase) / 0.45) - 0.05
            for edge in (0.0, 0.55):
                since = np.mod(phase - edge, 1) / FREQUENCY
                volts += 0.1 * np.exp(-since / DECAY) * np.sin(2 * np.pi * RING * since)
            volts = np.round((volts + random.normal(0, 1e-3, volts.size)) / 1.6e-3) * 1.6e-3
            out.write("".join(f"{t:.9e},{v:.6f}\n" for t, v in zip(times.tolist(), volts.tolist(), strict=True)))


def read_and_measure(path: str) -> None:
    """In the process of its own: writes time of reading, time of measuring and memory to standard output."""
    before = peak()
    start = time.perf_counter()
    recording = load_recording(path)
    middle = time.perf_counter()
    found = measure(recording)
    end = time.perf_counter()
    assert found.frequency is not None
    sys.stdout.write(f"{middle - start} {end - middle} {peak() - before}")


def peak() -> int:
    """Most memory that this process has held [B]; Linux hands the greatest of its parent on in getrusage, so not that one."""
    status = Path("/proc/self/status")
    if status.exists():
        return 1024 * int(re.search(r"VmHWM:\s+(\d+) kB", status.read_text())[1])
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def rows(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """The table; ratio: time a sample over that of the shortest recording."""
    table: list[Row] = []
    shortest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for samples in sizes:
            path = Path(folder) / f"{samples}.csv"
            write(path, samples)
            done = subprocess.run([*COMMAND, str(path)], cwd=ROOT, capture_output=True, text=True, check=True)
            reading, measuring, memory = map(float, done.stdout.split())
            path.unlink()
            total = reading + measuring
            shortest = shortest or total / samples
            ratio = total / samples / shortest
            what = f"{samples:,} samples read ({reading:.1f} s) and measured ({measuring:.1f} s)"
            aim = "under 15 s, 1.5 GB, in proportion" if samples == SIZES[1] else ""
            table.append(Row(what, total, ratio, aim, memory))
    return table


if __name__ == "__main__":
    read_and_measure(sys.argv[1])
