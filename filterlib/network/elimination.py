"""Pivots chosen once from the pattern, then one list of updates run on whole arrays of (designs x frequencies).

Guard: every row of A x = b that the elimination altered is put together again from its own terms, and the componentwise
backward error |b - A x| / (|A| |x| + |b|) compared with `LIMIT`; a row that was used as it stood is satisfied by
construction. Points that fail are run again with the tree of lowest impedances that holds there, and in the end by
`filterlib.network.dense`: pivoted, scaled, refined.

Source of the measure: W. Oettli and W. Prager, Numer. Math. 6 (1964) p. 405 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from filterlib.network import dense
from filterlib.network.pattern import Columns
from filterlib.network.plan import Plan, make_plan
from filterlib.network.tableau import Tableau

LIMIT = 5e-14  # componentwise backward error that a point may have
CHUNK = 4096  # points at a time: the arrays of one run stay in the cache
TREES = 6  # trees tried before the dense solution


def solve(
    tableau: Tableau, frequencies: np.ndarray, s: np.ndarray, right: Columns, wanted: tuple[int, ...]
) -> np.ndarray:
    """Solve (G + s C) x = b for all right-hand sides at once.

    Parameters
    ----------
    tableau : the equations
    frequencies : array (f,), handed to the callables [Hz]
    s : complex array (f,) [1/s]
    right : the right-hand sides, each as pairs of a row and its value
    wanted : the unknowns to return

    Returns
    -------
    complex array (right, wanted, f) or (right, wanted, designs, f)

    Raises
    ------
    CircuitError
        Where the circuit has no solution.
    """
    values = tableau.values(frequencies, s)
    out, good = attempt(tableau, values, s, right, wanted)
    if not good.all():
        failed = np.nonzero(~good)
        there = [_take(v, failed) for v in values]
        everywhere: Any = (slice(None), slice(None), *failed)
        out[everywhere] = dense.solve(tableau.pattern, there, len(failed[0]), right)[:, list(wanted)]
    return out


def attempt(
    tableau: Tableau, values: list[Any], s: np.ndarray, right: Columns, wanted: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """As `solve`, from the symbols' values and without the dense way; and where the result is good."""
    values = [v.astype(complex, copy=False) if isinstance(v, np.ndarray) else v for v in values]
    shape = s.shape if tableau.designs is None else (tableau.designs, *s.shape)
    out = np.empty((len(right), len(wanted), *shape), dtype=complex)
    good = np.zeros(shape, dtype=bool)
    plan = _plan_at(tableau, values, shape, right, wanted)
    for block in _blocks(shape):
        place: Any = (..., *block)
        part = values if good[block].shape == shape else [_cut(v, block) for v in values]
        _run(plan, part, out[place], good[block])
    for _ in range(TREES):
        if good.all():
            break
        failed = np.nonzero(~good)
        part, fine = _retry(tableau, [_take(v, failed) for v in values], len(failed[0]), right, wanted)
        index = tuple(i[fine] for i in failed)
        out[(slice(None), slice(None), *index)] = part[..., fine]
        good[index] = True
        if not fine.any():
            break
    out[..., ~good] = 0.0
    return out, good


def _retry(tableau: Tableau, values: list[Any], count: int, right: Columns, wanted: tuple[int, ...]) -> Any:
    """One more run at points that failed, in one row, with the tree that holds in the middle one."""
    part, fine = np.empty((len(right), len(wanted), count), dtype=complex), np.zeros(count, dtype=bool)
    plan = _plan_at(tableau, values, (count,), right, wanted, refined=True)
    for block in _blocks((count,)):
        place: Any = (..., *block)
        _run(plan, [_cut(v, block) for v in values], part[place], fine[block])
    return part, fine


def _plan_at(
    tableau: Tableau, values: list[Any], shape: tuple[int, ...], right: Columns, wanted: Any, *, refined: bool = False
) -> Plan:
    """The plan for the tree that holds at the middle point."""
    middle = tuple(np.array([n // 2]) for n in shape)
    there = [v if np.ndim(v) == 0 else _take(v, middle)[0] for v in values]
    pattern = tableau.pattern
    tree = pattern.tree(np.argsort(pattern.weights(there, 1)[0], kind="stable"))
    return make_plan(pattern.size, pattern.terms, tree, tuple(_sort(v) for v in values), right, wanted, refined)


def _run(plan: Plan, values: list[Any], out: np.ndarray, good: np.ndarray) -> None:
    """Run a plan on one block, and write what is wanted and which points are good."""
    with np.errstate(all="ignore"):
        try:
            answers, fine = plan(values, LIMIT)
        except ZeroDivisionError:  # a pivot made of plain numbers that cancel: no point is good
            return
    for row, right in zip(out, answers, strict=True):
        for place, answer in zip(row, right, strict=True):
            place[...] = answer
    good[...] = fine & np.isfinite(out).all(axis=(0, 1))


def _sort(value: Any) -> int:
    """What a plan has to know of a value: -2 zero, -1 one, else bit 0 if it varies along the last axis, bit 1 the first."""
    if not isinstance(value, np.ndarray):
        return -2 if value == 0 else -1 if value == 1 else 0
    return (value.shape[-1] > 1) + 2 * (value.ndim > 1)


def _blocks(shape: tuple[int, ...]) -> Iterator[tuple[slice, ...]]:
    """Slices that cut an array into blocks of about `CHUNK` points."""
    wide = min(shape[-1], CHUNK)
    tall = max(1, CHUNK // max(wide, 1))
    for first in range(0, shape[0], tall) if len(shape) > 1 else (None,):
        for start in range(0, shape[-1], wide):
            last = slice(start, min(start + wide, shape[-1]))
            yield (last,) if first is None else (slice(first, min(first + tall, shape[0])), last)


def _cut(value: Any, block: tuple[slice, ...]) -> Any:
    if not isinstance(value, np.ndarray):
        return value
    axes = zip(block[-value.ndim :], value.shape, strict=True)
    return value[tuple(part if size > 1 else slice(None) for part, size in axes)]


def _take(value: Any, index: tuple[np.ndarray, ...]) -> Any:
    """The values at some points, in one row."""
    if not isinstance(value, np.ndarray):
        return value
    axes = zip(index[-value.ndim :], value.shape, strict=True)
    return value[tuple(part if size > 1 else np.zeros_like(part) for part, size in axes)]
