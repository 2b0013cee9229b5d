"""How often the bench is right: `python -m tests.benchmarks.answers [--boards 200]`.

Boards of nominal and of drawn values, sound and with one fault each, made of the library's own circuits with values that its prediction does
not know, and read with the errors of a scope: which fault is ranked first or second, of all boards and of those that show it, and how often a
sound board is called sound. Then the time of two captures of a million samples, to the page.
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

from filterlib.bench.answers.answer import Answer, BenchResult, Capture, bench, judged
from filterlib.bench.answers.explanation import Explained, explain
from filterlib.bench.answers.spectrum_answer import drawn_cases
from filterlib.bench.answers.stations import Station, named_station
from filterlib.bench.answers.trials import CASES, Trial, trials
from filterlib.parts.tables import data_folder
from filterlib.show.bench_page.answer_page import write_answers
from tests.benchmarks import recordings

MOVED = 0.05  # share by which a fault moves a reading, from which on that is more than the reading's own uncertainty
OTHERS = 45  # cases of which boards are made, beside those that an explanation knows
PLACES = ("terminals", "modem", "logger")


def known_and_drawn(name: str) -> tuple[BenchResult, tuple[Trial, ...], tuple[Trial, ...], list[int]]:
    """Of a demo: an answer, the trials of its explanation, trials of other cases, and which of these no explanation has."""
    file = data_folder() / "designs" / f"tide-gauge-{name}.toml"
    captures = [str(data_folder() / "recordings" / f"{name}-{place}.csv") for place in ("terminals", "modem")]
    known = bench(file, before=captures[0], after=[Capture(captures[1])])
    point = known.answers[-1].station.point
    cases = drawn_cases(known.design, known.ripples[point])
    assert cases is not None
    taken = set(cases.some(CASES))
    new = [n for n, one in enumerate(cases.some(OTHERS)) if one not in taken]
    return known, trials(known), trials(known, OTHERS), new


def board(known: BenchResult, made: Trial, case: int, random: np.random.Generator) -> BenchResult:
    """What the bench answers of a board with one case's values: each reading wrong by up to 3 %."""
    point = known.answers[-1].station.point
    stations = [named_station(known.design, place, point) for place in PLACES]
    answers = tuple(
        _read(known, one, float(np.resize(made.figures[one.name], case + 1)[case]), random) for one in stations
    )
    lines = known.spectra[0]
    many = made.peaks[lines.station.name]
    peaks, floor = many[case % len(many)], 1e-6
    seen = replace(
        lines, after=peaks, after_low=np.maximum(0.97 * peaks - floor, 0), after_high=1.03 * peaks + floor, clear=peaks > 2 * floor
    )  # fmt: skip
    return replace(known, answers=answers, spectra=(seen,))


def _read(known: BenchResult, station: Station, true: float, random: np.random.Generator) -> Answer:
    volts, old = true * random.uniform(0.97, 1.03), known.answers[-1].reading
    reading = replace(old, shown=volts, value=volts, low=0.95 * volts, high=1.05 * volts)
    ripples, key = known.ripples[station.point], (station.place, station.band.label)
    figure, cases = ripples.figures[key], ripples.extents[key].plausible
    return judged(station, reading, figure.peak_to_peak, figure.probable_low, figure.probable_high, cases)


def ranking(count: int) -> Counter[str]:
    """Of boards of both demos, every fault in turn; a quarter is sound."""
    random, found = np.random.default_rng(1), Counter[str]()
    for name in ("clean", "brick"):
        known, tried, drawn, new = known_and_drawn(name)
        sound, *faulty = drawn
        for number in range(count // 2):
            one = faulty[(number - number // 4) % len(faulty)] if number % 4 else sound
            case = int(random.choice(new))
            made = board(known, one, case, random)
            was = board(known, sound, case, np.random.default_rng(0))
            found.update(_judged(made, was, one, explain(made, tried)))
    return found


def _judged(made: BenchResult, was: BenchResult, one: Trial, why: Explained) -> list[str]:
    disagree = sum(answer.outcome == "does not agree" for answer in made.answers)
    if one.fault.kind == "as designed":
        told = ["sound and told so"] if why.sound else []
        return ["sound", *told, *["alarm"] * disagree, *["reading"] * len(made.answers)]
    first = [(each.fault.kind, each.fault.part) for each in why.ranked[:2]]
    right = (one.fault.kind, one.fault.part) in first
    pairs = zip(made.answers, was.answers, strict=True)
    moved = any(abs(np.log(a.reading.value / b.reading.value)) > MOVED for a, b in pairs)
    kinds = ["fault", *(["moved"] if moved else []), *(["different"] if disagree else [])]
    return [
        *kinds,
        *([f"{kind}, ranked" for kind in kinds] if right else [f"missed: {one.fault.kind}"] if disagree else []),
    ]


def timed() -> float:
    """Seconds of two captures of a million samples, to the page."""
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / name for name in ("a.csv", "b.csv")]
        for file in files:
            recordings.write(file, 1_000_000)
        start = time.perf_counter()
        design = data_folder() / "designs" / "tide-gauge-clean.toml"
        result = bench(design, before=str(files[0]), after=[Capture(str(files[1]))], as_stated=True)
        write_answers(result, explain(result), Path(folder) / "page")
        return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=200)
    found = ranking(parser.parse_args().boards)
    for words, what, of in (
        ("sound boards told so", "sound and told so", "sound"),
        ("readings of sound boards called different", "alarm", "reading"),
        ("faults ranked first or second", "fault, ranked", "fault"),
        ("of those that move a reading by more than it is uncertain", "moved, ranked", "moved"),
        ("of those of which a reading is called different", "different, ranked", "different"),
    ):
        sys.stdout.write(f"{words}: {found[what]} of {found[of]}\n")
    sys.stdout.writelines(f"{what}: {times}\n" for what, times in found.items() if what.startswith("missed"))
    sys.stdout.flush()
    sys.stdout.write(f"two captures of a million samples: {timed():.1f} s\n")


if __name__ == "__main__":
    main()
