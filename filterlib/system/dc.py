"""The operating point: DC voltages and currents everywhere, iterated until loads, bias and choke current agree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit, Current
from filterlib.system.converter import PLUS, RETURN
from filterlib.system.requirements import OperatingPoint
from filterlib.system.state import State
from filterlib.units import format_quantity

if TYPE_CHECKING:
    from filterlib.system.design import Design

_ROUNDS = 500
_CLOSE = 1e-12  # relative change of every load voltage at which the iteration rests


class OperatingError(FilterlibError):
    """No DC operating point exists: the line cannot deliver what a load draws."""


def solve(design: Design, point: OperatingPoint) -> State:
    """The DC state of a design at one operating point.

    Returns a `State` whose values are floats, or arrays (designs, 1) where the design's values are.
    Raises: OperatingError naming the load that draws more than the line can deliver.
    Valid while resistances are those of the stated temperature; a part's own heating is left out.
    """
    start = State(point.name, point.temperature, design.converter.output_voltage, point.input_voltage,
                  load_scale={load.name: point.scale(load.name) for load in design.loads})  # fmt: skip
    circuit = design.build(start, dc=True)
    outputs = _outputs(design, circuit)
    sources = ["regulated", *(load.source for load in design.loads)]
    gains = np.real(
        [[column[..., 0] for column in row] for row in circuit.transfer([0.0], sources, list(outputs.values()))]
    )
    labels = list(outputs)
    ports = [labels.index(("load", load.name)) for load in design.loads]
    currents = _load_currents(design, point, gains[0], gains[1:], ports)
    levels = design.converter.output_voltage * gains[0] + sum(
        i * gain for i, gain in zip(currents, gains[1:], strict=True)
    )
    return _state(start, labels, _columns(levels), [_column(i) for i in currents], design)


def _outputs(design: Design, circuit: Circuit) -> dict[tuple[str, str], Any]:
    """What to read: label -> output of the circuit."""
    elements = {element.name: element for element in circuit.elements}
    outputs: dict[tuple[str, str], Any] = {("load", load.name): load.port for load in design.loads}
    outputs["terminals", ""] = (PLUS, RETURN)
    outputs["converter", ""] = Current("converter.lead")
    for name, element in elements.items():
        if f"{name}.loop" in elements:
            outputs["bias", name] = (element.nodes[0], elements[f"{name}.loop"].nodes[1])
    for stage in design.filter:
        if stage.lines:
            outputs["first", stage.name], outputs["second", stage.name] = _windings(stage, elements)
    return outputs


def _windings(stage: Any, elements: dict[str, Any]) -> tuple[Current, Current]:
    """The currents towards the load in the plus line, and towards the converter in the return line."""
    name = stage.name
    if stage.kind == "common_mode_choke":
        return Current(name), Current(name, winding=2)
    if stage.kind == "wire":
        return Current(f"{name}.r1"), Current(f"{name}.r2")
    if f"{name}.plus" in elements:
        return Current(f"{name}.plus"), Current(f"{name}.return")
    return Current(name), Current(name)


def _load_currents(design: Design, point: OperatingPoint, idle: Any, gains: Any, ports: list[int]) -> list[Any]:
    """Each load's current [A], by fixed point, halved steps where it swings."""
    supply = design.converter.output_voltage
    volts = [supply * idle[port] for port in ports]
    for _ in range(_ROUNDS):
        currents = [load.draws(v, point.scale(load.name)) for load, v in zip(design.loads, volts, strict=True)]
        after = [
            supply * idle[port] + sum(i * gain[port] for i, gain in zip(currents, gains, strict=True)) for port in ports
        ]
        _refuse_collapse(design, after)
        moved = max(float(np.max(np.abs(new - old) / np.abs(new))) for new, old in zip(after, volts, strict=True))
        volts = after
        if moved < _CLOSE:
            return currents
    _refuse_collapse(design, [0.0 * v for v in volts])
    return currents


def _refuse_collapse(design: Design, volts: list[Any]) -> None:
    """A constant-power load settles above half the supply or not at all: below, more current brings less power."""
    for load, v in zip(design.loads, volts, strict=True):
        floor = 0.5 if load.kind == "constant_power" else 0.05
        if float(np.min(v)) < floor * design.converter.output_voltage:
            supply = format_quantity(design.converter.output_voltage, "V")
            raise OperatingError(
                f"load {load.name}: no operating point; the line from {supply} cannot deliver what it draws "
                "(less resistance on the way, or a smaller load)"
            )


def _column(value: Any) -> Any:
    """A float where there is one design, else (designs, 1)."""
    array = np.asarray(value, float)
    return float(array) if array.ndim == 0 else array[:, None]


def _columns(levels: Any) -> list[Any]:
    return [_column(level) for level in levels]


def _state(start: State, labels: list[tuple[str, str]], levels: list[Any], drawn: list[Any], design: Design) -> State:
    read = dict(zip(labels, levels, strict=True))
    stages = [stage for stage in design.filter if stage.lines]
    one_line = {stage.name for stage in stages if len(stage.lines) == 1}

    def balanced(name: str) -> Any:
        first, second = read["first", name], read["second", name]
        return first if name in one_line else (first - second) / 2

    return State(
        point=start.point,
        temperature=start.temperature,
        nominal_voltage=start.nominal_voltage,
        input_voltage=start.input_voltage,
        load_scale=start.load_scale,
        load_voltages={load.name: read["load", load.name] for load in design.loads},
        load_currents={load.name: i for load, i in zip(design.loads, drawn, strict=True)},
        biases={name: np.abs(level) for (what, name), level in read.items() if what == "bias"},
        currents={stage.name: balanced(stage.name) for stage in stages},
        unbalances={s.name: read["first", s.name] + read["second", s.name] for s in stages if s.name not in one_line},
        terminal_voltage=read["terminals", ""],
        converter_current=read["converter", ""],
    )
