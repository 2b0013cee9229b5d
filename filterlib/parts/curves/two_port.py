"""A two-port as measured: a choke of two windings, a filter stage, known inside its band alone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import QuantityError, refused
from filterlib.network.wiring import Wiring
from filterlib.parts.curves.touchstone import NOISE, read_touchstone
from filterlib.units import format_quantity


@dataclass(frozen=True, eq=False)
class MeasuredTwoPort:
    """Impedance matrix ``matrix`` (f, 2, 2) [ohm] over ``frequencies`` (f,), rising [Hz], from ``file``.

    Called with frequencies it is what `Circuit.coupled` asks for. It has no ladder, so a circuit that holds it has no poles and no response
    in time, and no response outside the band, direct current included.
    """

    frequencies: NDArray[np.float64]
    matrix: NDArray[np.complex128]
    file: str

    @property
    def asked_at(self) -> tuple[float, float]:
        """Lowest and highest frequency [Hz]."""
        return float(self.frequencies[0]), float(self.frequencies[-1])

    def __call__(self, frequencies: object) -> NDArray[np.complex128]:
        """Impedance matrix (f, 2, 2) [ohm], on straight lines over ln f between the points.

        Raises QuantityError outside the band: nothing was measured there.
        """
        f = np.atleast_1d(np.asarray(frequencies, dtype=float))
        low, high = self.asked_at
        if not np.all((f >= low) & (f <= high)):
            band = f"{format_quantity(low, 'Hz')} to {format_quantity(high, 'Hz')}"
            raise QuantityError(f"outside the band of {self.file}, {band}", name="frequencies", value=frequencies)
        logs = np.log(self.frequencies)
        entries = [np.interp(np.log(f), logs, self.matrix[:, row, column]) for row in (0, 1) for column in (0, 1)]
        return np.stack(entries, axis=-1).reshape(-1, 2, 2)

    def add(self, circuit: Wiring, name: str, first: tuple[str, str], second: tuple[str, str]) -> Wiring:
        """Adds ``name`` with port 1 between the nodes ``first`` and port 2 between ``second``."""
        return circuit.coupled(name, first, second, self)


def measured_two_port(path: str | Path) -> MeasuredTwoPort:
    """The impedance matrix of a two-port in a Touchstone file (.s2p).

    Raises
    ------
    InputError
        See `filterlib.parts.curves.touchstone.read_touchstone`; also where the two-port has no impedance matrix, as a part in series alone.

    Notes
    -----
    Z = R^(1/2) (I - S)^-1 (I + S) R^(1/2), R the reference resistances. Valid inside the band of the file.
    Source: D. M. Pozar, Microwave Engineering, equation 4.45 (from memory).

    Of 50 ohm from terminal 1 and 2 to the return every impedance is 50 ohm.

    >>> import tempfile
    >>> from pathlib import Path
    >>> rows = [f"{f}  -0.3333333 0  0.6666667 0  0.6666667 0  -0.3333333 0" for f in range(1000, 17000, 1000)]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder, "shunt.s2p")
    ...     _ = file.write_text("\\n".join(["# Hz S RI R 50", *rows]))
    ...     measured_two_port(file).matrix[0].real.round(3).tolist()
    [[50.0, 50.0], [50.0, 50.0]]
    """
    data = read_touchstone(path)
    if data.ports != 2:
        raise refused(data.file, "a two-port (.s2p) is needed here")
    least = np.linalg.svd(np.eye(2) - data.s, compute_uv=False)[:, -1]
    if np.any(least < NOISE / 100):
        at = int(least.argmin())
        why = f"no impedance matrix at {format_quantity(float(data.frequencies[at]), 'Hz', 4)}: nothing but a part in series?"
        raise refused(data.file, f'{why} Name it as a part with connection = "series_through"', int(data.lines[at]))
    root = np.sqrt(data.reference)
    matrix = np.linalg.solve(np.eye(2) - data.s, np.eye(2) + data.s) * root[:, None] * root
    return MeasuredTwoPort(data.frequencies, matrix.astype(np.complex128), data.file)
