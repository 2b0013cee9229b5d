"""Pivots chosen once from the pattern, then one list of updates run on whole arrays of (designs x frequencies).

Guard: every row of A x = b that the elimination altered is put together again from its own terms, and the componentwise
backward error |b - A x| / (|A| |x| + |b|) compared with `LIMIT`; a row that was used unchanged is satisfied by
construction. Where points fail, the same plan runs again with its residuals fed back; where they still do, the tree of
lowest impedances that holds there makes another plan, and in the end comes `filterlib.network.equations.dense`: pivoted, scaled,
refined. A few points alone go there first: that is sooner done than a plan is made.

Where rough answers do, as in a search whose ends are solved again, `SAMPLE` of the points are guarded, by `ROUGH`; where all of
these hold, all run without a guard, in less than half of the steps, and else all are guarded by that.

Source of the measure: W. Oettli and W. Prager, Numer. Math. 6 (1964) p. 405 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from filterlib.network.equations import dense
from filterlib.network.equations.pattern import Columns, Equations, Pattern, Values
from filterlib.network.equations.plan import LIMIT, Known, Plan
from filterlib.network.equations.tape import Program

CHUNK = 4096  # points at a time: the arrays of one run stay in the cache
Place: TypeAlias = tuple[slice | np.ndarray, ...]
TREES = 6  # trees tried before the dense solution
SOME = 9  # frequencies at which a tree is sought
FEW = 256  # designs whose single frequency is left to the dense way
TIRED = 2**17  # points at which a plan's guard does not hold, after which another is looked for: one costs some 30,000
SAMPLE, ROUGH = 256, 1e-9  # points that are guarded where rough answers do, and the backward error that they may have


def solve(
    equations: Equations,
    frequencies: np.ndarray,
    s: np.ndarray,
    right: Columns,
    wanted: tuple[int, ...],
    *,
    rough: bool = False,
) -> np.ndarray:
    """Solve (G + s C) x = b for all right-hand sides at once.

    Parameters
    ----------
    equations : those of a circuit
    frequencies : array (f,), handed to the callables [Hz]
    s : complex array (f,) [1/s]
    right : the right-hand sides, each as pairs of a row and its value
    wanted : the unknowns to return
    rough : whether some of the points stand for all in the guard

    Returns
    -------
    complex array (right, wanted, f) or (right, wanted, designs, f)

    Raises
    ------
    CircuitError
        Where the circuit has no solution.
    """
    values = equations.values(frequencies, s)
    out, good = attempt(equations, values, s, right, wanted, rough=rough)
    if not good.all():
        failed = np.nonzero(~good)
        there = [_take(v, failed) for v in values]
        x = dense.solve(equations.pattern, there, len(failed[0]), right)
        place: Place = (slice(None), slice(None), *failed)
        out[place] = x[:, list(wanted)]
    return out


def attempt(
    equations: Equations, values: Values, s: np.ndarray, right: Columns, wanted: tuple[int, ...], *, rough: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """As `solve`, from the symbols' values; and where the result is good: elsewhere it is 0."""
    pattern = equations.pattern
    shape = s.shape if equations.designs is None else (equations.designs, *s.shape)
    if s.size == 1 and np.prod(shape) <= FEW:
        count = equations.designs or 1
        there = [np.broadcast_to(v[..., 0], count) if isinstance(v, np.ndarray) else v for v in values]
        x, good = dense.attempt(pattern, there, count, right, LIMIT)
        if good.all():
            return x[:, list(wanted)].reshape(len(right), len(wanted), *shape), good.reshape(shape)
    values = [v.astype(complex, copy=False) if isinstance(v, np.ndarray) else v for v in values]
    out, good = _run(_plan_for(pattern, values, shape), values, shape, right, wanted, rough=rough)
    for _ in range(TREES):
        failed = np.nonzero(~good)
        if not len(failed[0]):
            break
        there = [_take(v, failed) for v in values]
        plan = _plan_at(pattern, there, (len(failed[0]),))
        part, fine = _run(plan, there, (len(failed[0]),), right, wanted)
        place: Place = (slice(None), slice(None), *failed)
        out[place] = part
        good[failed] = fine
        if not fine.any():
            break
    out[..., ~good] = 0.0
    return out, good


