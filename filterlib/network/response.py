"""What a circuit does: transfer, impedance, poles, step, impulse and periodic steady state."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.errors import CircuitError, UnstableError, did_you_mean
from filterlib.network import dense, modes
from filterlib.network.checks import check
from filterlib.network.circuit import REFERENCE, Circuit, Current, Output
from filterlib.network.elimination import attempt, solve
from filterlib.network.tableau import Tableau, build

if TYPE_CHECKING:
    from filterlib.network.waveform import Waveform

SLAB = 2**18  # points that are solved at a time: each takes a few complex numbers of memory while it is
NEAR_ZERO = 1e-60  # s that stands for f = 0: far below every time constant, far above the smallest number [1/s]

Sum = tuple[tuple[int, float], ...]  # unknowns and what they are multiplied with


def transfer(circuit: Circuit, frequencies: Any, source: str | list[str], output: Output | list[Output]) -> Any:
    """Response of outputs per unit of sources, all other sources at zero.

    Parameters
    ----------
    frequencies : array (f,), not negative; 0 gives the limit towards DC [Hz]
    source : name of a source, or a list of names
    output : a node [V], a pair of nodes [V], a `Current` [A], or a list of these

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
    >>> divider = Circuit().voltage_source("V", "a", "0").resistor("R1", "a", "b", 1.0).resistor("R2", "b", "0", 3.0)
    >>> [round(float(x[0].real), 6) for x in divider.transfer([50.0], "V", ["b", ("a", "b"), Current("R1")])]
    [0.75, 0.25, 0.25]
    """
    names, outputs = _listed(source), _listed(output)
    asked = {
        node for one in outputs if not isinstance(one, Current) for node in ((one,) if isinstance(one, str) else one)
    }
    tableau = _tableau(circuit, keep=tuple(sorted(map(str, asked))))
    right = tuple(source_side(circuit, tableau, name) for name in names)
    answers = _solved(tableau, frequencies, right, [output_sum(circuit, tableau, one) for one in outputs])
    rows = [row if isinstance(output, list) else row[0] for row in answers]
    return rows if isinstance(source, list) else rows[0]


def impedance(circuit: Circuit, frequencies: Any, a: str, b: str = REFERENCE) -> np.ndarray:
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
    >>> capacitor = Circuit().capacitor("C", "a", "0", 1e-6)
    >>> [f"{abs(z):.4g}" for z in capacitor.impedance([0.0, 159.154943], "a")]
    ['inf', '1000']
    """
    reference = REFERENCE if REFERENCE in circuit.nodes else b
    tableau = _tableau(circuit, (a, b), reference, (a, b))
    ends = [_node(circuit, tableau, node) for node in (a, b)]
    port: Sum = tuple((at, sign) for at, sign in zip(ends, (1.0, -1.0), strict=True) if at is not None)
    if a == b or not port:
        return _zeros(tableau, _checked(frequencies))
    return _solved(tableau, frequencies, (port,), [port])[0][0]


def poles(circuit: Circuit) -> np.ndarray:
    """Natural frequencies of the circuit with its sources at zero.

    Lossy parts are replaced by their ladders.

    Returns
    -------
    complex array (p,) or (designs, p), by rising magnitude, then imaginary part; where designs differ in their number,
    NaN at the end [1/s]

    Raises
    ------
    CircuitError
        An immittance or a coupled pair without a ladder, or a circuit that cannot be solved.

    Examples
    --------
    >>> tank = Circuit().inductor("L", "a", "0", 1e-3).capacitor("C", "a", "0", 1e-9).resistor("R", "a", "0", 1e3)
    >>> [f"{p:.6g}" for p in tank.poles()]
    ['-500000-866025j', '-500000+866025j']
    """
    found = [mode.poles for mode in modes.of(_dynamic(circuit))]
    width = max(len(p) for p in found)
    padded = np.array([np.concatenate([p, np.full(width - len(p), np.nan)]) for p in found])
    return padded if circuit.designs else padded[0]


