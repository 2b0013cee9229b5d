"""The probable interval alone, as the library draws it, in a tenth of the time of a whole review of the ripple."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import numpy as np

from filterlib.analysis.ripple import ripple
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty import interval
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution
from filterlib.system.sources import source_spectra
from filterlib.system.sources.likelihood import says_more

TOP = 40e6  # [Hz] highest harmonic, where no ring asks for more and nothing drives the chassis
RING_TOP = 4.0


@contextmanager
def fewer_harmonics(design: Design) -> Iterator[None]:
    """Of sources: to `TOP` or `RING_TOP` times the ring's frequency, for figures in 20 MHz.

    Where something drives the chassis they go as far as the library's: what passes a filter so is at 20 to 100 MHz, and a limit of first order leaves a good
    part of it.
    """
    kept = source_spectra.TOP, source_spectra.RING_TOP
    source_spectra.TOP, source_spectra.RING_TOP = kept[0] if design.driven else TOP, RING_TOP
    try:
        yield
    finally:
        source_spectra.TOP, source_spectra.RING_TOP = kept


def plausible(solution: Solution, place: str, draws: int = ripple.DRAWS) -> Plausible:
    """The plausible combinations that `filterlib.ripple` draws, and the ripple of each at a place in 20 MHz."""
    design, state, drawn = solution.design, solution.state, Drawn()
    converter, band = design.converter, bands(design)[0]
    weighed = ripple._WEIGHED if converter.ripple.recording is not None else interval.MORE
    likely = drawn.likelihood if says_more(converter) else None

    def measure(moved: Design, values: Mapping[str, Any]) -> dict[Any, Any]:
        many = drawn.solution(moved, state, values)
        return {"": spectra(many, thinned=True).peak_to_peak(place, band, rough=True)}

    found: Plausible | None = None
    variants = interval.shapes(design)
    for one in variants:
        box, rng = uncertain_parameters(one), np.random.default_rng(1)
        cube, weights, belief = interval.latin_hypercube(rng, draws, len(box)), np.ones(draws), 1.0
        if likely is not None:
            cube, weights, belief = interval._likely_first(interval.in_chunks(one, likely), box, cube, rng, weighed)
        cube = cube[: len(weights)]
        figures = interval.measured(interval.in_chunks(one, measure), box, cube)[""]
        values = {each.key: each.at(cube[:, n]) for n, each in enumerate(box)}
        values |= {"converter.shape": np.full(len(cube), str(one.converter.shape))}
        some = Plausible(figures, weights, values, belief)
        some = some.times(one.converter.shape_share if len(variants) > 1 else 1.0)
        found = some if found is None else found.beside(some)
    assert found is not None
    return found.of_real_converters()
