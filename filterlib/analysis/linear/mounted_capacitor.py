"""A capacitor on its board: its impedance with its mounting loop at a DC bias, and that of two of them in parallel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Farads, Henries, Hertz, Ohms, Ratio, Volts
from filterlib.network.circuit import Circuit
from filterlib.parts.capacitor import Capacitor, self_resonance

FREQUENCIES = np.geomspace(1e3, 1e9, 401)  # [Hz]
BIASES = np.linspace(0, 60, 61)  # [V]


@dataclass(frozen=True)
class MountedCapacitor:
    """A capacitor with the ``loop`` of its pads, tracks and vias, at a DC ``bias``."""

    part: Capacitor
    loop: Henries[float]
    bias: Volts[float] = 0.0

    def impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """Complex impedance of part and loop (f,) [ohm]."""
        return self.part.impedance(frequencies, bias=self.bias, mounting_loop=self.loop)


@dataclass(frozen=True)
class CapacitorResult:
    """One mounted capacitor.

    Magnitudes (f,): ``impedance``, and ``ideal`` and ``inductive``, those of the capacitance at the bias alone and of part and
    loop as inductances alone. ``capacitance`` at the ``bias``; ``resonance`` of it with both inductances. ``over_bias`` (b,):
    capacitance at ``biases`` (b,).
    """

    frequencies: Hertz[np.ndarray]
    impedance: Ohms[np.ndarray]
    ideal: Ohms[np.ndarray]
    inductive: Ohms[np.ndarray]
    bias: Volts[float]
    capacitance: Farads[float]
    resonance: Hertz[float]
    at_switching: Ohms[float]
    at_spike: Ohms[float]
    biases: Volts[np.ndarray]
    over_bias: Farads[np.ndarray]


def mounted_capacitor(mounted: MountedCapacitor, *, switching: float, spike: float) -> CapacitorResult:
    """Impedance over frequency and capacitance over bias; read at the frequencies ``switching`` and ``spike`` [Hz].

    >>> from filterlib.parts.tables import find_part, standard_tables
    >>> ceramic = MountedCapacitor(find_part("class2-2u2-50V-1206", None, standard_tables()), loop=4e-9, bias=28.0)
    >>> round(mounted_capacitor(ceramic, switching=180e3, spike=30e6).at_spike, 2)  # 5.1 nH of part and loop
    0.96
    """
    part, inductance = mounted.part, float(mounted.part.esl + mounted.loop)
    capacitance = float(part.capacitance_at(mounted.bias))
    at_switching, at_spike = np.abs(mounted.impedance(np.array([switching, spike])))
    return CapacitorResult(
        frequencies=FREQUENCIES,
        impedance=np.abs(mounted.impedance(FREQUENCIES)),
        ideal=1 / (2 * np.pi * FREQUENCIES * capacitance),
        inductive=2 * np.pi * FREQUENCIES * inductance,
        bias=mounted.bias,
        capacitance=capacitance,
        resonance=float(self_resonance(capacitance, inductance)),
        at_switching=float(at_switching),
        at_spike=float(at_spike),
        biases=BIASES,
        over_bias=np.asarray(part.capacitance_at(BIASES)) * np.ones_like(BIASES),
    )


@dataclass(frozen=True)
class CapacitorPair:
    """Two mounted capacitors across the same lines, the second behind a ``track``."""

    first: MountedCapacitor
    second: MountedCapacitor
    track: Henries[float]

    def impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """Complex impedance of both in parallel (f,) [ohm]."""
        circuit = Circuit().immittance("first", "plus", "0", self.first.impedance)
        circuit.inductor("track", "plus", "far", self.track).immittance("second", "far", "0", self.second.impedance)
        return circuit.impedance(frequencies, "plus")


@dataclass(frozen=True)
class PairResult:
    """Two capacitors in parallel.

    Magnitudes (f,) of each alone, ``first`` and ``second``, and of both, ``together``. ``peak``: frequency and height of the
    anti-resonance at which the pair is worse than the first alone, None where there is none. ``at_spike`` of both; ``better``:
    how many times less that is than the first alone.
    """

    frequencies: Hertz[np.ndarray]
    first: Ohms[np.ndarray]
    second: Ohms[np.ndarray]
    together: Ohms[np.ndarray]
    peak: tuple[Hertz[float], Ohms[float]] | None
    at_spike: Ohms[float]
    better: Ratio[float]


def parallel_capacitors(pair: CapacitorPair, *, spike: float) -> PairResult:
    """Impedance of two capacitors, each alone and both together; read at the frequency ``spike`` [Hz]."""
    first, second, together = (np.abs(one.impedance(FREQUENCIES)) for one in (pair.first, pair.second, pair))
    alone, both = (float(np.abs(one.impedance(np.array([spike])))[0]) for one in (pair.first, pair))
    return PairResult(FREQUENCIES, first, second, together, _peak(first, together), both, alone / both)


def _peak(first: np.ndarray, together: np.ndarray) -> tuple[float, float] | None:
    """Frequency and height of the highest summit between two dips at which the pair is worse than the first alone."""
    inner = together[1:-1]
    summits = 1 + np.flatnonzero((inner > together[:-2]) & (inner >= together[2:]) & (inner > first[1:-1]))
    if not summits.size:
        return None
    at = summits[np.argmax(together[summits] / first[summits])]
    return float(FREQUENCIES[at]), float(together[at])