def step_response(circuit: Circuit, times: Any, source: str | list[str], output: Output | list[Output]) -> Any:
    """Outputs after a unit step of a source at t = 0, from rest.

    Parameters
    ----------
    times : array (t,), 0 meaning just after the step; before it all is zero [s]
    source, output : as in `transfer`

    Returns
    -------
    array (t,) or (designs, t), in lists as in `transfer`; from poles and residues, so exact at any time: to about 1e-9
    of the largest voltage (current) in the circuit, and 1e-15 of a turn for each turn of an undamped pole

    Raises
    ------
    CircuitError
        As `poles`; and an output that holds an impulse at t = 0.

    Examples
    --------
    >>> low_pass = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1e3).capacitor("C", "b", "0", 1e-6)
    >>> [round(float(v), 6) for v in low_pass.step_response([0, 1e-3, 1.0], "V", "b")]
    [0.0, 0.632121, 1.0]
    """
    return _in_time(circuit, times, source, output, 1)


def impulse_response(circuit: Circuit, times: Any, source: str | list[str], output: Output | list[Output]) -> Any:
    """Outputs after a unit impulse of a source at t = 0, from rest: as `step_response`, per second.

    Raises
    ------
    CircuitError
        As `poles`; and an output whose transfer function does not vanish at high frequency, and so holds an impulse.

    Examples
    --------
    >>> low_pass = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1e3).capacitor("C", "b", "0", 1e-6)
    >>> [round(float(v), 3) for v in low_pass.impulse_response([0, 1e-3], "V", "b")]
    [1000.0, 367.879]
    """
    return _in_time(circuit, times, source, output, 0)