@lru_cache(maxsize=256)
def _plans_of(pattern: Pattern) -> list[Plan]:
    """The plans that were made for circuits of one structure, the first one first."""
    return []


def forget() -> None:
    """Drop all plans: the next circuits make theirs anew, as in a fresh process."""
    _plans_of.cache_clear()


def _plan_for(pattern: Pattern, values: Values, shape: tuple[int, ...]) -> Plan:
    """A plan that was made for this structure, or else one that would have served the others as well."""
    known, plans = tuple(_known(v) for v in values), _plans_of(pattern)
    for plan in plans:
        if all(a is None or a == b for a, b in zip(plan.known, known, strict=True)):
            return plan if plan.failed < TIRED else _instead(plan, pattern, values, shape)
    for plan in plans:
        known = tuple(b if a == b else None for a, b in zip(plan.known, known, strict=True))
    return _plan_at(pattern, values, shape, known)


def _instead(plan: Plan, pattern: Pattern, values: Values, shape: tuple[int, ...]) -> Plan:
    """In place of a plan that failed often, as where it was made at other frequencies, the one for these points; it is first from now on."""
    plan.failed, plans = 0, _plans_of(pattern)
    other = _plan_at(pattern, values, shape, plan.known)
    plans.remove(other)
    plans.insert(0, other)
    return other


