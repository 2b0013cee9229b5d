"""What one load sees of a design: its ripple in 20 MHz, its spike in full bandwidth, and the response on the way there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from filterlib.analysis.described import Ratio, Volts
from filterlib.analysis.ripple.ripple_result import Spectra, narrow_and_wide
from filterlib.analysis.ripple.spectra import driven, from_transfers, spectra
from filterlib.errors import FilterlibError
from filterlib.network.batch import alike, together
from filterlib.network.netlist import Value
from filterlib.system.solution import Solution

GRID = np.logspace(3, 8, 201)  # [Hz]


@dataclass(frozen=True)
class Seen:
    """One load of one design at one operating point.

    ``ripple``, ``spike``: peak to peak in 20 MHz and in full bandwidth, (designs, 1) where the design holds
    many; ``response`` (g,) complex: load over the converter's emf, over `GRID`; ``spectra`` of that load; ``solution``.
    """

    ripple: Volts[Value]
    spike: Volts[Value]
    response: Ratio[np.ndarray]
    spectra: Spectra
    solution: Solution

    @property
    def fundamental(self) -> Value:
        """Amplitude [V] at the switching frequency, the ripple's own; (designs,) where the design holds many."""
        (place,) = self.spectra.places
        amplitude: Value = 2 * np.abs(self.spectra.whole(place)[..., 0])
        return amplitude


def seen_several(solutions: Sequence[Solution], load: str) -> list[Seen | FilterlibError]:
    """What the load of one name sees in each of several solutions, those whose circuits have one structure together.

    What cannot be solved is replaced by its error.
    """
    views: dict[int, Seen | FilterlibError] = {}
    for places in alike([solution.with_filter(True) for solution in solutions]):
        group = [solutions[place] for place in places]
        try:
            views |= zip(places, _seen_together(group, load), strict=True)
        except FilterlibError:
            views |= {place: _seen_or_why(solutions[place], load) for place in places}
    return [views[place] for place in range(len(solutions))]


def _seen_or_why(solution: Solution, load: str) -> Seen | FilterlibError:
    try:
        return seen(solution, load)
    except FilterlibError as error:
        return error


def _seen_together(group: list[Solution], load: str) -> list[Seen]:
    """Of solutions of one structure: one elimination over all their harmonics and the grid."""
    if len(group) == 1 or any(one.ripple is not None for one in group[0].design.loads):
        return [seen(solution, load) for solution in group]
    port, harmonics = group[0].design.named_load(load).port, group[0].source_spectra.frequencies[1:]
    circuit = together([solution.with_filter(True) for solution in group])
    rows = circuit.transfer(np.concatenate((GRID, harmonics)), driven(group[0].design), [port])
    rows = [np.broadcast_to(row[0], (len(group), row[0].shape[-1])) for row in rows]
    return [_seen(solution, load, [row[number] for row in rows]) for number, solution in enumerate(group)]


def _seen(solution: Solution, load: str, rows: list[np.ndarray]) -> Seen:
    """From the transfer of every source at the grid, then at the harmonics."""
    by_source = from_transfers(solution, [load], [[row[..., len(GRID) :]] for row in rows])
    sources = solution.source_spectra
    harmonics = Spectra(sources.frequencies[1:], by_source, {}, {}, sources)
    narrow, wide = narrow_and_wide(solution.design)
    figures = harmonics.peak_to_peak(load, narrow), harmonics.peak_to_peak(load, wide)
    return Seen(*figures, rows[0][..., : len(GRID)], harmonics, solution)


def seen(solution: Solution, load: str) -> Seen:
    """What a load sees: one elimination for harmonics and grid, and another one for loads that make ripple themselves."""
    design = solution.design
    port, harmonics = design.named_load(load).port, solution.source_spectra.frequencies[1:]
    rows = solution.with_filter(True).transfer(np.concatenate((GRID, harmonics)), driven(design), [port])
    view = _seen(solution, load, [row[0] for row in rows])
    if all(one.ripple is None for one in design.loads):
        return view
    load_spectra = spectra(solution, outputs={load: port})
    narrow, wide = narrow_and_wide(design)
    return replace(
        view,
        ripple=load_spectra.peak_to_peak(load, narrow),
        spike=load_spectra.peak_to_peak(load, wide),
        spectra=load_spectra,
    )
