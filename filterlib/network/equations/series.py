"""Impedances that are added where elements are in series, and those that a callable gives."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.netlist import Element, Value


class Series:
    """A chain as p v = q i: 1 and its impedance, or 0 and 1 where it is open. s is 0 everywhere or nowhere."""

    def __init__(self, elements: Sequence[Element]) -> None:
        self.callables = [e for e in elements if e.kind == "immittance"]
        self.ohms: Value = sum((e.number for e in elements if e.kind == "resistor"), 0.0)
        self.henries: Value = sum((e.number for e in elements if e.kind == "inductor"), 0.0)
        with np.errstate(divide="ignore"):
            farads = [np.asarray(e.number) for e in elements if e.kind == "capacitor"]
            inverse = sum((1 / c for c in farads), np.zeros(()))
        self.gaps = np.isinf(inverse)
        self.inverse: Value = np.where(self.gaps, 0.0, inverse)[()]  # of the capacitance [1/F]
        self.coils, self.plates, self.open = bool(np.any(self.henries)), bool(farads), bool(self.gaps.any())

    def part(self, chosen: slice) -> Series:
        """The same chain for some of the designs."""
        cut = copy(self)
        cut.ohms, cut.henries, cut.inverse = (part_of(v, chosen) for v in (self.ohms, self.henries, self.inverse))
        cut.gaps = np.asarray(part_of(self.gaps, chosen))
        return cut

    def values(self, frequencies: np.ndarray, s: np.ndarray, designs: int | None) -> list[Value]:
        """p and q [ohm], each a number or an array (f,), (designs, 1) or (designs, f)."""
        total = self.ohms
        still = self.plates and s[0] == 0
        if self.coils:
            total = total + self.henries * s
        if self.plates and not still:
            total = total + self.inverse / s
        for element in self.callables:
            total = total + impedance(element, frequencies, designs)
        if still:
            return [0.0, 1.0]
        if self.open:
            total = np.where(self.gaps, np.inf, total)
        return list(_open(np.asarray(total))) if self.callables or self.open else [1.0, total]


class Windings:
    """A coupled pair as p1, p2, its four impedances, and the impedance of winding 2 with winding 1 shorted."""

    def __init__(self, element: Element) -> None:
        self.element = element
        self.callables = [element]

    def values(self, frequencies: np.ndarray, s: np.ndarray, designs: int | None) -> list[Value]:
        """The seven values; an open winding has p = 0 and an impedance of 1, and couples nothing."""
        z = impedance(self.element, frequencies, designs)
        (p1, z11), (p2, z22) = _open(z[..., 0, 0]), _open(z[..., 1, 1])
        z12, z21 = (np.where(np.isfinite(m) & (p1 * p2 == 1), m, 0) for m in (z[..., 0, 1], z[..., 1, 0]))
        return [p1, p2, z11, z12, z21, z22, z22 - z12 * z21 / np.where(z11 == 0, 1, z11)]


def part_of(value: Value, chosen: slice) -> Value:
    """Some of the designs of a value (designs, 1); a number as it is."""
    return value[chosen] if isinstance(value, np.ndarray) and value.ndim == 2 else value


def impedance(element: Element, frequencies: np.ndarray, designs: int | None) -> np.ndarray:
    """What a callable says.

    Raises
    ------
    CircuitError
        Where that is of the wrong shape or not a number.
    """
    tail = (2, 2) if element.kind == "coupled" else ()
    z = np.asarray(element.function(frequencies), dtype=complex)
    allowed = [(*frequencies.shape, *tail)] + ([(designs, *frequencies.shape, *tail)] if designs else [])
    if z.shape not in allowed:
        shapes = " or ".join(map(str, allowed))
        raise CircuitError(f"{element.name}: its impedance has the shape {z.shape}, not {shapes}")
    if np.isnan(z).any():
        at = frequencies[np.argwhere(np.isnan(z))[0][z.ndim - len(tail) - 1]]
        raise CircuitError(f"{element.name}: its impedance at {at:g} Hz is not a number")
    return z


def _open(z: np.ndarray) -> tuple[Value, np.ndarray]:
    infinite = np.isinf(z)
    return (np.where(infinite, 0.0, 1.0), np.where(infinite, 1.0, z)) if infinite.any() else (1.0, z)
