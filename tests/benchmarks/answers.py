"""How often the bench is right: `python -m tests.benchmarks.answers [--boards 200] [--off 0]`.

Boards of drawn values, with one fault each, and half as many without, made of the library's own circuits with values that its prediction does
not know, and read with the errors of a scope: which fault is ranked first or second, of all boards and of those that show it, and how often a
sound board is called sound. Read twice: with little (a capture at the first load, figures in 20 MHz at the terminals and at the other
load), and as the bench sheet asks (captures at terminals and loads, in full bandwidth, at every operating point). ``--off``: share of the model's own
uncertainty by which every figure and harmonic is off, drawn for each. Then the time of two captures of a million samples, to the page.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from filterlib.bench.answers.answer import bench, judged
from filterlib.bench.answers.answers_result import MODEL, Answer, BenchResult, Capture, SpectrumAnswer, Station
from filterlib.bench.answers.explained import Explained, Trial
from filterlib.bench.answers.explanation import explain
from filterlib.bench.answers.spectrum_answer import drawn_cases
from filterlib.bench.answers.stations import named_station
from filterlib.bench.answers.trials import CASES, trials
from filterlib.bench.design_file import load_design
from filterlib.parts.tables import data_folder
from filterlib.show.bench_page.answer_page import write_answers
from tests.benchmarks import recordings

MOVED = 0.05  # share by which a fault moves a reading, from which on that is more than the reading's own uncertainty
OTHERS = 96  # cases of which boards are made, beside those that an explanation knows
PLACES = ("terminals", "modem", "logger")
FLOOR = 1e-6  # [V] below which a harmonic is not read
Known = tuple[BenchResult, tuple[Trial, ...], tuple[Trial, ...], list[int]]


def known_and_drawn(name: str) -> Known:
    """Of a demo: an answer, the trials of its explanation, trials of other cases, and which of these no explanation has."""
    file = data_folder() / "designs" / f"tide-gauge-{name}.toml"
    captures = [str(data_folder() / "recordings" / f"{name}-{place}.csv") for place in ("terminals", "modem")]
    points = [point.name for point in load_design(file).operating_points]
    after = [Capture(captures[1], place, point) for point in points for place in PLACES]
    known = bench(file, before=captures[0], after=after)
    ((_, cases),) = drawn_cases(known.design, known.ripples[points[0]])  # both state their shape
    taken = set(cases.some(CASES))
    new = [n for n, one in enumerate(cases.some(OTHERS)) if one not in taken]
    return known, trials(known), trials(known, OTHERS), new


def board(
    known: BenchResult, made: Trial, case: int, random: np.random.Generator, *, whole: bool, off: float
) -> BenchResult:
    """What the bench answers of a board with one case's values: each reading wrong by up to 3 %."""
    points = list(known.ripples) if whole else list(known.ripples)[:1]
    labels = ("20MHz", "full") if whole else ("20MHz",)
    stations = [
        named_station(known.design, place, point, band) for point in points for place in PLACES for band in labels
    ]
    answers = tuple(_read(known, one, _of_case(made.figures[one.name], case), random, off) for one in stations)
    seen = [one for one in known.spectra if whole or one.station.name == f"modem 20MHz {points[0]}"]
    lines = tuple(
        _lines(one, made.peaks[one.station.name], case, random, off) for one in seen if one.station.point in points
    )
    return replace(known, answers=answers, spectra=lines)


def _of_case(figures: np.ndarray, case: int) -> Any:
    return figures[case % len(figures)]


def _read(known: BenchResult, station: Station, true: float, random: np.random.Generator, off: float) -> Answer:
    volts = true * random.uniform(0.97, 1.03) * np.exp(off * MODEL * random.standard_normal())
    reading = replace(known.answers[-1].reading, shown=volts, value=volts, low=0.95 * volts, high=1.05 * volts)
    ripples, key = known.ripples[station.point], (station.place, station.band.label)
    figure, cases = ripples.figures[key], ripples.extents[key].plausible
    return judged(station, reading, figure.peak_to_peak, figure.probable_low, figure.probable_high, cases)


