"""What the bench answers, as a page and as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from filterlib.analysis.stress.stored_energy import bleeder, stores
from filterlib.bench.answers.answers_result import BenchResult, SpectrumAnswer
from filterlib.bench.answers.explained import BothRanges, Explained, exit_code
from filterlib.bench.capture.measurement import Measurement
from filterlib.show.figures.figure import Area, Axis, Curve, Figure, Look, Mark, Plot
from filterlib.show.figures.plots import FREQUENCY
from filterlib.show.folder import write_files
from filterlib.show.numbers import Section, arrays, numbers
from filterlib.show.page import Illustration, illustration, page_files
from filterlib.show.style import AFTER, BEFORE, BLACK, DASHES, slug
from filterlib.show.table import Table, table
from filterlib.system.design import Design
from filterlib.words.bench.answer_sentences import (
    SCOPE_TABLE,
    explained_sentences,
    explanation_words,
    fooled_sentences,
    learned_sentences,
    outcome_words,
    remark_sentences,
    scope_columns,
    station_words,
    verdict_words,
)
from filterlib.words.quantities import number, plain, range_text, share

PAGE, NUMBERS = "bench.html", "bench.json"
FORMAT = 1  # of bench.json; raised whenever a key changes its name or its meaning
SHOWN = 12  # explanations that are listed
ROWS = 24  # harmonics that are listed
_POINTS = 1200  # of a trace


def write_answers(
    result: BenchResult, explained: Explained | None, folder: str | Path, learned: BothRanges | None = None
) -> Path:
    """Write bench.html, bench.json and the figures into a folder as `write_files` does; returns the path of the page."""
    write_files(folder, answer_files(result, explained, learned), last=NUMBERS)
    return Path(folder) / PAGE


def answer_files(result: BenchResult, explained: Explained | None, learned: BothRanges | None = None) -> dict[str, str]:
    """Every file: name -> text, in which `folder.RUN` stands for the run's identifier."""
    figures = tuple(_figures(result))
    return page_files(
        PAGE, FORMAT, answer_numbers(result, explained), figures,
        title=result.stated.name,
        summary=f"{verdict_words(result, explained)}.",
        look="good" if exit_code(result, explained) == 0 else "bad",
        answers=_answers(result),
        remarks=list(remark_sentences(result)),
        explained=[] if explained is None else list(explained_sentences(result, explained)),
        tried=None if explained is None else _tried(explained),
        next=None if explained is None else _next(explained),
        learned=None if learned is None else {"sentences": list(learned_sentences(learned)), "table": _learned(learned)},
        figures=figures,
        tables=[_harmonics(one) for one in result.spectra],
        views=table(SCOPE_TABLE, result.views, *scope_columns(result.scope)) if result.views else None,
        fooled=list(fooled_sentences(result.views)),
        cautions=tuple(_cautions(result.stated)),
    )  # fmt: skip


def _answers(result: BenchResult) -> Table:
    return table(
        "Readings, each with what it may be wrong by (19 times in 20), beside what the design promises",
        result.answers,
        ("Where", lambda one: station_words(one.station)),
        ("Read", lambda one: number(one.reading.value, "V")),
        ("Between", lambda one: range_text(one.reading.low, one.reading.high, "V")),
        ("Expected", lambda one: number(one.expected, "V")),
        ("Probably between", lambda one: range_text(one.low, one.high, "V")),
        ("Outcome", outcome_words),
    )


def _tried(explained: Explained) -> Table:
    return table(
        "Faults, the likeliest first",
        explained.ranked[:SHOWN],
        ("Fault", explanation_words),
        ("Likely", lambda one: share(one.likely)),
        ("Deviation over uncertainty", lambda one: plain(one.misfit, 2)),
        ("Explains all readings", lambda one: "yes" if one.explains else "no"),
    )


def _next(explained: Explained) -> Table | None:
    found, pair = explained.next_reading, explained.pair
    if found is None or pair is None:
        return None
    rows = zip(pair, (found.first, found.second), (found.first_ends, found.second_ends), strict=True)
    return table(
        f"Peak to peak at {station_words(found.station)}",
        list(rows),
        ("If", lambda row: explanation_words(row[0])),
        ("Expected", lambda row: number(row[1], "V")),
        ("Probably between", lambda row: range_text(*row[2], "V")),
    )


def _learned(learned: BothRanges) -> Table:
    return table(
        "Ranges of the converter's values, as the file states them and with the readings",
        learned.learned.narrowed,
        ("Value", lambda one: one.label),
        ("As stated", lambda one: range_text(one.before_low, one.before_high, one.unit)),
        ("With the readings", lambda one: range_text(one.low, one.high, one.unit)),
    )


