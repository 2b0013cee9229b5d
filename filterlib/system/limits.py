"""Emission limits: files of straight pieces over the logarithm of the frequency, ours in data/limits and the user's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import AfterValidator, Field, StrictBool

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean, short
from filterlib.parts.artificial_network import artificial_network
from filterlib.parts.base import Quantity
from filterlib.parts.reading import data_folder, read_toml
from filterlib.system.model import Given, Model, Note, Title

Detector = Literal["peak", "quasi_peak", "average"]
LOWEST, HIGHEST = -40.0, 200.0  # [dBµV or dBµA] between which a limit is
_SAME = 1e-9  # share by which a frequency may miss the end of a piece through rounding
INSIDE = 1e-8  # share by which a receiver that is tuned to the end of a piece is inside it

Frequency = Annotated[float, Quantity("Hz", low=1e3, high=1e10)]
Level = Annotated[float, Quantity("", low=LOWEST, high=HIGHEST)]
Network = Annotated[str, AfterValidator(lambda name: artificial_network(name).name)]


class Piece(Model):
    """One straight piece: ``levels`` at its two ``frequencies`` [Hz], linear in the logarithm of the frequency between."""

    detector: Detector
    frequencies: tuple[Frequency, Frequency]
    levels: tuple[Level, Level]

    def at(self, frequencies: ArrayLike) -> NDArray[np.float64]:
        """The limit (f,) in the unit of its file; infinite outside the piece, whose ends belong to it."""
        f = np.asarray(frequencies, dtype=float)
        (low, high), (first, last) = self.frequencies, self.levels
        inside = (f >= low * (1 - _SAME)) & (f <= high * (1 + _SAME))
        share: NDArray[np.float64] = np.log(np.where(inside, f, low) / low) / np.log(high / low)
        return np.where(inside, first + (last - first) * share, np.inf)


class Limit(Model):
    """Limits of one port and class, for one detector or several.

    ``of``: what is judged, the voltage of each "line" to chassis or the "common_mode"; ``unit`` "dBuV", or "dBuA" for the
    common-mode current. ``network``: the artificial network at which they hold, or None for another arrangement, which
    ``note`` describes. ``from_memory``: the figures were not read in the standard for this file.
    """

    title: Title
    source: Title
    of: Literal["line", "common_mode"] = "line"
    unit: Literal["dBuV", "dBuA"] = "dBuV"
    network: Network | None = None
    from_memory: StrictBool = False
    note: Note = ""
    pieces: tuple[Piece, ...] = Field(alias="piece", min_length=1)

    model_config = Model.model_config | {"populate_by_name": True}

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if fields.get("unit") == "dBuA" and fields.get("of", "line") != "common_mode":
            yield Problem("", "unit", "dBuA", 'a limit of current is one of the common mode: of = "common_mode"')
        entries = fields.get("piece", fields.get("pieces"))
        yield from _out_of_order(entries if isinstance(entries, list | tuple) else ())

    @property
    def detectors(self) -> tuple[Detector, ...]:
        """The detectors that have a limit."""
        return tuple(dict.fromkeys(piece.detector for piece in self.pieces))

    @property
    def ends(self) -> NDArray[np.float64]:
        """Where pieces begin and end (e,) [Hz], each just inside its piece: of two that meet, both levels hold there.

        >>> find_limit("mains-class-a").limit.ends.round().tolist()  # [Hz]
        [150000.0, 500000.0, 500000.0, 30000000.0]
        """
        ends = np.array([piece.frequencies for piece in self.pieces]) * (1 + INSIDE, 1 - INSIDE)
        return np.unique(ends)

    def at(self, frequencies: ArrayLike, detector: Detector) -> NDArray[np.float64]:
        """The limit of a detector (f,) [dBµV or dBµA]; infinite where there is none.

        Where two pieces meet, the lower one holds (CISPR 32, from memory).
        """
        pieces = [piece.at(frequencies) for piece in self.pieces if piece.detector == detector]
        lowest = np.full(np.shape(frequencies), np.inf)
        for piece in pieces:
            lowest = np.minimum(lowest, piece)
        return lowest


def _out_of_order(entries: Sequence[object]) -> Iterator[Problem]:
    """Pieces that run backwards, or two of one detector that overlap; what cannot be read is said elsewhere."""
    valid: list[tuple[int, Piece]] = []
    for number, entry in enumerate(entries, 1):
        try:
            piece = entry if isinstance(entry, Piece) else Piece(**cast(Given, entry))
        except (InputError, TypeError):
            continue
        if piece.frequencies[0] < piece.frequencies[1]:
            valid.append((number, piece))
        else:
            shown = list(entry["frequencies"]) if isinstance(entry, Mapping) else piece.frequencies
            yield Problem("", f"piece[{number}].frequencies", shown, "must rise from the first to the second")
    for detector in ("peak", "quasi_peak", "average"):
        mine = sorted((one for one in valid if one[1].detector == detector), key=lambda one: one[1].frequencies)
        for (first, lower), (second, upper) in pairwise(mine):
            if upper.frequencies[0] < lower.frequencies[1] * (1 - _SAME):
                why = f"overlaps piece[{first}] of the same detector; they may share an end, no more"
                yield Problem("", f"piece[{second}].frequencies", upper.frequencies, why)


@dataclass(frozen=True)
class LimitFile:
    """A limit and where it was read: ``name`` (the file's, without its ending) and ``file``."""

    name: str
    file: str
    limit: Limit


def load_limit(path: str | Path) -> LimitFile:
    """Read a limit file: ``title``, ``source`` and one ``[[piece]]`` for each straight piece, see `Limit` and `Piece`.

    Raises
    ------
    InputError
        With everything that is wrong, at once: file, key, value, and what would be right.
    """
    file = str(path)
    try:
        limit = Limit(**read_toml(path))
    except InputError as error:
        raise InputError(
            Problem(file, p.key, p.value, p.why) if p.file != file else p for p in error.problems
        ) from None
    return LimitFile(Path(path).stem, file, limit)


@lru_cache(maxsize=1)
def standard_limits() -> Mapping[str, LimitFile]:
    """The limits that come with the library, data/limits, by name."""
    files = (load_limit(path) for path in sorted((data_folder() / "limits").glob("*.toml")))
    return {one.name: one for one in files}


def find_limit(name: str) -> LimitFile:
    """The standard limit of that name. Raises FilterlibError with the nearest one."""
    limits = standard_limits()
    if name not in limits:
        raise FilterlibError(f"no limit {short(name)}; {did_you_mean(str(name), limits)}")
    return limits[name]
