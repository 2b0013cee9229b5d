"""Readings of a built board beside what its design promised: station by station, with what each of both may be wrong by; and whether two captures were exchanged."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import astuple, replace
from pathlib import Path

import numpy as np

from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import RippleResult
from filterlib.analysis.stability.stability import stability
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.bench.answers.answers_result import (
    BARE,
    Answer,
    BenchReading,
    BenchResult,
    BurstAnswer,
    Capture,
    Fault,
    SpectrumAnswer,
    Station,
    Taken,
    Why,
)
from filterlib.bench.answers.bench_reading import REACHES, from_captures, from_figures, limited_below
from filterlib.bench.answers.bursting import bare_burst, bursting_there, refuse_another
from filterlib.bench.answers.differing import differences, priors
from filterlib.bench.answers.distance import times_from_cases, times_from_ends
from filterlib.bench.answers.explained import SOUND, TAILS, Differences, Exchange, Trial
from filterlib.bench.answers.loads import as_taken, at_its_load, bare_ripple, reading_and_current, refuse_before
from filterlib.bench.answers.same_converter import at_the_clock_of, bursts_behind, in_bursts, refuse_others
from filterlib.bench.answers.scope_errors import SURE, ScopeErrors
from filterlib.bench.answers.scope_view import scope_views
from filterlib.bench.answers.spectrum_answer import spectrum_answer
from filterlib.bench.answers.stations import named_station, station_and_figure
from filterlib.bench.answers.trials import CASES, tried
from filterlib.bench.capture.measurement import BANDWIDTH, Measurement, measure
from filterlib.bench.capture.recording import load_recording
from filterlib.bench.design_file import design_of_capture, load_design
from filterlib.errors import FilterlibError, InputError, Problem
from filterlib.system.design import Design
from filterlib.system.solution import solve

BLIND = 2.0
"""Ratio of a reading's end to its value, from which on it is too uncertain to tell anything."""
Progress = Callable[[float, str], None]
EXCHANGED = 0.05  # share of pairs of captures that are exchanged: common practice, no source


def bench(
    file: str | Path,
    *,
    before: str | Sequence[str] | None = None,
    before_taken: Taken | None = None,
    after: Sequence[Capture] = (),
    readings: Sequence[str] = (),
    scope: ScopeErrors | None = None,
    progress: Progress | None = None,
) -> BenchResult:
    """Readings of a built board beside what its design file promises.

    Parameters: ``file``: the design; ``before``: a capture of the converter's bare terminals, or several, in the file's arrangement and at
    its load, from which everything behind is predicted then; ``before_taken``: its load and input voltage, where they are others
    than the file's and its own; ``after``: captures at loads or terminals with the filter; ``readings``: figures as
    `station_and_figure` reads them; several of one station are averaged; ``scope``; ``progress``: called with the share done and what is
    being done.
    Returns: BenchResult.
    Raises: InputError, FilterlibError: for files and names that are wrong, captures of different converters,
    nothing to compare, and operating points without ripple, as the circuit is unstable there.

    >>> from filterlib.parts.tables import data_folder
    >>> folder = data_folder()
    >>> found = bench(folder / "designs" / "tide-gauge-clean.toml", readings=["modem 20MHz 4.8 mV"])
    >>> found.answers[0].outcome
    'agrees'
    """
    tell, scope = progress or (lambda share, text: None), scope or ScopeErrors()
    if not (before or after or readings):
        raise FilterlibError("nothing to compare: give --before, --after or --reading")
    tell(0.0, f"reading {file}")
    stated = load_design(file)
    bare = _bare([before] if isinstance(before, str) else before or ())
    design, seen = _as_captured(file, stated, bare, before_taken or Taken())
    tell(0.1, "reading captures")
    design, captures = _captures(design, after, bare[0] if bare else None)
    refuse_others(bare, [one for several in captures.values() for one in several])
    design, typed = _typed(stated, bursting_there(design, bare[0] if bare else None, captures.items()), readings)
    ripples = _ripples(design, [*captures, *(station for station, _ in typed)], tell)
    tell(0.9, "comparing")
    bursts = _bare_burst(stated, bare, seen)
    answers = [*_bare_answers(stated, bare, seen, scope, bursts)]
    for station, several in captures.items():
        answers += _of_captures(design, station, several, _beside(bare, several, scope), ripples)
    for (station, load), volts in typed.items():
        answers.append(_answer(station, from_figures(volts, station.band, scope), stated, ripples, load))
    compared = [
        spectrum_answer(design, station, _alike(bare[0], several), bare[0], ripples[station.point], scope)
        for station, several in captures.items()
        if bare and bare[0].average is not None and station.point != BARE
    ]
    views = scope_views(design, [one.station for one in answers], scope)
    return BenchResult(
        design, stated, tuple(answers), tuple(one for one in compared if one), tuple(readings), bare[0] if bare else None, seen,
        tuple((station, tuple(several)) for station, several in captures.items()), ripples, scope, views,
        bursts, tuple(_louder(bare, captures)),
    )  # fmt: skip


