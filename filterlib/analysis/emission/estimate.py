"""Conducted emission of the output or the input line: what a receiver would read, against limits, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np

from filterlib.analysis.emission.emission_result import (
    EmissionResult,
    EmissionTest,
    Extent,
    LineSpectra,
    emission_tests,
)
from filterlib.analysis.emission.extents import at_ends, extents, wider
from filterlib.analysis.emission.laboratory import laboratory_uncertainty
from filterlib.analysis.emission.levels import (
    CURRENT,
    PLACES,
    TOLERANCE,
    Levels,
    above,
    amplitudes,
    inside,
    judged_places,
    levels,
    loudest,
    tuned_to,
)
from filterlib.analysis.emission.line_spectra import line_spectra
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.emission.receiver import DETECTORS, MICROVOLT, main_line, read, tunings
from filterlib.analysis.ripple.ripple_result import trusted_to
from filterlib.analysis.stability.stability import stability, stays_up
from filterlib.analysis.stability.stability_result import Stability
from filterlib.analysis.uncertainty.interval import CHUNK, chunks, shapes
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.parts.values import Value
from filterlib.system.design import Design, with_values
from filterlib.system.emission import EmissionRequirement
from filterlib.system.inside.input_side import SOURCE
from filterlib.system.ranges.uncertain_parameter import SHAPE, SHAPE_LABEL, Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution
from filterlib.system.sources.source_shapes import SourceSpectra
from filterlib.units import decibels, from_decibels

INPUT_TRUSTED = 10e6  # [Hz] above which what rings at the input's switching edges decides: common practice, no source
LITTLE = 0.1  # share of a line up to which the current that the input draws, with the ringing that is not known, hardly moves it: no source
Mask: TypeAlias = Callable[[Solution, Mapping[str, Value]], Mapping[str, Value]]
Which: TypeAlias = tuple[str, str, str]  # point, limit, detector
Progress = Callable[[float], None]


def emissions(
    solution: Solution,
    test: EmissionTest | None = None,
    *,
    interval: bool = True,
    progress: Callable[[float], None] | None = None,
) -> EmissionResult:
    """Conducted emission at an operating point, on each line and as modes, with margins to the limits.

    Parameters: ``solution`` of one design; ``test``: which line, through which network, against which limits; ``interval``:
    False leaves the search over the uncertainty out; ``progress``: called with the share of the search that is done, 0 .. 1.
    Returns: EmissionResult, its levels (h,) [dBµV or dBµA]: an estimate before a test, not a test.
    Raises: ScaleError where the converter's stated figures contradict each other; FilterlibError where the input current
    cannot be estimated, and for an unknown network or limit.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> nearest = emissions(solution, interval=False).worst
    >>> nearest.limit, nearest.detector, round(nearest.margin, 1)  # [dB]
    ('mains-class-b', 'average', -7.3)
    """
    test = test or EmissionTest()
    if not stays_up(solution):
        return EmissionResult(solution.point, test, reason=stability(solution))
    return estimates([solution], test, interval=interval, progress=progress)[0]


def estimates(
    solutions: Sequence[Solution],
    test: EmissionTest,
    *,
    interval: bool | Mapping[tuple[str, str, str], Extent],
    masks: Mapping[str, Mask] | None = None,
    drawn: Mapping[str, Plausible] | None = None,
    progress: Callable[[float], None] | None = None,
) -> list[EmissionResult]:
    """As `emissions`, at operating points of one design at which it is known to be stable: the range is sought at all at once.

    ``interval``: the extents of a design that is like this one, by (point, limit, detector), give the range at the values
    which make their ends. ``masks``: by point, what makes figures of many designs NaN where their circuit is unstable; ``drawn``: by
    point plausible combinations of the uncertain parameters, of which the probable interval is.
    """
    if not solutions:
        return []
    many = _Many(solutions, test, masks or {}, progress)
    many.drawn = drawn or {}
    found = _extents(many) if interval is True else _at_ends(many, interval) if interval else {}
    return [_estimate(solution, test, many, found) for solution in solutions]


def _estimate(solution: Solution, test: EmissionTest, many: _Many, found: Mapping[Which, Extent]) -> EmissionResult:
    design, point = solution.design, solution.point
    bursts = solution.burst is not None
    steady = line_spectra(solution, test)
    spectra = line_spectra(solution, test, bursts=True) if bursts else steady
    kept, spacing = inside(spectra.frequencies, test), float(spectra.frequencies[0])
    if bursts:
        kept &= loudest(amplitudes(spectra), spectra.frequencies, test)
    tuned = tunings(spectra.frequencies[kept], spacing, test.ends)
    read_ = levels(amplitudes(spectra), spacing, tuned)
    mine = {(limit, detector): extent for (at, limit, detector), extent in found.items() if at == point}
    tolerance = network_tolerance(solution, test, steady) if mine else {}
    if bursts:
        mine = _as_wide(mine, above(read_, tuned, test))
        tolerance = {place: np.interp(spectra.frequencies, steady.frequencies, one) for place, one in tolerance.items()}
    return EmissionResult(
        point=point,
        test=test,
        spacing=spacing,
        frequencies=spectra.frequencies[kept],
        amplitudes={place: values[kept] for place, values in amplitudes(spectra).items()},
        by_source={
            (place, source): values[kept]
            for source in spectra.sources
            for place, values in amplitudes(spectra, source).items()
        },
        levels={key: level[: kept.sum()] for key, level in read_.items()},
        low={} if bursts else many.low.get(point, {}),
        high={} if bursts else many.high.get(point, {}),
        margins=tuple(_margins(read_, tuned, spectra, test, mine, _labels(design, test), tolerance)),
        trusted_to=min(trusted_to(design), _input_trusted_to(spectra)),
        assumptions=tuple(one for one in _box(design, test, tolerances=False) if not one.stated),
        extents=mine,
        bursts=bursts,
    )


def _input_trusted_to(spectra: LineSpectra) -> float:
    """The first line [Hz] above `INPUT_TRUSTED` of which the current that the input draws makes more than a `LITTLE`; infinite without one."""
    if SOURCE not in spectra.sources:
        return np.inf
    whole, drawn = (amplitudes(spectra, *only) for only in ((), (SOURCE,)))
    much = np.any([np.abs(drawn[line]) > LITTLE * np.abs(whole[line]) for line in ("plus", "return")], axis=0)
    beyond = spectra.frequencies[much & (spectra.frequencies > INPUT_TRUSTED)]
    return float(beyond[0]) if beyond.size else np.inf


def _as_wide(
    steady: Mapping[tuple[str, str], Extent], lines: Mapping[tuple[str, str], np.ndarray]
) -> dict[tuple[str, str], Extent]:
    """The ranges of steady switching about the highest line of the bursts: what is uncertain moves both alike."""
    found = {}
    for key, one in steady.items():
        at = int(np.argmax(lines[key])) % lines[key].shape[-1]
        ratio = float(from_decibels(np.max(lines[key]))) / one.nominal
        drawn = None if one.plausible is None else one.plausible.of(ratio * one.plausible.figures)
        ends = {name: ratio * getattr(one, name) for name in ("nominal", "low", "high")}
        found[key] = replace(one, **ends, low_at=at, high_at=at, plausible=drawn)
    return found


def _margins(
    read_: Levels,
    tuned: np.ndarray,
    spectra: LineSpectra,
    test: EmissionTest,
    found: Mapping[tuple[str, str], Extent],
    labels: Mapping[str, str],
    tolerance: Mapping[str, np.ndarray],
) -> Iterator[Margin]:
    over, files = above(read_, tuned, test), {one.name: one for one in test.judged}
    for (name, detector), lines in over.items():
        row, column = np.unravel_index(int(np.argmax(lines)), lines.shape)
        margin = -float(lines[row, column])
        if not np.isfinite(margin):
            continue  # nothing is heard where this detector has a limit
        limit, extent = files[name].limit, found.get((name, detector))
        place, at = judged_places(files[name])[row], float(tuned[column])
        level, ends = float(read_[place, detector][column]), _ends(margin, at, tuned, extent)
        line = _line(spectra, place, at)
        network = float(tolerance[place][np.argmin(np.abs(spectra.frequencies - line))]) if tolerance else 0.0
        yield Margin(
            name, limit.title, detector, place, at, line, _alone(spectra, place, detector, at),
            level, level + margin, limit.unit, margin, *ends,
            laboratory_uncertainty(place, at), network,
            labels.get(extent.decisive, extent.decisive) if extent else "", limit.from_memory, *_probable(extent),
        )  # fmt: skip


def _ends(margin: float, at: float, tuned: np.ndarray, extent: Extent | None) -> tuple[float, float, float, float]:
    """The least and the greatest margin [dB], and where the receiver is tuned to then [Hz]."""
    if extent is None:
        return margin, margin, at, at
    least, greatest = (-float(decibels(ratio)) for ratio in (extent.high, extent.low))
    least_at, greatest_at = (float(tuned[line % len(tuned)]) for line in (extent.high_at, extent.low_at))
    return min(least, margin), max(greatest, margin), least_at, greatest_at


def _probable(extent: Extent | None) -> tuple[float, float]:
    """The least and the greatest margin [dB] of nine plausible cases in ten; NaN where none are drawn."""
    low, high = extent.plausible.ends() if extent is not None and extent.plausible is not None else (np.nan, np.nan)
    return -float(decibels(high)), -float(decibels(low))


def _line(spectra: LineSpectra, place: str, at: float) -> float:
    """The harmonic that a receiver tuned to ``at`` hears most [Hz]."""
    return main_line(amplitudes(spectra)[place], spectra.frequencies[0], at)


def _alone(spectra: LineSpectra, place: str, detector: str, at: float) -> dict[str, float]:
    """What a receiver tuned to ``at`` reads of each source alone [dBµV or dBµA], most first."""
    lines = {source: amplitudes(spectra, source)[place] for source in spectra.sources}
    read_ = {source: read(one, spectra.frequencies[0], [at])[detector][0] for source, one in lines.items()}
    alone = {source: float(decibels(value / MICROVOLT)) for source, value in read_.items()}
    return dict(sorted(alone.items(), key=lambda pair: -pair[1]))


def _extents(many: _Many) -> dict[Which, Extent]:
    """(point, limit, detector) -> the range of that margin, over shapes that are not stated too."""
    found: dict[Which, Extent] = {}
    for variant in shapes(many.design):
        many.design = variant
        for key, extent in extents(many, _box(variant, many.test), told=many.told, drawn=many.plausible()).items():
            extent = many.at_point(key[0], extent)
            found[key] = wider(found[key], extent) if key in found else extent
    return {key: extent.of_real_converters() for key, extent in found.items()}


def _at_ends(many: _Many, like: Mapping[Which, Extent]) -> dict[Which, Extent]:
    """The same at the values which make the ends of ``like`` alone."""
    ends = [values for each in like.values() for values in (each.at_low, each.at_high)]
    found: dict[Which, Extent] = {}
    for variant in shapes(many.design):
        many.design = variant
        for key, extent in at_ends(many, _box(variant, many.test), ends).items():
            found[key] = wider(found[key], extent) if key in found else extent
    return {key: replace(extent, effects=like[key].effects) for key, extent in found.items() if key in like}


class _Many:
    """What is measured of many designs at once, at each of several operating points; keeps the range of every harmonic as it goes."""

    def __init__(
        self,
        solutions: Sequence[Solution],
        test: EmissionTest,
        masks: Mapping[str, Mask],
        progress: Callable[[float], None] | None,
    ) -> None:
        self.design, self.states = solutions[0].design, [solution.state for solution in solutions]
        self.test, self.masks, self.progress = test, masks, progress
        self.drawn: Mapping[str, Plausible] = {}
        self.low: dict[str, dict[str, np.ndarray]] = {}
        self.high: dict[str, dict[str, np.ndarray]] = {}

    def plausible(self, point: str = "") -> Plausible | None:
        """The plausible combinations of the present shape, which are the same at every point but for those left out."""
        drawn = self.drawn.get(point) if point else next(iter(self.drawn.values()), None)
        return None if drawn is None else drawn.where(SHAPE, self.design.converter.shape)

    def at_point(self, point: str, extent: Extent) -> Extent:
        """An extent without the plausible combinations that are left out at its point, as unstable ones are."""
        here, drawn = self.plausible(point), extent.plausible
        return extent if here is None or drawn is None else replace(extent, plausible=here.of(drawn.figures))

    def told(self, count: int) -> None:
        """Progress, of a search whose length is not known."""
        if self.progress is not None:
            self.progress(count / (count + CHUNK))

    def __call__(self, values: Columns) -> dict[Which, np.ndarray]:
        """(point, limit, detector) -> how far each reading is above that limit (designs, places x tunings) [dB]."""
        parts = [self._some(some) for some in chunks(values)]
        return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}

    def _some(self, values: Columns) -> dict[Which, np.ndarray]:
        test = self.test
        if test.side == "input":
            test = EmissionTest(test.side, test.network, test.limits, test.held.at(values))
        design, count = with_values(self.design, values), len(next(iter(values.values())))
        sources: dict[float | None, SourceSpectra] = {}  # by the input voltage, on which alone they depend
        over: dict[Which, np.ndarray] = {}
        for state in self.states:
            solution = Solution(design, state)
            if state.input_voltage not in sources:
                sources[state.input_voltage] = solution.steady_spectra
            spectra = line_spectra(solution, test, sources=sources[state.input_voltage], spot_checked=True)
            tuned = tuned_to(spectra.frequencies, test)
            read_ = levels(amplitudes(spectra), spectra.frequencies[0], tuned)
            if state.point in self.masks:
                steady = self.masks[state.point](solution, {"": np.zeros(count)})[
                    ""
                ]  # (designs, 1): 0, NaN where unstable
                read_ = {key: level + steady for key, level in read_.items()}
            self._keep(state.point, read_, int(inside(spectra.frequencies, test).sum()))
            found = above(read_, tuned, test) or {("highest", "peak"): read_["plus", "peak"][..., None, :]}  # no limit
            for name, lines in found.items():
                over[state.point, *name] = np.broadcast_to(lines, (count, *lines.shape[-2:])).reshape(count, -1)
        return over

    def _keep(self, point: str, read_: Levels, count: int) -> None:
        """The range of the peak detector at every harmonic."""
        low, high = self.low.setdefault(point, {}), self.high.setdefault(point, {})
        for place in (*PLACES, CURRENT):
            rows = np.atleast_2d(read_[place, DETECTORS[0]])[:, :count]
            low[place] = np.fmin.reduce([*rows, low.get(place, rows[0])])
            high[place] = np.fmax.reduce([*rows, high.get(place, rows[0])])


def _box(design: Design, test: EmissionTest, *, tolerances: bool = True) -> tuple[UncertainParameter, ...]:
    return (*uncertain_parameters(design, tolerances=tolerances), *test.inputs(design.converter))


def _labels(design: Design, test: EmissionTest) -> dict[str, str]:
    return {one.key: one.label for one in _box(design, test)} | {SHAPE: SHAPE_LABEL}


def network_tolerance(solution: Solution, test: EmissionTest, nominal: LineSpectra) -> Mapping[str, np.ndarray]:
    """By place: how much higher networks within their tolerance may read each harmonic (h,) [dB].

    ``nominal``: the lines at networks without tolerance. Each network alone is moved by `TOLERANCE` both ways; what that changes is the
    derivative of an analytic function, so that it holds for any angle too. Both networks' changes add up. First order.
    """
    up, none = 1 + TOLERANCE * np.array([[1.0], [-1.0]]), np.ones((2, 1))
    scaled = {"plus": np.concatenate([up, none]), "return": np.concatenate([none, up])}
    moved = amplitudes(line_spectra(solution, test, scaled=scaled))
    higher = {}
    for place, lines in amplitudes(nominal).items():
        plus_up, plus_down, return_up, return_down = moved[place]
        change = (np.abs(plus_up - plus_down) + np.abs(return_up - return_down)) / 2
        higher[place] = decibels(1 + np.divide(change, np.abs(lines), out=np.zeros(len(lines)), where=lines != 0))
    return higher


def emissions_of(
    design: Design,
    solutions: Iterable[Solution],
    *,
    like: Mapping[str, tuple[EmissionResult, ...]] | None = None,
    asked: bool = False,
    masks: Mapping[str, Mask] | None = None,
    drawn: Mapping[str, Plausible] | None = None,
    progress: Progress | None = None,
) -> dict[str, tuple[EmissionResult, ...]]:
    """By operating point the estimate of every test that the design asks for.

    The range is sought at all of them at once, each design that is tried being solved at every point. ``like``: the estimates
    of a design that is like this one, by point: tests are then read at the values which make the ends of those; ``asked``: tests
    that no requirement asks for are left out; ``masks``, ``drawn``: see `estimates`.
    """
    solutions, tests = tuple(solutions), emission_tests(design)
    by_point: dict[str, list[EmissionResult]] = {solution.point: [] for solution in solutions}
    for number, test in enumerate(tests):
        if asked and not _required(test, design):
            continue
        ends = None if like is None else {(at, *k): v for at, of in like.items() for k, v in of[number].extents.items()}

        def tell(share: float, number: int = number) -> None:
            if progress is not None:
                progress((number + share) / len(tests))

        points = [(solution, stability(solution)) for solution in solutions]
        for result in _at_points(test, points, tell, ends, masks, drawn):
            by_point[result.point].append(result)
    return {point: tuple(results) for point, results in by_point.items()}


def _required(test: EmissionTest, design: Design) -> bool:
    """Whether a requirement asks for the test."""
    asked = [one for one in design.requirements if isinstance(one, EmissionRequirement)]
    return any(one.side == test.side and one.at == test.network for one in asked)


def _at_points(
    test: EmissionTest,
    points: list[tuple[Solution, Stability]],
    tell: Progress,
    intervals: Mapping[tuple[str, str, str], Extent] | None,
    masks: Mapping[str, Mask] | None,
    drawn: Mapping[str, Plausible] | None,
) -> Iterator[EmissionResult]:
    steady = [solution for solution, verdict in points if verdict.stable]
    sought = True if intervals is None else intervals
    yield from estimates(steady, test, interval=sought, masks=masks, drawn=drawn, progress=tell)
    for solution, verdict in points:
        if not verdict.stable:
            yield EmissionResult(solution.point, test, reason=verdict)
