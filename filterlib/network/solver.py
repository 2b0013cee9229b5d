"""What a circuit does: transfer, impedance, poles, step, impulse and periodic steady state."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import CircuitError, UnstableError, did_you_mean
from filterlib.network.checks import check
from filterlib.network.counts import COUNTS
from filterlib.network.equations import elimination, layout, modes, response
from filterlib.network.equations.pattern import Columns, Sum
from filterlib.network.equations.tableau import Tableau, build
from filterlib.network.netlist import REFERENCE, Current, Netlist, Output, Pair
from filterlib.network.waveform import Waveform

NEWTON, NUDGE, SETTLED = (
    30,
    1e-6,
    1e-12,
)  # steps towards one pole; the second point's distance and the last step, as shares of it
Answers: TypeAlias = Any
"""An array (or Waveform); a list of them for a list of outputs; a list of those for a list of sources."""
Item = TypeVar("Item")


class Solver:
    """Answers for one circuit as it is described.

    Built once and used many times: the equations are written, and poles and limits found, when they are first needed, and
    kept here. `filterlib.Circuit.solver` is the way in; a circuit that grows makes another one.

    Parameters
    ----------
    netlist : Netlist
        What the circuit consists of.

    Examples
    --------
    >>> from filterlib import Circuit
    >>> solver = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 3.0).resistor("S", "b", "0", 1.0).solver
    >>> float(solver.transfer([50.0], "V", "b")[0].real)
    0.25
    """

    def __init__(self, netlist: Netlist) -> None:
        COUNTS.solvers += 1
        self.netlist = netlist
        self._tableaus: dict[tuple[tuple[str, ...], str, tuple[str, ...] | None], Tableau] = {}
        self._modes: dict[Columns | None, list[modes.Modes]] = {}
        self._ends: dict[tuple[Columns, tuple[Sum, ...], int], np.ndarray] = {}

    # ---- frequencies ----------------------------------------------------------------------------------------------

    def transfer(
        self, frequencies: ArrayLike, source: str | list[str], output: Output | list[Output], *, rough: bool = False
    ) -> Answers:
        """Response of outputs per unit of sources, all other sources at zero.

        Parameters
        ----------
        frequencies : array (f,), not negative; 0 gives the limit towards DC [Hz]
        source : name of a source, or a list of names
        output : a node [V], a pair of nodes [V], a `Current` [A], or a list of these
        rough : where many designs are only searched: some of the points are checked for rounding in place of all

        Returns
        -------
        complex array (f,) or (designs, f); a list for a list of outputs; a list of those for a list of sources. One
        elimination serves them all. What grows without bound towards DC is inf there.

        Raises
        ------
        CircuitError
            An unknown source, node or element, a negative frequency, or a circuit that cannot be solved.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> divider = Circuit().voltage_source("V", "a", "0").resistor("R1", "a", "b", 1.0)
        >>> solver = divider.resistor("R2", "b", "0", 3.0).solver
        >>> [round(float(x[0].real), 6) for x in solver.transfer([50.0], "V", ["b", ("a", "b"), Current("R1")])]
        [0.75, 0.25, 0.25]
        """
        names: list[str] = _listed(source)
        outputs: list[Output] = _listed(output)
        nodes = {node for one in outputs if not isinstance(one, Current) for node in _nodes(one)}
        tableau = self._tableau(keep=tuple(sorted(map(str, nodes))))
        right = tuple(tableau.source(name) for name in names)
        sums = [tableau.output(one) for one in outputs]
        answers = response.at_frequencies(tableau, _checked(frequencies), right, sums, rough=rough)
        return _unlisted(answers, source, output)

    def impedance(self, frequencies: ArrayLike, a: str, b: str = REFERENCE) -> np.ndarray:
        """Impedance seen into the port from ``a`` to ``b``, with the sources at zero.

        Parameters
        ----------
        frequencies : array (f,), not negative; an impedance that has no limit at 0 is inf there [Hz]

        Returns
        -------
        complex array (f,) or (designs, f) [ohm]

        Raises
        ------
        CircuitError
            An unknown node, a negative frequency, or a circuit that cannot be solved.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> capacitor = Circuit().capacitor("C", "a", "0", 1e-6)
        >>> [f"{abs(z):.4g}" for z in capacitor.solver.impedance([0.0, 159.154943], "a")]
        ['inf', '1000']
        """
        reference = REFERENCE if REFERENCE in self.netlist.nodes else b
        tableau, f = self._tableau((a, b), reference, (a, b)), _checked(frequencies)
        ends = [(tableau.node(node), sign) for node, sign in ((a, 1.0), (b, -1.0))]
        port: Sum = tuple((at, sign) for at, sign in ends if at is not None)
        if a == b or not port:
            return np.zeros(response.shape_of(tableau, f), dtype=complex)
        return np.asarray(response.at_frequencies(tableau, f, (port,), [port])[0, 0])

    def periodic_response(
        self,
        waveform: Waveform,
        source: str | list[str],
        output: Output | list[Output],
        *,
        harmonics: int | None = None,
    ) -> Answers:
        """Periodic steady state of outputs: harmonics times transfer function, exact, no time stepping.

        Parameters
        ----------
        waveform : what the source does; ``harmonics`` of it are used, by default as many as it needs
        source, output : as in `transfer`

        Returns
        -------
        Waveform, in lists as in `transfer`

        Raises
        ------
        UnstableError
            Where a pole lies in the right half plane: there is no steady state. A circuit with an immittance or a
            coupled pair without a ladder has no poles to look at, and is not checked.
        CircuitError
            As `transfer`; and an output that has no bound at DC while the waveform has a mean.
        """
        self.refuse_unstable()
        count = waveform.harmonics if harmonics is None else harmonics
        coefficients = waveform.coefficients(count)
        frequencies = np.arange(count + 1) / waveform.period
        rows = self.transfer(frequencies, _listed(source), _listed(output))
        waves = [[Waveform.from_coefficients(waveform.period, _product(h, coefficients)) for h in row] for row in rows]
        return _unlisted(waves, source, output)

    # ---- poles and time -------------------------------------------------------------------------------------------

    def poles(self) -> np.ndarray:
        """Natural frequencies of the circuit with its sources at zero.

        Lossy parts are replaced by their ladders.

        Returns
        -------
        complex array (p,) or (designs, p), by rising magnitude, then imaginary part; where designs differ in their
        number, NaN at the end [1/s]

        Raises
        ------
        CircuitError
            An immittance or a coupled pair without a ladder, or a circuit that cannot be solved.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> tank = Circuit().inductor("L", "a", "0", 1e-3).capacitor("C", "a", "0", 1e-9).resistor("R", "a", "0", 1e3)
        >>> [f"{p:.6g}" for p in tank.solver.poles()]
        ['-500000-866025j', '-500000+866025j']
        """
        poles = [mode.poles for mode in self._modes_of(None)]
        width = max(len(p) for p in poles)
        padded = np.array([np.concatenate([p, np.full(width - len(p), np.nan)]) for p in poles])
        return padded if self.netlist.designs else padded[0]

    def pole_near(self, guess: complex, source: str, output: Output) -> complex | None:
        """The natural frequency to which a guess leads, of those that a source drives and an output shows.

        One pole by Newton's method on the reciprocal of the transfer, where `poles` takes the eigenvalues of everything: the time grows with the circuit's
        size and not with its power of two and a half. Lossy parts are replaced by their ladders; of one design.

        Parameters
        ----------
        guess : close to one pole, compared with its distance from the others [1/s]
        source, output : as in `transfer`; a current source and the voltage across it will do

        Returns
        -------
        complex [1/s], or None where the guess leads to no pole within half of its magnitude

        Raises
        ------
        CircuitError
            As `poles`; an unknown source or output; a circuit that stands for many designs.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> tank = Circuit().inductor("L", "a", "0", 1e-3).capacitor("C", "a", "0", 1e-9).resistor("R", "a", "0", 1e3)
        >>> f"{tank.current_source('I', '0', 'a').solver.pole_near(-5e5 + 8e5j, 'I', 'a'):.6g}"
        '-500000+866025j'
        """
        tableau = self._dynamic
        if tableau.designs:
            raise CircuitError("a pole is followed in one design; this circuit stands for many")
        right, sums = (tableau.source(source),), [tableau.output(output)]
        if guess == 0 or not np.isfinite(guess):
            return None
        pole, beside = complex(guess), np.array([1.0, 1.0 + NUDGE])
        for _ in range(NEWTON):
            try:
                with np.errstate(divide="ignore", invalid="ignore"):
                    here, there = 1 / response.at_frequencies(tableau, pole * beside / 2j / np.pi, right, sums)[0, 0]
            except CircuitError:  # the equations have no solution at a pole
                return pole
            if not np.isfinite([here, there]).all() or here == there:
                return None
            step = complex(here * NUDGE * pole / (there - here))
            pole -= step
            if not abs(pole - guess) < abs(guess) / 2:
                return None
            if abs(step) <= SETTLED * abs(pole):
                return pole
        return None

    def step_response(self, times: ArrayLike, source: str | list[str], output: Output | list[Output]) -> Answers:
        """Outputs after a unit step of a source at t = 0, from rest.

        Parameters
        ----------
        times : array (t,), 0 meaning just after the step; before it all is zero [s]
        source, output : as in `transfer`

        Returns
        -------
        array (t,) or (designs, t), in lists as in `transfer`; from poles and residues, so exact at any time: to about
        1e-9 of the largest voltage (current) in the circuit, and 1e-15 of a turn for each turn of an undamped pole

        Raises
        ------
        CircuitError
            As `poles`; and an output that holds an impulse at t = 0.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> low_pass = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1e3)
        >>> solver = low_pass.capacitor("C", "b", "0", 1e-6).solver
        >>> [round(float(v), 6) for v in solver.step_response([0, 1e-3, 1.0], "V", "b")]
        [0.0, 0.632121, 1.0]
        """
        return self._in_time(times, source, output, 1)

    def impulse_response(self, times: ArrayLike, source: str | list[str], output: Output | list[Output]) -> Answers:
        """Outputs after a unit impulse of a source at t = 0, from rest: as `step_response`, per second.

        Raises
        ------
        CircuitError
            As `poles`; and an output whose transfer function does not vanish at high frequency, and so holds an
            impulse.

        Examples
        --------
        >>> from filterlib import Circuit
        >>> low_pass = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1e3)
        >>> solver = low_pass.capacitor("C", "b", "0", 1e-6).solver
        >>> [round(float(v), 3) for v in solver.impulse_response([0, 1e-3], "V", "b")]
        [1000.0, 367.879]
        """
        return self._in_time(times, source, output, 0)

    def refuse_unstable(self) -> None:
        """Raise where the circuit is known to have no steady state.

        Without a negative conductance the circuit is passive and has no such pole: coupled inductances that stored
        negative energy are refused before. A circuit with an immittance or a coupled pair without a ladder is let pass.

        Raises
        ------
        UnstableError
            Where a pole lies in the right half plane by more than its error.
        """
        elements = self._laddered.elements
        if any(e.of_frequency for e in elements):
            return
        if all(e.kind != "conductance" or np.all(np.asarray(e.number) >= 0) for e in elements):
            return
        wrong = np.concatenate([mode.unstable for mode in self._modes_of(None)])
        if len(wrong):
            raise UnstableError(f"no steady state: pole at {wrong[0]:.4g} 1/s in the right half plane", wrong)

    # ---- inside ---------------------------------------------------------------------------------------------------

    def _tableau(
        self, ports: tuple[str, ...] = (), reference: str = REFERENCE, keep: tuple[str, ...] | None = None
    ) -> Tableau:
        """The equations of the circuit, checked and kept."""
        key = (ports, reference, keep)
        if key not in self._tableaus:
            for node in ports:
                if node != reference and node not in self.netlist.nodes:
                    raise CircuitError(f'unknown node "{node}": {did_you_mean(node, self.netlist.nodes)}')
            check(self.netlist, ports, reference=reference)
            self._tableaus[key] = build(self.netlist, reference, keep)
        return self._tableaus[key]

    @cached_property
    def _laddered(self) -> Netlist:
        return self.netlist.laddered()

    @cached_property
    def _dynamic(self) -> Tableau:
        """The equations of the circuit with its ladders, for poles and time."""
        for element in self._laddered.elements:
            if element.of_frequency:
                raise CircuitError(f"{element.name}: has no ladder, so the circuit has no poles and no steps")
        check(self._laddered)
        return build(self._laddered)

    def _modes_of(self, right: Columns | None) -> list[modes.Modes]:
        if right not in self._modes:
            self._modes[right] = modes.of(self._dynamic, right)
        return self._modes[right]

    def _in_time(self, times: ArrayLike, source: str | list[str], output: Output | list[Output], order: int) -> Answers:
        t = np.atleast_1d(np.asarray(times, dtype=float))
        if t.ndim != 1 or np.isnan(t).any():
            raise CircuitError(f"times are an array of shape (t,) of numbers, not {times!r}")
        outputs: list[Output] = _listed(output)
        tableau, names = self._dynamic, list[str](_listed(source))
        right = tuple(tableau.source(name) for name in names)
        sums = tuple(tableau.output(one) for one in outputs)
        key = (right, sums, order)
        if key not in self._ends:
            self._ends[key] = response.ends(tableau, right, sums, outputs, order)
        modes = zip(self._modes_of(right), self._ends[key], strict=True)
        each = [mode.response(t, sums, end, order) for mode, end in modes]
        return _unlisted(np.stack(each, axis=2) if self.netlist.designs else each[0], source, output)


def forget() -> None:
    """Drop equations and plans: the next circuits make theirs anew, as in a fresh process. For counts and benchmarks."""
    layout.forget()
    elimination.forget()


def _product(h: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """h times the coefficients, in its place where they fit; 0 where those are 0 although h has no bound."""
    fits = np.broadcast_shapes(h.shape, coefficients.shape) == h.shape
    with np.errstate(invalid="ignore"):
        product: np.ndarray = np.multiply(h, coefficients, out=h if fits else None)
    product[..., coefficients == 0] = 0.0
    if not np.isfinite(product).all():
        raise CircuitError("the output has no bound at DC, and the waveform has a mean")
    return product


def _checked(frequencies: ArrayLike) -> np.ndarray:
    f = np.atleast_1d(np.asarray(frequencies, dtype=float))
    if f.ndim != 1:
        raise CircuitError(f"frequencies are an array of shape (f,), not {f.shape}")
    wrong = f[~((f >= 0) & np.isfinite(f))]
    if wrong.size:
        raise CircuitError(f"a frequency is finite and not negative, which {wrong[0]:g} Hz is not")
    return f


def _listed(item: Item | list[Item]) -> list[Item]:
    return item if isinstance(item, list) else [item]


def _unlisted(rows: np.ndarray | Sequence[Sequence[object]], source: object, output: object) -> Answers:
    """Rows of answers (sources, outputs, ...) as lists where lists were given."""
    kept = [list(row) if isinstance(output, list) else row[0] for row in rows]
    return kept if isinstance(source, list) else kept[0]


def _nodes(output: str | Pair) -> tuple[str, ...]:
    return (output,) if isinstance(output, str) else tuple(output)
