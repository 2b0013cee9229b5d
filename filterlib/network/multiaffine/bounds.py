"""The most that a transfer can be over ranges of a circuit's elements, guaranteed: from the corners of the ranges alone.

Numerator and denominator are multi-affine in R, L, 1/C and conductance, so that over all ranges each lies in the convex hull of its
corners: |H| is at most the greatest numerator over the distance of the denominators' hull from 0.

Source: the mapping theorem, L. A. Zadeh and C. A. Desoer, Linear System Theory (1963) (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from typing import Any

import numpy as np

from filterlib.network.circuit import Circuit
from filterlib.network.multiaffine.characteristic import characteristic

_DIRECTIONS, _ROUNDS = 361, 4


def transfer_bound(
    circuit: Circuit, ranges: Mapping[str, tuple[float, float]], frequencies: np.ndarray, source: str, output: Any
) -> tuple[np.ndarray, np.ndarray]:
    """Size of a transfer over ranges: the greatest at their corners, and a bound that no combination exceeds.

    Parameters: ``circuit`` of one design, lossy parts with ladders; ``ranges`` (low, high) by element in ohm, H, F and S;
    ``frequencies`` (f,) [Hz]; ``source`` and ``output`` as `Circuit.transfer` takes them.
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
    off = np.array([_off_zero(row) for row in below])
    with np.errstate(divide="ignore"):
        return np.abs(size).max(axis=0), np.abs(size.T * below).max(axis=1) / off


def _off_zero(points: np.ndarray) -> float:
    """How far the hull of complex points keeps off 0, at least; 0 where it may hold it. Each direction gives a bound by itself."""
    angles, best = np.linspace(0, 2 * np.pi, _DIRECTIONS), 0.0
    for _ in range(_ROUNDS):
        ahead = (points * np.exp(-1j * angles[:, None])).real.min(axis=1)
        at = int(np.argmax(ahead))
        best = max(best, float(ahead[at]))
        step = angles[1] - angles[0]
        angles = angles[at] + np.linspace(-step, step, 41)
    return best
