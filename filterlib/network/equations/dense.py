"""The slow and careful way to solve a pattern at single points: scaled by its tree, pivoted, refined.

With the voltages of the tree's branches and the currents of all others as unknowns, every branch law has its own unknown
with the largest coefficient once voltages are measured in sqrt(Z) and currents in 1/sqrt(Z) of their branch, since the
tree holds the lowest impedances. The entries are then 1 and below over any spread of values, and what is ill-conditioned
in the scaled matrix is a resonance and not a choice of units.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.counts import COUNTS
from filterlib.network.equations.pattern import OPEN, Columns, Pattern, Values

GOOD = 1e-15  # backward error that needs no more refinement
LIMIT = 1e-9  # backward error from which a point counts as having no solution
SINGULAR = 1e10  # unknowns in their natural sizes that a drive of about 1 may not exceed
BLOCK = 2**20  # matrix entries at a time
_ROUNDS = 4


def assemble(pattern: Pattern, values: Values, count: int) -> np.ndarray:
    """The matrices A of ``count`` points, from values that are numbers or arrays (count,): array (count, n, n)."""
    return _scattered(_entries(pattern), (count, pattern.size, pattern.size), values)


def assemble_laws(pattern: Pattern, values: Values, count: int) -> np.ndarray:
    """The branch laws in terms of the branches' voltages and currents: array (count, branches, 2 branches).

    A voltage is not split into those of its nodes: two of coupled windings that share a node would leave rounding there.
    """
    width = len(pattern.branches)
    return _scattered(_law_entries(pattern), (count, width, 2 * width), values)


def _scattered(entries: np.ndarray, shape: tuple[int, int, int], values: Values) -> np.ndarray:
    """Matrices of a shape (count, rows, columns) from ``entries``: row, column, sign and symbol of each, one below the other."""
    kind = complex if any(np.iscomplexobj(v) for v in values) else float
    rows, columns, signs, symbols = entries
    stacked = np.empty((len(values), shape[0]), dtype=kind)
    for symbol, value in enumerate(values):
        stacked[symbol] = value
    matrices = np.zeros(shape, dtype=kind)
    place: tuple[slice | np.ndarray, ...] = (slice(None), rows, columns)
    np.add.at(matrices, place, stacked[symbols].T * signs)  # type: ignore[arg-type]
    return matrices


@lru_cache(maxsize=256)
def _entries(pattern: Pattern) -> np.ndarray:
    """Of `assemble`."""
    return np.array([term[:4] for term in pattern.terms]).T


@lru_cache(maxsize=256)
def _law_entries(pattern: Pattern) -> np.ndarray:
    """Of `assemble_laws`."""
    first, width = pattern.count, len(pattern.branches)
    entries = []
    for term in pattern.terms:
        if term.branch >= 0:
            branch = pattern.branches[term.branch]
            if term.column == branch.a or branch.a < 0:  # one end of the two says it all
                sign = term.sign if term.column == branch.a else -term.sign
                entries.append((term.row - first, term.branch, sign, term.symbol))
        elif term.row >= first:
            entries.append((term.row - first, width + term.column - first, term.sign, term.symbol))
    return np.array(entries, dtype=int).reshape(-1, 4).T


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
    return np.asarray(np.where(residual == 0, 0.0, residual / np.where(scale == 0, 1.0, scale)).max(axis=(-2, -1)))


class Loops(NamedTuple):
    """What the tree's voltages and the other branches' currents make, in numbers -1, 0 and 1.

    ``unknowns`` of the pattern, array (n, branches); ``branches``: voltages, then currents, (2 branches, branches);
    ``inject``: what is put into the nodes leaves through the tree, (branches, nodes).
    """

    unknowns: np.ndarray
    branches: np.ndarray
    inject: np.ndarray


@lru_cache(maxsize=256)
def loops(pattern: Pattern, tree: tuple[int, ...]) -> Loops:
    """Loops and cuts of a tree, given by the columns of the pivots of the nodes' rows."""
    branches, count = pattern.branches, pattern.count
    incidence = np.zeros((count, len(branches)))
    for index, branch in enumerate(branches):
        for node, sign in ((branch.a, 1.0), (branch.b, -1.0)):
            if node >= 0:
                incidence[node, index] = sign
    inside = [column - count for column in tree[:count]]
    outside = [index for index in range(len(branches)) if index not in inside]
    inverse = np.round(np.linalg.inv(incidence[:, inside]))
    unknowns = np.zeros((count + len(branches), len(branches)))
    unknowns[:count, inside] = inverse.T
    unknowns[np.ix_([count + i for i in inside], outside)] = -inverse @ incidence[:, outside]
    unknowns[[count + i for i in outside], outside] = 1.0
    inject = np.zeros((len(branches), count))
    inject[inside] = inverse
    return Loops(unknowns, np.vstack([incidence.T @ unknowns[:count], unknowns[count:]]), inject)


