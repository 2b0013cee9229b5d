"""Insertion loss of the filter in the standard's test systems, beside what the same filter does in its own circuit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from filterlib.analysis.linear.frequency_response import FREQUENCIES
from filterlib.analysis.linear.linear_result import InsertionResult, Mode
from filterlib.analysis.linear.port_impedance import seen_from_converter
from filterlib.network.circuit import Circuit
from filterlib.network.netlist import Output, Value
from filterlib.system.design import Design
from filterlib.system.inside.ways import CHASSIS
from filterlib.system.line.couplings import couple
from filterlib.system.line.stages import add_filter
from filterlib.system.solution import Solution
from filterlib.system.state import State
from filterlib.units import decibels

_MODES: tuple[Mode, ...] = get_args(Mode)
SYSTEMS: Mapping[str, tuple[float, float]] = {"50/50": (50.0, 50.0), "0.1/100": (0.1, 100.0), "100/0.1": (100.0, 0.1)}
"""Resistances [ohm] of generator and receiver in the test systems: CISPR 17:2011 (the values from memory)."""


def insertion_loss(chain: ArrayLike, source: ArrayLike, load: ArrayLike) -> np.ndarray:
    """Insertion loss of a two-port between two impedances: load voltage without it over load voltage with it.

    Parameters
    ----------
    chain : array (..., 2, 2)
        Chain matrix [[A, B], [C, D]]: V1 = A V2 + B I2, I1 = C V2 + D I2, with I2 flowing into the load; B in [ohm], C in
        [S]. See `series_arm` and `shunt_arm`; a cascade is the matrix product in the order of the current.
    source, load : array (...), real or complex
        Impedances at its two ends [ohm].

    Returns
    -------
    array (...) [dB]; inf where nothing reaches the load

    Notes
    -----
    20 log10 |(A Zl + B + C Zs Zl + D Zs)/(Zs + Zl)|. Valid for a linear two-port, all of it. Source: V2 = E Zl/(A Zl + B +
    C Zs Zl + D Zs), any text on two-ports.

    Examples
    --------
    A T-pad of 300, 450 and 300 ohm between 600 ohm (J. O. Bird, Electrical Circuit Theory and Technology, ch. 41):

    >>> pad = series_arm(300.0) @ shunt_arm(1 / 450) @ series_arm(300.0)
    >>> round(float(insertion_loss(pad, 600.0, 600.0)), 2)
    9.54
    """
    a, b, c, d = np.moveaxis(np.asarray(chain).reshape(*np.shape(chain)[:-2], 4), -1, 0)
    source, load = np.asarray(source), np.asarray(load)
    return decibels((a * load + b + c * source * load + d * source) / (source + load))


def series_arm(impedance: ArrayLike) -> np.ndarray:
    """Chain matrix, complex (..., 2, 2), of an impedance (...) [ohm] in series.

    >>> series_arm(10.0).real.tolist()
    [[1.0, 10.0], [0.0, 1.0]]
    """
    return _chain(0, 1, impedance)


def shunt_arm(admittance: ArrayLike) -> np.ndarray:
    """Chain matrix, complex (..., 2, 2), of an admittance (...) [S] across.

    >>> shunt_arm(0.02).real.tolist()
    [[1.0, 0.0], [0.02, 1.0]]
    """
    return _chain(1, 0, admittance)


def _chain(row: int, column: int, value: ArrayLike) -> np.ndarray:
    chain = np.zeros((*np.shape(value), 2, 2), dtype=complex)
    chain[...] = np.eye(2)
    chain[..., row, column] = value
    return chain


def in_system(
    design: Design, state: State, source: Value, load: Value, *, mode: Mode, frequencies: np.ndarray = FREQUENCIES
) -> np.ndarray:
    """Insertion loss of a design's filter between a generator and a receiver.

    Parameters
    ----------
    design, state : Design, State
        The stages between the converter's terminals and the load's, without converter, loads and bonds, at the state's
        bias, currents and temperature; `State()` for a test without load.
    source, load : float, or arrays (designs, 1)
        Resistance of generator and receiver, above zero [ohm].
    mode : "symmetrical" or "asymmetrical"
        Symmetrical: generator and receiver each from line to line through isolating transformers, so that neither is tied
        to the chassis, which floats (through the design's insulation alone). Asymmetrical: both lines tied together at the
        generator's end, and together at the receiver's; generator and receiver each from there to the chassis. A filter without anything to the chassis then is
        what its lines are in series, one beside the other: capacitors between the lines do nothing.
    frequencies : array (f,)
        [Hz]

    Returns
    -------
    array (f,), or (designs, f) where a part holds an array [dB]

    Notes
    -----
    Source: CISPR 17:2011, methods of measurement of the suppression characteristics of passive EMC filtering devices (scope
    read; the two arrangements from memory).
    """
    circuit, tied = Circuit(), mode == "asymmetrical"
    back = "test:in-" if tied else "0"
    add_filter(circuit, design.filter, ("test:in+", back), ("test:out+", "test:out-"), state)
    couple(circuit, design.all_couplings, design.filter)
    if CHASSIS in circuit.nodes:
        circuit.resistor("test:chassis", CHASSIS, "0", 0.0 if tied else design.insulation)
    if tied:
        circuit.resistor("test:tie in", "test:in+", back, 0.0).resistor("test:tie out", "test:out+", "test:out-", 0.0)
    circuit.voltage_source("test:generator", "test:emf", "0").resistor("test:source", "test:emf", "test:in+", source)
    receiver = ("test:out+", "0" if tied else "test:out-")
    circuit.resistor("test:load", *receiver, load)
    with_filter = circuit.transfer(frequencies, "test:generator", receiver)
    return -decibels(with_filter * ((source + load) / load))


def _in_systems(solution: Solution, mode: Mode, frequencies: np.ndarray) -> dict[str, np.ndarray]:
    """By test system; of one design all systems are one circuit of several values."""
    design, state = solution.design, solution.state
    if solution.circuit.designs is None:
        source, load = np.array(list(SYSTEMS.values())).T[..., None]
        return dict(
            zip(SYSTEMS, in_system(design, state, source, load, mode=mode, frequencies=frequencies), strict=True)
        )
    return {name: in_system(design, state, *ends, mode=mode, frequencies=frequencies) for name, ends in SYSTEMS.items()}


def insertion(solution: Solution, *, frequencies: np.ndarray = FREQUENCIES) -> InsertionResult:
    """Insertion loss in every test system, and in the filter's own circuit.

    Parameters: ``solution``; ``frequencies`` (f,) [Hz], not negative.
    Returns: InsertionResult, its losses (f,) [dB].
    Raises: CircuitError for frequencies that are not (f,), finite and not negative.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> insertion(solution, frequencies=np.array([180e3])).symmetrical["50/50"].round(1).tolist()
    [54.2]
    """
    design, state = solution.design, solution.state
    tested: dict[Mode, dict[str, np.ndarray]] = {mode: _in_systems(solution, mode, frequencies) for mode in _MODES}
    driven = design.converter.common_mode is not None
    lead = 2j * np.pi * frequencies * design.converter.lead_inductance.value
    return InsertionResult(
        point=state.point,
        frequencies=frequencies,
        **tested,
        real_symmetrical=_real(solution, "ripple", {load.name: (load.port,) for load in design.loads}, frequencies),
        real_asymmetrical=_real(solution, "common_mode", _to_chassis(design), frequencies) if driven else {},
        converter_impedance=design.converter.inner_impedance(frequencies) + lead,
        load_impedance=seen_from_converter(solution.loads_alone, frequencies),
    )


def _to_chassis(design: Design) -> dict[str, tuple[tuple[str, str], ...]]:
    return {load.name: ((load.plus, CHASSIS), (load.minus, CHASSIS)) for load in design.loads}


def _real(
    solution: Solution, source: str, outputs: Mapping[str, tuple[Output, ...]], frequencies: np.ndarray
) -> dict[str, np.ndarray]:
    """Each load's voltage (the mean of several outputs) without the filter over that with it [dB]."""
    wanted = [one for ports in outputs.values() for one in ports]
    without, left = (solution.with_filter(filtered).transfer(frequencies, source, wanted) for filtered in (False, True))
    losses, start = {}, 0
    for load, ports in outputs.items():
        chosen = slice(start, start + len(ports))
        losses[load] = decibels(sum(without[chosen])) - decibels(sum(left[chosen]))
        start += len(ports)
    return losses


def spots(switching: float) -> dict[str, float]:
    """The frequencies [Hz] at which insertion loss is reported, by their names in keys.

    >>> spots(180e3)
    {'switching': 180000.0, '1MHz': 1000000.0, '10MHz': 10000000.0}
    """
    return {"switching": switching, "1MHz": 1e6, "10MHz": 1e7}
