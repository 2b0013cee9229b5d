"""Scattering parameters of one- and two-ports in Touchstone files, and the impedances that they hold."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import InputError, Problem, problem, refused
from filterlib.parts.curves.curve_file import FREQUENCIES, MOST_ROWS, refuse_narrow
from filterlib.parts.curves.impedance_curve import ImpedanceCurve
from filterlib.parts.curves.rows import MOST_PROBLEMS, NOT_FINITE, is_number, read_lines
from filterlib.units import format_quantity

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

NOISE = 0.01  # by which a measured scattering parameter may be wrong: a gain of 0.1 dB, or an angle of half a degree
MOST_CHARACTERS = 50_000_000
CONNECTIONS = ("series_through", "shunt_through")
_OPTIONS = (("Hz", "kHz", "MHz", "GHz"), ("S", "Y", "Z"), ("RI", "MA", "dB"))
_EXAMPLE = 'such as "# MHz S RI R 50"'


@dataclass(frozen=True, eq=False)
class Scattering:
    """``s`` (f, ports, ports) over ``frequencies`` (f,) [Hz], against ``reference`` (ports,) [ohm]; ``file``, ``lines`` (f,)."""

    frequencies: Array
    s: Complex
    reference: Array
    file: str
    lines: NDArray[np.int64]

    @property
    def ports(self) -> int:
        return int(self.s.shape[1])


def read_touchstone(path: str | Path) -> Scattering:
    """Read a Touchstone file of version 1, of one port or two.

    Parameters
    ----------
    path : str or Path
        With the ending .s1p or .s2p. Noise parameters are left out, and so is 0 Hz.

    Raises
    ------
    InputError
        With file and line: what is no option line, no row of numbers, frequencies that do not rise, and what no passive part has:
        an eigenvalue of I - S^H S below zero, by more than an error of `NOISE` in S explains.

    Notes
    -----
    Every line is checked here, and what is left is given to scikit-rf, which knows the formats.
    Source: IBIS Open Forum, Touchstone File Format Specification, version 1.1 (2003) (from memory); passivity: D. M. Pozar, Microwave
    Engineering, chapter 4, lossless and lossy networks (from memory).
    """
    file = str(path)
    ports = _ports(file)
    lines = read_lines(path, most=MOST_CHARACTERS)
    bare = [line.partition("!")[0].strip() for line in lines]
    option = _option_line(file, bare)
    kept = _rows(file, bare, option, 1 + 2 * ports**2)
    network = _read_by_skrf(file, bare, option, kept)
    numbers = np.array(kept) + 1
    above = network.frequencies > 0
    data = Scattering(network.frequencies[above], network.s[above], network.reference, file, numbers[above])
    refuse_narrow(file, data.frequencies)
    _refuse_absurd(data)
    _refuse_active(data)
    return data


def impedance_of(data: Scattering, connection: str | None) -> ImpedanceCurve:
    """The impedance of a two-terminal part between port 1 and its reference, or measured as a two-port.

    Parameters
    ----------
    data : Scattering
        Of one port, or of two with the same reference.
    connection : str or None
        None for one port; of a two-port "series_through" (the part from port 1 to port 2) or "shunt_through" (from both to
        their reference).

    Raises
    ------
    InputError
        Where the resistance is negative by more than an error of `NOISE` in S explains, and where the two-port does not look like
        the connection that is stated.

    Notes
    -----
    Z = Z0 (1 + S11)/(1 - S11); series-through Z = 2 Z0 (1 - S21)/S21; shunt-through Z = Z0 S21 / (2 (1 - S21)).
    Source: from the ABCD parameters of a series and of a shunt impedance, D. M. Pozar, Microwave Engineering, tables 4.1 and 4.2 (from
    memory).
    """
    z0, note = float(data.reference[0]), ""
    if connection is None:
        s = data.s[:, 0, 0]
        _refuse_short(data, np.abs(1 - s) > 0, np.abs(1 + s) > 0)
        z, slope = z0 * (1 + s) / (1 - s), 2 * z0 / np.abs(1 - s) ** 2
    else:
        note = _either_connection(data, connection)
        s = data.s[:, 1, 0]
        _refuse_short(data, np.abs(s) > 0, np.abs(1 - s) > 0)
        if connection == "series_through":
            z, slope = 2 * z0 * (1 - s) / s, 2 * z0 / np.abs(s) ** 2
        else:
            z, slope = z0 * s / (2 * (1 - s)), z0 / (2 * np.abs(1 - s) ** 2)
    _refuse_negative(data, z, NOISE * slope)
    return ImpedanceCurve(data.frequencies, z, data.file, data.lines, note)


# ---- the file ---------------------------------------------------------------------------------------------------------


def _ports(file: str) -> int:
    ending = re.search(r"\.s(\d+)p$", file, re.IGNORECASE)
    if ending is None or ending[1] not in ("1", "2"):
        raise refused(file, "a Touchstone file of one port (.s1p) or two (.s2p) is needed")
    return int(ending[1])


def _option_line(file: str, bare: list[str]) -> int:
    """Index of the line that says what the numbers are."""
    for place, line in enumerate(bare):
        if line.startswith("["):
            why = "a keyword of version 2 of the format; save the file as version 1"
            raise refused(file, why, place + 1, line)
        if line.startswith("#"):
            _check_options(file, place + 1, line)
            return place
        if line:
            raise refused(file, f"an option line must be above the numbers, {_EXAMPLE}", place + 1, line)
    raise refused(file, f"no option line, {_EXAMPLE}, and no numbers", max(1, len(bare) - 1))


def _check_options(file: str, number: int, line: str) -> None:
    """In any order: frequency unit, parameter, format, and R with the reference resistance."""
    words, kinds = line[1:].split(), set()
    while words:
        word = words.pop(0)
        kind = next((place for place, choices in enumerate(_OPTIONS) if word.lower() in map(str.lower, choices)), None)
        if word.lower() == "r":
            kind = 3
            resistance = words.pop(0) if words else ""
            if not is_number(resistance) or "," in resistance or not float(resistance) > 0:
                raise refused(file, f"R must be followed by a resistance above zero [ohm], {_EXAMPLE}", number, line)
        if kind is None:
            known = ", ".join(choice for choices in _OPTIONS for choice in choices)
            raise refused(
                file, f'"{word[:20]}" is not known here; valid: {known}, and R with a resistance', number, line
            )
        if kind in kinds:
            raise refused(file, f'"{word}" says again, or otherwise, what was said before', number, line)
        kinds.add(kind)


def _rows(file: str, bare: list[str], option: int, columns: int) -> list[int]:
    """Indices of the lines of network data; noise parameters end them."""
    kept: list[int] = []
    wrong: list[Problem] = []
    last = -np.inf
    for place in range(option + 1, len(bare)):
        if not bare[place] or bare[place].startswith("#"):
            continue
        words = bare[place].split()
        why = _why(words, columns, last)
        if why and kept and columns == 9 and _is_noise(bare[place:], last):
            break
        if why:
            wrong.append(problem(file, place + 1, bare[place], why))
        else:
            last = float(words[0])
            kept.append(place)
        if len(wrong) == MOST_PROBLEMS or len(kept) > MOST_ROWS:
            break
    if wrong:
        raise InputError(wrong)
    if not kept:
        raise refused(file, "no row of numbers in the file: header only", option + 1, bare[option])
    if len(kept) > MOST_ROWS:
        raise refused(file, f"more than {MOST_ROWS:,} rows: thin it out", kept[-1] + 1)
    return kept


def _is_noise(rest: list[str], last: float) -> bool:
    """Noise parameters follow a two-port's network: five numbers a row, from a frequency on that is not above its last."""
    rows = [line.split() for line in rest if line]
    return (
        all(len(row) == 5 and all(map(is_number, row)) for row in rows) and float(rows[0][0].replace(",", ".")) <= last
    )