def periodic_response(
    circuit: Circuit,
    waveform: Waveform,
    source: str | list[str],
    output: Output | list[Output],
    *,
    harmonics: int | None = None,
) -> Any:
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
        Where a pole lies in the right half plane: there is no steady state. A circuit with an immittance or a coupled
        pair without a ladder has no poles to look at, and is not checked.
    CircuitError
        As `transfer`; and an output that has no bound at DC while the waveform has a mean.
    """
    from filterlib.network.waveform import Waveform

    refuse_unstable(circuit)
    count = waveform.harmonics if harmonics is None else harmonics
    coefficients = waveform.coefficients(count)
    frequencies = np.arange(count + 1) / waveform.period
    names, outputs = _listed(source), _listed(output)
    rows = []
    for row in transfer(circuit, frequencies, names, outputs):
        rows.append([Waveform.from_coefficients(waveform.period, _product(h, coefficients)) for h in row])
    kept: list[Any] = [row if isinstance(output, list) else row[0] for row in rows]
    return kept if isinstance(source, list) else kept[0]


def refuse_unstable(circuit: Circuit) -> None:
    """Raise `UnstableError` where a pole lies in the right half plane by more than its error.

    Without a negative conductance the circuit is passive and has no such pole: coupled inductances that stored negative
    energy are refused before.
    """
    elements = circuit.laddered().elements
    if any(e.kind in ("immittance", "coupled") for e in elements):
        return
    if all(e.kind != "conductance" or np.all(e.value >= 0) for e in elements):
        return
    wrong = _kept(circuit, "unstable", lambda: np.concatenate([mode.unstable for mode in modes.of(_dynamic(circuit))]))
    if len(wrong):
        raise UnstableError(f"no steady state: pole at {wrong[0]:.4g} 1/s in the right half plane", wrong)


def _product(h: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    fits = np.broadcast_shapes(h.shape, coefficients.shape) == h.shape
    with np.errstate(invalid="ignore"):
        product = np.multiply(h, coefficients, out=h if fits else None)  # h is not needed any more
    product[..., coefficients == 0] = 0.0  # also where h has no bound
    if not np.isfinite(product).all():
        raise CircuitError("the output has no bound at DC, and the waveform has a mean")
    return product


def _dynamic(circuit: Circuit) -> Tableau:
    """The equations of the circuit with its ladders, for poles and time."""
    if "dynamic" not in circuit._cache:
        twin = circuit.laddered()
        for element in twin.elements:
            if element.kind in ("immittance", "coupled"):
                raise CircuitError(f"{element.name}: has no ladder, so the circuit has no poles and no steps")
        circuit._cache["laddered"], circuit._cache["dynamic"] = twin, _tableau(twin)
    return circuit._cache["dynamic"]


def _kept(circuit: Circuit, key: Any, make: Callable[[], Any]) -> Any:
    """What was made for this circuit before, until an element is added."""
    if key not in circuit._cache:
        circuit._cache[key] = make()
    return circuit._cache[key]


def _in_time(circuit: Circuit, times: Any, source: Any, output: Any, order: int) -> Any:
    t = np.atleast_1d(np.asarray(times, dtype=float))
    if t.ndim != 1 or np.isnan(t).any():
        raise CircuitError(f"times are an array of shape (t,) of numbers, not {times!r}")
    tableau = _dynamic(circuit)
    twin = circuit._cache["laddered"]
    names, outputs = _listed(source), _listed(output)
    right = tuple(source_side(twin, tableau, name) for name in names)
    sums = [output_sum(twin, tableau, one) for one in outputs]
    ends = _kept(circuit, ("ends", right, tuple(sums), order), lambda: _ends(tableau, right, sums, outputs, order))
    found = _kept(circuit, ("modes", right), lambda: modes.of(tableau, right))
    each = [mode.response(t, sums, end, order) for mode, end in zip(found, ends, strict=True)]
    stacked = np.stack(each, axis=2) if circuit.designs else each[0]
    rows = [list(row) if isinstance(output, list) else row[0] for row in stacked]
    return rows if isinstance(source, list) else rows[0]


def _ends(tableau: Tableau, right: tuple[Sum, ...], sums: list[Sum], outputs: list[Any], order: int) -> np.ndarray:
    """Per design the transfer at s = 0 (inf where it has none), at s = inf, and times s near 0:
    array (designs, sources, outputs, 3)."""
    wanted = tuple(sorted({at for one in sums for at, _ in one}))
    parts = [_at_rest(tableau, right, wanted, sums), _limits(tableau, 1 / NEAR_ZERO, 1e3 / NEAR_ZERO, right, sums)]
    ends = np.stack([*parts, _close(tableau, NEAR_ZERO, right, sums) * NEAR_ZERO], axis=-1).real
    ends = ends.reshape(len(right), len(sums), -1, 3)
    for index, one in enumerate(outputs):
        top = ends[:, index, :, 1]
        if np.isinf(top).any() or (order == 0 and top.any()):
            raise CircuitError(f"{one!r}: this output holds an impulse at t = 0, which has no value there")
    return np.moveaxis(ends, 2, 0)


def _solved(tableau: Tableau, frequencies: Any, right: tuple[Sum, ...], sums: list[Sum]) -> Any:
    """Sums of unknowns for every right-hand side, with the exact limit at f = 0: [[array of sum] of right]."""
    f = _checked(frequencies)
    if tableau.designs and tableau.designs * f.size > SLAB and tableau.divisible:
        return _in_slabs(tableau, f, right, sums)
    wanted = tuple(sorted({at for one in sums for at, _ in one}))
    if f.size and f.all():
        return _summed(tableau, wanted, sums, solve(tableau, f, 2j * np.pi * f, right, wanted))
    moving = f > 0
    answers = np.empty((len(right), len(sums), *_zeros(tableau, f).shape), dtype=complex)
    answers[..., moving] = _solved(tableau, f[moving], right, sums) if moving.any() else 0.0
    if not moving.all():
        answers[..., ~moving] = _at_rest(tableau, right, wanted, sums)
    return answers


def _in_slabs(tableau: Tableau, f: np.ndarray, right: tuple[Sum, ...], sums: list[Sum]) -> np.ndarray:
    """The same, some designs at a time, so that little more than the answers is held: array (right, sums, designs, f)."""
    count = tableau.designs or 0
    step = max(1, SLAB // f.size)
    answers = np.empty((len(right), len(sums), count, f.size), dtype=complex)
    for start in range(0, count, step):
        chosen = slice(start, start + step)
        answers[:, :, chosen] = _solved(tableau.part(chosen), f, right, sums)
    return answers


def _summed(tableau: Tableau, wanted: tuple[int, ...], sums: list[Sum], x: np.ndarray) -> list[list[np.ndarray]]:
    place = {at: i for i, at in enumerate(wanted)}
    nothing = np.zeros(x.shape[2:], dtype=complex)
    with np.errstate(invalid="ignore"):  # an infinite impedance at f = 0
        return [[sum((factor * row[place[at]] for at, factor in one), nothing) for one in sums] for row in x]


def _at_rest(tableau: Tableau, right: tuple[Sum, ...], wanted: tuple[int, ...], sums: list[Sum]) -> np.ndarray:
    """The sums at s = 0: array (right, sums, 1) or (right, sums, designs, 1)."""
    zero = np.zeros(1)
    x, good = attempt(tableau, tableau.values(zero, zero), zero, right, wanted)
    answers = np.array(_summed(tableau, wanted, sums, x))
    if not good.all():
        answers[..., ~good] = _limits(tableau, NEAR_ZERO, NEAR_ZERO / 1e3, right, sums)[..., ~good]
    return answers


def _limits(tableau: Tableau, first: float, second: float, right: tuple[Sum, ...], sums: list[Sum]) -> np.ndarray:
    """Limits of the sums from two s on the way: array (right, sums, 1) or (right, sums, designs, 1)."""
    near, nearer = (_close(tableau, s, right, sums) for s in (first, second))
    return np.where(abs(nearer) > 30 * abs(near), np.inf, np.where(30 * abs(nearer) < abs(near), 0.0, nearer))


def _close(tableau: Tableau, s: float, right: tuple[Sum, ...], sums: list[Sum]) -> np.ndarray:
    """The sums at an s beside which every value is large, or small: array (right, sums, 1) or (right, sums, designs, 1)."""
    count = tableau.designs or 1
    values = [v[..., 0] if isinstance(v, np.ndarray) else v for v in tableau.values(np.zeros(1), np.full(1, s))]
    values = [np.broadcast_to(v, count) if isinstance(v, np.ndarray) else v for v in values]
    x = dense.solve(tableau, values, count, right, feed_back=False)
    answers = np.array(_summed(tableau, tuple(range(tableau.size)), sums, x))
    return answers[..., None] if tableau.designs else answers


def _tableau(circuit: Circuit, ports: Iterable[str] = (), reference: str = REFERENCE, keep: Any = None) -> Tableau:
    """The equations of a circuit that was checked, kept until an element is added."""
    key = (tuple(ports), reference, keep)
    if key not in circuit._cache:
        for node in ports:
            if node != reference and node not in circuit.nodes:
                raise CircuitError(f'unknown node "{node}": {did_you_mean(node, circuit.nodes)}')
        check(circuit, key[0], reference=reference)
        circuit._cache[key] = build(circuit, reference, keep)
    return circuit._cache[key]


def _checked(frequencies: Any) -> np.ndarray:
    f = np.atleast_1d(np.asarray(frequencies, dtype=float))
    if f.ndim != 1:
        raise CircuitError(f"frequencies are an array of shape (f,), not {f.shape}")
    wrong = f[~((f >= 0) & np.isfinite(f))]
    if wrong.size:
        raise CircuitError(f"a frequency is finite and not negative, which {wrong[0]:g} Hz is not")
    return f


def _listed(item: Any) -> list[Any]:
    return item if isinstance(item, list) else [item]


def _zeros(tableau: Tableau, like: np.ndarray) -> np.ndarray:
    return np.zeros(like.shape if tableau.designs is None else (tableau.designs, *like.shape), dtype=complex)


def _node(circuit: Circuit, tableau: Tableau, node: Any) -> int | None:
    if not isinstance(node, str) or node not in circuit.nodes:
        raise CircuitError(f'unknown node "{node}": {did_you_mean(str(node), circuit.nodes)}')
    return tableau.node(node)


def source_side(circuit: Circuit, tableau: Tableau, name: str) -> Sum:
    """The right-hand side of one unit of a source."""
    element = circuit._find(name, "source")
    if not element.kind.endswith("_source"):
        raise CircuitError(f'unknown source "{name}": it is a {element.kind}; {did_you_mean(name, circuit.sources)}')
    return ((tableau.currents[name, 1][0], 1.0 if element.kind == "voltage_source" else -1.0),)


def output_sum(circuit: Circuit, tableau: Tableau, output: Any) -> Sum:
    """The unknowns that make up an output, with their signs."""
    if isinstance(output, Current):
        return (_current(circuit, tableau, output),)
    pair = output if isinstance(output, tuple) else (output, REFERENCE)
    if len(pair) != 2:
        raise CircuitError(f"an output is a node, a pair of nodes or a Current, not {output!r}")
    ends = [(_node(circuit, tableau, node), sign) for node, sign in zip(pair, (1.0, -1.0), strict=True)]
    if pair[0] == pair[1]:
        return ()
    return tuple((at, sign) for at, sign in ends if at is not None)


def _current(circuit: Circuit, tableau: Tableau, output: Current) -> tuple[int, float]:
    element = circuit._find(output.name)
    if output.winding == 2 and f"{output.name}/2" in circuit._elements:
        return tableau.currents[f"{output.name}/2", 1]
    if element.kind == "couple" or output.winding not in ((1, 2) if element.kind == "coupled" else (1,)):
        raise CircuitError(f"{output.name}: a {element.kind} has no current of winding {output.winding}")
    return tableau.currents[output.name, output.winding]
