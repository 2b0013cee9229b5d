"""What one load sees of a design: its ripple in 20 MHz, its spike in full bandwidth, and the response on the way there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.analysis.ripple.spectra import Band, Spectra, bands, driven, from_transfers, full_current, spectra
from filterlib.system.design import Design
from filterlib.system.source_spectra import source_spectra
from filterlib.system.state import State

GRID = np.logspace(3, 8, 201)  # [Hz]


@dataclass(frozen=True)
class Seen:
    """One load of one design at one operating point.

    ``ripple``, ``spike`` [V]: peak to peak in 20 MHz and in full bandwidth, (designs, 1) where the design stands for
    many; ``response`` (g,) complex: load over the converter's emf, over `GRID`; ``spectra`` of that load.
    """

    ripple: Any
    spike: Any
    response: np.ndarray
    spectra: Spectra
    state: State

    @property
    def fundamental(self) -> Any:
        """Amplitude [V] at the switching frequency, the ripple's own; (designs,) where the design stands for many."""
        (place,) = self.spectra.places
        return 2 * np.abs(self.spectra.whole(place)[..., 0])


def narrow_and_wide(design: Design) -> tuple[Band, Band]:
    """The two bands in which a load is looked at: 20 MHz and full bandwidth."""
    narrow, wide, *_ = bands(design)
    return narrow, wide


def seen(design: Design, state: State, load: str) -> Seen:
    """What a load sees: one elimination for harmonics and grid, and another one for loads that make ripple themselves."""
    forces = source_spectra(design.converter, full_current(design), input_voltage=state.input_voltage)
    port, harmonics = design.named_load(load).port, forces.frequencies[1:]
    circuit = design.build(state)
    rows = circuit.transfer(np.concatenate((GRID, harmonics)), driven(design), [port])
    count = len(GRID)
    if any(one.ripple is not None for one in design.loads):
        found = spectra(design, state, outputs={load: port}, forces=forces)
    else:
        by_source = from_transfers(design, state, forces, [load], [[row[0][..., count:]] for row in rows])
        found = Spectra(harmonics, by_source, {}, {}, forces)
    narrow, wide = narrow_and_wide(design)
    return Seen(found.peak_to_peak(load, narrow), found.peak_to_peak(load, wide), rows[0][0][..., :count], found, state)
