"""One measuring arrangement: the loads that were on the line then, and what the scope showed of the force inside the converter."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.network.circuit import Circuit
from filterlib.network.extremes import Harmonics, Real
from filterlib.network.netlist import Current
from filterlib.network.spectrum import lowpass_response, passed
from filterlib.parts.wire import WirePair
from filterlib.system.inside.converter import PLUS, RETURN, Arrangement, Converter
from filterlib.system.inside.ways import CHASSIS, INSULATION
from filterlib.system.line.load import Load
from filterlib.system.state import State

PROBE_RESISTANCE = 1e6  # of a scope's input [ohm]: common practice, no source
Spectrum: TypeAlias = NDArray[np.complex128]
LEADS = WirePair(length=0.5, cross_section=1.5e-6, spacing=5e-3)
"""Of a load on the bench, which keep the ripple out of it where it is a fraction of an ohm: common practice, no source."""


class Probe:
    """One measuring arrangement: from the electromotive force to what the scope showed.

    ``divider``: voltage at the probe over that force; ``transfer``: the same behind the limit of bandwidth;
    ``conversion``: that over the switching node's voltage, 0 where no load is known that reaches the chassis; ``within``:
    whether a frequency lies in that bandwidth, (f,); ``limit``: that limit. Parameters as in `probe_transfer`, but for the load
    current [A]: that where the arrangement states none; ``other``: a probe on the same converter, whose division serves
    where the same was attached.
    """

    def __init__(
        self, converter: Converter, arrangement: Arrangement, frequencies: Real, load_current: float,
        behind: Harmonics | None = None, other: Probe | None = None,
    ) -> None:  # fmt: skip
        current = load_current if arrangement.load_current is None else arrangement.load_current
        limit = lowpass_response(frequencies, arrangement.bandwidth, arrangement.order)
        self.attached = arrangement.capacitors, arrangement.lead_inductance, current
        self.divider: Harmonics
        self.converted: Harmonics
        if other is not None and other.attached == self.attached:
            self.divider, self.converted = other.divider, other.converted
        else:
            self.divider, self.converted = _transfers(converter, arrangement, frequencies, current, behind)
        self.transfer, self.conversion = self.divider * limit, self.converted * limit
        self.limit = limit
        self.within = frequencies <= (arrangement.bandwidth or np.inf)
        self.converts = bool(converter.measured_with) and converter.common_mode is not None

    def shown(self, ripple: Harmonics, spike: Harmonics, node: Harmonics, *, rough: bool = False) -> list[Harmonics]:
        """What it shows of each source, and of the switching node where that is converted; ``rough``: what its limit lets pass."""
        sources = [
            (self.transfer, ripple),
            (self.transfer, spike),
            *([(self.conversion, node)] if self.converts else []),
        ]
        last = passed(self.limit).shape[-1] if rough else None
        return [through[..., :last] * source[..., :last] for through, source in sources]


def _transfers(
    converter: Converter, arrangement: Arrangement, frequencies: Real, current: float, behind: Harmonics | None
) -> tuple[Harmonics, Harmonics]:
    """Voltage at the probe over the electromotive force, and over the switching node's voltage."""
    if not converter.measured_with:
        return probe_transfer(converter, arrangement, frequencies, current, behind=behind), np.zeros(1, complex)
    behind = converter.terminal_impedance(frequencies) if behind is None else behind
    probe, lead = _probe(arrangement, 2j * np.pi * frequencies)
    divider, converted = through_loads(converter, frequencies, current, behind, probe / lead)
    return divider / lead, converted / lead


def _probe(arrangement: Arrangement, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Current through probe and fixtures [A], and voltage at the terminals, at 1 V at the probe; ``w`` = j 2 pi f."""
    fixtures = (1 / (one.esr + w * one.esl + 1 / (w * one.capacitance)) for one in arrangement.capacitors)
    probe = sum(fixtures, np.array(1 / PROBE_RESISTANCE))
    return probe, np.asarray(1 + w * arrangement.lead_inductance * probe)


def probe_transfer(
    converter: Converter, arrangement: Arrangement, frequencies: Real, load_current: float,
    *, behind: Harmonics | None = None,
) -> Harmonics:  # fmt: skip
    """Voltage at the probe over the electromotive force of the ripple, without the limit of bandwidth.

    The load is a resistor on usual leads (`LEADS`): at a ring's frequency those keep a load of some ohms off the terminals. Or it is what
    the converter was ``measured_with``, where nothing drives the chassis.

    Parameters
    ----------
    converter, arrangement : Converter, Arrangement
        Values may be arrays (designs, 1).
    frequencies : array (f,)
        Above 0 [Hz].
    load_current : float
        Drawn meanwhile [A].
    behind : array (f,) or (designs, f), optional
        The converter's impedance at its terminals, where it is known already [ohm].

    Returns
    -------
    numpy.ndarray
        Complex (f,) or (designs, f); that of `measuring_circuit`, in closed form.
    """
    load = _load_admittance(converter, frequencies, load_current)
    behind = converter.terminal_impedance(frequencies) if behind is None else behind
    probe, terminals = _probe(arrangement, 2j * np.pi * frequencies)
    return np.asarray(1 / (terminals + behind * (probe + terminals * load)))


def _load_admittance(converter: Converter, frequencies: Real, current: float) -> np.ndarray | float:
    """Of what drew a current [A] meanwhile [S]; (f,); ``frequencies`` are harmonics of the switching frequency."""
    if not converter.measured_with or converter.common_mode is not None:
        lead = 2j * np.pi * frequencies * LEADS.loop_inductance
        return current / (converter.output_voltage + current * lead)
    orders = np.rint(frequencies / converter.switching_frequency).astype(int)
    return np.asarray(admittances(converter, int(orders.max()), current).plus[orders - 1])


def measuring_circuit(converter: Converter, arrangement: Arrangement, load_current: float) -> Circuit:
    """Converter, what it fed, and what was at the probe; the reading is across ("probe", "converter_return").

    It fed the loads that it was ``measured_with``; where there are none, a resistor on `LEADS`, and nothing reached the chassis.
    """
    circuit, loads = Circuit(), converter.measured_with
    (converter if loads else converter.within).add(circuit)
    circuit.resistor("reference", RETURN, "0", 0.0)
    if loads:
        circuit.resistor("link", PLUS, "load_plus", 0.0)
        loads_on_line(circuit, loads, converter.output_voltage, load_current)
    elif load_current > 0:
        circuit.inductor("load.lead", PLUS, "load:r", LEADS.loop_inductance)
        circuit.resistor("load", "load:r", RETURN, converter.output_voltage / load_current)
    circuit.inductor("probe.lead", PLUS, "probe", arrangement.lead_inductance)
    circuit.resistor("probe.input", "probe", RETURN, PROBE_RESISTANCE)
    for number, fixture in enumerate(arrangement.capacitors, 1):
        circuit.capacitor(f"probe.c{number}", "probe", f"probe:{number}a", fixture.capacitance)
        circuit.resistor(f"probe.r{number}", f"probe:{number}a", f"probe:{number}b", fixture.esr)
        circuit.inductor(f"probe.l{number}", f"probe:{number}b", RETURN, fixture.esl)
    return circuit


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