def _lines(one: SpectrumAnswer, many: np.ndarray, case: int, random: np.random.Generator, off: float) -> SpectrumAnswer:
    """Harmonics of a case, each off by its share of what the model may be off there."""
    sigma = np.minimum(0.1 + 0.15 * np.arange(many.shape[1]), 0.7)
    peaks = _of_case(many, case) * np.exp(off * sigma * random.standard_normal(many.shape[1]))
    return replace(
        one, after=peaks, after_low=np.maximum(0.97 * peaks - FLOOR, 0), after_high=1.03 * peaks + FLOOR, clear=peaks > 2 * FLOOR
    )  # fmt: skip


def ranking(several: Sequence[Known], count: int, *, whole: bool, off: float) -> Counter[str]:
    """Of boards of both demos, every fault in turn; half as many sound ones beside them."""
    random, found = np.random.default_rng(1), Counter[str]()
    for known, tried, drawn, new in several:
        sound, *faulty = drawn
        share = count // len(several)
        for one in [*(faulty[number % len(faulty)] for number in range(share)), *([sound] * (share // 2))]:
            case = int(random.choice(new))
            made = board(known, one, case, random, whole=whole, off=off)
            was = board(known, sound, case, np.random.default_rng(0), whole=whole, off=0.0)
            found.update(_judged(made, was, one, explain(made, tried)))
    return found


def _judged(made: BenchResult, was: BenchResult, one: Trial, why: Explained) -> list[str]:
    disagree = sum(answer.outcome == "does not agree" for answer in made.answers)
    if one.fault.kind == "as designed":
        told = ["sound and told so"] if why.sound else []
        return ["sound", *told, *["alarm"] * disagree, *["reading"] * len(made.answers)]
    name = one.fault.kind, one.fault.part
    right = name in [(each.kind, each.part) for first in why.ranked[:2] for each in first.faults]
    alone = name in [(each.fault.kind, each.fault.part) for each in why.ranked[:2]]
    pairs = zip(made.answers, was.answers, strict=True)
    moved = any(abs(np.log(a.reading.value / b.reading.value)) > MOVED for a, b in pairs)
    kinds = ["fault", *(["moved"] if moved else []), *(["different"] if disagree else [])]
    return [
        *kinds,
        *(["named alone"] if alone else []),
        *([f"{kind}, ranked" for kind in kinds] if right else [f"missed: {one.fault.kind} {one.fault.part}"]),
    ]


def timed() -> float:
    """Seconds of two captures of a million samples, to the page."""
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / name for name in ("a.csv", "b.csv")]
        for file in files:
            recordings.write(file, 1_000_000)
        start = time.perf_counter()
        design = data_folder() / "designs" / "tide-gauge-clean.toml"
        result = bench(design, before=str(files[0]), after=[Capture(str(files[1]))])
        write_answers(result, explain(result), Path(folder) / "page")
        return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=200)
    parser.add_argument("--off", type=float, default=0.0)
    chosen = parser.parse_args()
    several = [known_and_drawn(name) for name in ("clean", "brick")]
    for whole, words in ((False, "read with little"), (True, "read as the sheet asks")):
        _tell(words, ranking(several, chosen.boards, whole=whole, off=chosen.off))
    sys.stdout.write(f"two captures of a million samples: {timed():.1f} s\n")


def _tell(title: str, found: Counter[str]) -> None:
    sys.stdout.write(f"{title}\n")
    for words, what, of in (
        ("sound boards told so", "sound and told so", "sound"),
        ("readings of sound boards called different", "alarm", "reading"),
        ("faults ranked first or second", "fault, ranked", "fault"),
        ("the same, not counting faults that are named with another", "named alone", "fault"),
        ("of those that move a reading by more than it is uncertain", "moved, ranked", "moved"),
        ("of those of which a reading is called different", "different, ranked", "different"),
    ):
        sys.stdout.write(f"  {words}: {found[what]} of {found[of]}\n")
    sys.stdout.writelines(f"  {what}: {times}\n" for what, times in found.items() if what.startswith("missed"))
    sys.stdout.flush()


if __name__ == "__main__":
    main()
