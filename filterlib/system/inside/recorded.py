"""A recording of the converter's terminals, as the converter's model takes it: the harmonics above its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import GetCoreSchemaHandler
from pydantic_core import core_schema


@dataclass(frozen=True)
class Recorded:
    """One period of a recording, averaged over all of them, as the scope showed it.

    Attributes
    ----------
    file : str
        Its name, as the design file has it.
    frequency : float
        Switching frequency [Hz].
    harmonics : tuple of complex
        Fourier coefficients c_1, c_2 ... inside the bandwidth, seen through the scope's low-pass; 0 where noise hides it [V].
    channel : str, int or None
        As the design file has it.
    stated : float or None
        Switching frequency that the design file states, where it is half or twice this one [Hz].

    Examples
    --------
    >>> Recorded("terminals.csv", 180e3, (0.02 + 0j, 0j, 0.01j, 0j)).highest
    540000.0
    """

    file: str
    frequency: float
    harmonics: tuple[complex, ...]
    channel: str | int | None = None
    stated: float | None = None

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which harmonics are above the noise, bool (h,)."""
        return np.asarray(self.harmonics, bool)

    @property
    def highest(self) -> float:
        """Frequency of the highest harmonic that is kept [Hz]; 0 where none is."""
        return self.frequency * float(np.max(np.flatnonzero(self.kept) + 1, initial=0))

    @property
    def reach(self) -> float:
        """Frequency up to which the recording tells of harmonics at all, by its bandwidth or its samples [Hz]."""
        return self.frequency * (len(self.harmonics) + 1)

    def coefficients(self, count: int) -> NDArray[np.complex128]:
        """c_1 .. c_count [V], complex (count,); zero where noise hides them and beyond the bandwidth."""
        kept = np.array(self.harmonics[:count], complex)
        return np.pad(kept, (0, count - len(kept)))


class RecordingField:
    """Annotation of a pydantic field that holds a `Recorded`; a file's name becomes one where a design file is read."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic reads the field."""
        return core_schema.no_info_plain_validator_function(self.read)

    @staticmethod
    def read(raw: object) -> Recorded:
        """The recording itself. Raises ValueError."""
        if not isinstance(raw, Recorded):
            raise ValueError("a recording that was read is needed here; in a design file, the name of its CSV file")
        return raw