def _why(words: list[str], columns: int, last: float) -> str:
    """What is wrong with one row, or "" where nothing is."""
    if words[0].startswith("["):
        return "a keyword of version 2 of the format; save the file as version 1"
    for place, word in enumerate(words, start=1):
        if NOT_FINITE.fullmatch(word):
            return f"column {place} is not a finite number"
        if not is_number(word):
            return f"column {place} is not a number: {word[:40]!r}"
        if "," in word:
            return f"column {place} has a decimal comma, and a Touchstone file has points"
        if not np.isfinite(float(word)):
            return f"column {place} is too large for a number"
    if len(words) != columns:
        return (
            f"{len(words)} numbers, and a row of this file has {columns}: frequency and {columns // 2} complex values"
        )
    if float(words[0]) < 0:
        return "the frequency is negative"
    return "" if float(words[0]) > last else "the frequency does not rise above the one before"


def _read_by_skrf(file: str, bare: list[str], option: int, kept: list[int]) -> Scattering:
    """What scikit-rf reads in the lines that were checked, without comments and noise."""
    from skrf.io.touchstone import Touchstone  # takes a fifth of a second: only when such a file is read

    text = io.StringIO("\n".join([_ordered(bare[option]), *(bare[place] for place in kept)]) + "\n")
    text.name = f"network.s{_ports(file)}p"
    try:
        with np.errstate(all="ignore"):
            read = Touchstone(text)
    except (ValueError, ArithmeticError, np.linalg.LinAlgError) as error:
        raise refused(file, f"not read: {error}") from None
    if not np.all(np.isfinite(read.s)):
        row = int(np.flatnonzero(~np.isfinite(read.s).all(axis=(1, 2)))[0])
        raise refused(file, "these values have no scattering parameters", kept[row] + 1, bare[kept[row]])
    return Scattering(read.f, read.s, np.real(read.z0[0]).astype(float), file, np.array(kept))


