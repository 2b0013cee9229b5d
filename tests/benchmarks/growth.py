"""`python -m tests.benchmarks.growth`: how long the commands take as stages, loads and operating points become more.

Each size is run in a process of its own. Exponent: of the time, from the size before; n log n has 1.2 to 1.4 from 8 on.
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
SIZES = {  # what grows, and how far; "powered": stages before a load of constant power, whose stability is then judged; "all": each of the three
    "stages": (2, 8, 16, 32, 60),
    "powered": (2, 8, 16, 32, 60),
    "loads": (2, 5, 10, 20),
    "points": (2, 5, 10, 20),
    "all": (2, 5, 10, 20),
}
COMMANDS = ("review", "verify", "damp", "compare")
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
POWERED = '[[load]]\nname = "load{}"\nkind = "constant_power"\npower = "{} W"\n'
POINT = '[[operating_point]]\nname = "point{}"\nload = "{} %"\n'
WANTED = '[[requirement]]\nkind = "ripple"\nload = "load0"\nlimit = "15 mV"\n'


def design(stages=2, loads=1, points=1, watts=0):
    """The text of a design of that size; all loads together draw 2 A, or that many watts as constant power."""
    text = HEAD + "".join(CAPACITOR if number % 2 else CHOKE for number in range(stages))
    load, each = (POWERED, watts / loads) if watts else (LOAD, 2 / loads)
    text += "".join(load.format(number, each) for number in range(loads))
    return text + "".join(POINT.format(number, 100 - 4 * number) for number in range(points)) + WANTED


def of(what, size):
    """The text of a design in which something is of that size."""
    if what == "powered":
        return design(stages=size, watts=56)
    return design(size, size, size) if what == "all" else design(**{what: size})


def run(command, path, folder):
    """In the process of its own: processor time [s] and memory [B] of a command to its page, to standard output."""
    from filterlib import cli

    before = peak()
    code = cli.main([command, path, *([path] if command == "compare" else []), "--out", folder])
    assert code in (0, 1)
    sys.stderr.write(f"\n{time.process_time()} {peak() - before}\n")


def measured(command, what, size, most):
    """Processor time [s] and memory [B] of a command for one size; None where it takes longer than that many seconds."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "board.toml"
        path.write_text(of(what, size), encoding="utf-8")
        words = [sys.executable, "-m", "tests.benchmarks.growth", "--one", command, str(path), f"{place}/out"]
        try:
            done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True, timeout=most)
        except subprocess.TimeoutExpired:
            return None
    return tuple(map(float, done.stderr.split("\n")[-2].split()))


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.growth")
    parser.add_argument("--of", default=",".join(SIZES))
    parser.add_argument("--commands", default="review", help=f"of {', '.join(COMMANDS)}")
    parser.add_argument("--sizes", default="", help="others than those of the table: 2,8,16")
    parser.add_argument("--most", type=float, default=300, help="seconds for one command")
    chosen = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for command in chosen.commands.split(","):
        for what in chosen.of.split(","):
            last = None
            for size in map(int, chosen.sizes.split(",")) if chosen.sizes else SIZES[what]:
                found = measured(command, what, size, chosen.most)
                if found is None:
                    print(f"{command}, {size:3d} {what}: not within {chosen.most:g} s", flush=True)
                    break
                seconds, memory = found
                power = f", exponent {math.log(seconds / last[1]) / math.log(size / last[0]):.1f}" if last else ""
                last = size, seconds
                print(f"{command}, {size:3d} {what}: {seconds:6.1f} s, {memory / 1e6:.0f} MB{power}", flush=True)


if __name__ == "__main__":
    run(*sys.argv[2:]) if sys.argv[1:2] == ["--one"] else main()
