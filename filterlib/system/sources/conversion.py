"""The loads that were on the line while a converter was measured, and what common-mode current makes at its terminals there."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.network.circuit import Circuit
from filterlib.network.netlist import Current
from filterlib.parts.wire import WirePair
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.ways import CHASSIS, INSULATION
from filterlib.system.line.load import Load
from filterlib.system.state import State

Spectrum: TypeAlias = NDArray[np.complex128]
LEADS = WirePair(length=0.5, cross_section=1.5e-6, spacing=5e-3)
"""Of a load on the bench, which keep the ripple out of it where it is a fraction of an ohm: common practice, no source."""


class Admittances(NamedTuple):
    """Of loads between plus, return and chassis, seen from the return; complex (f,) [S].

    ``plus``: current into plus per volt there; ``chassis``: into the chassis per volt there; ``between``: into either per
    volt at the other.
    """

    plus: Spectrum
    chassis: Spectrum
    between: Spectrum


def admittances(converter: Converter, count: int, current: float) -> Admittances:
    """Of the loads on the line while the converter was measured, drawing ``current`` [A] together, at ``count`` harmonics.

    Each takes its share of it, at the output voltage and room temperature.
    """
    whole = 2 ** int(np.ceil(np.log2(count)))  # so that converters whose rings differ share them
    found = _admittances(
        converter.measured_with, converter.output_voltage, current, converter.switching_frequency, whole
    )
    return Admittances(*(one[:count] for one in found))


@lru_cache(maxsize=8)
def _admittances(loads: tuple[Load, ...], voltage: float, current: float, switching: float, count: int) -> Admittances:
    circuit, frequencies = loads_on_line(Circuit(), loads, voltage, current), switching * np.arange(1, count + 1)
    circuit.voltage_source("plus", "load_plus", "0").voltage_source("body", CHASSIS, "0")
    (plus, between), (_, chassis) = circuit.transfer(frequencies, ["plus", "body"], [Current("plus"), Current("body")])
    return Admittances(-plus, -chassis, -between)


def loads_on_line(circuit: Circuit, loads: tuple[Load, ...], voltage: float, current: float) -> Circuit:
    """Add loads from "load_plus" to "0" that draw ``current`` [A] together, and the chassis' insulation."""
    full = sum(float(np.mean(load.draws(voltage, 1.0))) for load in loads)
    state = State("measured", nominal_voltage=voltage, load_scale={one.name: current / full for one in loads})
    for load in loads:
        load.add(circuit, state, stray=True)
    return circuit.resistor("insulation", CHASSIS, "0", INSULATION)


def chassis_drive(converter: Converter, frequencies: NDArray[np.float64]) -> tuple[Spectrum, Spectrum]:
    """What the converter is to the chassis: admittance [S] from its return, and the current [A] that 1 V at the node drives.

    That of `Converter.add`, with the input side eliminated where it is isolated; (f,) or (designs, f).
    """
    s = 2j * np.pi * frequencies
    bond = 0.0 if converter.bond is None else 1 / converter.bond.way(s)
    into = 0.0 if converter.common_mode is None else 1 / converter.common_mode.way(s)
    cable = 0.0 if converter.supply is None else 1 / converter.supply.way(s)
    if not converter.isolated:
        return np.asarray(bond + cable + into), np.asarray(into)
    inside = into + (0.0 if converter.bridge is None else 1 / converter.bridge.way(s))
    share = cable / (inside + cable + 1e-300)
    return np.asarray(bond + share * inside), np.asarray(-share * into)


def through_loads(
    converter: Converter, frequencies: NDArray[np.float64], current: float, behind: Spectrum, beside: Spectrum
) -> tuple[Spectrum, Spectrum]:
    """Voltage at the unfiltered terminals per volt of the ripple's electromotive force, and of the switching node.

    Parameters
    ----------
    converter : Converter
        Values may be arrays (designs, 1); its loads hold one design.
    frequencies : array (f,)
        Harmonics of the switching frequency, all from the first [Hz].
    current : float
        Drawn by the loads together [A].
    behind, beside : array (f,) or (designs, f)
        Impedance at the converter's terminals [ohm]; admittance of what else is across them [S].
    """
    loads = admittances(converter, len(frequencies), current)
    admittance, driven = chassis_drive(converter, frequencies)
    to_chassis = loads.between / (loads.chassis + admittance)
    terminals = 1 + behind * (beside + loads.plus - loads.between * to_chassis)
    return np.asarray(1 / terminals), np.asarray(-behind * to_chassis * driven / terminals)
