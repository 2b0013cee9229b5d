"""How often the bench is right: `python -m tests.benchmarks.answers [--boards 200]`.

Boards of nominal and of drawn values, sound and with one fault each, made of the library's own circuits with values that its prediction does
not know, and read with the errors of a scope: which fault is ranked first or second, and how often a sound board is called sound. Then the time
of two captures of a million samples.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from filterlib.analysis.ripple.spectra import spectra
from filterlib.bench.answers.answer import Answer, BenchResult, Capture, bench, judged
from filterlib.bench.answers.explanation import Explained, explain
from filterlib.bench.answers.faults import Fault, faults, with_fault
from filterlib.bench.answers.spectrum_answer import drawn_cases
from filterlib.bench.answers.stations import named_station
from filterlib.parts.tables import data_folder
from filterlib.system.design import Design
from filterlib.system.solution import Solution, solve
from filterlib.system.uncertain_parameters import uncertain_parameters, with_values
from tests.benchmarks import recordings

SEEN = 1.5  # ratio by which a fault moves a reading from which on it can be expected to be found
PLACES = ("terminals", "modem", "logger")


def board(known: BenchResult, fault: Fault, random: np.random.Generator) -> BenchResult:
    """What the bench answers of a board with drawn values: one plausible case, each reading wrong by 3 %."""
    point = known.design.operating_points[0].name
    drawn = drawn_cases(known.design, known.ripples[point])
    assert drawn is not None
    one = int(random.choice(np.flatnonzero(np.isfinite(drawn.figures))))
    faulty = with_fault(known.design, fault)
    assert faulty is not None
    left = {p.key for p in uncertain_parameters(faulty) if not p.key.startswith(f"filter.{fault.part}.")}
    values = {key: float(v[one]) for key, v in drawn.values.items() if key in left}
    there = spectra(Solution(with_values(faulty, values), solve(faulty, point).state))
    answers = tuple(_read(known, faulty, fault, place, there, random) for place in PLACES)
    lines = known.spectra[0]
    orders = np.rint(lines.frequencies / there.frequencies[0]).astype(int) - 1
    peaks = 2 * fault.factor * np.abs(there.whole("modem") * lines.station.band.response(there.frequencies))[orders]
    floor = 1e-6
    seen = replace(
        lines, after=peaks, after_low=np.maximum(0.97 * peaks - floor, 0), after_high=1.03 * peaks + floor, clear=peaks > 2 * floor
    )  # fmt: skip
    return replace(known, answers=answers, spectra=(seen,))


def _read(known: BenchResult, design: Design, fault: Fault, place: str, there, random: np.random.Generator) -> Answer:  # type: ignore[no-untyped-def]
    station = named_station(known.design, place, known.design.operating_points[0].name)
    band = named_station(known.design, place, station.point, "full").band if fault.limit_off else station.band
    volts = fault.factor * float(np.ravel(there.peak_to_peak(place, band))[0]) * random.uniform(0.97, 1.03)
    old = known.answers[1]
    reading = replace(old.reading, shown=volts, value=volts, low=0.95 * volts, high=1.05 * volts)
    figure = known.ripples[station.point].figures[place, station.band.label]
    return judged(station, reading, figure.peak_to_peak, figure.probable_low, figure.probable_high)


def ranking(count: int) -> Counter[str]:
    """Of boards of both demos, every fault in turn."""
    random, found = np.random.default_rng(1), Counter[str]()
    for name in ("clean", "brick"):
        file = data_folder() / "designs" / f"tide-gauge-{name}.toml"
        captures = [str(data_folder() / "recordings" / f"{name}-{place}.csv") for place in ("terminals", "modem")]
        known = bench(file, before=captures[0], after=[Capture(captures[1])])
        known = replace(known, answers=(*known.answers, known.answers[-1]))
        kinds = list(faults(known.design))
        for number in range(count // 2):
            fault = kinds[number % len(kinds)] if number % 4 else kinds[0]
            if with_fault(known.design, fault) is not None:
                made = board(known, fault, random)
                found.update(_judged(made, fault, explain(made)))
    return found


def _judged(made: BenchResult, fault: Fault, why: Explained) -> list[str]:
    if fault.kind == "as designed":
        alarms = sum(one.outcome == "does not agree" for one in made.answers)
        return [
            "sound",
            *(["sound and told so"] if why.sound else []),
            *["alarm"] * alarms,
            *["reading"] * len(made.answers),
        ]
    first = [(one.fault.kind, one.fault.part) for one in why.ranked[:2]]
    shown = any(max(a.reading.value / a.expected, a.expected / a.reading.value) > SEEN for a in made.answers)
    right = (fault.kind, fault.part) in first
    return [
        "fault",
        *(["fault ranked"] if right else []),
        *(["seen"] if shown else []),
        *(["seen and ranked"] if shown and right else []),
    ]


def timed() -> float:
    """Seconds of two captures of a million samples, to the result."""
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / name for name in ("a.csv", "b.csv")]
        for file in files:
            recordings.write(file, 1_000_000)
        start = time.perf_counter()
        design = data_folder() / "designs" / "tide-gauge-clean.toml"
        explain(bench(design, before=str(files[0]), after=[Capture(str(files[1]))], as_stated=True))
        return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=200)
    found = ranking(parser.parse_args().boards)
    for what, of in (
        ("sound and told so", "sound"),
        ("alarm", "reading"),
        ("fault ranked", "fault"),
        ("seen and ranked", "seen"),
    ):
        sys.stdout.write(f"{what}: {found[what]} of {found[of]}\n")
    sys.stdout.write(f"two captures of a million samples: {timed():.1f} s\n")


if __name__ == "__main__":
    main()
