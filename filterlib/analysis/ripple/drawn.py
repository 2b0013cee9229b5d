"""What a search over the uncertainty draws first, kept from one operating point of a design for the next."""

from __future__ import annotations

from collections.abc import Hashable

from filterlib.network.extremes import Real
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import Columns
from filterlib.system.solution import Solution
from filterlib.system.sources.likelihood import log_likelihood
from filterlib.system.sources.source_shapes import SourceSpectra
from filterlib.system.state import State

_KEPT = 4  # batches of designs whose source spectra are kept


class Drawn:
    """Source spectra of the designs that a search draws first: alike at every operating point of one input voltage."""

    def __init__(self) -> None:
        self.kept: dict[Hashable, SourceSpectra] = {}
        self.weighed: dict[Hashable, Real] = {}

    def solution(self, moved: Design, state: State, values: Columns) -> Solution:
        """Many designs at a state, with the source spectra of those with the same converters."""
        key = (state.input_voltage, *_inside(moved, values))
        if key not in self.kept and len(self.kept) < _KEPT:
            self.kept[key] = Solution(moved, state).steady_spectra
        return Solution(moved, state, self.kept.get(key))

    def likelihood(self, moved: Design, values: Columns) -> dict[str, Real]:
        """Logarithm of how likely the readings are: the converter's alone, and so once for all operating points."""
        key = _inside(moved, values)
        if key not in self.weighed:
            self.weighed[key] = log_likelihood(moved.converter, moved.full_current)
        return {"": self.weighed[key]}


def _inside(moved: Design, values: Columns) -> tuple[Hashable, ...]:
    """What tells two batches of converters apart."""
    return (moved.converter.shape, *(one.tobytes() for key, one in values.items() if key.startswith("converter.")))
