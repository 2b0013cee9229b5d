"""The sheet for the bench: a page to print and fill in by hand, and the same for programs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from filterlib.show.numbers import json_text
from filterlib.show.page import Illustration, program_version, render
from filterlib.show.schematic import schematic_svg
from filterlib.show.tables import Table
from filterlib.show.writing import RUN, write_files
from filterlib.words.bench_sentences import (
    bench_remarks,
    check_cells,
    check_note,
    check_words,
    probe_words,
    station_steps,
    station_title,
)
from filterlib.words.measurement_sentences import measurement_words
from filterlib.words.quantities import capital, number, share
from filterlib.words.safety_steps import safety_steps

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


def write_sheet(sheet: Any, folder: str | Path) -> Path:
    """Write verify.html, verify.json and the circuit diagram of a `BenchSheet` into a folder.

    Parameters: ``sheet``; ``folder``: made where there is none; files in it that this command did not write stay.
    Returns: the path of the page. Raises: OutputError with path and reason; the folder is then as it was.
    """
    write_files(folder, sheet_files(sheet), last=NUMBERS)
    return Path(folder) / PAGE


def sheet_files(sheet: Any) -> dict[str, str]:
    """Every file: name -> text, in which `writing.RUN` stands for the run's identifier."""
    circuit = _circuit(sheet)
    page = render(
        "verify.html.j2",
        design=sheet.design,
        blanks=BLANKS,
        safety=safety_steps(sheet),
        stores=_stores(sheet),
        circuit=circuit,
        probes=Table(
            "Probe points", ("Point", "Tip", "Other side"), tuple((p.label, *probe_words(p)) for p in sheet.probes)
        ),
        stations=tuple(_stations(sheet)),
        narrowing=_narrowing(sheet),
        uncovered=sheet.uncovered,
        remarks=tuple(bench_remarks(sheet)),
        files=[NUMBERS, circuit.file],
    )
    head = {"format": FORMAT, "run": RUN, "generator": f"filterlib {program_version()}"}
    numbers = head | {"files": sorted([PAGE, NUMBERS, circuit.file])} | sheet_numbers(sheet)
    return {circuit.file: circuit.text, PAGE: page, NUMBERS: json_text(numbers)}


def _circuit(sheet: Any) -> Illustration:
    marks = {probe.place: probe.label for probe in sheet.probes}
    words = "; ".join(f"{probe.label}: tip at {probe_words(probe)[0]}" for probe in sheet.probes)
    note = "Full dot with a name below it: the probe's tip. Hollow dot: its other side. ≈: known within a range only."
    return Illustration(
        "verify-circuit", "Probe points", f"Circuit diagram. {words}.", note, schematic_svg(sheet.design, marks)
    )


def _stores(sheet: Any) -> Table:
    rows = [(s.name, number(s.capacitance, "F"), number(s.voltage, "V"), number(s.energy, "J")) for s in sheet.stores]
    whole = sum(s.capacitance for s in sheet.stores), sum(s.energy for s in sheet.stores)
    rows.append(("together", number(whole[0], "F"), "", number(whole[1], "J")))
    return Table("What stays charged, at most", ("Where", "Capacitance", "Voltage", "Energy"), tuple(rows))


def _stations(sheet: Any) -> Iterator[dict[str, Any]]:
    """Stations with their rows as text, numbered through."""
    count = 0
    for station in sheet.stations:
        rows = []
        for check in station.checks:
            count += 1
            rows.append({"number": count, "cells": check_cells(check), "note": check_note(check)})
        yield {"title": station_title(station), "how": station_steps(sheet, station), "rows": rows}


def _narrowing(sheet: Any) -> Table:
    rows = tuple(
        (capital(measurement_words(one.measurement)), share(one.share), ", ".join(one.labels))
        for one in sheet.narrowing[:NARROWING]
    )
    load = sheet.design.loads[0].name
    head = ("Measure", "Share of the interval that depends on it", "Because it shows")
    return Table(f"What would narrow the interval of the ripple at {load} most", head, rows)


def sheet_text(sheet: Any) -> str:
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


def sheet_numbers(sheet: Any) -> dict[str, Any]:
    """The sheet for other programs; ``reading_V`` is null, to be filled in."""
    chosen, test = sheet.bleeder, sheet.test
    return {
        "design": sheet.design.name,
        "safety": [{"title": step.title, "text": step.text} for step in safety_steps(sheet)],
        "stores": [
            {"name": s.name, "capacitance_F": s.capacitance, "voltage_V": s.voltage, "energy_J": s.energy}
            for s in sheet.stores
        ],
        "bleeder": {
            "resistance_ohm": chosen.resistance,
            "from_V": chosen.voltage,
            "safe_V": chosen.safe,
            "time_s": chosen.time,
            "start_power_W": chosen.start_power,
            "power_rating_W": chosen.power_rating,
            "voltage_rating_V": chosen.voltage_rating,
        },
        "probes": [
            {"label": p.label, "place": p.place} | dict(zip(("tip", "other"), probe_words(p), strict=True))
            for p in sheet.probes
        ],
        "stations": list(_station_numbers(sheet)),
        "test_capacitor": None
        if test is None
        else {
            "capacitance_F": test.capacitance,
            "impedance_ohm": test.impedance,
            "inner_impedance_ohm": test.inner_impedance,
            "telling": test.telling,
        },
        "narrowing": [
            {"measurement": measurement_words(n.measurement), "share": n.share, "uncertain_parameters": n.labels}
            for n in sheet.narrowing
        ],
        "uncovered": sheet.uncovered,
        "remarks": tuple(bench_remarks(sheet)),
    }


def _station_numbers(sheet: Any) -> Iterator[dict[str, Any]]:
    count = 0
    for station in sheet.stations:
        checks = []
        for check in station.checks:
            count += 1
            checks.append({
                "number": count, "what": check_words(check), "probe": check.probe, "operating_point": check.point or "no filter",
                "expected_V": check.value, "low_V": check.low, "high_V": check.high,
                "limit_low_V": check.limit_low, "limit_V": check.limit, "requirement": check.requirement,
                "per_division_V": check.scale, "note": check_note(check), "reading_V": None,
            })  # fmt: skip
        yield {"title": station_title(station), "how": station_steps(sheet, station), "checks": checks}