def _bare(files: Sequence[str]) -> list[Measurement]:
    """Captures of the bare converter, that with the middle peak to peak first: all that is expected is of one that is usual."""
    measured = [_measured(Capture(one), uneven=True) for one in files]
    silent = [one for one in measured if one.average is None and one.periods.pattern == "none"]
    if silent:
        raise InputError([_no_ripple(one) for one in silent])
    found = sorted(measured, key=lambda one: (one.averaged or one.raw).ripple)
    return [found.pop(len(found) // 2), *found] if found else []


def _as_captured(file: str | Path, stated: Design, bare: Sequence[Measurement], said: Taken) -> tuple[Design, Taken]:
    """The design with the capture of the bare converter in it, and at which load that was taken; as stated where there is none, or none that is even."""
    if not bare:
        return stated, Taken()
    first, name = bare[0], bare[0].recording.file
    seen = as_taken(first.recording, *astuple(said))
    refuse_before(stated, seen, name, bursts=in_bursts(first))
    if in_bursts(first):
        refuse_another(stated, first)
    if first.average is None:
        return stated, seen
    return design_of_capture(file, name, seen.load_current, bursts=in_bursts(first)), seen


def _captures(
    design: Design, after: Sequence[Capture], before: Measurement | None
) -> tuple[Design, dict[Station, list[Measurement]]]:
    """Captures by station, and the design with the operating points that they were taken at."""
    found: dict[Station, list[Measurement]] = {}
    for one in after:
        measured = at_the_clock_of(before, _measured(one, uneven=True))
        design, station = at_its_load(design, named_station(design, one.place, one.point), as_taken(measured.recording))
        found.setdefault(station, []).append(measured)
    return design, found


def _typed(
    stated: Design, design: Design, readings: Sequence[str]
) -> tuple[Design, dict[tuple[Station, Taken], list[float]]]:
    """Figures [V] by station and load, and the design with the operating points that they were read at."""
    found: dict[tuple[Station, Taken], list[float]] = {}
    for line in readings:
        words, load = reading_and_current(line)
        station, volts = station_and_figure(stated, words)
        design, station = at_its_load(design, station, load)
        found.setdefault((station, load), []).append(volts)
    return design, found


def _ripples(design: Design, stations: Sequence[Station], tell: Progress) -> dict[str, RippleResult]:
    """What is expected at every operating point that was read."""
    points = dict.fromkeys(station.point for station in stations if station.point != BARE)
    found = {}
    for number, point in enumerate(points):
        tell(0.2 + 0.7 * number / len(points), f"what is expected, {point}")
        found[point] = _ripple(design, point)
    return found


def _measured(capture: Capture, *, uneven: bool = False) -> Measurement:
    """Raises InputError where no ripple can be taken from it; ``uneven``: one without a single period is taken for what it is."""
    found = measure(load_recording(capture.file, capture.channel))
    if found.average is None and not uneven:
        raise InputError([_no_ripple(found)])
    return found


def _no_ripple(measured: Measurement) -> Problem:
    return Problem(measured.recording.file, "", None, f"no ripple can be taken from it: {measured.remarks[0]}")


def _alike(before: Measurement, several: Sequence[Measurement]) -> list[Measurement]:
    """Those behind the filter in bursts where that before it is, and those that switch all the time where that does."""
    return [one for one in several if bursts_behind(before, one) == in_bursts(before)]


def _louder(bare: Sequence[Measurement], captures: Mapping[Station, Sequence[Measurement]]) -> Iterator[Measurement]:
    """Captures behind the filter that show more than that before it."""
    for station, several in captures.items():
        if bare and station.point != BARE:
            yield from (one for one in several if one.rms_about_mean > bare[0].rms_about_mean)


def _ripple(design: Design, point: str) -> RippleResult:
    solution = solve(design, point)
    if stability(solution).stable is False:
        raise FilterlibError(
            f"{point}: the circuit is unstable there, so no ripple can be expected: see filterlib review"
        )
    return ripple(solution)


def _bare_burst(stated: Design, bare: Sequence[Measurement], taken: Taken) -> BurstAnswer | None:
    """Of the capture before the filter, where it is of even bursts that carry a current which is known."""
    even = bool(bare) and bare[0].pulses is not None
    return bare_burst(stated, bare[0], taken.load_current) if even and taken.load_current else None


def _bare_answers(
    stated: Design, bare: Sequence[Measurement], taken: Taken, scope: ScopeErrors, bursts: BurstAnswer | None
) -> Iterator[Answer]:
    """The captures of the bare converter beside what the file states of it."""
    if not bare or stated.converter.ripple.recording is not None:
        return
    station = named_station(stated, "terminals", BARE)
    reading = from_captures(bare, station.band, scope)
    if bursts is not None:
        yield judged(station, reading, bursts.expected_pp, bursts.low, bursts.high)
    elif in_bursts(bare[0]):
        why: Why = "load" if bare[0].pulses else "uneven"
        yield Answer(station, reading, np.nan, np.nan, np.nan, "cannot tell", np.nan, why)
    else:
        yield _answer(station, reading, stated, {}, taken)


def _beside(bare: Sequence[Measurement], several: Sequence[Measurement], scope: ScopeErrors) -> ScopeErrors:
    """A scope whose low-pass was in the way of the capture before the filter too: what is expected has its error as well."""
    alike = bare and bare[0].recording.bandwidth == several[0].recording.bandwidth
    return replace(scope, corner=0.0) if alike else scope


def _of_captures(
    design: Design,
    station: Station,
    several: Sequence[Measurement],
    scope: ScopeErrors,
    ripples: dict[str, RippleResult],
) -> Iterator[Answer]:
    """In 20 MHz, and in full bandwidth where the captures reach there."""
    yield _answer(station, from_captures(several, station.band, scope), design, ripples)
    full = named_station(design, station.place, station.point, "full")
    wide = [one for one in several if not limited_below(one)]
    reading = from_captures(wide or several, full.band, scope)
    if not reading.short:
        yield _answer(full, reading, design, ripples)


def _answer(
    station: Station,
    reading: BenchReading,
    design: Design,
    ripples: dict[str, RippleResult],
    taken: Taken | None = None,
) -> Answer:
    if station.point == BARE:
        return judged(station, reading, *bare_ripple(design, taken or Taken()))
    key = station.place, station.band.label
    figure, extent = ripples[station.point].figures[key], ripples[station.point].extents.get(key)
    known = np.isfinite(figure.probable_low)
    ends = (figure.probable_low, figure.probable_high) if known else (figure.low, figure.high)
    found = judged(station, reading, figure.peak_to_peak, *ends, extent.plausible if known and extent else None)
    more = found.outcome == "does not agree" and reading.value > found.expected
    if more and station.band.bandwidth is None and not _spikes_known(design):
        return replace(found, outcome="cannot tell", times=np.nan, why="spike")
    return found


def _spikes_known(design: Design) -> bool:
    """Whether anything is said of what the converter makes beyond 20 MHz."""
    limit = design.converter.ripple.bandwidth
    return design.converter.spike is not None or limit is None or float(np.max(limit)) > REACHES * BANDWIDTH


def judged(
    station: Station, reading: BenchReading, expected: float, low: float, high: float, cases: Plausible | None = None
) -> Answer:
    """Whether a reading agrees with what is expected: the distance of both over their common expanded uncertainty.

    In logarithms, as both are positive and each is known to a share. ``cases``: the plausible cases of the prediction, of
    which the distance is had then; without them ``low`` and ``high`` are taken as its ends, as a normal distribution has them.
    """
    answer = (station, reading, expected, low, high)
    if reading.short:
        return Answer(*answer, "cannot tell", np.nan, "bandwidth")
    ends = (low, high) if np.isfinite(low) else (expected, expected)
    if reading.low <= 0 or reading.value > BLIND * reading.low:
        beyond = reading.high < ends[0] or reading.low > ends[1]
        return Answer(*answer, "does not agree" if beyond else "cannot tell", np.nan, "" if beyond else "noise")
    times = times_from_ends(reading, expected, *ends) if cases is None else times_from_cases(reading, cases)
    return Answer(*answer, "agrees" if times <= 1 else "does not agree", times)


__all__ = ["bench", "judged"]


def exchange(file: str | Path, result: BenchResult, known: Sequence[Trial]) -> Exchange | None:
    """Whether the loudest capture behind the filter and that before it are exchanged; None where none is louder than that.

    ``known``: the `trials` of the result. What the file states of the bare converter counts too: an exchanged capture misses it. Both are weighed
    on the lines that are clear in both captures.
    """
    if not result.louder or result.before is None:
        return None
    loud = max(result.louder, key=lambda one: one.rms_about_mean)
    station = next(station for station, several in result.captures if loud in several)
    given, fault = _as_given(_of_pair(result, station), known)
    levels = result.before.rms_about_mean, loud.rms_about_mean
    found = Exchange(loud.recording.file, station, *levels, fault, 0.0)
    named = station.point if station.point in {one.name for one in result.stated.operating_points} else None
    try:
        other = bench(
            file, before=loud.recording.file, after=[Capture(result.before.recording.file, station.place, named)], scope=result.scope
        )  # fmt: skip
        swapped = tried(other, Fault("as designed"), CASES)
    except FilterlibError:
        return found
    if swapped is None:
        return found
    behind = next(one for one, _ in other.captures)
    log = np.log(SOUND * EXCHANGED) + _likely(_of_pair(other, behind), swapped)
    return replace(found, times=float(np.exp(np.clip(log - given, -700.0, 700.0))))


def _of_pair(result: BenchResult, station: Station) -> BenchResult:
    """Of the bare converter and one station alone, its spectrum of lines that are clear in both captures."""
    answers = tuple(one for one in result.answers if one.station.point == BARE or one.station == station)
    spectra = (_clear(one) for one in result.spectra if one.station == station)
    return replace(result, answers=answers, spectra=tuple(one for one in spectra if one.frequencies.size))


def _clear(one: SpectrumAnswer) -> SpectrumAnswer:
    held = {name: values[one.clear] for name, values in vars(one).items() if isinstance(values, np.ndarray)}
    return replace(one, **held)


def _as_given(result: BenchResult, known: Sequence[Trial]) -> tuple[float, Fault]:
    logs = np.log(priors(known)) + [_likely(result, one) for one in known]
    best = int(np.argmax(logs))
    return float(logs[best]), known[best].fault


def _likely(result: BenchResult, tried: Trial) -> float:
    """Logarithm of the likelihood of readings behind the filter and of what the file states of the bare converter."""
    bare = [one for one in result.answers if one.station.point == BARE and np.isfinite(one.times)]
    z = np.array([SURE * one.times for one in bare])
    stated = -(TAILS + 1) / 2 * float(np.log1p(z**2 / TAILS).sum())
    found: Differences = differences(result, tried, result.behind)
    return stated + found.together - float(np.log(found.sigma).sum())
