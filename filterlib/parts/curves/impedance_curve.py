"""Impedance over frequency as it was measured, or digitised from a data sheet: read, and refused where no part has it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import InputError, Problem, QuantityError
from filterlib.parts.curves.rows import (
    MOST_PROBLEMS,
    Rows,
    name_and_unit,
    problem,
    read_rows,
    refuse_broken_rows,
    refused,
)
from filterlib.units import format_quantity, quantity

Array = NDArray[np.float64]

FEWEST_POINTS = 8
NARROWEST = 10.0  # ratio of the highest to the lowest frequency
WIDEST_GAP = 10.0  # ratio of neighbouring frequencies
MOST_ROWS = 200_000
FREQUENCIES, OHMS = (1.0, 1e11), (1e-6, 1e9)  # what an impedance curve of such a part can hold
PHASE_NOISE = 2.0  # [degrees] beyond 90 that a measured phase may have
SHAPE_NOISE = 10.0  # [degrees] beyond 90 that the phase from a digitised magnitude may have
SHAPE_WIDTH = 4.0  # ratio of frequencies over which that phase is averaged
_SHAPE_POINTS = 400
_UNITS = r"(?:[kKMG]?[hH][zZ]|[nuµμmkKM]?(?:[oO][hH][mM][sS]?|Ω|\u2126)|°|deg|degrees?|rad)"
_DEGREES = {"°": 1.0, "deg": 1.0, "degree": 1.0, "degrees": 1.0, "rad": 180 / np.pi}
_IMPEDANCE = re.compile(r"\W*(z|impedance|magnitude|modulus)\W*", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class ImpedanceCurve:
    """An impedance over ``frequencies`` (f,), rising [Hz].

    ``impedance`` (f,) [ohm] is complex, or real and positive where only |Z| is known; ``file`` and ``lines`` (f,) say where
    it was read; ``note``: what the file leaves open, or "".
    """

    frequencies: Array
    impedance: NDArray[np.float64] | NDArray[np.complex128]
    file: str = ""
    lines: NDArray[np.int64] | None = None
    note: str = ""

    @property
    def has_phase(self) -> bool:
        """Whether the impedance is complex."""
        return bool(np.iscomplexobj(self.impedance))

    @cached_property
    def magnitude(self) -> Array:
        """|Z| (f,) [ohm]."""
        return np.abs(self.impedance)

    def thinned(self, most: int) -> ImpedanceCurve:
        """The same with about ``most`` points, evenly spread in ln f, the highest and the lowest |Z| among them."""
        if len(self.frequencies) <= most:
            return self
        logs = np.log(self.frequencies)
        right = np.searchsorted(logs, np.linspace(logs[0], logs[-1], most)).clip(0, len(logs) - 1)
        kept = np.unique([*right, 0, self.magnitude.argmin(), self.magnitude.argmax()])
        lines = None if self.lines is None else self.lines[kept]
        return ImpedanceCurve(self.frequencies[kept], self.impedance[kept], self.file, lines, self.note)

    def misses(self, model: NDArray[np.complex128]) -> Array:
        """ln(model / this): of the magnitudes, followed by the angles [rad] where there is a phase."""
        if not self.has_phase:
            return np.log(np.abs(model) / self.impedance)
        ratio = np.log(model / self.impedance)
        return np.concatenate([ratio.real, ratio.imag])

    def at(self, frequencies: object) -> NDArray[np.complex128] | Array:
        """Between its points: ln|Z| and phase on straight lines over ln f; (f,) [ohm], real where only |Z| is known.

        Raises QuantityError outside the band: nothing was measured there.

        >>> curve = ImpedanceCurve(np.array([1e3, 1e5]), np.array([100.0, 1.0]))
        >>> float(curve.at([1e4])[0].round(9))
        10.0
        """
        f, known = np.atleast_1d(np.asarray(frequencies, dtype=float)), self.frequencies
        if not np.all((f >= known[0]) & (f <= known[-1])):
            band = " to ".join(format_quantity(float(end), "Hz") for end in known[[0, -1]])
            raise QuantityError(f"outside the band that was measured, {band}", name="frequencies", value=frequencies)
        size: Array = np.exp(np.interp(np.log(f), np.log(known), np.log(self.magnitude)))
        if not self.has_phase:
            return size
        angle = np.interp(np.log(f), np.log(known), np.unwrap(np.angle(self.impedance)))
        impedance: NDArray[np.complex128] = size * np.exp(1j * angle)
        return impedance

    def place(self, index: int) -> int:
        """Number of the line in which a point is; 0 where that is not known."""
        return 0 if self.lines is None else int(self.lines[index])


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


def minimum_phase(frequencies: Array, magnitude: Array, at: Array) -> tuple[Array, Array]:
    """Least and greatest phase [degrees] (a,) that a minimum-phase impedance of this magnitude can have at ``at`` (a,) [Hz].

    The impedance of a passive one-port has neither poles nor zeros in the right half plane, so its phase follows from its
    magnitude: a weighted mean of the slope d ln|Z| / d ln f, 90 degrees for each unit of slope. Between the points ln|Z| is
    taken as straight over ln f; beyond the first and the last any slope from -1 to 1 may follow, which makes the range.

    Parameters
    ----------
    frequencies, magnitude : arrays (f,)
        Rising [Hz]; positive [ohm].

    Notes
    -----
    The weight ln coth(|u|/2) / pi, u = ln(f/f0), is integrated in closed form with the dilogarithm.
    Source: H. W. Bode, Network Analysis and Feedback Amplifier Design (1945), chapter 14 (from memory).

    Examples
    --------
    A capacitor falls as 1/f; in the middle of five decades little is left open:

    >>> f = np.logspace(3, 8, 51)
    >>> low, high = minimum_phase(f, 1 / f, f[25:26])
    >>> [round(float(low[0]), 1), round(float(high[0]), 1)]
    [-90.0, -89.5]
    """
    u = np.log(frequencies)
    slope = np.diff(np.log(magnitude)) / np.diff(u)
    reached = _weight(u[None, :] - np.log(at)[:, None])
    inside = np.diff(reached, axis=1) @ slope
    tails = (np.pi**2 / 4 + reached[:, 0]) + (np.pi**2 / 4 - reached[:, -1])
    return np.degrees((inside - tails) / np.pi), np.degrees((inside + tails) / np.pi)


def _weight(x: Array) -> Array:
    """Integral of ln coth(|t|/2) from 0 to x: odd, at infinity pi**2/4."""
    from scipy.special import spence

    small = np.exp(-np.abs(x))
    integral: Array = np.sign(x) * (np.pi**2 / 4 - spence(1 - small) + spence(1 + small))
    return integral


def refuse_steep(curve: ImpedanceCurve) -> None:
    """Raises InputError where |Z| is steeper, over a wider range, than any passive one-port's.

    The phase is averaged over `SHAPE_WIDTH`: a sharp resonance between two points would be misjudged right there.
    """
    thinned = curve.thinned(_SHAPE_POINTS)
    grid = np.geomspace(thinned.frequencies[0], thinned.frequencies[-1], _SHAPE_POINTS)
    low, high = minimum_phase(thinned.frequencies, thinned.magnitude, grid)
    width = max(1, round(np.log(SHAPE_WIDTH) / np.log(grid[1] / grid[0])))
    low, high = (np.convolve(one, np.ones(width) / width, "valid") for one in (low, high))
    beyond = np.maximum(low, -high)
    worst = int(np.argmax(beyond))
    if beyond[worst] <= 90 + SHAPE_NOISE:
        return
    falls, around = -high[worst] > low[worst], grid[worst + width // 2]
    why = (
        f"not a passive one-port: around {format_quantity(float(around), 'Hz', 2)} |Z| {'falls' if falls else 'rises'} more steeply "
        f"than any can, its phase would be {'-' if falls else ''}{beyond[worst]:.0f} degrees, and a passive part's stays within 90"
    )
    line = thinned.place(int(np.abs(np.log(thinned.frequencies / around)).argmin()))
    raise refused(curve.file, f"{why}; was a point misread, or does another unit begin here?", line)
