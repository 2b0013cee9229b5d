"""How often the bench's intervals hold the truth: `python -m tests.benchmarks.coverage [--benches 10000] [--captures 1000] [--converters 0] [--first 0] [--seed 11]`.

Four tables. Typed figures: scopes drawn with the errors that are stated of them; wanted: 94 to 96 % of the intervals hold the true figure.
Captures: waves of eight harmonics, with noise, steps, jitter and gain error; the same. Judgement: of each bench a board is drawn from the design's
ranges, and other boards of the same ranges are its prediction; its circuit is off by the model's own uncertainty and its reading by the scope's; wanted:
at most 5 % of the sound ones are called different, at least 95 % of those that are off by twice the expanded uncertainty, which is 1.96 combined standard
uncertainties (GUM), on both sides; beside it the shares of those that are off by twice what the verdict itself takes for it, and by twice each side's own end of
95 %. Truth and scopes
are drawn here, by nothing of what is judged. Converters of the population of tests/calibration, simulated there, from number ``--first`` of ``--seed`` on: a
recording of each is before the filter, and a figure read off a drawn scope behind it; the same shares.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

import filterlib
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import Band, bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.bench.answers.answer import judged
from filterlib.bench.answers.answers_result import MODEL, BenchReading, Station
from filterlib.bench.answers.bench_reading import from_captures, from_figures
from filterlib.bench.answers.distance import times_from_cases
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording
from filterlib.network.extremes import peak_to_peak
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve
from tests.calibration.files import write
from tests.calibration.plants import case
from tests.calibration.trials import FIGURE

BAND, FULL = Band("20MHz", 20e6, 1), Band("full", None, 1)
STATION = Station("modem", BAND, "")
CASES = 214  # of a prediction: as many as count in a review
AT_A_TIME = 100  # designs
PERIODS, SAMPLES = 24, 200
FAR = 20.0  # logarithm of how far off a reading is that is beyond every case
SHIFTS = (
    "sound, called different", "too small by twice the GUM's, found", "too large by twice the GUM's, found",
    "too small by twice the verdict's own, found", "too large by twice the verdict's own, found", "too small by twice that side's own end, found", "too large by twice that side's own end, found",
)  # fmt: skip


def typed(random: np.random.Generator, true: float, scope: ScopeErrors) -> BenchReading:
    """What a person reads of a true figure [V] off a scope that is wrong by what is stated of it."""
    noise, step = scope.noise * random.uniform(), (scope.full_scale or 0.0) / 2**scope.bits
    gain = (1 + scope.gain * random.uniform(-1, 1)) * (1 + scope.probe_gain * random.uniform(-1, 1))
    gain *= 1 + scope.repeatability * random.standard_t(10)  # known as of ten readings
    shown = gain * true + noise
    shown = step * np.round(shown / step) + step * random.uniform(-0.5, 0.5) if step else shown
    return from_figures([float(shown)], BAND, scope)


def scopes(random: np.random.Generator, true: float) -> ScopeErrors:
    """Errors as data sheets state them; the screen is 1.2 to 5 times the figure, its noise a thousandth to a twentieth of that."""
    screen = true * random.uniform(1.2, 5.0)
    return ScopeErrors(
        gain=random.uniform(0.01, 0.05), probe_gain=random.uniform(0.0, 0.05), full_scale=screen,
        noise=screen * 10 ** random.uniform(-3, -1.3), lead=(0.0, 0.0),
    )  # fmt: skip


def captured(random: np.random.Generator) -> tuple[BenchReading, float]:
    """A capture of a random wave of 50 mV, as a scope of 8 bits takes it, and the reading of it."""
    k, true = np.arange(1, 9), 0.05
    c = (random.standard_normal(8) + 1j * random.standard_normal(8)) / k**2
    c[0] = 1.5 * np.exp(1j * np.angle(c[0]))
    c *= true / float(peak_to_peak(c))
    scope = scopes(random, true)
    late = random.normal(0, 1e-9, PERIODS).repeat(SAMPLES)
    times = np.arange(PERIODS * SAMPLES) * 5e-6 / SAMPLES - late
    wave = 2 * (c[:, None] * np.exp(2j * np.pi * 200e3 * k[:, None] * times)).sum(axis=0).real
    again = 1 + scope.repeatability * random.standard_t(10)
    gain, step = again * float(scope.gains(random, 1)[0]), (scope.full_scale or 0.0) / 2**scope.bits
    volts = gain * wave + random.normal(0, scope.noise / 6, times.size)  # six standard deviations peak to peak
    recording = Recording(step * np.round(volts / step), 5e-6 / SAMPLES, bandwidth=100e6, file="drawn.csv")
    return from_captures([measure(recording)], FULL, scope), true


def boards(name: str, count: int, random: np.random.Generator) -> dict[str, np.ndarray]:
    """Peak to peak [V] of drawn boards of a design, by place and band, without those that contradict what the file states."""
    design = filterlib.load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml")
    state, box = solve(design).state, uncertain_parameters(design)
    found: dict[str, list[np.ndarray]] = {}
    for _ in range(-(-count // AT_A_TIME)):
        values = {one.key: one.at(random.uniform(size=AT_A_TIME))[:, None] for one in box}
        there = spectra(Solution(with_values(design, values), state), thinned=True)
        for place in there.places:
            for band in bands(design):
                figures = np.ravel(there.peak_to_peak(place, band, rough=True))
                found.setdefault(f"{place} {band.label}", []).append(figures)
    many = {key: np.concatenate(parts) for key, parts in found.items()}
    return {key: one[np.isfinite(one)] for key, one in many.items()}


def reaches(known: np.ndarray, weights: np.ndarray, scope: ScopeErrors) -> tuple[float, ...]:
    """Expanded uncertainty of reading and prediction together, in logarithms, below and above: the GUM's, the verdict's, and each side's own end."""
    own = np.hypot(MODEL, scope.spread)
    mean = float(np.average(known, weights=weights))
    gum = 1.96 * float(np.hypot(np.sqrt(np.average((known - mean) ** 2, weights=weights)), own))
    order = np.argsort(known)
    below = (np.cumsum(weights[order]) - weights[order] / 2) / weights.sum()
    low, middle, high = np.interp((0.025, 0.5, 0.975), below, known[order])
    far = BenchReading(
        *2 * [np.exp(mean + FAR)], *np.exp(mean + FAR + 1.96 * scope.spread * np.array([-1, 1])), 0.0, ""
    )
    verdict = FAR / times_from_cases(far, Plausible(np.exp(known), weights))
    return (
        -gum,
        gum,
        -verdict,
        verdict,
        -float(np.hypot(middle - low, 1.96 * own)),
        float(np.hypot(high - middle, 1.96 * own)),
    )


