"""Poles and residues over any spread, from several shifts.

The memory of a circuit is in the charges and fluxes w = C x of its dynamic rows. With X = (G + sigma C)^-1 the map
T = C X U from memory to memory (U: the dynamic rows) has the eigenvalues 1/(sigma - s), one for each pole s, and 0 for
what is no pole: a capacitor across an ideal source, the leakage of a perfect transformer. Measured in the square root of
energy, that 0 is not defective and stays apart from the others. A shift is good to rounding for poles within a decade
of it or so: the decades are divided into bands, each with its own shift in the middle, and a band keeps its own poles.

sigma T at a shift above all poles is a projector on the finite ones, below all on those at zero: their traces are the
two numbers of poles, which the bands have to find.

Source: shift and invert, e.g. Y. Saad, Numerical Methods for Large Eigenvalue Problems (1992) ch. 8 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.equations import dense
from filterlib.network.equations.pattern import ONE, Columns, Equations, Sum

FAR = 1e40  # a shift above (and 1/FAR below) every pole [1/s]
BAND = 2.0  # decades to a band
DEFECTIVE = 1e5  # condition of an eigenvector from which a band is treated as one block


@dataclass(frozen=True)
class Band:
    """The poles near one shift, as a small system x' = A x + B u, y = C x.

    Attributes: ``poles`` (k,) [1/s]; ``condition`` (k,) of their eigenvectors; ``matrix`` A (k, k), or None where it is
    diagonal; ``inputs`` B (k, sources); ``outputs`` C (unknowns, k).
    """

    poles: np.ndarray
    condition: np.ndarray
    matrix: np.ndarray | None
    inputs: np.ndarray
    outputs: np.ndarray


class Memory:
    """The pencil of one design, and its map T from memory to memory at a shift."""

    def __init__(self, equations: Equations, design: int = 0) -> None:
        self.pattern = equations.pattern
        values, growth = equations.of_design(design)
        still = [0.0 if g else v for g, v in zip(growth, values, strict=True)]
        moving = [v if g else 0.0 for g, v in zip(growth, values, strict=True)]
        self.g, self.c = (dense.assemble_laws(self.pattern, part, 1)[0] for part in (still, moving))
        self.values, self.growth = values, growth
        energy = np.array([values[b.symbol] if growth[b.symbol] else 0.0 for b in self.pattern.branches])
        self.rows = np.nonzero(energy > 0)[0]
        self.root = np.sqrt(energy[energy > 0])

    def at(self, shift: float, right: np.ndarray | None = None) -> tuple[np.ndarray, ...]:
        """T, X U and, for right-hand sides (n, r), X b and C X b: all in roots of energy."""
        pattern, count = self.pattern, len(self.rows)
        weights = pattern.weights([v * shift if g else v for g, v in zip(self.growth, self.values, strict=True)], 1)
        tree = pattern.tree(np.argsort(weights[0], kind="stable"))
        size = dense.scales(pattern, tree, weights)
        b = np.zeros((pattern.size, count))
        b[pattern.count + self.rows, range(count)] = self.root
        if right is not None:
            b = np.hstack([b, right])
        x, u = dense.solve_tree(pattern, tree, (self.g + shift * self.c)[None], size, b)
        parts = dense.loops(pattern, tree).branches @ u[0]
        memory = (self.c[self.rows] @ parts) / self.root[:, None]
        return memory[:, :count], x[0][:, :count], x[0][:, count:], memory[:, count:]

    def count(self, shift: float) -> int:
        """Poles far inside the circle of a shift, for shifts far from all others."""
        if not len(self.rows):
            return 0
        return round(float(np.trace(self.at(shift)[0])) * shift)

    def reach(self) -> tuple[float, float]:
        """Decades between which every pole but those at zero may lie: the extremes of R C, L / R and sqrt(L C)."""
        sizes: dict[str, list[float]] = {"z": [], "y": [], "l": [], "c": []}
        for branch in self.pattern.branches:
            value = abs(self.values[branch.symbol])
            if branch.form in "zy" and value > 0:
                kind = {"z": "l", "y": "c"}[branch.form] if self.growth[branch.symbol] else branch.form
                sizes[kind].append(np.log10(value))
        ohms = sizes["z"] + [-y for y in sizes["y"]]
        rates = [-r - c for r in ohms for c in sizes["c"]] + [r - x for r in ohms for x in sizes["l"]]
        rates += [-(x + c) / 2 for x in sizes["l"] for c in sizes["c"]]
        margin = 4 + 2 * max((abs(np.log10(abs(n))) for n in self._turns()), default=0.0)
        return min(rates, default=0.0) - margin, max(rates, default=0.0) + margin

    def _turns(self) -> list[float]:
        """The ratios of turns of coupled inductors, by whose square impedances are transformed."""
        coils = [self.growth[branch.symbol] and branch.form == "z" for branch in self.pattern.branches]
        count = self.pattern.count
        rows = [term for term in self.pattern.terms if term.row >= count and coils[term.row - count]]
        ratios = [self.values[term.symbol] for term in rows if term.symbol != ONE and not self.growth[term.symbol]]
        return [ratio for ratio in ratios if ratio]


def bands(memory: Memory, right: np.ndarray | None = None) -> tuple[int, list[Band]]:
    """The number of poles at zero, and all others band by band.

    Parameters
    ----------
    right : array (n, sources), the right-hand sides whose residues are wanted

    Raises
    ------
    CircuitError
        Where the bands do not find as many poles as the circuit has.
    """
    zeros = memory.count(1 / FAR)
    expected = memory.count(FAR) - zeros
    bands: list[Band] = []
    for offset in (0.137, 0.737, 1.237, 0.437):  # a pole on the border of two bands is on no border of the next
        bands = _search(memory, right, offset) if expected else []
        if sum(len(band.poles) for band in bands) == expected:
            return zeros, bands
    total = sum(len(band.poles) for band in bands)
    raise CircuitError(f"the poles cannot be separated: {total} found of {expected}")


def _search(memory: Memory, right: np.ndarray | None, offset: float) -> list[Band]:
    low, high = (int(np.floor((decade - offset) / BAND)) for decade in memory.reach())
    todo, done, bands = {(low + high) // 2}, set(), []
    while todo:
        cell = todo.pop()
        done.add(cell)
        band, cells = _band(memory, right, offset, cell)
        if band is not None:
            bands.append(band)
        near = np.clip(cells, cell - 4, cell + 4)
        todo |= {int(other) for other in near if low <= other <= high} - done
    return bands


def _band(memory: Memory, right: np.ndarray | None, offset: float, cell: int) -> tuple[Band | None, np.ndarray]:
    """The poles of one band, and the bands in which all of them seem to lie, seen from there."""
    shift = 10.0 ** (offset + BAND * (cell + 0.5))
    t, xu, _, cxb = memory.at(shift, right)
    mu, vectors = np.linalg.eig(t * shift)
    with np.errstate(divide="ignore", invalid="ignore"):
        poles = shift * (1 - 1 / mu)
        cells = np.floor((np.log10(abs(poles)) - offset) / BAND)
    cells = np.where(np.isfinite(cells), cells, np.where(abs(mu) < 0.5, 1e6, -1e6))
    mine = cells == cell
    if not mine.any():
        return None, cells
    rows = _left(t * shift, mu[mine], vectors[:, mine])
    condition = np.linalg.norm(rows, axis=1)
    if condition.max() > DEFECTIVE:
        return _block((t * shift, xu, cxb), shift, offset, cell, condition), cells
    inputs = rows @ cxb
    outputs = (xu @ vectors[:, mine]) * (shift / mu[mine]) ** 2
    return Band(poles[mine], condition, None, inputs, outputs), cells


def _left(matrix: np.ndarray, mu: np.ndarray, right: np.ndarray) -> np.ndarray:
    """The left eigenvectors of k eigenvalues, rows (k, n) of which each is at 1 with its own right eigenvector and at 0 with
    the others'; infinite where they have none. Where eigenvalues coincide, the rows are mixed until they are.
    """
    eigenvalues, vectors = np.linalg.eig(matrix.T)
    nearest = np.argsort(abs(eigenvalues[:, None] - mu).min(axis=1), kind="stable")[: len(mu)]
    rows = vectors[:, nearest].T
    try:
        return np.linalg.solve(rows @ right, rows)
    except np.linalg.LinAlgError:
        return np.full(rows.shape, np.inf)


def _block(at: tuple[np.ndarray, ...], shift: float, offset: float, cell: int, condition: np.ndarray) -> Band:
    """A band whose eigenvectors nearly coincide, as a block: ordered Schur form, cut off from the rest."""
    from scipy import linalg  # a fifth of a second, and hardly a circuit needs it

    def mine(real: float, imaginary: float = 0.0) -> bool:
        pole = shift * (1 - 1 / complex(real, imaginary))
        return bool(np.floor((np.log10(abs(pole)) - offset) / BAND) == cell)

    t, xu, cxb = at
    s, q, size = linalg.schur(t, sort=mine)
    rest = (
        linalg.solve_sylvester(s[:size, :size], -s[size:, size:], -s[:size, size:])
        if size < len(s)
        else np.zeros((size, 0))
    )
    inverse = np.linalg.inv(s[:size, :size])
    inputs = (np.hstack([np.eye(size), -rest]) @ q.T) @ cxb
    outputs = shift**2 * (xu @ q[:, :size]) @ inverse @ inverse
    matrix = shift * (np.eye(size) - inverse)
    return Band(linalg.eigvals(matrix), condition, matrix, inputs, outputs)


@dataclass(frozen=True)
class Modes:
    """All poles of one design: those at zero, and the bands of the others."""

    zeros: int
    bands: list[Band]

    @property
    def poles(self) -> np.ndarray:
        """By rising magnitude, then imaginary part [1/s]."""
        poles = np.concatenate([np.zeros(self.zeros, complex), *(band.poles for band in self.bands)])
        size = abs(poles)
        order = sorted(range(len(poles)), key=lambda i: (float(f"{size[i]:.12e}"), poles[i].imag))
        return poles[order]

    @property
    def unstable(self) -> np.ndarray:
        """Poles in the right half plane by more than their error [1/s]."""
        wrong = [b.poles[b.poles.real > np.maximum(1e-11, 1e-13 * b.condition) * abs(b.poles)] for b in self.bands]
        return np.concatenate([np.zeros(0, complex), *wrong])

    def response(self, t: np.ndarray, sums: Sequence[Sum], ends: np.ndarray, order: int) -> np.ndarray:
        """Step (``order`` 1) or impulse (0) response: array (sources, outputs, t).

        ``ends``: per source and output the transfer at 0 (or inf) and at inf, and s times it near 0.
        """
        out = np.zeros((*ends.shape[:2], len(t)))
        later = np.where(t > 0, t, 0.0)
        settled = np.zeros(ends.shape[:2])  # sum of residue / pole
        for band in self.bands:
            c = np.array([sum((factor * band.outputs[at] for at, factor in one), 0 * band.outputs[0]) for one in sums])
            decays, integral = _decays(band, c, later, order)
            out += np.einsum("okt,ks->sot", decays, band.inputs).real
            settled += np.einsum("ok,ks->so", integral, band.inputs).real
        ramp = np.where(np.isinf(ends[..., 0]), ends[..., 2], 0.0)
        if order:
            rest = np.where(np.isinf(ends[..., 0]), ends[..., 1] - settled, ends[..., 0])
            out += rest[..., None] + ramp[..., None] * later
        else:
            out += ramp[..., None]
        return np.where(t < 0, 0.0, out)


def _decays(band: Band, c: np.ndarray, t: np.ndarray, order: int) -> tuple[np.ndarray, np.ndarray]:
    """C A^-order exp(A t) at each time: array (outputs, k, t); and C A^-1."""
    if band.matrix is None:
        decays = np.exp(np.multiply.outer(band.poles, t))
        integral = c / band.poles
        return (integral if order else c)[..., None] * decays, integral
    from scipy import linalg

    integral = np.linalg.solve(band.matrix.T, c.T).T
    start = integral if order else c
    powers = linalg.expm(np.multiply.outer(t, band.matrix))
    return np.einsum("ok,tkj->ojt", start, powers), integral


def of(equations: Equations, right: Columns | None = None) -> list[Modes]:
    """Poles of every design, with residues for right-hand sides."""
    sides = None if right is None else dense.right_sides(equations.pattern.size, right)
    return [Modes(*bands(Memory(equations, design), sides)) for design in range(equations.designs or 1)]
