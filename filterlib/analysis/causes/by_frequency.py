"""By frequency: which mode and which element carries what is left, and where the filter leaves its formula."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from filterlib.analysis.causes.causes_result import NEVER, BandReason, Deviation, Resonance
from filterlib.analysis.causes.parasitics import Ideal
from filterlib.analysis.causes.resonances import peaks_of, resonance_at
from filterlib.analysis.ripple.at_load import GRID, Seen
from filterlib.analysis.ripple.ripple_result import Spectra
from filterlib.network.circuit import Circuit

EDGES = (0.0, 150e3, 1e6, 20e6, 100e6)  # [Hz] of the bands
DEVIATES = 2.0  # times the formula's response at which the real filter has left it
NOTABLE = 0.01  # share of a band's rms by which an parasitic must count to be named


def bands_of(real: Spectra, load: str, without: Sequence[tuple[Ideal, Seen]], formula: Seen) -> tuple[BandReason, ...]:
    """The four bands at a load; ``without``: each parasitic with what is seen without it."""
    return tuple(_band(low, high, real, load, without, formula) for low, high in pairwise(EDGES))


def _band(
    low: float, high: float, real: Spectra, load: str, without: Sequence[tuple[Ideal, Seen]], formula: Seen
) -> BandReason:
    alone = {name: _rms(real, load, low, high, (name,)) for name in real.sources(load)}
    common = alone.get("common_mode", 0.0)
    differential = _rms(real, load, low, high, tuple(name for name in alone if name != "common_mode"))
    whole = _rms(real, load, low, high)
    source = max(sorted(alone), key=lambda name: alone[name]) if whole else ""
    left = [(_rms(view.spectra, load, low, high), ideal) for ideal, view in without]
    least, best = min(left, key=lambda pair: (pair[0], pair[1].name, pair[1].what), default=(whole, None))
    counts = best is not None and least < (1 - NOTABLE) * whole
    mode = ("common" if common > differential else "differential") if whole else ""
    return BandReason(
        low, high, whole, differential, common, mode, source,
        best.name if best is not None and counts else "", best.what if best is not None and counts else "",
        least if counts else whole, _rms(formula.spectra, load, low, high),
    )  # fmt: skip


def _rms(spectra: Spectra, load: str, low: float, high: float, names: Sequence[str] | None = None) -> float:
    """Root mean square [V] in a band of some sources, or of all; a load's own ripple adds as a power."""
    chosen = spectra.sources(load) if names is None else names
    own = [c for (at, name), c in spectra.by_source.items() if at == load and name in chosen]
    inside = (spectra.frequencies > low) & (spectra.frequencies <= high)
    power = 2 * float(np.sum(np.abs(sum(own, np.zeros(1)) * inside) ** 2))
    for (at, name), c in spectra.reflected.items():
        if at == load and name in chosen:
            f = spectra.reflected_frequencies[name]
            power += 2 * float(np.sum(np.abs(c[(f > low) & (f <= high)]) ** 2))
    return float(np.sqrt(power))


def deviation(circuit: Circuit, real: Seen, formula: Seen, without: Sequence[tuple[Ideal, Seen]]) -> Deviation:
    """Where the real response leaves that of ideal parts, the parasitic that makes it, and the resonance near it."""
    ratio = np.abs(real.response) / np.abs(formula.response)
    apart = np.flatnonzero(ratio > DEVIATES)
    if not apart.size:
        return NEVER
    at = int(apart[0])
    gains: Mapping[int, float] = {
        number: float(np.abs(real.response[at]) / np.abs(view.response[at])) for number, (_, view) in enumerate(without)
    }
    cause = max(gains, key=lambda number: gains[number], default=None)
    name, what = (without[cause][0].name, without[cause][0].what) if cause is not None else ("", "")
    near = nearest_resonance(circuit, real.response, float(GRID[at]))
    return Deviation(float(GRID[at]), name, what, near)


def nearest_resonance(circuit: Circuit, response: np.ndarray, frequency: float) -> Resonance | None:
    """The peak of the response over `GRID` that is nearest to a frequency [Hz], in ratio; None where there is none."""
    peaks = peaks_of(GRID, response)
    if not peaks:
        return None
    at, height = min(peaks, key=lambda peak: abs(np.log(peak[0] / frequency)))
    return resonance_at(circuit, "ripple", at, height)


def resonances_of(circuit: Circuit, response: np.ndarray) -> tuple[Resonance, ...]:
    """Every peak of the response over `GRID`, named."""
    return tuple(resonance_at(circuit, "ripple", at, height) for at, height in peaks_of(GRID, response))
