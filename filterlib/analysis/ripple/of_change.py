"""The ripple of a changed design: the figures that have a requirement, sought from the ends of the design as it was."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np

from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple import (
    DRAWS,
    Mask,
    Spot,
    as_it_is,
    depends,
    if_it_bursts,
    lead,
    measures,
    peaks,
    within,
)
from filterlib.analysis.ripple.ripple_result import Figure, RippleResult, bands
from filterlib.analysis.uncertainty.interval import Seek, over_shapes
from filterlib.analysis.uncertainty.like_design import Depth, at_ends, from_ends
from filterlib.analysis.uncertainty.plausible import Interval
from filterlib.system.requirements import OfRipple
from filterlib.system.solution import Solution


def ripple_of_change(
    solution: Solution,
    like: Mapping[Spot, Interval],
    *,
    depth: Depth = "first look",
    drawn: Drawn | None = None,
    mask: Mask | None = None,
) -> RippleResult:
    """The figures that have a requirement, with their intervals, and nothing else.

    Parameters: ``solution`` of a changed design at a stable operating point; ``like``: the ``extents`` of the design as it was, from whose
    ends on they are sought, so far as ``depth`` says, see `filterlib.analysis.uncertainty.like_design`; ``drawn``: what is kept
    from one point of one change for the next; ``mask``: see `ripple`, in a whole search alone.
    Returns: RippleResult, its figures peak to peak [V].
    Raises: ScaleError where the converter's stated figures contradict each other.
    """
    design, state, first = solution.design, solution.state, depth == "first look"
    wishes = [(one.load, one.label) for one in design.requirements if isinstance(one, OfRipple)]
    asked = tuple(dict.fromkeys(wishes))  # in the file's order: the search meets them in it
    wanted = tuple(band for band in bands(design) if any(label == band.label for _, label in asked))
    ends = {key: like[key] for key in asked if key in like}
    left_out = mask if mask is not None and depth == "whole" else as_it_is
    roughly, exactly = measures(state, wanted, drawn or Drawn(), left_out, asked)
    found: dict[Spot, Interval] = {}
    if asked and (ends or not first):
        measure, confirm = (exactly, None) if first else (roughly, exactly)
        sought = over_shapes(design, measure, confirm=confirm, lead=lead(state), seek=_seek(ends, depth))
        found = {key: one.of_real_converters() for key, one in sought.items()}
    estimated = if_it_bursts(solution, wanted)
    figures = {
        key: Figure(rms=np.nan, by_source={}, reduction={}, **within(float(volts), found.get(key), estimated.get(key)))
        for key, volts in peaks(solution, wanted, asked).items()
    }
    return RippleResult(
        state.point,
        1 / solution.period,
        tuple(dict.fromkeys(place for place, _ in figures)),
        figures,
        depends=depends(found, estimated),
        estimated=estimated,
        extents=found,
        without_spike=frozenset() if design.converter.spike else frozenset(key for key in figures if key[1] == "full"),
    )


def _seek(ends: Mapping[Spot, Interval], depth: Depth) -> Seek[Spot]:
    """What seeks the ends of a changed design's figures."""
    if depth == "whole":
        return partial(from_ends, like=ends, draws=DRAWS)
    return lambda _, metric, box, places, confirm: at_ends(
        metric, box, ends, closer=depth == "closer look", places=places, confirm=confirm
    )
