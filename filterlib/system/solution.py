"""One design solved at one operating point: what every analysis reads, each part made when it is first asked for, and kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit
from filterlib.system.components import Component
from filterlib.system.converter import PLUS, RETURN
from filterlib.system.dc import dc_states
from filterlib.system.design import Design
from filterlib.system.load import Load
from filterlib.system.source_spectra import SourceSpectra, source_spectra
from filterlib.system.state import State
from filterlib.system.uncertain_parameters import with_values

SHUNT = 1.0  # [ohm] in parallel with a port that is looked into, so that a constant current alone leaves no node open


@dataclass(frozen=True, eq=False)
class Solution:
    """A design at an operating point.

    ``design``; ``state``: DC voltages and currents, bias and temperature, that its parts are linearised at. Circuits,
    components and source spectra are made when first asked for, and kept. Where the design's values are arrays
    (designs, 1), so is every answer.
    """

    design: Design
    state: State

    @property
    def point(self) -> str:
        """Name of the operating point."""
        return self.state.point

    @cached_property
    def circuit(self) -> Circuit:
        """The linear circuit: converter, filter and loads."""
        return self.design.build(self.state)

    @cached_property
    def without_filter(self) -> Circuit:
        """The same with the filter taken away."""
        return self.design.build(self.state, filtered=False)

    @cached_property
    def without_converter(self) -> Circuit:
        """Filter and loads, with `SHUNT` between the terminals."""
        return self.design.build(self.state, converter=False).resistor("shunt", PLUS, RETURN, SHUNT)

    @cached_property
    def loads_alone(self) -> Circuit:
        """The loads alone, with `SHUNT` between the terminals."""
        bare = self.design.build(self.state, converter=False, filtered=False)
        return bare.resistor("shunt", PLUS, RETURN, SHUNT)

    def with_load_open(self, load: Load) -> Circuit:
        """The circuit with one load's own input taken off."""
        return self.design.build(self.state, open_load=load.name)

    def with_filter(self, filtered: bool) -> Circuit:
        """The circuit with the filter or without it."""
        return self.circuit if filtered else self.without_filter

    @cached_property
    def poles(self) -> np.ndarray:
        """Natural frequencies [1/s], as `Circuit.poles`. Raises CircuitError where a part has no ladder."""
        return self.circuit.poles()

    @cached_property
    def components(self) -> tuple[Component, ...]:
        """Every part of the filter in its order, then the loads' input capacitors, as they are placed."""
        placed = [
            replace(one, stage=stage.name) for stage in self.design.filter for one in stage.components(self.state)
        ]
        return (*placed, *(one for load in self.design.loads for one in load.components(self.state)))

    @cached_property
    def source_spectra(self) -> SourceSpectra:
        """Harmonics of the converter's sources. Raises ScaleError where its stated figures contradict each other."""
        return source_spectra(self.design.converter, self.design.full_current, input_voltage=self.state.input_voltage)

    @property
    def source_scale(self) -> Any:
        """Ripple here over that which was stated: see `Converter.ripple_scale`."""
        drawn = sum(self.state.load_currents.values()) if self.state.load_currents else self.design.full_current
        return self.design.converter.ripple_scale(drawn, self.design.full_current)

    def varied(self, values: Mapping[str, Any]) -> Solution:
        """With other values of uncertain parameters, linearised at the same state."""
        return Solution(with_values(self.design, values), self.state) if values else self

    def changed(self, design: Design) -> Solution:
        """Another design, solved at the operating point of the same name. Raises OperatingError as `solve`."""
        return solve(design, self.state.point)


def solve(design: Design, point: State | str | None = None) -> Solution:
    """Solve a design at one of its operating points.

    Parameters
    ----------
    design : Design
        Its values may be arrays (designs, 1).
    point : str or State, optional
        Name of an operating point, None for the first; or a state, which is taken as it is.

    Returns
    -------
    Solution

    Raises
    ------
    FilterlibError
        For an unknown point, with the nearest one.
    OperatingError
        Where the line cannot deliver what a load draws.

    Examples
    --------
    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> solution.point, round(float(solution.state.terminal_voltage), 1)
    ('listening', 28.0)
    """
    return Solution(design, design.state(point))


def solve_several(designs: Sequence[Design], point: str) -> list[Solution | FilterlibError]:
    """Designs of one system, solved at the operating point of one name: those of one structure together.

    In place of a design that cannot be solved stands why. Each must hold one design, no arrays.
    """
    states = dc_states([design.unsolved(point) for design in designs])
    return [
        state if isinstance(state, FilterlibError) else Solution(design, state)
        for design, state in zip(designs, states, strict=True)
    ]


def solve_all(design: Design) -> tuple[Solution, ...]:
    """A design at all of its operating points, in their order. Raises OperatingError as `solve`.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> [solution.point for solution in filterlib.solve_all(design)]
    ['transmitting', 'listening']
    """
    return tuple(solve(design, point.name) for point in design.operating_points)
