"""The operating point: DC voltages and currents everywhere, iterated until loads, bias and choke current agree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.network.batch import alike, together
from filterlib.network.circuit import Circuit, Current
from filterlib.network.netlist import Output
from filterlib.parts.values import Value
from filterlib.system.inside.converter import PLUS, RETURN, Converter
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AnyStage
from filterlib.system.state import State
from filterlib.units import format_quantity

_ROUNDS = 60
_CLOSE = 1e-12  # of the supply: change of every load voltage at which the iteration rests
_LEAST = 0.05  # of the supply: below this nothing is fed any more


class OperatingError(FilterlibError):
    """No DC operating point exists: the line cannot deliver what a load draws."""


class Line(Protocol):
    """A converter and what it feeds, as a `Design` has them."""

    @property
    def converter(self) -> Converter:
        """The source."""

    @property
    def filter(self) -> tuple[AnyStage, ...]:
        """The stages, from converter to load."""

    @property
    def loads(self) -> tuple[Load, ...]:
        """What is fed."""


@dataclass(frozen=True)
class Unsolved:
    """A line with its circuit for direct current and the state before it is solved."""

    design: Line
    circuit: Circuit
    start: State

    @cached_property
    def outputs(self) -> dict[tuple[str, str], Output]:
        """What to read, by label."""
        return _outputs(self.design, self.circuit, self.start)

    @property
    def sources(self) -> list[str]:
        """The regulated voltage, every load's current, and the input's where it flows through the shared return."""
        share = ["converter.input_current"] if np.any(self.input_share) else []
        return ["regulated", *(load.source for load in self.design.loads), *share]

    @cached_property
    def input_share(self) -> float:
        """Current at the input over that of the loads, where the input shares the output's return; 0 where not known."""
        volts = self.start.input_voltage or self.design.converter.input_voltage
        if volts is None or all(element.name != "converter.input_current" for element in self.circuit.elements):
            return 0.0
        return float(self.design.converter.output_voltage / (np.mean(self.design.converter.efficiency.value) * volts))


def dc_state(design: Line, circuit: Circuit, start: State) -> State:
    """The DC state of a design at one operating point.

    Parameters
    ----------
    design : Line
        Its values may be arrays (designs, 1).
    circuit : Circuit
        Of that design in the state ``start``, without the loads' conductances.
    start : State
        Temperature, input voltage and shares of the loads' draw, as `OperatingPoint.start` gives them.

    Returns
    -------
    State
        Values are floats, or arrays (designs, 1) where the design's are.

    Raises
    ------
    OperatingError
        Naming the load that draws more than the line can deliver.

    Notes
    -----
    Valid while resistances are those of the stated temperature; a part's own heating is left out. Where input and output
    share their return and the battery is bonded (`Supply`), the input current takes part: it drops along the cable too.
    """
    unsolved = Unsolved(design, circuit, start)
    return _solved(unsolved, _gains(circuit, unsolved.sources, list(unsolved.outputs.values())))


def dc_states(unsolved: Sequence[Unsolved]) -> list[State | OperatingError]:
    """The same of lines that hold one design each, those of one structure in one go; an error in place of a state."""
    states: dict[int, State | OperatingError] = {}
    for places in alike([one.circuit for one in unsolved]):
        group = [unsolved[place] for place in places]
        every = list(dict.fromkeys(output for one in group for output in one.outputs.values()))
        gains = _gains(together([one.circuit for one in group]), group[0].sources, every)
        for number, (place, one) in enumerate(zip(places, group, strict=True)):
            own = gains[:, [every.index(output) for output in one.outputs.values()]]
            try:
                states[place] = _solved(one, own[..., number] if own.ndim > 2 else own)
            except OperatingError as error:
                states[place] = error
    return [states[place] for place in range(len(unsolved))]


def _solved(unsolved: Unsolved, gains: np.ndarray) -> State:
    """The state from each source's effect on each output."""
    design, start = unsolved.design, unsolved.start
    if np.any(unsolved.input_share):  # each load's current has its share at the input, on its way back to the battery
        gains = np.concatenate([gains[:1], gains[1:-1] + unsolved.input_share * gains[-1:]])
    labels = list(unsolved.outputs)
    ports = [labels.index(("load", load.name)) for load in design.loads]
    currents = _load_currents(design, start, gains[0], gains[1:], ports)
    if gains.ndim == 2 and currents[0].ndim:  # only the loads hold several designs
        gains = gains[..., None]
    levels = design.converter.output_voltage * gains[0] + sum(
        i * gain for i, gain in zip(currents, gains[1:], strict=True)
    )
    return _state(start, labels, _columns(levels), [_column(i) for i in currents], design)


def _gains(circuit: Circuit, sources: list[str], outputs: list[Output]) -> np.ndarray:
    """Each source's effect on each output at DC, (sources, outputs) or (sources, outputs, designs)."""
    found = circuit.transfer([0.0], sources, outputs)
    return np.asarray(np.real([[column[..., 0] for column in row] for row in found]))