def scales(pattern: Pattern, tree: tuple[int, ...], weights: np.ndarray) -> np.ndarray:
    """The natural sizes of the unknowns of `loops`: sqrt(Z) in the tree, 1/sqrt(Z) outside, as powers of two.

    Impedances ``weights`` and the result are arrays (p, branches).
    """
    real = (weights > 0) & (weights < OPEN)
    low = np.where(real, weights, np.inf).min(axis=1, keepdims=True, initial=np.inf)
    high = np.where(real, weights, 0.0).max(axis=1, keepdims=True, initial=0.0)
    none = high == 0
    size = np.sqrt(np.clip(weights, np.where(none, 1.0, low), np.where(none, 1.0, high)))
    inside = np.isin(np.arange(weights.shape[1]), np.array(tree[: pattern.count]) - pattern.count)
    return np.asarray(np.exp2(np.round(np.log2(np.where(inside, size, 1 / size)))))


def solve(pattern: Pattern, values: Values, count: int, right: Columns, *, feed_back: bool = True) -> np.ndarray:
    """Solve ``count`` points: complex array (right, n, count).

    Parameters
    ----------
    values : per symbol a number or an array (count,)
    feed_back : whether to feed back residuals of the whole pattern, as in `solve_tree`

    Raises
    ------
    CircuitError
        Where no x has a small residual: the circuit contradicts itself there.
    """
    weights = pattern.weights(values, count)
    groups: dict[tuple[int, ...], list[int]] = {}
    for index, order in enumerate(np.argsort(weights, axis=1, kind="stable")):
        groups.setdefault(tuple(order), []).append(index)
    b = right_sides(pattern.size, right)
    out = np.empty((len(right), pattern.size, count), dtype=complex)
    step = max(1, BLOCK // pattern.size**2)
    for order, members in groups.items():
        tree = pattern.tree(order)
        for start in range(0, len(members), step):
            part = np.array(members[start : start + step])
            there = [v[part] if isinstance(v, np.ndarray) else v for v in values]
            laws, size = assemble_laws(pattern, there, len(part)), scales(pattern, tree, weights[part])
            whole = assemble(pattern, there, len(part)) if feed_back else None
            x, _ = solve_tree(pattern, tree, laws, size, b, whole)
            out[..., part] = np.moveaxis(x, 0, -1).swapaxes(0, 1)
    return out


def attempt(
    pattern: Pattern, values: Values, count: int, right: Columns, limit: float
) -> tuple[np.ndarray, np.ndarray]:
    """As `solve`, with the tree of the middle point for all of them: array (right, n, count), and where it is good.

    Good is a point whose backward error keeps the limit, and whose matrix is far from singular: a right-hand side that
    drives everything by about as much is not answered by unknowns `SINGULAR` times as large.
    """
    weights = pattern.weights(values, count)
    tree = pattern.tree(np.argsort(weights[count // 2], kind="stable"))
    b, whole = right_sides(pattern.size, right), assemble(pattern, values, count)
    COUNTS.dense += count
    frame = _Frame(pattern, tree, assemble_laws(pattern, values, count), scales(pattern, tree, weights), b)
    with np.errstate(all="ignore"):
        x, _ = frame.solve(np.broadcast_to(b, (count, *b.shape)))
        x = x + frame.solve(b - whole @ x)[0]
        good = (backward_error(whole, x, b) <= limit) & (frame.probed() < SINGULAR) & np.isfinite(x).all(axis=(-2, -1))
    return np.moveaxis(x, 0, -1).swapaxes(0, 1), good


def solve_tree(
    pattern: Pattern,
    tree: tuple[int, ...],
    laws: np.ndarray,
    size: np.ndarray,
    b: np.ndarray,
    whole: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Solve points of one tree.

    Parameters
    ----------
    laws, size, b : arrays of `assemble_laws` (p, branches, 2 branches), of `scales` (p, branches), and (n, r)
    whole : array of `assemble` (p, n, n), whose residuals are then fed back until they are at the rounding. Not where s
        is so small or large that the rounding of a node's voltage would drive a current of its own.

    Returns
    -------
    x (p, n, r), and the same in the unknowns of `loops`, (p, branches, r)

    Raises
    ------
    CircuitError
        Where no x has a small residual, naming what the equations leave open.
    """
    COUNTS.dense += len(laws)
    frame = _Frame(pattern, tree, laws, size, b)
    x, u = frame.solve(np.broadcast_to(b, (len(laws), *b.shape)))
    if whole is not None:
        error = backward_error(whole, x, b)
        for _ in range(_ROUNDS):
            if not (error > GOOD).any():
                break
            dx, du = frame.solve(b - whole @ x)
            refined = backward_error(whole, x + dx, b)
            better = (refined < error)[:, None, None]
            x, u, error = np.where(better, x + dx, x), np.where(better, u + du, u), np.fmin(refined, error)
    for point in range(len(laws)):
        if not frame.residual(point, u[point], b) <= LIMIT:
            x[point], u[point] = frame.spread(point, b)
            if not frame.residual(point, u[point], b) <= LIMIT:
                raise CircuitError(_culprit(pattern, frame.scaled[point]))
    return x, u


class _Frame:
    """The branch laws of some points in the unknowns of `loops`, scaled; what nothing drives is exactly 0 and left out."""

    def __init__(
        self, pattern: Pattern, tree: tuple[int, ...], laws: np.ndarray, size: np.ndarray, b: np.ndarray
    ) -> None:
        self.count = pattern.count
        self.loops = loops(pattern, tree)
        self.driven = laws[..., laws.shape[1] :] @ self.loops.inject  # by what is put into the nodes
        scaled = laws @ self.loops.branches * size[:, None, :]
        largest = abs(scaled).max(axis=-1, keepdims=True)
        self.rows = np.where(largest == 0, 1.0, largest)  # 0 = 0: of two equal windings in parallel, perfectly coupled
        self.scaled, self.size = scaled / self.rows, size[..., None]
        self.kept = _moving((self.scaled != 0).any(axis=0), (self._right(b) != 0).any(axis=(0, 2)))

    def _right(self, b: np.ndarray) -> np.ndarray:
        return np.asarray((b[..., self.count :, :] - self.driven @ b[..., : self.count, :]) / self.rows)

    def solve(self, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Unknowns of the pattern and of `loops` for right-hand sides (p, n, r) that drive no more than the first."""
        rows, columns = self.kept
        target, a = self._right(b)[:, rows], self.scaled[:, rows][:, :, columns]
        u = _lu(a, target)
        for _ in range(2):
            u = u + _lu(a, target - a @ u)
        whole = np.zeros((len(a), self.scaled.shape[-1], b.shape[-1]), dtype=u.dtype)
        whole[:, columns] = u
        return self._both(self.size * whole, b)

    def probed(self) -> np.ndarray:
        """How large the largest unknown is where about 1 drives every row: by point, large where nearly singular."""
        rows, columns = self.kept
        everything = np.cos(np.arange(len(rows)) ** 2)[:, None]
        unknowns = abs(_lu(self.scaled[:, rows][:, :, columns], everything))
        return np.asarray(unknowns.max(axis=(-2, -1), initial=0.0))

    def _both(self, u: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x = self.loops.unknowns @ u
        x[..., self.count :, :] += self.loops.inject @ b[..., : self.count, :]
        return x, u

    def residual(self, point: int, u: np.ndarray, b: np.ndarray) -> float:
        """What a solution leaves of the laws, by the largest unknown: a current that is truly 0 may carry rounding."""
        target = self._right(b)[point]
        scaled = u / self.size[point]
        largest = abs(scaled).max(axis=0) + abs(target).max(axis=0)
        return float(
            (abs(target - self.scaled[point] @ scaled) / np.where(largest == 0, 1.0, largest)).max(initial=0.0)
        )

    def spread(self, point: int, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same at one point, by least squares where the laws leave a current or a voltage open."""
        u = np.linalg.lstsq(self.scaled[point], self._right(b)[point], rcond=1e-13)[0]
        return self._both(self.size[point] * u, b)


def _moving(there: np.ndarray, driven: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The rows and columns that are left when a row of one unknown that nothing drives has set that to 0, again and again.

    ``there``: where the matrix has an entry at any point, (n, n); ``driven``: which rows have a right-hand side, (n,).
    """
    rows, columns = np.ones(len(there), dtype=bool), np.ones(len(there), dtype=bool)
    while True:
        single = np.nonzero(rows & ~driven & ((there & columns).sum(axis=1) == 1))[0]
        still, first = np.unique((there[single] & columns).argmax(axis=1), return_index=True)
        if not len(still):
            return np.nonzero(rows)[0], np.nonzero(columns)[0]
        rows[single[first]], columns[still] = False, False


def _lu(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    try:
        return np.linalg.solve(a, b)
    except np.linalg.LinAlgError:
        if len(a) == 1:
            return np.full(b.shape, np.nan, dtype=a.dtype)
        half = len(a) // 2
        return np.concatenate([_lu(a[:half], b[:half]), _lu(a[half:], b[half:])])


def _culprit(pattern: Pattern, m: np.ndarray) -> str:
    """The branch whose voltage or current the equations leave open, from the null vector."""
    index = int(np.argmax(abs(np.linalg.svd(m)[2][-1])))
    return f"the circuit has no solution: nothing fixes the voltage or the current of {pattern.branches[index].name}"
