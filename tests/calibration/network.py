"""Voltages of a network at every harmonic by nodes: written for these tests, and sharing nothing with the library's own solver.

Frequencies and everything against them are arrays (f,); matrices are (f, n, n). "0" is the reference.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

EDDY = 60e6
"""[Hz] at which the losses of a conductor's own eddy currents equal its reactance: common practice, no source."""


def phasor(frequencies: np.ndarray, time: float) -> np.ndarray:
    return np.exp(-2j * np.pi * frequencies * time)


def polyline(frequencies: np.ndarray, period: float, times: list[float], values: list[float]) -> np.ndarray:
    """Fourier coefficients of one period in straight lines: each corner is a step of the slope.

    c = -sum(step exp(-j w t)) / (w**2 T), the second derivative being those steps alone.
    """
    t, v = np.array([*times, times[0] + period]), np.array([*values, values[0]])
    slopes = np.diff(v) / np.diff(t)
    steps = slopes - np.roll(slopes, 1)
    total = sum(step * phasor(frequencies, time) for step, time in zip(steps, times, strict=True))
    return -np.asarray(total) / ((2 * np.pi * frequencies) ** 2 * period)


def burst(frequencies: np.ndarray, period: float, start: float, frequency: float, cycles: float) -> np.ndarray:
    """Coefficients of a sine of 1 that begins at ``start`` once a period and falls to 1/e in so many cycles."""
    s, w = 2j * np.pi * frequencies, 2 * np.pi * frequency
    return np.asarray(phasor(frequencies, start) * w / ((s + frequency / cycles) ** 2 + w**2) / period)


class Network:
    """Branches between nodes, electromotive forces in them, and currents pushed in."""

    def __init__(self, frequencies: np.ndarray) -> None:
        self.frequencies = frequencies
        self.s = 2j * np.pi * frequencies
        self.nodes: dict[str, int] = {}
        self.groups: list[tuple[list[tuple[str, str]], np.ndarray, np.ndarray]] = []
        self.pushed: list[tuple[str, str, np.ndarray]] = []

    def coupled(self, ends: list[tuple[str, str]], impedances: np.ndarray, forces: np.ndarray | None = None) -> None:
        """Branches with the impedances (f, m, m) [ohm] and forces (f, m) [V] that drive current from a to b."""
        for node in (node for pair in ends for node in pair if node != "0"):
            self.nodes.setdefault(node, len(self.nodes))
        none = np.zeros((self.s.size, len(ends)), complex)
        self.groups.append((ends, impedances, none if forces is None else forces))

    def branch(self, a: str, b: str, impedance: np.ndarray, force: np.ndarray | None = None) -> None:
        """One branch: impedance (f,) [ohm], force (f,) [V]."""
        self.coupled([(a, b)], (impedance + 0 * self.s)[:, None, None], None if force is None else force[:, None])

    def inductance(self, henries: float, ohms: float = 0.0) -> np.ndarray:
        """Of a conductor whose eddy currents take over at `EDDY` [ohm]."""
        return ohms + 1 / (1 / (self.s * henries) + 1 / (2 * np.pi * EDDY * henries))

    def line(self, a: str, b: str, henries: float, ohms: float, sections: int) -> None:
        """A conductor in equal sections, each with 1 pF to the reference."""
        stops = [a, *(f"{a}>{b}{n}" for n in range(1, sections)), b]
        for one, two in pairwise(stops):
            self.branch(one, two, self.inductance(henries / sections, ohms / sections))
            if two != "0":
                self.branch(two, "0", 1 / (self.s * 1e-12))

    def push(self, a: str, b: str, current: np.ndarray) -> None:
        """A current (f,) [A] that leaves node a and enters node b."""
        self.pushed.append((a, b, current))

    def voltages(self) -> dict[str, np.ndarray]:
        """Of every node [V], (f,)."""
        count = len(self.nodes)
        admittance = np.zeros((self.s.size, count, count), complex)
        current = np.zeros((self.s.size, count), complex)
        for ends, impedances, forces in self.groups:
            incidence = np.array([self._row(a, b) for a, b in ends])
            inner = np.linalg.inv(impedances)
            admittance += np.einsum("mi,fmn,nj->fij", incidence, inner, incidence, optimize=True)
            current -= np.einsum("mi,fmn,fn->fi", incidence, inner, forces, optimize=True)
        for a, b, pushed in self.pushed:
            current -= self._row(a, b) * pushed[:, None]
        solved = np.linalg.solve(admittance, current[..., None])[..., 0]
        return {node: solved[:, n] for node, n in self.nodes.items()} | {"0": np.zeros(self.s.size, complex)}

    def _row(self, a: str, b: str) -> np.ndarray:
        row = np.zeros(len(self.nodes))
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != "0":
                row[self.nodes[node]] = sign
        return row
