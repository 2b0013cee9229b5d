"""Each converter given to the library, kind by kind; what came out beside what is true."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from filterlib import load_design, ripple, solve
from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import FilterlibError
from filterlib.system.solution import Solution
from tests.calibration.files import KINDS, write
from tests.calibration.plants import case
from tests.calibration.quick import fewer_harmonics, plausible

FIGURE = ("receiver", "20MHz")
LAW = ("number", "load", "spike", "recording", "two")  # each tells more than the one before it


@dataclass(frozen=True)
class Trial:
    """One converter and one kind of knowledge; whether it has a chassis, and a computed layout. ``truth`` and ends in V, NaN where the library gave none."""

    number: int
    topology: str
    kind: str
    truth: float
    nominal: float = np.nan
    low: float = np.nan
    high: float = np.nan
    probable_low: float = np.nan
    probable_high: float = np.nan
    refused: str = ""
    chassis: bool = False
    computed: bool = False
    seconds: float = 0.0

    @property
    def possible(self) -> bool:
        """Whether the truth lies between the worst found."""
        return self.low <= self.truth <= self.high

    @property
    def probable(self) -> bool:
        """Whether it lies in the probable interval."""
        return self.probable_low <= self.truth <= self.probable_high

    @property
    def surprises(self) -> bool:
        """Whether it was refused, or the truth lies outside an interval that there is."""
        lost = np.isfinite(self.low) and not self.possible
        return bool(self.refused) or lost or (np.isfinite(self.probable_low) and not self.probable)


def trials(seed: int, numbers: Sequence[int], kinds: Sequence[str], *, whole: bool = True) -> Iterator[Trial]:
    """Converter by converter, kind by kind."""
    for number in numbers:
        for kind in kinds:
            yield trial(seed, number, kind, whole=whole)


def trial(seed: int, number: int, kind: str, *, whole: bool = True) -> Trial:
    """One: written into a folder, read and solved as a user would; not ``whole``: the probable interval alone, see `quick`."""
    if kind not in KINDS:
        raise ValueError(f"no kind {kind}; valid: {', '.join(KINDS)}")
    one, start = case(seed, number), time.process_time()
    begin = {"number": number, "topology": one.converter.topology, "kind": kind, "truth": one.truth}
    begin |= {"chassis": one.converter.chassis is not None, "computed": one.filter.computed}
    with tempfile.TemporaryDirectory() as folder:
        path = write(one, kind, Path(folder))
        start = time.process_time()
        try:
            ends = (_whole if whole else _quick)(solve(load_design(path)))
        except FilterlibError as error:
            return Trial(**begin, refused=str(error).replace(folder, "."), seconds=time.process_time() - start)
    return Trial(**begin, **ends, seconds=time.process_time() - start)


def _whole(solution: Solution) -> dict[str, float]:
    result = ripple(solution)
    if FIGURE not in result.figures:
        raise FilterlibError("unstable")
    figure = result.figures[FIGURE]
    ends = {name: getattr(figure, name, np.nan) for name in ("low", "high", "probable_low", "probable_high")}
    return ends | {"nominal": figure.peak_to_peak}


def _quick(solution: Solution) -> dict[str, float]:
    with fewer_harmonics(solution.design):
        low, high = plausible(solution, FIGURE[0]).ends()
        nominal = float(spectra(solution).peak_to_peak(FIGURE[0], bands(solution.design)[0]))
    return {"probable_low": low, "probable_high": high, "nominal": nominal}


@dataclass(frozen=True)
class Tally:
    """All trials of one kind."""

    kind: str
    trials: tuple[Trial, ...]

    @property
    def judged(self) -> list[Trial]:
        return [one for one in self.trials if not one.refused]

    @property
    def refused(self) -> list[Trial]:
        return [one for one in self.trials if one.refused]

    def coverage(self, which: str) -> float:
        """Share of those judged whose truth lies in the "probable" or "possible" interval; NaN where there is none."""
        low = {"probable": "probable_low", "possible": "low"}[which]
        held = [getattr(one, which) for one in self.judged if np.isfinite(getattr(one, low))]
        return float(np.mean(held)) if held else np.nan

    def width(self, which: str, share: float = 0.5) -> float:
        """High over low that a ``share`` of them stays below, the median; NaN where there is no such interval."""
        ends = [(t.low, t.high) if which == "possible" else (t.probable_low, t.probable_high) for t in self.judged]
        known = [high / low for low, high in ends if np.isfinite(low) and low > 0]
        return float(np.quantile(known, share)) if known else np.nan

    @property
    def off(self) -> float:
        """Median factor between the nominal figure and the truth."""
        factors = [abs(np.log(one.nominal / one.truth)) for one in self.judged]
        return float(np.exp(np.median(factors))) if factors else np.nan


def tallies(done: Sequence[Trial], kinds: Sequence[str]) -> list[Tally]:
    """One for each kind."""
    return [Tally(kind, tuple(one for one in done if one.kind == kind)) for kind in kinds]


def further(done: Sequence[Trial], kinds: Sequence[str]) -> Iterator[tuple[str, str, float, list[int]]]:
    """Each kind and the one before it in `LAW`: by how much the median probable interval narrows, of converters that have both.

    And the numbers of those whose truth was in the possible interval before, and is not any more.
    """
    asked = [kind for kind in LAW if kind in kinds]
    for known, more in pairwise(asked):
        one, two = ({each.number: each for each in done if each.kind == kind} for kind in (known, more))
        both = [n for n in one if n in two and not (one[n].refused or two[n].refused)]
        before, after = (Tally(known, tuple(some[n] for n in both)).width("probable") for some in (one, two))
        yield known, more, before / after, [n for n in both if one[n].possible and not two[n].possible]