def _plan_at(pattern: Pattern, values: Values, shape: tuple[int, ...], known: Known | None = None) -> Plan:
    """The plan for the tree that serves some of the points best, in the middle design."""
    some = np.unique(np.linspace(0, shape[-1] - 1, SOME).round().astype(int))
    where = (*(np.full(len(some), n // 2) for n in shape[:-1]), some)
    weights = pattern.weights([_take(v, where) for v in values], len(some))
    trees = dict.fromkeys(pattern.tree(order) for order in np.argsort(weights, axis=1, kind="stable"))
    tree = min(trees, key=lambda one: _growth(pattern, one, weights)) if len(trees) > 1 else next(iter(trees))
    known, plans = known or tuple(_known(v) for v in values), _plans_of(pattern)
    for plan in plans:
        if (plan.tree, plan.known) == (tree, known):
            return plan
    plans.append(Plan(pattern, tree, known))
    return plans[-1]


def _growth(pattern: Pattern, tree: tuple[int, ...], weights: np.ndarray) -> float:
    """How much the elimination with a tree may grow over points of given impedances (points, branches), in decades.

    Where the tree is right no impedance in it is above that of a branch outside whose loop it is in; elsewhere the
    largest such ratio is what the pivots' rows grow by. A decade costs nothing, by the limit of the guard.
    """
    inside = np.array(tree[: pattern.count]) - pattern.count
    outside = np.setdiff1d(np.arange(len(pattern.branches)), inside)
    shared = dense.loops(pattern, tree).unknowns[pattern.count + inside][:, outside] != 0
    logs = np.log10(np.clip(weights, 1e-30, 1e30))
    ratios = np.where(shared, logs[:, inside, None] - logs[:, None, outside], 0.0)
    return float(np.maximum(ratios.max(axis=(1, 2), initial=0.0), 1.0).mean())


def _run(
    plan: Plan, values: Values, shape: tuple[int, ...], right: Columns, wanted: tuple[int, ...], *, rough: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """Run a plan block by block: what is wanted, and which points are good.

    The points that fail are collected and run again with their residuals fed back; a block that mostly fails is at once,
    and so are those after it.
    """
    out = np.zeros((len(right), len(wanted), *shape), dtype=complex)
    good, done = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    refined, limit = False, _limit(plan, values, shape, right, wanted) if rough else LIMIT
    for block in _blocks(shape):
        part = values if good[block].shape == shape else [_cut(v, block) for v in values]
        place: Place = (slice(None), slice(None), *block)
        x, fine = out[place], good[block]
        if not refined:
            _step(plan.program(right, wanted, limit=limit), part, x, fine)
            refined = bool(2 * np.count_nonzero(fine) < fine.size)
        plan.failed += fine.size - (0 if refined else int(np.count_nonzero(fine)))
        if refined:
            _step(plan.program(right, wanted, refined=True), part, x, fine)
            done[block] = True
    failed = np.nonzero(~(good | done))
    for block in _blocks(failed[0].shape) if len(failed[0]) else ():
        some = tuple(index[block] for index in failed)
        x, fine = np.empty((len(right), len(wanted), len(some[0])), dtype=complex), np.empty(len(some[0]), dtype=bool)
        _step(plan.program(right, wanted, refined=True), [_take(v, some) for v in values], x, fine)
        place = (slice(None), slice(None), *some)
        out[place], good[some] = x, fine
    return out, good


def _limit(plan: Plan, values: Values, shape: tuple[int, ...], right: Columns, wanted: tuple[int, ...]) -> float | None:
    """What guards rough answers: nothing where they hold at some points, spread evenly over many."""
    count = int(np.prod(shape))
    if count < 4 * SAMPLE:
        return LIMIT
    some = np.unravel_index(np.linspace(0, count - 1, SAMPLE).astype(int), shape)
    x, fine = np.empty((len(right), len(wanted), SAMPLE), dtype=complex), np.empty(SAMPLE, dtype=bool)
    _step(plan.program(right, wanted, limit=ROUGH), [_take(v, some) for v in values], x, fine)
    return None if fine.all() else ROUGH


def _step(program: Program, values: Values, x: np.ndarray, good: np.ndarray) -> None:
    """Run a program once: into ``x`` (right, wanted, ...), and into ``good`` where that holds."""
    with np.errstate(all="ignore"):
        try:
            answers, fine = program.run(values)
        except ZeroDivisionError:  # a pivot made of plain numbers that cancel: no point is good
            good[...] = False
            return
    for index, answer in enumerate(answers):
        x[divmod(index, x.shape[1])] = answer
    good[...] = np.logical_and(fine, np.isfinite(x).all(axis=(0, 1)))


def _known(value: float | np.ndarray) -> float | None:
    """0 or 1 where a value is that number."""
    return None if isinstance(value, np.ndarray) or value not in (0, 1) else float(value)


def _blocks(shape: tuple[int, ...]) -> Iterator[tuple[slice, ...]]:
    """Slices that cut an array into blocks of about `CHUNK` points."""
    wide = min(shape[-1], CHUNK)
    tall = max(1, CHUNK // max(wide, 1))
    for first in range(0, shape[0], tall) if len(shape) > 1 else (None,):
        for start in range(0, shape[-1], wide):
            last = slice(start, min(start + wide, shape[-1]))
            yield (last,) if first is None else (slice(first, min(first + tall, shape[0])), last)


def _cut(value: float | np.ndarray, block: tuple[slice, ...]) -> float | np.ndarray:
    if not isinstance(value, np.ndarray):
        return value
    axes = zip(block[-value.ndim :], value.shape, strict=True)
    return value[tuple(part if size > 1 else slice(None) for part, size in axes)]


def _take(value: float | np.ndarray, index: tuple[np.ndarray, ...]) -> float | np.ndarray:
    """The values at some points, in one row."""
    if not isinstance(value, np.ndarray):
        return value
    axes = zip(index[-value.ndim :], value.shape, strict=True)
    return np.asarray(value[tuple(part if size > 1 else np.zeros_like(part) for part, size in axes)])