def _outputs(design: Line, circuit: Circuit, start: State) -> dict[tuple[str, str], Output]:
    """What to read: label -> output of the circuit."""
    elements = {element.name: element for element in circuit.elements}
    outputs: dict[tuple[str, str], Output] = {("load", load.name): load.port for load in design.loads}
    outputs["terminals", ""] = (PLUS, RETURN)
    outputs["converter", ""] = Current("converter.lead")
    at_loads = {one.name for load in design.loads for one in load.components(start)}
    for name, element in elements.items():
        if f"{name}.loop" in elements and name not in at_loads:
            outputs["bias", name] = (element.nodes[0], elements[f"{name}.loop"].nodes[1])
    for stage in design.filter:
        if stage.lines:  # towards the load in the plus line, towards the converter in the return line
            branches = [branch for one in stage.components(start) if not one.beside for branch in one.branches]
            for which, branch in (("first", branches[0]), ("second", branches[-1])):
                outputs[which, stage.name] = Current(branch.element, branch.winding)
    return outputs


def _load_currents(
    design: Line, start: State, idle: np.ndarray, gains: np.ndarray, ports: list[int]
) -> list[np.ndarray]:
    """Each load's current [A], by Newton's method from the voltages of the unloaded line.

    From there a constant-power load's voltage falls monotonically to the upper of its two solutions.
    """
    supply, loads = design.converter.output_voltage, design.loads
    at = np.stack([np.stack([gain[port] for gain in gains], -1) for port in ports], -2)  # [V/A] at port, by load
    unloaded = supply * np.stack([idle[port] for port in ports], -1)
    volts = unloaded
    for _ in range(_ROUNDS):
        currents = _of_each(loads, volts, lambda load, v: load.draws(v, start.scale(load.name)))
        slopes = _of_each(loads, volts, lambda load, v: load.slope(v, start.scale(load.name)))
        miss = volts - unloaded - (at @ currents[..., None])[..., 0]
        try:
            step = np.linalg.solve(np.eye(len(loads)) - at * slopes[..., None, :], miss[..., None])[..., 0]
        except np.linalg.LinAlgError:  # more current brings no more power, to the last digit
            raise _collapse(design, loads[int(np.argmin(slopes.reshape(-1, len(loads)).min(axis=0)))]) from None
        volts = volts - step
        _refuse_collapse(design, volts)
        if np.max(np.abs(step)) <= _CLOSE * supply:
            return list(np.moveaxis(currents, -1, 0))
    worst = int(np.argmax(np.abs(step).reshape(-1, len(loads)).max(axis=0)))
    raise _collapse(design, loads[worst])


def _of_each(loads: tuple[Load, ...], volts: np.ndarray, value: Callable[[Load, np.ndarray], Value]) -> np.ndarray:
    """A value of each load at its voltage, (loads,) or (designs, loads)."""
    columns = [value(load, volts[..., place, None]) for place, load in enumerate(loads)]
    return np.concatenate(np.broadcast_arrays(*columns, volts[..., :1])[:-1], axis=-1)


def _refuse_collapse(design: Line, volts: np.ndarray) -> None:
    """Where next to nothing is left: the search has fallen past the point at which more current brings less power."""
    for place, load in enumerate(design.loads):
        if np.any(volts[..., place] < _LEAST * design.converter.output_voltage):
            raise _collapse(design, load)


def _collapse(design: Line, load: Load) -> OperatingError:
    supply = format_quantity(design.converter.output_voltage, "V")
    return OperatingError(
        f"load {load.name}: no operating point; the line from {supply} cannot deliver what it draws "
        "(less resistance on the way, or a smaller load)"
    )


def _column(value: np.ndarray) -> Value:
    """A float where there is one design, else (designs, 1)."""
    array = np.asarray(value, float)
    return float(array) if array.ndim == 0 else array[:, None]


def _columns(levels: np.ndarray) -> list[Value]:
    return [_column(level) for level in levels]


def _state(start: State, labels: list[tuple[str, str]], levels: list[Value], drawn: list[Value], design: Line) -> State:
    read = dict(zip(labels, levels, strict=True))
    stages = [stage for stage in design.filter if stage.lines]
    one_line = {stage.name for stage in stages if len(stage.lines) == 1}

    def balanced(name: str) -> Value:
        first, second = read["first", name], read["second", name]
        return first if name in one_line else (first - second) / 2

    return State(
        point=start.point,
        temperature=start.temperature,
        nominal_voltage=start.nominal_voltage,
        input_voltage=start.input_voltage,
        age=start.age,
        load_scale=start.load_scale,
        load_voltages={load.name: read["load", load.name] for load in design.loads},
        load_currents={load.name: i for load, i in zip(design.loads, drawn, strict=True)},
        biases={name: np.abs(level) for (what, name), level in read.items() if what == "bias"},
        currents={stage.name: balanced(stage.name) for stage in stages},
        unbalances={s.name: read["first", s.name] + read["second", s.name] for s in stages if s.name not in one_line},
        terminal_voltage=read["terminals", ""],
        converter_current=read["converter", ""],
    )
