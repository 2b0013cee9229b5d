"""The circuit in which conducted emission is estimated, and what drives it: a network in each line, at either end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from filterlib.analysis.emission.emission_result import INPUT_LINES, LINES, OUTPUT_LINES, EmissionTest, LineSpectra
from filterlib.analysis.emission.receiver import heard
from filterlib.network.circuit import Circuit, Current, Output
from filterlib.network.extremes import Harmonics
from filterlib.parts.values import Value
from filterlib.system.design import Design
from filterlib.system.inside.converter import RETURN
from filterlib.system.inside.input import on_input
from filterlib.system.inside.input_side import SOURCE, InputSide, input_current, mean_input_current
from filterlib.system.inside.ways import CHASSIS, INPUT
from filterlib.system.solution import Solution
from filterlib.system.sources.burst_spectra import drawn_current
from filterlib.system.sources.source_shapes import SourceSpectra
from filterlib.system.state import State


def line_spectra(
    solution: Solution,
    test: EmissionTest,
    *,
    sources: SourceSpectra | None = None,
    scaled: Mapping[str, Value] | None = None,
    line: float | None = None,
    bursts: bool = False,
    spot_checked: bool = False,
) -> LineSpectra:
    """Harmonics up to where a receiver in the network's range hears them, on each line, of each source, at an operating point.

    ``sources``: those of the solution, where another operating point has them already; ``scaled``: see `setup`; ``line``: of the
    harmonics the one next to this frequency [Hz] alone; ``bursts``: of the stated bursts instead of steady switching;
    ``spot_checked``: see `spectra`.
    Raises ScaleError where the converter's stated figures contradict each other, and FilterlibError where the input
    current cannot be estimated.
    """
    design, forces, scale = solution.design, sources or solution.steady_spectra, solution.steady_scale
    if bursts:
        forces, scale = solution.source_spectra, 1.0
        solution = replace(solution, design=design.model_copy(update={"converter": design.converter.idle}))
    whole = forces.frequencies[1:]
    orders = np.flatnonzero(whole <= heard(test.at.low, test.at.high)[1])
    if line is not None:
        orders = np.array([np.argmin(np.abs(whole - line))])
    kept = whole[orders]
    circuit, ports = setup(solution, test, scaled=scaled)
    driven: dict[str, tuple[str, Harmonics]] = {"ripple": ("ripple", scale * forces.ripple)}
    if design.converter.spike is not None:
        driven["spike"] = "ripple", forces.spike
    if design.converter.common_mode is not None:
        driven["common_mode"] = "common_mode", forces.common_mode
    if test.side == "input":
        driven[SOURCE] = SOURCE, _input(solution, test.held, int(orders[-1]) + 1, bursts)
    names = list(dict.fromkeys(name for name, _ in driven.values()))
    outputs: list[Output] = [*((port, CHASSIS) for port in ports), *(Current(f"network.{line}") for line in LINES)]
    transfers = dict(zip(names, circuit.transfer(kept, names, outputs, rough=spot_checked), strict=True))
    by_source = {
        source: [2 * transfer * harmonics[..., orders + 1] for transfer in transfers[name]]
        for source, (name, harmonics) in driven.items()
    }
    return LineSpectra(
        kept,
        {(line, source): amplitudes[n] for source, amplitudes in by_source.items() for n, line in enumerate(LINES)},
        {(line, source): amplitudes[n + 2] for source, amplitudes in by_source.items() for n, line in enumerate(LINES)},
    )


def _input(solution: Solution, side: InputSide, count: int, bursts: bool) -> np.ndarray:
    """What the switches draw [A], c_0 .. c_count; of bursts as many pulses as at the output."""
    design, state = solution.design, solution.state
    converter, voltage = design.converter, design.converter.input_voltage
    if state.input_voltage is not None and voltage is not None:
        converter, voltage = on_input(converter, state.input_voltage)[0], state.input_voltage
    power = converter.output_voltage * state.converter_current
    if bursts and solution.burst is not None:
        current = drawn_current(converter, solution.burst, count, mean=mean_input_current(converter, power, voltage))
    else:
        current = input_current(
            converter, side, np.arange(1, count + 1),
            power=power, full_power=converter.output_voltage * design.full_current, voltage=voltage,
        )  # fmt: skip
    return np.concatenate([np.zeros((*current.shape[:-1], 1)), current], axis=-1)


def setup(
    solution: Solution, test: EmissionTest, *, scaled: Mapping[str, Value] | None = None
) -> tuple[Circuit, tuple[str, str]]:
    """The circuit with its two networks, and the nodes at which a receiver reads the plus and the return line.

    "output": the networks are at the end of the filter, and the loads beyond them are decoupled. "input": they feed the
    converter through its input side's lead, and filter and loads are as they are. Sources as in `Design.circuit`,
    and at the input `SOURCE`; "network.plus" and "network.return" are shorts whose current flows into the networks.
    ``scaled``: by line, times what its network's impedance is; arrays (designs, 1) stand for many.
    """
    design, state = solution.design.model_copy(update={"clip": None}), solution.state
    if test.side == "output":
        circuit, lines = design.model_copy(update={"loads": ()}).build(state), OUTPUT_LINES
    else:
        circuit, lines = _fed(design, state, test.held), INPUT_LINES
    if "insulation" not in {element.name for element in circuit.elements}:
        circuit.resistor("insulation", CHASSIS, "0", design.insulation)
    ports = []
    for line, node in zip(LINES, lines, strict=True):
        circuit.resistor(f"network.{line}", node, f"network:{line}", 0.0)
        network = test.at if scaled is None else test.at.scaled(scaled[line])
        ports.append(network.add(circuit, f"network.{line}", f"network:{line}", CHASSIS))
    return circuit, (ports[0], ports[1])


def _fed(design: Design, state: State, side: InputSide) -> Circuit:
    """The whole circuit with the converter's input; isolated, what swings is that input, and not the chassis."""
    fed = design.converter.model_copy(update={"supply": None})
    circuit = design.model_copy(update={"converter": fed}).build(state)
    volts = state.input_voltage or fed.input_voltage or 0.0
    side.add(circuit, INPUT_LINES, INPUT if fed.isolated else RETURN, voltage=volts, temperature=state.temperature)
    return circuit
