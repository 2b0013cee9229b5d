"""Impedance over frequency as it was measured, or digitised from a data sheet, and the phase that a magnitude alone has."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import QuantityError, refused
from filterlib.units import format_quantity

Array = NDArray[np.float64]

SHAPE_NOISE = 10.0  # [degrees] beyond 90 that the phase from a digitised magnitude may have
SHAPE_WIDTH = 4.0  # ratio of frequencies over which that phase is averaged
_SHAPE_POINTS = 400


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
