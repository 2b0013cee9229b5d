"""Files of impedance curves: |Z| over frequency, with a phase or without, read and refused where no part has it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from filterlib.errors import InputError, Problem, QuantityError, problem, refused
from filterlib.parts.curves.impedance_curve import Array, ImpedanceCurve
from filterlib.parts.curves.rows import MOST_PROBLEMS, Rows, name_and_unit, read_rows, refuse_broken_rows
from filterlib.units import format_quantity, quantity

FEWEST_POINTS = 8
NARROWEST = 10.0  # ratio of the highest to the lowest frequency
WIDEST_GAP = 10.0  # ratio of neighbouring frequencies
MOST_ROWS = 200_000
FREQUENCIES, OHMS = (1.0, 1e11), (1e-6, 1e9)  # what an impedance curve of such a part can hold
PHASE_NOISE = 2.0  # [degrees] beyond 90 that a measured phase may have
_UNITS = r"(?:[kKMG]?[hH][zZ]|[nuµμmkKM]?(?:[oO][hH][mM][sS]?|Ω|\u2126)|°|deg|degrees?|rad)"
_DEGREES = {"°": 1.0, "deg": 1.0, "degree": 1.0, "degrees": 1.0, "rad": 180 / np.pi}
_IMPEDANCE = re.compile(r"\W*(z|impedance|magnitude|modulus)\W*", re.IGNORECASE)


def read_impedance_curve(path: str | Path) -> ImpedanceCurve:
    """Read |Z| over frequency from a CSV file.

    Parameters
    ----------
    path : str or Path
        A text file with a line that names its columns with their units, such as "frequency [kHz]; |Z| [mohm]": frequency, impedance
        and, if there is one, the phase in degrees. Separated by comma, semicolon or tab; decimal point or comma.

    Returns
    -------
    ImpedanceCurve
        Real without a phase column, else complex.

    Raises
    ------
    InputError
        With file and line: what is no row of numbers, units that are missing or unknown, frequencies that do not rise, gaps,
        impedances that are not above zero, phases beyond 90 degrees, and too few points.
    """
    rows = read_rows(path, most=MOST_ROWS)
    refuse_broken_rows(rows)
    columns, lines = _columns(rows), np.array([rows.line(row) for row in range(len(rows.values))])
    frequency, size = columns["Hz"], columns["ohm"]
    wrong = [*_points(rows, lines, frequency, size)]
    if "deg" in columns:
        wrong += _phases(rows, lines, columns["deg"])
    if wrong:
        raise InputError(sorted(wrong, key=lambda one: int(one.key.removeprefix("line ")))[:MOST_PROBLEMS])
    refuse_narrow(rows.file, frequency)
    if "deg" in columns:
        return ImpedanceCurve(frequency, size * np.exp(1j * np.radians(columns["deg"])), rows.file, lines)
    return ImpedanceCurve(frequency, size, rows.file, lines)


def refuse_narrow(file: str, frequencies: Array) -> None:
    """Raises InputError where there are too few points, or all lie within a decade."""
    if len(frequencies) < FEWEST_POINTS:
        raise refused(file, f"{len(frequencies)} points, and at least {FEWEST_POINTS} are needed to see a shape")
    if frequencies[-1] < NARROWEST * frequencies[0]:
        band = " to ".join(format_quantity(float(end), "Hz") for end in frequencies[[0, -1]])
        raise refused(file, f"only {band}: at least a decade of frequency is needed")


# ---- columns ----------------------------------------------------------------------------------------------------------


def _columns(rows: Rows) -> dict[str, Array]:
    """The columns by unit, in Hz, ohm and degrees."""
    for place in range(len(rows.preamble) - 1, -1, -1):
        line, text = rows.preamble[place]
        titles = [name_and_unit(field, _UNITS) for field in rows.fields(text)]
        factors = [_factor(unit) for _, unit in titles]
        units = [unit for unit, _ in factors]
        if len(titles) != rows.values.shape[1] or "Hz" not in units or "ohm" not in units:
            continue
        for below, other in rows.preamble[place + 1 :]:
            raise refused(rows.file, "neither a row of numbers nor a line that names the columns", below, other.strip())
        above = rows.fields(rows.preamble[place - 1][1]) if place and not any(name for name, _ in titles) else []
        names = above if len(above) == len(titles) else [name for name, _ in titles]
        chosen = {unit: _one(rows, line, unit, names, units) for unit in ("Hz", "ohm", "deg") if unit in units}
        return {unit: rows.values[:, at] * factors[at][1] for unit, at in chosen.items()}
    line, text = rows.preamble[-1] if rows.preamble else (rows.line(0), "")
    why = "which column is what? A line above the numbers must name frequency and impedance with their units, such as "
    raise refused(rows.file, why + '"frequency [kHz]; |Z| [ohm]"', line, text.strip() or None)


def _factor(unit: str) -> tuple[str, float]:
    """Which of Hz, ohm and deg a unit measures, and its size; ("", 0) where it is none of them."""
    if unit in _DEGREES:
        return "deg", _DEGREES[unit]
    for pattern, base in ((r"(?i:hz)$", "Hz"), (r"(?i:ohms?)$|[Ω\u2126]$", "ohm")):
        if not re.search(pattern, unit):
            continue
        try:
            return base, quantity(f"1 {re.sub(pattern, base, unit).replace('K', 'k')}", base)
        except QuantityError:
            continue
    return "", 0.0


def _one(rows: Rows, line: int, unit: str, names: list[str], units: list[str]) -> int:
    """The only column of a unit; of several in ohm the one that is called Z."""
    places = [at for at, one in enumerate(units) if one == unit]
    if unit == "ohm" and len(places) > 1:
        places = [at for at in places if _IMPEDANCE.fullmatch(names[at])] or places
    if len(places) > 1:
        listed = ", ".join(names[at] or f"column {at + 1}" for at in places)
        raise refused(rows.file, f"{len(places)} columns in {unit}, and one is needed", line, listed)
    return places[0]


# ---- points -----------------------------------------------------------------------------------------------------------


def _points(rows: Rows, lines: Array, frequency: Array, size: Array) -> Iterator[Problem]:
    """What no row of an impedance curve can hold: the first of each kind in full, then each line."""
    ratio = np.divide(frequency[1:], frequency[:-1], out=np.ones(len(frequency) - 1), where=frequency[:-1] > 0)
    absurd = "is absurd here; is the unit in the header right?"
    checks = (
        (frequency <= 0, "the frequency must be above zero"),
        (size <= 0, "an impedance |Z| must be above zero"),
        (
            np.append(False, np.diff(frequency) <= 0) & (frequency > 0),
            "the frequency does not rise above the one before",
        ),
        (np.append(False, ratio > WIDEST_GAP), f"a gap: more than {WIDEST_GAP:g} times the frequency before"),
        ((frequency > 0) & ((frequency < FREQUENCIES[0]) | (frequency > FREQUENCIES[1])), f"this frequency {absurd}"),
        ((size > 0) & ((size < OHMS[0]) | (size > OHMS[1])), f"this impedance {absurd}"),
    )
    for wrong, why in checks:
        for row in np.flatnonzero(wrong)[:MOST_PROBLEMS]:
            yield problem(rows.file, int(lines[row]), _row(rows, int(row)), why)


def _phases(rows: Rows, lines: Array, degrees: Array) -> Iterator[Problem]:
    for row in np.flatnonzero(np.abs(degrees) > 90 + PHASE_NOISE)[:MOST_PROBLEMS]:
        why = f"a phase of {degrees[row]:.4g} degrees is a negative resistance: no passive part has it (within {PHASE_NOISE:g} degrees of noise)"
        yield problem(rows.file, int(lines[row]), _row(rows, int(row)), why)


def _row(rows: Rows, row: int) -> str:
    return (rows.separator or " ").join(f"{value:g}" for value in rows.values[row])


# ---- shape ------------------------------------------------------------------------------------------------------------
