"""The sheet for the bench: a page to print and fill in by hand, and the same for programs."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from pathlib import Path

from filterlib.analysis.bench.bench_sheet import BenchSheet, Narrowing
from filterlib.analysis.stress.stored_energy import Store
from filterlib.bench.answers.answers_result import ScopeView, Station
from filterlib.bench.answers.readings_file import FILE as READINGS
from filterlib.bench.answers.readings_file import readings_text
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.answers.scope_view import scope_views
from filterlib.show.figures.schematic import schematic_svg
from filterlib.show.folder import write_files
from filterlib.show.numbers import Section, numbers, texts
from filterlib.show.page import Illustration, page_files
from filterlib.show.table import Table, cells, column, heads, table
from filterlib.words.bench.answer_sentences import SCOPE_TABLE, fooled_sentences, scope_columns
from filterlib.words.bench.bench_sentences import (
    bench_remarks,
    check_cells,
    check_note,
    check_words,
    probe_words,
    station_steps,
    station_title,
)
from filterlib.words.bench.safety_steps import safety_steps
from filterlib.words.quantities import capital, number, range_text, share
from filterlib.words.review.measurement_sentences import measurement_words

PAGE, NUMBERS = "verify.html", "verify.json"
FORMAT = 1  # of verify.json; raised whenever a key changes its name or its meaning
NARROWING = 5  # measurements that are listed
BLANKS = (
    "Date",
    "Name",
    "Place",
    "Converter, serial number",
    "Filter, serial number",
    "Oscilloscope and probe",
    "Voltmeter",
)


def write_sheet(sheet: BenchSheet, folder: str | Path) -> Path:
    """Write verify.html, verify.json and the circuit diagram of a `BenchSheet` into a folder as `write_files` does; returns the page.

    Beside them readings.toml, to be filled in; one that is there already stays as it is.
    """
    files = sheet_files(sheet)
    if not os.path.lexists(Path(folder) / READINGS):
        files[READINGS] = readings_text(_expected(sheet))
    write_files(folder, files, last=NUMBERS)
    return Path(folder) / PAGE


def sheet_files(sheet: BenchSheet) -> dict[str, str]:
    """Every file: name -> text, in which `folder.RUN` stands for the run's identifier."""
    circuit, views = _circuit(sheet), _views(sheet)
    return page_files(
        PAGE, FORMAT, sheet_numbers(sheet), [circuit],
        design=sheet.design,
        blanks=BLANKS,
        safety=safety_steps(sheet),
        stores=_stores(sheet),
        circuit=circuit,
        probes=table(
            "Probe points",
            sheet.probes,
            ("Point", lambda probe: probe.label),
            ("Tip", lambda probe: probe_words(probe)[0]),
            ("Other side", lambda probe: probe_words(probe)[1]),
        ),
        stations=tuple(_stations(sheet)),
        narrowing=_narrowing(sheet),
        uncovered=sheet.uncovered,
        remarks=tuple(bench_remarks(sheet)),
        views=None if not views else table(SCOPE_TABLE, views, *scope_columns(ScopeErrors())),
        fooled=tuple(fooled_sentences(views)),
    )  # fmt: skip


def _views(sheet: BenchSheet) -> tuple[ScopeView, ...]:
    """What an ordinary scope would show at each ripple with the filter, with the probe that serves there."""
    stations = [Station(one.place, band, one.point) for one, band in sheet.ripples]
    first = [one for one in stations if one.point == stations[0].point]
    narrow = [one for one in first if one.band.bandwidth], ScopeErrors(probe=1.0)
    wide = [one for one in first if not one.band.bandwidth], ScopeErrors(probe=10.0)
    return tuple(view for several, scope in (narrow, wide) for view in scope_views(sheet.design, several, scope))


def _expected(sheet: BenchSheet) -> Iterator[tuple[str, str]]:
    """Each ripple that is read with the filter, as the readings file names it, and what to expect there."""
    for one, band in sheet.ripples:
        yield Station(one.place, band, one.point).name, range_text(one.low, one.high, "V")