def outcomes(name: str, count: int, random: np.random.Generator) -> Iterator[tuple[bool, ...]]:
    """Of boards of a design, at one station after the other: whether one that is sound is called different, and four that are off."""
    drawn = boards(name, max(count, 4 * CASES), random)
    places = list(drawn)
    for number in range(count):
        figures = drawn[places[number % len(places)]]
        random_ones = random.choice(figures, CASES + 1, replace=False)
        true, cases = random_ones[0] * np.exp(MODEL * random.standard_normal()), random_ones[1:]
        scope = scopes(random, float(true))
        shifts = 0.0, *(2 * one for one in reaches(np.log(cases), np.ones(CASES), scope))
        yield tuple(_different(typed(random, float(true * np.exp(one)), scope), cases) for one in shifts)


def of_the_population(first: int, count: int, seed: int, random: np.random.Generator) -> Iterator[tuple[bool, ...]]:
    """As `outcomes`, of simulated converters; those that the library refuses are left out."""
    for number in range(first, first + count):
        one = case(seed, number)
        with tempfile.TemporaryDirectory() as folder:
            try:
                found = ripple(solve(filterlib.load_design(write(one, "recording", Path(folder)))))
            except filterlib.FilterlibError:
                continue
        if FIGURE not in found.figures or not np.isfinite(found.figures[FIGURE].probable_low):
            continue
        figure, cases = found.figures[FIGURE], found.extents[FIGURE].plausible
        counts = np.isfinite(cases.figures) & (cases.weights > 0)
        scope = scopes(random, one.truth)
        shifts = 0.0, *(2 * u for u in reaches(np.log(cases.figures[counts]), cases.weights[counts], scope))
        ends = figure.peak_to_peak, figure.probable_low, figure.probable_high, cases
        read = (typed(random, float(one.truth * np.exp(shift)), scope) for shift in shifts)
        yield tuple(judged(STATION, each, *ends).outcome == "does not agree" for each in read)


def _different(reading: BenchReading, cases: np.ndarray) -> bool:
    low, high = np.quantile(cases, (0.05, 0.95))
    prediction = float(np.median(cases)), float(low), float(high), Plausible(cases, np.ones(CASES))
    return judged(STATION, reading, *prediction).outcome == "does not agree"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=10_000)
    parser.add_argument("--captures", type=int, default=1000)
    parser.add_argument("--converters", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=11)
    chosen = parser.parse_args()
    random = np.random.default_rng(chosen.seed)

    def tell(words: str, held: np.ndarray) -> None:
        held = np.asarray(held)
        sys.stdout.write(f"{words}: {100 * held.mean():.1f} % of {held.size}\n")
        sys.stdout.flush()

    truths = 10 ** random.uniform(-3, 0, chosen.benches)
    read = [typed(random, float(true), scopes(random, float(true))) for true in truths]
    tell("typed figures, intervals that hold", [r.low <= t <= r.high for r, t in zip(read, truths, strict=True)])  # type: ignore[arg-type]
    found = [captured(random) for _ in range(chosen.captures)]
    tell("captures, intervals that hold", [r.low <= t <= r.high for r, t in found])  # type: ignore[arg-type]
    kinds = {name: outcomes(name, chosen.benches // 2, random) for name in ("clean", "brick")}
    for name, several in (
        kinds | {"population": of_the_population(chosen.first, chosen.converters, chosen.seed, random)}
    ).items():
        told = np.array(list(several)).reshape(-1, len(SHIFTS))
        for words, column in zip(SHIFTS, told.T, strict=True):
            if column.size:
                tell(f"{name}, {words}", column)


if __name__ == "__main__":
    main()
