"""Time and memory for reading and measuring long recordings, each in a process of its own."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

SIZES = (1_000_000, 10_000_000)
INTERVAL, FREQUENCY, RING, DECAY = 2e-9, 180e3, 50e6, 60e-9
_PIECE = 500_000


class Row(NamedTuple):
    """One line: what was done, its time [s], its peak memory above the start [bytes], ratio, and the aim as text.

    ``ratio``: time a sample over that of the shortest recording.
    """

    what: str
    time: float
    memory: float
    ratio: float
    aim: str


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
    from filterlib.bench.measurement import measure
    from filterlib.bench.recording import load_recording

    before = _peak()
    start = time.perf_counter()
    recording = load_recording(path)
    middle = time.perf_counter()
    found = measure(recording)
    end = time.perf_counter()
    assert found.frequency is not None
    sys.stdout.write(f"{middle - start} {end - middle} {_peak() - before}")


def _peak() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def rows(sizes: tuple[int, ...] = SIZES) -> list[Row]:
    """The table."""
    table: list[Row] = []
    shortest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for samples in sizes:
            path = Path(folder) / f"{samples}.csv"
            write(path, samples)
            done = subprocess.run([sys.executable, __file__, str(path)], capture_output=True, text=True, check=True)
            reading, measuring, memory = map(float, done.stdout.split())
            path.unlink()
            total = reading + measuring
            shortest = shortest or total / samples
            ratio = total / samples / shortest
            what = f"{samples:,} samples read ({reading:.1f} s) and measured ({measuring:.1f} s)"
            aim = "under 15 s, 1.5 GB, in proportion" if samples == SIZES[1] else ""
            table.append(Row(what, total, memory, ratio, aim))
    return table


if __name__ == "__main__":
    read_and_measure(sys.argv[1])
