"""`python -m tests.benchmarks.growth`: how long a review takes as stages, loads and operating points become more.

Each size is reviewed in a process of its own. Ratio: time over that of the smallest size, and beside it what n log n would be.
"""

import argparse
import math
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.recordings import peak

ROOT = Path(__file__).parents[2]
SIZES = {"stages": (2, 4, 8, 16, 32, 60), "loads": (1, 2, 5, 10, 20), "points": (1, 2, 5, 10, 20)}
HEAD = """name = "growth (invented)"
[converter]
name = "Tarn (invented)"
output_voltage = "28 V"
switching_frequency = "180 kHz"
[converter.ripple]
peak_to_peak = "110 mV"
"""
CHOKE = """[[filter]]
kind = "differential_choke"
part = { kind = "differential_choke", inductance = "2.2 µH", dc_resistance = "1 mΩ", saturation_current = "30 A", rated_current = "20 A" }
"""
CAPACITOR = """[[filter]]
kind = "capacitor"
part = "class2-2u2-50V-1206"
"""
LOAD = '[[load]]\nname = "load{}"\nkind = "constant_current"\ncurrent = "{} A"\n'
POINT = '[[operating_point]]\nname = "point{}"\nload = "{} %"\n'
WANTED = '[[requirement]]\nkind = "ripple"\nload = "load0"\nlimit = "15 mV"\n'


def design(stages=2, loads=1, points=1):
    """The text of a design of that size; all loads together draw 2 A."""
    text = HEAD + "".join(CAPACITOR if number % 2 else CHOKE for number in range(stages))
    text += "".join(LOAD.format(number, 2 / loads) for number in range(loads))
    return text + "".join(POINT.format(number, 100 - 4 * number) for number in range(points)) + WANTED


def reviewed(path, folder):
    """In the process of its own: processor time [s] and memory [B] of a review to its page, to standard output."""
    from filterlib import cli

    before = peak()
    code = cli.main(["review", path, "--out", folder])
    assert code in (0, 1)
    sys.stderr.write(f"\n{time.process_time()} {peak() - before}\n")


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.growth")
    parser.add_argument("--of", default=",".join(SIZES))
    parser.add_argument("--most", type=float, default=300, help="seconds for one review")
    chosen = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for what in chosen.of.split(","):
        first = None
        for size in SIZES[what]:
            with tempfile.TemporaryDirectory() as place:
                path = Path(place) / "board.toml"
                path.write_text(design(**{what: size}), encoding="utf-8")
                command = [sys.executable, "-m", "tests.benchmarks.growth", "--one", str(path), f"{place}/out"]
                try:
                    done = subprocess.run(
                        command, cwd=ROOT, capture_output=True, text=True, check=True, timeout=chosen.most
                    )
                except subprocess.TimeoutExpired:
                    print(f"{size:3d} {what}: not within {chosen.most:g} s", flush=True)
                    break
            seconds, memory = map(float, done.stderr.split("\n")[-2].split())
            first = first or (size, seconds)
            even = size * math.log(size + 1) / (first[0] * math.log(first[0] + 1))
            print(
                f"{size:3d} {what}: {seconds:6.1f} s, {seconds / first[1]:5.1f} times the smallest (n log n: {even:.1f}), {memory / 1e6:.0f} MB",
                flush=True,
            )


if __name__ == "__main__":
    reviewed(*sys.argv[2:]) if sys.argv[1:2] == ["--one"] else main()
