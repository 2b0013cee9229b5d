"""The most that a transfer can be over ranges of a circuit's elements, guaranteed: from the corners of the ranges and of parts of them.

Numerator and denominator are multi-affine in R, L, 1/C and conductance, so that over all ranges each lies in the convex hull of its
corners: |H| is at most the greatest numerator over the distance of the denominators' hull from 0. So is |H - h| with N - h D in
place of N, for any h. Where that is far above what is found, the ranges are halved, the worst part first: the bound comes down to what is
found as the parts get small.

Source: the mapping theorem, L. A. Zadeh and C. A. Desoer, Linear System Theory (1963) (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from heapq import heappop, heappush
from itertools import count, product

import numpy as np

from filterlib.network.circuit import Circuit
from filterlib.network.multiaffine.certificate import cut, halves
from filterlib.network.multiaffine.characteristic import characteristic
from filterlib.network.netlist import Output

_DIRECTIONS, _ROUNDS = 31, 2


def transfer_bound(
    circuit: Circuit,
    ranges: Mapping[str, tuple[float, float]],
    frequencies: np.ndarray,
    source: str,
    output: Output,
    *,
    halvings: int = 0,
) -> tuple[np.ndarray, np.ndarray]:
    """Size of a transfer over ranges: the greatest that was found, and a bound that no combination exceeds.

    Parameters: ``circuit`` of one design, lossy parts with ladders; ``ranges`` (low, high) by element in ohm, H, F and S;
    ``frequencies`` (f,) [Hz]; ``source`` and ``output`` as `Circuit.transfer` takes them; ``halvings`` of the ranges at each frequency:
    with none, the greatest is that of the ranges' corners.
    Returns: both (f,); the bound is inf where the corners do not keep the denominator off 0.
    Raises: CircuitError as `characteristic`.

    >>> line = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 1.0).resistor("S", "b", "0", 1.0)
    >>> line = line.capacitor("C", "b", "0", 1e-9)
    >>> at, most = transfer_bound(line, {"R": (0.5, 2.0), "S": (0.5, 2.0)}, np.array([1.0]), "V", "b")
    >>> round(float(at[0]), 6), bool(most[0] >= at[0])
    (0.8, True)
    """
    names = list(ranges)
    corners = np.array(list(product(*ranges.values())))
    there = Circuit()
    for one in circuit.netlist.elements:
        value = corners[:, [names.index(one.name)]] if one.name in ranges else one.value
        getattr(there, one.kind)(one.name, *one.nodes, *(() if one.kind.endswith("_source") else (value,)))
    size = there.transfer(frequencies, source, output)
    factors = characteristic(circuit.netlist, names).factors(corners)
    capacitors = [at for at, name in enumerate(names) if circuit.netlist.find(name).kind == "capacitor"]
    below = np.array([factors.at(2j * np.pi * f) for f in frequencies]) / np.prod(corners[:, capacitors], axis=1)
    images = np.stack([size.T * below, below], axis=1).reshape(len(below), 2, *(2,) * len(names))
    found = np.array([_found_and_most(one, halvings) for one in images])
    return found[:, 0], found[:, 1]


def _found_and_most(whole: np.ndarray, halvings: int) -> tuple[float, float]:
    """The greatest ratio at any corner, and the bound: of numerator and denominator at the corners (2,) + (2,) * k."""
    ticket, unit = count(), np.repeat([[0.0, 1.0]], whole.ndim - 1, axis=0)
    found, most = _at_corners(whole), _most(whole)
    parts = [(-most, next(ticket), unit)]
    for _ in range(halvings):
        above, _, part = heappop(parts)
        for half in halves(cut(whole, part)[1:], part):
            images = cut(whole, half)
            found = max(found, _at_corners(images))
            heappush(parts, (-min(-above, _most(images)), next(ticket), half))
    return found, -parts[0][0]


def _at_corners(images: np.ndarray) -> float:
    return float(np.abs(images[0] / images[1]).max())


def _most(images: np.ndarray) -> float:
    """The bound from one part's corners: about 0 and about the ratio of the means."""
    above, below = images.reshape(2, -1)
    off, middle = _off_zero(below), above.mean() / below.mean()
    if off == 0:
        return np.inf
    return float(min(np.abs(above).max() / off, abs(middle) + np.abs(above - middle * below).max() / off))


def _off_zero(points: np.ndarray) -> float:
    """How far the hull of complex points keeps off 0, at least; 0 where it may hold it. Each direction gives a bound by itself."""
    angles, best = np.angle(points.mean()) + np.linspace(-np.pi / 2, np.pi / 2, _DIRECTIONS), 0.0
    for _ in range(_ROUNDS):
        ahead = (points * np.exp(-1j * angles[:, None])).real.min(axis=1)
        at = int(np.argmax(ahead))
        best = max(best, float(ahead[at]))
        step = angles[1] - angles[0]
        angles = angles[at] + np.linspace(-step, step, 21)
    return best