def _harmonics(one: SpectrumAnswer) -> Table:
    first = range(min(ROWS, len(one.frequencies)))
    return table(
        f"Harmonics before the filter and at {station_words(one.station)}, peak of each",
        first,
        ("Frequency", lambda k: number(float(one.frequencies[k]), "Hz", 4)),
        ("Before", lambda k: number(float(one.before[k]), "V")),
        ("After", lambda k: number(float(one.after[k]), "V") if one.clear[k] else f"below {number(float(one.after_high[k]), 'V', 2)}"),
        ("Expected after", lambda k: number(float(one.expected[k]), "V")),
        ("Probably between", lambda k: range_text(float(one.expected_low[k]), float(one.expected_high[k]), "V")),
        ("Attenuation", lambda k: number(float(one.attenuation[k]), "dB") if one.clear[k] else "noise"),
        ("Expected", lambda k: number(float(one.expected_attenuation[k]), "dB")),
    )  # fmt: skip


def _figures(result: BenchResult) -> Iterator[Illustration]:
    for place, (station, (measured, *_)) in enumerate(result.captures, start=1):
        name = f"{place}-{slug(station.place)}"
        words = f"One period before the filter and at {station_words(station)}, on one scale."
        yield illustration(f"bench-traces-{name}", traces_figure(result, measured), words)
        for one in result.spectra:
            if one.station is station:
                words = f"Harmonics at {station_words(station)}: read, and expected with its probable range."
                yield illustration(f"bench-harmonics-{name}", harmonics_figure(one), words)


def traces_figure(result: BenchResult, after: Measurement) -> Figure:
    """The averaged periods of the captures [V], without their means."""
    pairs = [(result.before, "before the filter", Look(BEFORE)), (after, "behind it", Look(AFTER, DASHES[1]))]
    curves: list[Mark] = []
    for measured, label, look in pairs:
        if measured is not None and measured.average is not None:
            wave = measured.average.aligned
            times = wave.period * np.arange(_POINTS) / _POINTS
            volts = wave.samples(_POINTS)
            curves.append(Curve(times, volts - volts.mean(), look, label))
    plot = Plot(Axis("time", "s"), Axis("voltage", "V"), tuple(curves), legend=True)
    return Figure("Before and after, one period", ((plot,),))


def harmonics_figure(one: SpectrumAnswer) -> Figure:
    """Peak of each harmonic [V]: read where it is above the noise, and expected."""
    read = np.where(one.clear, one.after, np.nan)
    marks: list[Mark] = []
    if np.any(np.isfinite(one.expected_low)):
        marks.append(Area(one.frequencies, one.expected_low, one.expected_high, "#9a9a9a", label="probable range"))
    marks += [
        Curve(
            one.frequencies, one.before, Look(BEFORE, width=1.2, marker="s", size=5.0, hollow=True), "before the filter"
        ),
        Curve(one.frequencies, one.expected, Look(BLACK, DASHES[1], 1.3), "expected"),
        Curve(one.frequencies, read, Look(AFTER, width=1.2, marker="o", size=6.0), "read", joined=False),
    ]
    plot = Plot(FREQUENCY, Axis("peak of the harmonic", "V", log=True), tuple(marks), legend=True)
    return Figure(f"Harmonics at {one.station.place}", ((plot,),))


def _cautions(design: Design) -> Iterator[str]:
    chosen = bleeder(stores(design))
    yield (
        f"What stays charged after switching off: {number(sum(one.energy for one in stores(design)), 'J')}. "
        f"{number(chosen.resistance, 'ohm')} ({number(chosen.power_rating, 'W')}) takes it below {number(chosen.safe, 'V')} in "
        f"{number(chosen.time, 's', 2)}; check with a meter before touching."
    )
    yield (
        "The clip of an earthed oscilloscope joins what it touches to earth: across a battery that is earthed elsewhere it is a "
        "short circuit. Local codes and a licensed practitioner come before this page."
    )


def answer_numbers(result: BenchResult, explained: Explained | None) -> Section:
    """For other programs: one number a key, the unit at its end."""
    return {
        "design": result.stated.name,
        "exit_code": exit_code(result, explained),
        "answers": [
            {
                "station": one.station.name, "outcome": one.outcome, "why": one.why, "source": one.reading.source,
                **numbers(one.reading, "no limit is stated"), **numbers(one, "nothing to compare"),
            }
            for one in result.answers
        ],
        "scope": [
            {"station": one.station.name, **numbers(one, "no steady state with the clip on")} for one in result.views
        ],
        "harmonics": [
            {"station": one.station.name, "clear": one.clear.tolist(), **arrays(one)} for one in result.spectra
        ],
        "explanations": []
        if explained is None
        else [
            {
                "fault": one.fault.kind, "part": one.fault.part, "explains": one.explains,
                "others": [[other.kind, other.part] for other in one.others], **numbers(one),
            }
            for one in explained.ranked
        ],
    }  # fmt: skip
