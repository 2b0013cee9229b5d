"""Proof that a circuit is stable for every combination of its elements' ranges, or a combination for which it is not.

Where all coefficients are multi-affine, the image of a box at one frequency lies in the convex hull of its corners' images. A
circuit that is stable at one point of the box stays so in all of it if 0 is in no such hull at any frequency: a root would have to
cross the axis. Where a hull holds 0, the box is halved and both halves are asked.

Between frequencies nothing is sampled: over an interval every corner's image is a straight line and a remainder, bounded by the
roots' distances, and the line's two ends are corners like the others. Beyond all roots a bound of the same kind serves.

Source: the mapping theorem and zero exclusion, e.g. B. R. Barmish, New Tools for Robustness of Linear Systems (1994), ch. 7 and 14
(from memory). What holds does so to the rounding of floating-point numbers, which is no part of the bounds.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.circuit import Circuit
from filterlib.network.multiaffine.characteristic import Characteristic, Factors, characteristic

HALVINGS = 10_000  # of boxes and intervals, at most, before it stays undecided
INTERVAL = 1.2  # first intervals: upper end over lower
NARROW = 1e-6  # of a frequency: an interval that is not halved any more
TRIED = 256  # combinations tried before anything is proved
UNSTABLE = 1e-9  # of a root's magnitude: its real part from which it counts as in the right half plane
NO_BOUND = 1e6  # times an image: where a natural frequency is nearer than half the interval
_TURNS = np.exp(1j * np.linspace(-1.5, 1.5, 25))


@dataclass(frozen=True)
class Certificate:
    """``verdict``: "stable" for every combination, proved; "unstable" with the ``values`` of one; or "undecided".

    ``values`` by element in ohm, H, F and S, empty unless unstable, and there the ``root`` [1/s] furthest right. ``boxes``: how many
    pairs of a box and an interval of frequencies were asked.
    """

    verdict: Literal["stable", "unstable", "undecided"]
    values: Mapping[str, float]
    root: complex
    boxes: int


def certify(circuit: Circuit, ranges: Mapping[str, tuple[float, float]], *, halvings: int = HALVINGS) -> Certificate:
    """Prove that a circuit is stable for every combination of ranges of its R, L, C and conductances, or find one where it is not.

    Parameters: ``circuit`` of one design, lossy parts with ladders; ``ranges`` (low, high) by element in ohm, H, F and S, of one sign;
    ``halvings``: how many boxes may be halved before the answer is "undecided".
    Returns: Certificate.
    Raises: CircuitError as `characteristic`; for a range that is no range, holds 0 or changes sign; for a root at zero or at
    infinity that some values have and others not; where the numbers are not good enough to tell.

    >>> line = Circuit().resistor("R", "a", "0", 40e-3).inductor("L", "a", "b", 100e-6).capacitor("C", "b", "0", 22e-6)
    >>> line = line.conductance("G", "b", "0", -6.8 / 28**2)
    >>> certify(line, {"R": (39.5e-3, 60e-3), "C": (22e-6, 30e-6)}).verdict, certify(line, {"R": (39e-3, 60e-3)}).verdict
    ('stable', 'unstable')
    """
    if not ranges:
        raise CircuitError("nothing is uncertain: name at least one element and its range")
    box = np.array([_range(name, *ends) for name, ends in ranges.items()])
    netlist = circuit.netlist.laddered()
    whole = characteristic(netlist, list(ranges))
    if not whole.factors(box.mean(axis=1)[None]).constant.all():
        raise CircuitError("the circuit has a natural frequency at zero, for which stability is not defined")
    draws = box[:, 0] + np.random.default_rng(1).random((TRIED, len(box))) * (box[:, 1] - box[:, 0])
    corners = np.array(np.meshgrid(*box, indexing="ij")).reshape(len(box), -1).T
    for values in (corners, draws):
        found = _unstable(whole, values)
        if found is not None:
            return Certificate("unstable", dict(zip(ranges, map(float, found[0]), strict=True)), found[1], 0)
    return _Proof(whole, box, corners).run(halvings)


def _range(name: str, low: float, high: float) -> tuple[float, float]:
    if not (np.isfinite([low, high]).all() and low < high and low * high > 0):
        raise CircuitError(f"{name}: {low:g} to {high:g} is no range; it goes from low to high, and 0 is not in it")
    return float(low), float(high)


def _unstable(whole: Characteristic, values: np.ndarray) -> tuple[np.ndarray, complex] | None:
    """The values whose root is furthest to the right of the axis, of those tried (c, k), and that root."""
    roots = whole.factors(values).roots
    with np.errstate(invalid="ignore"):
        right = np.nan_to_num(roots.real / np.abs(roots), nan=-np.inf)
    row, column = np.unravel_index(np.argmax(right), right.shape)
    return (values[row], complex(roots[row, column])) if right[row, column] > UNSTABLE else None


class _Proof:
    """Boxes and intervals, halved until all are free of 0."""

    def __init__(self, whole: Characteristic, box: np.ndarray, corners: np.ndarray) -> None:
        self.whole, self.box = whole, box
        self.shape = (2,) * len(box)
        middle = whole.factors(box.mean(axis=1)[None])
        found = whole.factors(corners)
        self.constants, self.slopes = _alike(found), _alike(middle)
        self.gain = found.gain / middle.gain
        self.known: dict[tuple[float, float], np.ndarray] = {}
        self._check()

    def _check(self) -> None:
        """Roots at zero or infinity for all values or none, and leading coefficients of one sign."""
        (a, b), (p, q) = self.constants, self.slopes
        if a.shape[1] != p.shape[1] or not ((b != 0).all() and (q != 0).all()):
            raise CircuitError("some of the values have more natural frequencies than others")
        if not a.all():
            raise CircuitError("some of the values put a natural frequency at zero, on the border of stability")
        last = self.gain * np.prod(b / q, axis=1).real
        if not (last > 0).all():
            raise CircuitError("some of the values turn the circuit round at infinite frequency")

    def run(self, halvings: int) -> Certificate:
        """Ask interval after interval, each with the whole box first."""
        sizes = np.abs(self._roots())
        low, high = sizes.min() / (4 * sizes.shape[1]), sizes.max() * 4 * sizes.shape[1]
        edges = np.concatenate([[0.0], np.geomspace(low, high, int(np.log(high / low) / np.log(INTERVAL)) + 2)])
        unit = np.repeat([[0.0, 1.0]], len(self.box), axis=0)
        todo = [((a + b) / 2, (b - a) / 2, unit) for a, b in itertools.pairwise(edges)]
        asked = halved = 0
        while todo:
            centre, half, part = todo.pop()
            asked += 1
            tensor = cut(self._tensor(centre, half), part)
            if _free(tensor):
                continue
            halved += 1
            if halved > halvings:
                return Certificate("undecided", {}, complex("nan"), asked)
            if half > NARROW * centre and _free(tensor, line=False):
                todo += [(centre - half / 2, half / 2, part), (centre + half / 2, half / 2, part)]
                continue
            values = self.box[:, 0] + part.mean(axis=1) * (self.box[:, 1] - self.box[:, 0])
            bad = _unstable(self.whole, values[None])
            if bad is not None:
                return Certificate(
                    "unstable", dict(zip(self.whole.names, map(float, bad[0]), strict=True)), bad[1], asked
                )
            todo += [(centre, half, one) for one in halves(tensor, part)]
        return Certificate("stable", {}, complex("nan"), asked)

    def _roots(self) -> np.ndarray:
        return np.concatenate([-self.constants[0] / self.constants[1], -self.slopes[0] / self.slopes[1]])

    def _tensor(self, centre: float, half: float) -> np.ndarray:
        """Of an interval of frequency [rad/s], (3,) + (2,) * k: each corner's image at the middle over that of the box's middle,
        how far it goes to either side, and the bound of what the straight line leaves out."""
        key = centre, half
        if key not in self.known:
            (a, b), (p, q) = self.constants, self.slopes
            here, there = a + 1j * centre * b, p + 1j * centre * q
            image = self.gain * np.prod(here / there, axis=1)
            x, y = half * np.abs(b / here), half * np.abs(q / there)
            way = 1j * half * (np.sum(b / here, axis=1) - np.sum(q / there, axis=1))
            bound = np.full(len(image), NO_BOUND)
            if y.max() < 1:
                straight = np.sum(x, axis=1) + np.sum(y)
                bound = np.exp(np.sum(np.log1p(x), axis=1) - np.sum(np.log1p(-y))) - 1 - straight
            parts = np.array([image, image * way, np.abs(image) * np.maximum(bound, 0)])
            self.known[key] = parts.reshape(3, *self.shape)
        return self.known[key]


def _alike(found: Factors) -> tuple[np.ndarray, np.ndarray]:
    """Constants and slopes by rising magnitude of the roots; what is no root for all is left out."""
    a, b = found.constant, found.slope
    order = np.argsort(np.where(b == 0, np.inf, np.abs(a) / np.maximum(np.abs(b), 1e-300)), axis=1)
    a, b = np.take_along_axis(a, order, axis=1), np.take_along_axis(b, order, axis=1)
    kept = ~(b == 0).all(axis=0)
    return a[:, kept], b[:, kept]


def cut(tensor: np.ndarray, part: np.ndarray) -> np.ndarray:
    """The corners of a part of the box, whose ends are shares (k, 2): between the whole box's corners."""
    for axis, (low, high) in enumerate(part, start=1):
        if (low, high) != (0.0, 1.0):
            first, second = np.take(tensor, 0, axis), np.take(tensor, 1, axis)
            tensor = np.stack([first + low * (second - first), first + high * (second - first)], axis)
    return tensor


def _free(tensor: np.ndarray, *, line: bool = True) -> bool:
    """Whether a half plane without 0 holds every image with its bound; ``line``: over the interval, else in its middle alone."""
    image, way, bound = (part.ravel() for part in tensor)
    points, left = (np.concatenate([image + way, image - way]), np.tile(bound.real, 2)) if line else (image, 0.0)
    size = np.abs(points)
    if not size.all():
        return False
    mean = np.sum(points / size)
    turns = _TURNS * (mean / abs(mean) if mean else 1.0)
    return bool(np.any(np.min((points * turns.conj()[:, None]).real - left, axis=1) > 0))


def halves(tensor: np.ndarray, part: np.ndarray) -> list[np.ndarray]:
    """A box halved along the element that moves the images most, the first of ``tensor`` (n,) + (2,) * k."""
    image = tensor[0]
    moves = [np.max(np.abs(np.take(image, 1, axis) - np.take(image, 0, axis))) for axis in range(len(part))]
    axis = int(np.argmax(moves))
    lower, upper = part.copy(), part.copy()
    lower[axis, 1] = upper[axis, 0] = part[axis].mean()
    return [lower, upper]