def _ordered(line: str) -> str:
    """The option line with everything in its usual order: any order is valid, and what is missing is GHz, S, MA and R 50."""
    words = line[1:].lower().split()
    resistance = words[words.index("r") + 1] if "r" in words else "50"
    defaults = zip(_OPTIONS, ("ghz", "s", "ma"), strict=True)
    chosen = [next((word for word in words if word in map(str.lower, choices)), usual) for choices, usual in defaults]
    return f"# {' '.join(chosen)} r {resistance}"


# ---- what no part can be ----------------------------------------------------------------------------------------------


def _at(data: Scattering, index: int) -> str:
    return format_quantity(float(data.frequencies[index]), "Hz", 4)


def _refuse_absurd(data: Scattering) -> None:
    for index in (0, -1):
        if not FREQUENCIES[0] <= data.frequencies[index] <= FREQUENCIES[1]:
            why = f"a frequency of {_at(data, index)} is absurd here; is the unit in the option line right?"
            raise refused(data.file, why, int(data.lines[index]))


def _refuse_active(data: Scattering) -> None:
    """An eigenvalue of I - S^H S below zero is more power out than in."""
    reached = np.linalg.norm(
        data.s, 2, axis=(1, 2)
    )  # the greatest singular value: its square is 1 less the least eigenvalue
    wrong = np.flatnonzero(reached > 1 + NOISE)
    if wrong.size:
        raise InputError(_active(data, reached, wrong[:MOST_PROBLEMS]))


def _active(data: Scattering, reached: Array, wrong: NDArray[np.int64]) -> Iterator[Problem]:
    for index in wrong:
        size = float(reached[index])
        why = f"not passive at {_at(data, index)}: the least eigenvalue of I - S^H S is {1 - size * size:.3g}, and an error of {NOISE:g} in S explains {1 - (1 + NOISE) ** 2:.2g}"
        yield problem(data.file, int(data.lines[index]), None, why)


def _refuse_negative(data: Scattering, z: Complex, margin: Array) -> None:
    wrong = np.flatnonzero(z.real < -margin)
    if wrong.size:
        index = int(wrong[0])
        why = f"not passive at {_at(data, index)}: a resistance of {format_quantity(float(z.real[index]), 'ohm')}, and an error of {NOISE:g} in S explains {format_quantity(-float(margin[index]), 'ohm')}"
        raise refused(data.file, f"{why}; {wrong.size} such rows", int(data.lines[index]))


def _refuse_short(data: Scattering, *present: NDArray[np.bool_]) -> None:
    wrong = np.flatnonzero(~np.logical_and.reduce(present))
    if wrong.size:
        why = f"an ideal short or an open at {_at(data, int(wrong[0]))}: no impedance follows from it"
        raise refused(data.file, why, int(data.lines[wrong[0]]))


def _either_connection(data: Scattering, connection: str) -> str:
    """What to say where the file does not tell which connection was measured, else "".

    S11 = 1 - S21 of a part in series, S21 - 1 of one across: the nearer one should be the one that is stated. A part that the
    instrument hardly sees (S21 near 1 throughout) is near both, and S21 alone says nothing.
    """
    s11, s21 = data.s[:, 0, 0], data.s[:, 1, 0]
    away = {"series_through": np.median(np.abs(s11 - 1 + s21)), "shunt_through": np.median(np.abs(s11 + 1 - s21))}
    (another,) = set(CONNECTIONS) - {connection}
    stated, other = (one.replace("_", "-") for one in (connection, another))
    if not np.any(s11):
        return f"S11 is zero throughout, so the file does not show whether it was measured {stated} or {other}"
    if away[connection] > 3 * NOISE and away[connection] > 3 * away[another]:
        raise refused(data.file, f"S11 and S21 are those of a {other} measurement, not of a {stated} one")
    if away[another] < 3 * max(NOISE, float(away[connection])):
        return f"S11 and S21 fit a {other} measurement nearly as well as the {stated} one that is stated: check which it was"
    return ""
