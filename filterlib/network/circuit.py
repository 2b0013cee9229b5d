"""A circuit is built from named elements between named nodes; what it does is answered by its solver."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from filterlib.network.netlist import REFERENCE, Current, Element, Netlist, Output, Pair, Value
from filterlib.network.solver import Answers, Solver
from filterlib.network.symbolic import Formula, formula_of
from filterlib.network.waveform import Waveform
from filterlib.network.wiring import Wiring

__all__ = ["REFERENCE", "Circuit", "Current", "Element", "Netlist", "Output", "Pair", "Value"]


class Circuit(Wiring):
    """A linear circuit: each builder method adds one element and returns the same circuit.

    A value is a number in SI units or an array of shape (designs, 1); with such an array anywhere, every result has
    ``designs`` as its first axis. Zero is a value like any other: 0 ohm and 0 H are shorts, 0 F and 0 S are open.
    Node "0" is the reference. What zeros leave open is settled simply: of several shorts in
    parallel the first carries the current, and across one of several opens in series there is no voltage.

    Raises
    ------
    CircuitError
        From each method, naming the element: a name that exists, both ends on one node, a value that is no number,
        negative (a conductance may be), not finite or of the wrong shape. From each answer, naming element or node:
        what cannot be solved (`filterlib.network.checks.check`).

    Examples
    --------
    A low-pass of 1 kohm and 1 uF halves the power at 1/(2 pi R C):

    >>> low_pass = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 1e3)
    >>> low_pass = low_pass.capacitor("C", "out", "0", 1e-6)
    >>> gain = low_pass.transfer([0, 159.154943], "V", "out")
    >>> [round(float(abs(g)) ** 2, 6) for g in gain]
    [1.0, 0.5]
    """

    def __init__(self) -> None:
        super().__init__()
        self._solver: Solver | None = None

    @property
    def solver(self) -> Solver:
        """What answers for the circuit as it is now: its equations are written and ordered once, and kept there."""
        if self._solver is None or self._solver.netlist is not self.netlist:
            self._solver = Solver(self.netlist)
        return self._solver

    def transfer(
        self, frequencies: ArrayLike, source: str | list[str], output: Output | list[Output], *, rough: bool = False
    ) -> Answers:
        """Response of an output per unit of a source; see `filterlib.network.solver.Solver.transfer`."""
        return self.solver.transfer(frequencies, source, output, rough=rough)

    def impedance(self, frequencies: ArrayLike, a: str, b: str = REFERENCE) -> np.ndarray:
        """Impedance seen into a port; see `filterlib.network.solver.Solver.impedance`."""
        return self.solver.impedance(frequencies, a, b)

    def poles(self) -> np.ndarray:
        """Natural frequencies [1/s]; see `filterlib.network.solver.Solver.poles`."""
        return self.solver.poles()

    def step_response(self, times: ArrayLike, source: str | list[str], output: Output | list[Output]) -> Answers:
        """Output after a unit step of the source; see `filterlib.network.solver.Solver.step_response`."""
        return self.solver.step_response(times, source, output)

    def impulse_response(self, times: ArrayLike, source: str | list[str], output: Output | list[Output]) -> Answers:
        """Output after a unit impulse of the source; see `filterlib.network.solver.Solver.impulse_response`."""
        return self.solver.impulse_response(times, source, output)

    def periodic_response(
        self,
        waveform: Waveform,
        source: str | list[str],
        output: Output | list[Output],
        *,
        harmonics: int | None = None,
    ) -> Answers:
        """Periodic steady state of an output; see `filterlib.network.solver.Solver.periodic_response`."""
        return self.solver.periodic_response(waveform, source, output, harmonics=harmonics)

    def formula(self, source: str, output: Output) -> Formula:
        """The transfer function of a small circuit in symbols, through computer algebra; shows as mathematics.

        Parameters
        ----------
        source : str
            Name of the source; all others are zero.
        output : str, pair of str or Current
            As in `transfer`.

        Raises
        ------
        CircuitError
            For an element known by a function of frequency only, an unknown name, more than
            `filterlib.network.symbolic.LARGEST` elements, or what computer algebra cannot solve.

        Examples
        --------
        >>> divider = Circuit().voltage_source("V", "in", "0").resistor("R1", "in", "out", 3.0)
        >>> print(divider.resistor("R2", "out", "0", 1.0).formula("V", "out"))
        R2/(R1 + R2)
        """
        return formula_of(self.netlist, source, output)

    def __getstate__(self) -> dict[str, object]:
        return {"_elements": dict(self._elements), "_netlist": None, "_solver": None}
