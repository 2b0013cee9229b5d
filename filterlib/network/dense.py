"""The slow and careful way to solve a tableau at single points: scaled by its tree, pivoted, refined.

With the voltages of the tree's branches and the currents of all others as unknowns, every branch law has its own unknown
with the largest coefficient once voltages are measured in sqrt(Z) and currents in 1/sqrt(Z) of their branch, since the
tree holds the lowest impedances. The entries are then 1 and below over any spread of values, and what is ill-conditioned
in the scaled matrix is a resonance and not a choice of units.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.plan import Columns
from filterlib.network.tableau import OPEN, Branch, Tableau

GOOD = 1e-15  # backward error that needs no more refinement
LIMIT = 1e-9  # backward error from which a point counts as having no solution
BLOCK = 2**20  # matrix entries at a time
_ROUNDS = 4


def assemble(tableau: Tableau, values: list[Any], count: int) -> np.ndarray:
    """The matrices A of ``count`` points, from values that are numbers or arrays (count,): array (count, n, n)."""
    kind = complex if any(np.iscomplexobj(v) for v in values) else float
    a = np.zeros((count, tableau.size, tableau.size), dtype=kind)
    for term in tableau.terms:
        a[:, term.row, term.column] += term.sign * values[term.symbol]
    return a


def right_sides(size: int, right: Columns) -> np.ndarray:
    """The right-hand sides as columns: array (n, right)."""
    b = np.zeros((size, len(right)))
    for index, pairs in enumerate(right):
        for row, value in pairs:
            b[row, index] += value
    return b


def backward_error(a: np.ndarray, x: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Componentwise backward error max |b - A x| / (|A| |x| + |b|): arrays (..., n, n), (..., n, r), (n, r) -> (...)."""
    scale = abs(a) @ abs(x) + abs(b)
    residual = abs(b - a @ x)
    return np.where(residual == 0, 0.0, residual / np.where(scale == 0, 1.0, scale)).max(axis=(-2, -1))


@lru_cache(maxsize=256)
def loops(branches: tuple[Branch, ...], count: int, tree: tuple[int, ...]) -> np.ndarray:
    """All unknowns from the tree's voltages and the other branches' currents: array (n, branches) of -1, 0 and 1."""
    incidence = np.zeros((count, len(branches)))
    for index, branch in enumerate(branches):
        for node, sign in ((branch.a, 1.0), (branch.b, -1.0)):
            if node >= 0:
                incidence[node, index] = sign
    inside = [column - count for column in tree[:count]]
    outside = [index for index in range(len(branches)) if index not in inside]
    basis = np.zeros((count + len(branches), len(branches)))
    basis[:count, inside] = np.round(np.linalg.inv(incidence[:, inside].T))
    basis[np.ix_([count + i for i in inside], outside)] = -np.round(
        np.linalg.solve(incidence[:, inside], incidence[:, outside])
    )
    basis[[count + i for i in outside], outside] = 1.0
    return basis


def scales(tableau: Tableau, tree: tuple[int, ...], weights: np.ndarray) -> np.ndarray:
    """The natural sizes of the unknowns of `loops`: sqrt(Z) in the tree, 1/sqrt(Z) outside, as powers of two.

    Impedances ``weights`` and the result are arrays (p, branches).
    """
    real = (weights > 0) & (weights < OPEN)
    low = np.where(real, weights, np.inf).min(axis=1, keepdims=True, initial=np.inf)
    high = np.where(real, weights, 0.0).max(axis=1, keepdims=True, initial=0.0)
    none = high == 0
    size = np.sqrt(np.clip(weights, np.where(none, 1.0, low), np.where(none, 1.0, high)))
    inside = np.isin(np.arange(weights.shape[1]), np.array(tree[: len(tableau.nodes)]) - len(tableau.nodes))
    return np.exp2(np.round(np.log2(np.where(inside, size, 1 / size))))


