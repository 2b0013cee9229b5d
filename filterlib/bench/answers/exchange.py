"""Captures before and behind the filter that may have been exchanged: whether that explains them better than every fault does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from filterlib.bench.answers.answer import bench
from filterlib.bench.answers.answers_result import BARE, BenchResult, Capture, SpectrumAnswer, Station
from filterlib.bench.answers.differing import differences
from filterlib.bench.answers.explained import SOUND, TAILS, Differences, Exchange, Fault
from filterlib.bench.answers.explanation import priors
from filterlib.bench.answers.scope_errors import SURE
from filterlib.bench.answers.trials import CASES, Trial, tried
from filterlib.errors import FilterlibError

EXCHANGED = 0.05  # share of pairs of captures that are exchanged: common practice, no source


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
