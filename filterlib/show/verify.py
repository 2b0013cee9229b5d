"""The sheet for the bench: a page to print and fill in by hand, and the same for programs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from filterlib.show.numbers import json_text
from filterlib.show.page import Illustration, program_version, render
from filterlib.show.schematic import schematic_svg
from filterlib.show.tables import Table
from filterlib.show.writing import RUN, write_files
from filterlib.units import format_quantity
from filterlib.words.quantities import interval_text, number, share

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
        safety=sheet.safety,
        stores=_stores(sheet),
        circuit=circuit,
        probes=Table(
            "Probe points", ("Point", "Tip", "Other side"), tuple((p.label, p.tip, p.other) for p in sheet.probes)
        ),
        stations=tuple(_stations(sheet)),
        narrowing=_narrowing(sheet),
        uncovered=sheet.uncovered,
        remarks=sheet.remarks,
        files=[NUMBERS, circuit.file],
    )
    head = {"format": FORMAT, "run": RUN, "generator": f"filterlib {program_version()}"}
    numbers = head | {"files": sorted([PAGE, NUMBERS, circuit.file])} | sheet_numbers(sheet)
    return {circuit.file: circuit.text, PAGE: page, NUMBERS: json_text(numbers)}


def _circuit(sheet: Any) -> Illustration:
    marks = {probe.place: probe.label for probe in sheet.probes}
    words = "; ".join(f"{probe.label}: tip at {probe.tip}" for probe in sheet.probes)
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
            rows.append({"number": count, "cells": _cells(check), "note": check.note, "requirement": check.requirement})
        yield {"title": station.title, "how": station.how, "rows": rows}


def _cells(check: Any) -> tuple[str, ...]:
    """Reading, probe, operating point, expected, band, limit, scale."""
    open_ended = not math.isfinite(check.value)
    direct = not math.isfinite(check.scale)
    digits = 4 if direct else 3
    expected = "as little as can be" if open_ended else number(check.value, check.unit, digits)
    ends = _band(check, digits)
    scale = "voltmeter" if direct else f"{format_quantity(check.scale, check.unit)}/div"
    return (f"{check.what[:1].upper()}{check.what[1:]}", check.probe, check.point, expected, ends, _limit(check), scale)


def _band(check: Any, digits: int) -> str:
    if check.low == 0:
        return f"to be below {number(check.high, check.unit)}"
    ends = dict.fromkeys(number(end, check.unit, digits) for end in (check.low, check.high))
    return " to ".join(ends) if len(ends) > 1 else ""


def _limit(check: Any) -> str:
    if math.isfinite(check.limit_low):
        return interval_text(check.limit_low, check.limit, check.unit)
    return f"at most {number(check.limit, check.unit)}" if math.isfinite(check.limit) else ""


def _narrowing(sheet: Any) -> Table:
    rows = tuple(
        (f"{one.measurement[:1].upper()}{one.measurement[1:]}", share(one.share), ", ".join(one.labels))
        for one in sheet.narrowing[:NARROWING]
    )
    load = sheet.design.loads[0].name
    head = ("Measure", "Share of the band that hangs on it", "Because it tells")
    return Table(f"What would narrow the band of the ripple at {load} most", head, rows)


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
        lines.append(f"What narrows the band most ({share(most.share)}): {most.measurement}.")
    lines += [f"No reading decides: {words}." for words in sheet.uncovered]
    return "\n".join(lines)


def sheet_numbers(sheet: Any) -> dict[str, Any]:
    """The sheet for other programs; ``reading_V`` is null, to be filled in."""
    chosen, test = sheet.bleeder, sheet.test
    return {
        "design": sheet.design.name,
        "safety": [{"title": step.title, "text": step.text} for step in sheet.safety],
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
        "probes": [{"label": p.label, "place": p.place, "tip": p.tip, "other": p.other} for p in sheet.probes],
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
            {"measurement": n.measurement, "share": n.share, "uncertain_parameters": n.labels} for n in sheet.narrowing
        ],
        "uncovered": sheet.uncovered,
        "remarks": sheet.remarks,
    }


def _station_numbers(sheet: Any) -> Iterator[dict[str, Any]]:
    count = 0
    for station in sheet.stations:
        checks = []
        for check in station.checks:
            count += 1
            checks.append({
                "number": count, "what": check.what, "probe": check.probe, "operating_point": check.point,
                "expected_V": check.value, "low_V": check.low, "high_V": check.high,
                "limit_low_V": check.limit_low, "limit_V": check.limit, "requirement": check.requirement,
                "per_division_V": check.scale, "note": check.note, "reading_V": None,
            })  # fmt: skip
        yield {"title": station.title, "how": station.how, "checks": checks}
