"""Which two elements make a resonance: where a circuit keeps its magnetic and its electric energy there."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import Any

import numpy as np

from filterlib.analysis.causes.causes_result import Resonance
from filterlib.analysis.linear.frequency_response import PROMINENT, prominent
from filterlib.network.circuit import Circuit, Current

_SUFFIX = re.compile(r"\.(l1|l2|r1|r2|c1a|c1b|c2a|c2b|inductance|resistance|capacitance)$")
_STRAYS = re.compile(r"\.(cw|ci)[12]$")


def _group(name: str) -> str:
    """The part that an element belongs to: both wires of a pair, both winding capacitances of a choke."""
    return _STRAYS.sub(".winding_capacitance", _SUFFIX.sub("", name))


def resonance_at(circuit: Circuit, source: str, frequency: float, height: float) -> Resonance:
    """The resonance of a circuit at a ``frequency`` [Hz], driven by a source; ``height`` [dB] is handed on.

    Notes
    -----
    An element's reactive power is Im(V I*), positive where it holds more magnetic energy and negative where electric; of
    coupled inductors it is that of both together. At a resonance of low loss the shift of the frequency with an element's
    value is half its share of that energy, so the two largest shares are the two largest sensitivities.
    Source: the theorem of small changes; R. F. Harrington, Time-Harmonic Electromagnetic Fields (1961), section 7-2
    (from memory), for cavities.
    """
    pairs = [
        (
            e.name,
            Current(e.name, winding) if winding > 1 else Current(e.name),
            e.nodes[2:] if winding > 1 else e.nodes[:2],
        )
        for e in circuit.elements
        if e.kind not in ("couple", "voltage_source", "current_source")
        for winding in ((1, 2) if e.kind == "coupled" else (1,))
    ]
    outputs: list[Any] = [current for _, current, _ in pairs] + [nodes for _, _, nodes in pairs]
    response = np.array(circuit.transfer([frequency], source, outputs))[:, 0]
    currents, volts = np.split(response, 2)
    powers: dict[str, float] = defaultdict(float)
    for (name, _, _), power in zip(pairs, np.imag(volts * np.conj(currents)), strict=True):
        powers[_group(name)] += float(power)
    magnetic = max(powers, key=lambda name: powers[name])
    electric = min(powers, key=lambda name: powers[name])
    stored = sum(p for p in powers.values() if p > 0), sum(-p for p in powers.values() if p < 0)
    shares = [abs(powers[n]) / total if total else 0.0 for n, total in zip((magnetic, electric), stored, strict=True)]
    return Resonance(float(frequency), height, magnetic, electric, shares[0], shares[1])


def peaks_of(frequencies: np.ndarray, response: np.ndarray) -> list[tuple[float, float]]:
    """Frequency [Hz] and height [dB] of every peak of a response (f,), by a parabola through three points."""
    level, x = 20 * np.log10(np.maximum(np.abs(response), 1e-300)), np.log(frequencies)
    peaks = []
    for i in prominent(level, PROMINENT):
        below, here, above = level[i - 1 : i + 2]
        off = 0.5 * (below - above) / (below - 2 * here + above)
        peaks.append((float(np.exp(x[i] + off * (x[1] - x[0]))), float(here - 0.25 * (below - above) * off)))
    return peaks