def solve(tableau: Tableau, values: list[Any], count: int, right: Columns, *, feed_back: bool = True) -> np.ndarray:
    """Solve ``count`` points: complex array (right, n, count).

    Parameters
    ----------
    values : per symbol a number or an array (count,)
    feed_back : as in `solve_tree`

    Raises
    ------
    CircuitError
        Where no x has a small residual: the circuit contradicts itself there.
    """
    weights = tableau.weights(values, count)
    groups: dict[tuple[int, ...], list[int]] = {}
    for index, order in enumerate(np.argsort(weights, axis=1, kind="stable")):
        groups.setdefault(tuple(order), []).append(index)
    b = right_sides(tableau.size, right)
    out = np.empty((len(right), tableau.size, count), dtype=complex)
    step = max(1, BLOCK // tableau.size**2)
    for order, members in groups.items():
        tree = tableau.tree(order)
        for start in range(0, len(members), step):
            part = np.array(members[start : start + step])
            a = assemble(tableau, [v[part] if isinstance(v, np.ndarray) else v for v in values], len(part))
            x, _ = solve_tree(tableau, tree, a, scales(tableau, tree, weights[part]), b, feed_back=feed_back)
            out[..., part] = np.moveaxis(x, 0, -1).swapaxes(0, 1)
    return out


def solve_tree(
    tableau: Tableau, tree: tuple[int, ...], a: np.ndarray, size: np.ndarray, b: np.ndarray, *, feed_back: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Solve points of one tree.

    Parameters
    ----------
    a, size, b : arrays (p, n, n), of `scales` (p, branches), and (n, r)
    feed_back : whether residuals of the whole tableau are fed back until they are at the rounding. Not where s is so
        small or large that the rounding of a node's voltage would drive a current of its own.

    Returns
    -------
    x (p, n, r), and the same in the unknowns of `loops`, (p, branches, r)
    """
    frame = _Frame(tableau, tree, a, size)
    x, u = frame.solve(np.broadcast_to(b, (len(a), *b.shape)))
    if feed_back:
        error = backward_error(a, x, b)
        for _ in range(_ROUNDS):
            if not (error > GOOD).any():
                break
            dx, du = frame.solve(b - a @ x)
            found = backward_error(a, x + dx, b)
            better = (found < error)[:, None, None]
            x, u, error = np.where(better, x + dx, x), np.where(better, u + du, u), np.fmin(found, error)
    for point in range(len(a)):
        if not frame.residual(point, u[point], b) <= LIMIT:
            x[point], u[point] = frame.spread(point, b)
            if not frame.residual(point, u[point], b) <= LIMIT:
                raise CircuitError(_culprit(tableau, frame.scaled[point]))
    return x, u


class _Frame:
    """The branch laws of some points in the unknowns of `loops`, scaled."""

    def __init__(self, tableau: Tableau, tree: tuple[int, ...], a: np.ndarray, size: np.ndarray) -> None:
        self.count = len(tableau.nodes)
        self.basis = loops(tableau.branches, self.count, tree)
        inside = np.array(tree[: self.count], dtype=int)
        self.inject = np.zeros((tableau.size, self.count))  # what is put into the nodes leaves through the tree
        self.inject[inside] = np.round(np.linalg.inv(a[0, : self.count, inside].real.T)) if self.count else 0.0
        self.law = a[:, self.count :]
        scaled = self.law @ self.basis * size[:, None, :]
        largest = abs(scaled).max(axis=-1, keepdims=True)
        self.rows = np.where(largest == 0, 1.0, largest)  # 0 = 0: of two equal windings in parallel, perfectly coupled
        self.scaled, self.size = scaled / self.rows, size[..., None]

    def solve(self, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Unknowns of the tableau and of `loops` for right-hand sides (p, n, r)."""
        current = self.inject @ b[:, : self.count]
        target = (b[:, self.count :] - self.law @ current) / self.rows
        u = _lu(self.scaled, target)
        for _ in range(2):
            u = u + _lu(self.scaled, target - self.scaled @ u)
        u = self.size * u
        return self.basis @ u + current, u

    def _target(self, point: int, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        current = self.inject @ b[: self.count]
        return (b[self.count :] - self.law[point] @ current) / self.rows[point], current

    def residual(self, point: int, u: np.ndarray, b: np.ndarray) -> float:
        """What a solution leaves of the laws, by the largest unknown: a current that is truly 0 may carry rounding."""
        target, _ = self._target(point, b)
        scaled = u / self.size[point]
        largest = abs(scaled).max(axis=0) + abs(target).max(axis=0)
        return float(
            (abs(target - self.scaled[point] @ scaled) / np.where(largest == 0, 1.0, largest)).max(initial=0.0)
        )

    def spread(self, point: int, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same at one point, by least squares where the laws leave a current or a voltage open."""
        target, current = self._target(point, b)
        u = self.size[point] * np.linalg.lstsq(self.scaled[point], target, rcond=1e-13)[0]
        return self.basis @ u + current, u


def _lu(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    try:
        return np.linalg.solve(a, b)
    except np.linalg.LinAlgError:
        if len(a) == 1:
            return np.full(b.shape, np.nan, dtype=a.dtype)
        half = len(a) // 2
        return np.concatenate([_lu(a[:half], b[:half]), _lu(a[half:], b[half:])])


def _culprit(tableau: Tableau, m: np.ndarray) -> str:
    """The branch whose voltage or current the equations leave open, from the null vector."""
    index = int(np.argmax(abs(np.linalg.svd(m)[2][-1])))
    return f"the circuit has no solution: nothing fixes the voltage or the current of {tableau.branches[index].name}"
