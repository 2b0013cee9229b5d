"""One design solved at one operating point: what every analysis reads, each part made when it is first asked for, and kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit
from filterlib.parts.values import Value, Values
from filterlib.system.dc import dc_states
from filterlib.system.design import Design, with_values
from filterlib.system.inside.burst import Burst, PulseTrain
from filterlib.system.inside.converter import PLUS, RETURN, Converter
from filterlib.system.inside.input import on_input
from filterlib.system.inside.light_load import Discontinuous, LightLoad, discontinuous, full_load, light_load
from filterlib.system.inside.measured_inside import measured_inside
from filterlib.system.line.components import Component
from filterlib.system.line.load import Load
from filterlib.system.sources.burst_spectra import burst_spectra, discontinuous_spectra
from filterlib.system.sources.source_shapes import SourceSpectra
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.system.state import State

SHUNT = 1.0  # [ohm] in parallel with a port that is looked into, so that a constant current alone leaves no node open


@dataclass(frozen=True, eq=False)
class Solution:
    """A design at an operating point.

    ``design``; ``state``: DC voltages and currents, bias and temperature, that its parts are linearised at. Circuits,
    components and source spectra are made when first asked for, and kept. Where the design's values are arrays
    (designs, 1), so is every answer. ``known_sources``: the source spectra, of a solution with the same converter and input
    voltage.
    """

    design: Design
    state: State
    known_sources: SourceSpectra | None = None

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
        return self.circuit.opened(load.input_branches)

    def with_filter(self, filtered: bool) -> Circuit:
        """The circuit in which ripple flows, with the filter or without it: where the converter bursts its regulation rests."""
        there = self if self.burst is None else self._idle
        return there.circuit if filtered else there.without_filter

    @cached_property
    def _idle(self) -> Solution:
        converter = self.design.converter.idle
        return Solution(self.design.model_copy(update={"converter": converter}), self.state)

    @property
    def drawn(self) -> float:
        """Current [A] that all loads draw here; all of it where the state is not solved; of many designs the mean."""
        currents = self.state.load_currents
        return float(np.mean(sum(currents.values()))) if currents else self.design.full_current

    @cached_property
    def light_load(self) -> LightLoad | None:
        """What the converter does where the load is light, else None. Raises FilterlibError for a burst that cannot be."""
        converter = self._on_its_input
        return light_load(converter, self.drawn, full_load(converter, self.design.full_current))

    @cached_property
    def discontinuous(self) -> Discontinuous | None:
        """Where the output inductor's current falls to zero in each period; None elsewhere, and in bursts."""
        if self.burst is not None:
            return None
        measured = self.design.converter.ripple.load_current or self.design.full_current
        return discontinuous(self._on_its_input, self.drawn, measured)

    @property
    def burst(self) -> PulseTrain | None:
        """The burst that is stated for this load, else None."""
        return self.light_load.train if self.light_load is not None and self.light_load.certain else None

    @property
    def supposed(self) -> Solution | None:
        """The same with the burst that has to be suspected as if it were stated; None where none has to be."""
        light = self.light_load
        if light is None or light.certain or light.train is None:
            return None
        burst = Burst(pulses=light.train.pulses, period=light.train.period, peak=float(np.mean(light.train.peak)))
        converter = self.design.converter.model_copy(update={"burst": burst})
        return Solution(self.design.model_copy(update={"converter": converter}), self.state)

    @property
    def _on_its_input(self) -> Converter:
        """The converter with the duty cycle of this point's input voltage."""
        converter, volts = self.design.converter, self.state.input_voltage
        return converter if volts is None or converter.input_voltage is None else on_input(converter, volts)[0]

    @property
    def period(self) -> float:
        """After which the converter's ripple repeats [s]: of switching, or of its bursts."""
        return float(1 / self.source_spectra.frequencies[1])

    @cached_property
    def with_measured_output(self) -> Solution:
        """The same with the converter's output impedance as measured, at the same state; itself where none is known or can be used."""
        converter = measured_inside(self.design.converter)
        if converter is self.design.converter:
            return self
        return Solution(self.design.model_copy(update={"converter": converter}), self.state)

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
        if self.burst is not None:
            return self.spectra_of(self.burst)
        if self.discontinuous is not None and self.discontinuous.known:
            return discontinuous_spectra(self._on_its_input, self.discontinuous.share, self.steady_spectra)
        return self.steady_spectra

    @cached_property
    def steady_spectra(self) -> SourceSpectra:
        """The same while it switches all the time, whatever the load."""
        if self.known_sources is not None:
            return self.known_sources
        return source_spectra(self.design.converter, self.design.full_current, input_voltage=self.state.input_voltage)

    def spectra_of(self, burst: PulseTrain) -> SourceSpectra:
        """The same while it switches in bursts."""
        return burst_spectra(self._on_its_input, burst, self.steady_spectra)

    @property
    def source_scale(self) -> Value:
        """Ripple here over that which was stated: see `Converter.ripple_scale`; a burst's is what it is."""
        return 1.0 if self.burst is not None else self.steady_scale

    @property
    def steady_scale(self) -> Value:
        """The same while it switches all the time."""
        drawn = sum(self.state.load_currents.values()) if self.state.load_currents else self.design.full_current
        return self.design.converter.ripple_scale(drawn, self.design.full_current)

    def varied(self, values: Values) -> Solution:
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


def powered_loads(solution: Solution) -> list[Load]:
    """The loads that draw a constant power at the operating point."""
    loads = (one for one in solution.design.loads if one.kind == "constant_power")
    return [one for one in loads if np.all(one.draws(1.0, solution.state.scale(one.name)) > 0)]