def _circuit(sheet: BenchSheet) -> Illustration:
    marks = {probe.place: probe.label for probe in sheet.probes}
    words = "; ".join(f"{probe.label}: tip at {probe_words(probe)[0]}" for probe in sheet.probes)
    note = "Full dot with a name below it: the probe's tip. Hollow dot: its other side. ≈: known within a range only."
    return Illustration(
        "verify-circuit", "Probe points", f"Circuit diagram. {words}.", note, schematic_svg(sheet.design, marks)
    )


def _stores(sheet: BenchSheet) -> Table:
    names = ("capacitance", "voltage", "energy")
    whole = number(sum(s.capacitance for s in sheet.stores), "F"), "", number(sum(s.energy for s in sheet.stores), "J")
    rows = (*((store.name, *cells(store, *names)) for store in sheet.stores), ("together", *whole))
    return Table("What stays charged, at most", ("Where", *heads(Store, *names)), rows)


def _stations(sheet: BenchSheet) -> Iterator[Section]:
    """Stations with their rows as text, numbered through."""
    count = itertools.count(1)
    for station in sheet.stations:
        rows = [{"number": next(count), "cells": check_cells(one), "note": check_note(one)} for one in station.checks]
        yield {"title": station_title(station), "how": station_steps(sheet, station), "rows": rows}


def _narrowing(sheet: BenchSheet) -> Table:
    return table(
        f"What would narrow the interval of the ripple at {sheet.design.loads[0].name} most",
        sheet.narrowing[:NARROWING],
        ("Measure", lambda one: capital(measurement_words(one.measurement))),
        column(Narrowing, "share"),
        ("Because it shows", lambda one: ", ".join(one.labels)),
    )


def sheet_text(sheet: BenchSheet) -> str:
    """What the command says: the numbers of the first step, how many readings, and the measurement that tells most."""
    chosen, count = sheet.bleeder, len(sheet.checks)
    energy = number(sum(store.energy for store in sheet.stores), "J")
    lines = [
        f"{count} readings at {len(sheet.probes)} probe points.",
        f"Before touching: {energy} stay; {number(chosen.resistance, 'ohm')} ({number(chosen.power_rating, 'W')}) takes them below "
        f"{number(chosen.safe, 'V')} in {number(chosen.time, 's', 2)}.",
    ]
    if sheet.narrowing:
        most = sheet.narrowing[0]
        lines.append(f"What narrows the interval most ({share(most.share)}): {measurement_words(most.measurement)}.")
    lines += [f"No reading decides: {words}." for words in sheet.uncovered]
    return "\n".join(lines)


def sheet_numbers(sheet: BenchSheet) -> Section:
    """The sheet for other programs; ``reading_V`` is null, to be filled in."""
    test = sheet.test
    return {
        "design": sheet.design.name,
        "safety": [texts(step, "title", "text") for step in safety_steps(sheet)],
        "stores": [{"name": store.name} | numbers(store, "") for store in sheet.stores],
        "bleeder": numbers(sheet.bleeder, ""),
        "probes": [
            texts(probe, "label", "place") | dict(zip(("tip", "other"), probe_words(probe), strict=True))
            for probe in sheet.probes
        ],
        "stations": list(_station_numbers(sheet)),
        "test_capacitor": None if test is None else numbers(test, "") | {"telling": test.telling},
        "narrowing": [
            {"measurement": measurement_words(one.measurement), "uncertain_parameters": one.labels} | numbers(one, "")
            for one in sheet.narrowing
        ],
        "uncovered": sheet.uncovered,
        "remarks": tuple(bench_remarks(sheet)),
    }


def _station_numbers(sheet: BenchSheet) -> Iterator[Section]:
    count = itertools.count(1)
    for station in sheet.stations:
        checks = [
            {"number": next(count), "what": check_words(one), "operating_point": one.point or "no filter"}
            | texts(one, "probe", "requirement")
            | numbers(one, "")
            | {"note": check_note(one), "reading_V": None}
            for one in station.checks
        ]
        yield {"title": station_title(station), "how": station_steps(sheet, station), "checks": checks}
