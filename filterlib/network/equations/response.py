"""Sums of a circuit's unknowns at any frequencies, and their limits at zero and at infinity."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.equations import dense
from filterlib.network.equations.elimination import attempt, solve
from filterlib.network.equations.pattern import Columns, Equations, Sum
from filterlib.network.netlist import Output

SLAB = 2**18  # points that are solved at a time: each takes a few complex numbers of memory while it is
NEAR_ZERO = 1e-60  # s in place of f = 0: far below every time constant, far above the smallest number [1/s]


def at_frequencies(
    equations: Equations, f: np.ndarray, right: Columns, sums: Sequence[Sum], *, rough: bool = False
) -> np.ndarray:
    """Sums of unknowns for every right-hand side, with the exact limit at f = 0; ``rough`` as in `elimination.solve`.

    Returns
    -------
    complex array (right, sums, f) or (right, sums, designs, f); inf where a sum has no bound at f = 0

    Raises
    ------
    CircuitError
        Where the circuit has no solution, or a callable says nothing usable.
    """
    if equations.designs and equations.designs * f.size > SLAB and equations.divisible:
        return _in_slabs(equations, f, right, sums, rough=rough)
    if f.size and f.all():
        wanted = unknowns_of(sums)
        return _summed(wanted, sums, solve(equations, f, 2j * np.pi * f, right, wanted, rough=rough))
    moving = f > 0
    answers = np.empty((len(right), len(sums), *shape_of(equations, f)), dtype=complex)
    if moving.any():
        answers[..., moving] = at_frequencies(equations, f[moving], right, sums)
    if not moving.all():
        answers[..., ~moving] = _at_rest(equations, right, sums)
    return answers


def ends(
    equations: Equations, right: Columns, sums: Sequence[Sum], outputs: Sequence[Output], order: int
) -> np.ndarray:
    """Per design the transfer at s = 0 (inf where it has none), at s = inf, and times s near 0.

    Parameters
    ----------
    outputs : what the sums are called in a message
    order : 1 of a step, 0 of an impulse

    Returns
    -------
    array (designs, sources, outputs, 3)

    Raises
    ------
    CircuitError
        For an output that holds an impulse at t = 0.
    """
    parts = [_at_rest(equations, right, sums), _limits(equations, 1 / NEAR_ZERO, 1e3 / NEAR_ZERO, right, sums)]
    coefficients = np.stack([*parts, _close(equations, NEAR_ZERO, right, sums) * NEAR_ZERO], axis=-1).real
    coefficients = coefficients.reshape(len(right), len(sums), -1, 3)
    for index, one in enumerate(outputs):
        top = coefficients[:, index, :, 1]
        if np.isinf(top).any() or (order == 0 and top.any()):
            raise CircuitError(f"{one!r}: this output holds an impulse at t = 0, which has no value there")
    return np.moveaxis(coefficients, 2, 0)


def shape_of(equations: Equations, f: np.ndarray) -> tuple[int, ...]:
    """The shape of an answer at frequencies (f,)."""
    return f.shape if equations.designs is None else (equations.designs, *f.shape)


def unknowns_of(sums: Sequence[Sum]) -> tuple[int, ...]:
    """The unknowns that sums are made of."""
    return tuple(sorted({at for one in sums for at, _ in one}))


def _in_slabs(equations: Equations, f: np.ndarray, right: Columns, sums: Sequence[Sum], *, rough: bool) -> np.ndarray:
    """The same, some designs at a time, so that little more than the answers is held: array (right, sums, designs, f)."""
    count = equations.designs or 0
    step = max(1, SLAB // f.size)
    answers = np.empty((len(right), len(sums), count, f.size), dtype=complex)
    for start in range(0, count, step):
        chosen = slice(start, start + step)
        answers[:, :, chosen] = at_frequencies(equations.part(chosen), f, right, sums, rough=rough)
    return answers


def _summed(wanted: tuple[int, ...], sums: Sequence[Sum], x: np.ndarray) -> np.ndarray:
    """Sums of the ``wanted`` unknowns, array (right, wanted, ...) -> (right, sums, ...)."""
    place = {at: i for i, at in enumerate(wanted)}
    answers = np.zeros((len(x), len(sums), *x.shape[2:]), dtype=complex)
    for index, one in enumerate(sums):
        for at, factor in one:
            answers[:, index] += factor * x[:, place[at]]
    return answers


def _at_rest(equations: Equations, right: Columns, sums: Sequence[Sum]) -> np.ndarray:
    """The sums at s = 0: array (right, sums, 1) or (right, sums, designs, 1)."""
    zero, wanted = np.zeros(1), unknowns_of(sums)
    x, good = attempt(equations, equations.values(zero, zero), zero, right, wanted)
    answers = _summed(wanted, sums, x)
    if not good.all():
        answers[..., ~good] = _limits(equations, NEAR_ZERO, NEAR_ZERO / 1e3, right, sums)[..., ~good]
    return answers


def _limits(equations: Equations, first: float, second: float, right: Columns, sums: Sequence[Sum]) -> np.ndarray:
    """Limits of the sums from two s on the way: array (right, sums, 1) or (right, sums, designs, 1)."""
    near, nearer = (_close(equations, s, right, sums) for s in (first, second))
    return np.where(abs(nearer) > 30 * abs(near), np.inf, np.where(30 * abs(nearer) < abs(near), 0.0, nearer))


def _close(equations: Equations, s: float, right: Columns, sums: Sequence[Sum]) -> np.ndarray:
    """The sums at an s compared with which every value is large, or small: array (right, sums, 1) or (right, sums, designs, 1)."""
    count = equations.designs or 1
    values = [v[..., 0] if isinstance(v, np.ndarray) else v for v in equations.values(np.zeros(1), np.full(1, s))]
    values = [np.broadcast_to(v, count) if isinstance(v, np.ndarray) else v for v in values]
    x = dense.solve(equations.pattern, values, count, right, feed_back=False)
    answers = _summed(tuple(range(equations.pattern.size)), sums, x)
    return answers[..., None] if equations.designs else answers
