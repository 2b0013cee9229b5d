"""One measuring arrangement: what the scope showed of the electromotive force inside the converter."""

from __future__ import annotations

import numpy as np

from filterlib.network.circuit import Circuit
from filterlib.network.extremes import Harmonics, Mixture, Real
from filterlib.network.spectrum import lowpass_response
from filterlib.system.converter import PLUS, RETURN, Arrangement, Converter

PROBE_RESISTANCE = 1e6  # of a scope's input [ohm]: common practice, no source


class Probe:
    """One measuring arrangement: from the electromotive force to what the scope showed.

    ``divider``: voltage at the probe over that force; ``transfer``: the same behind the limit of bandwidth;
    ``within``: whether a frequency lies in that bandwidth, (f,). Parameters as in `probe_transfer`, but for the load
    current [A]: that where the arrangement states none.
    """

    def __init__(
        self, converter: Converter, arrangement: Arrangement, frequencies: Real, load_current: float,
        behind: Harmonics | None = None,
    ) -> None:  # fmt: skip
        current = load_current if arrangement.load_current is None else arrangement.load_current
        self.divider = probe_transfer(converter, arrangement, frequencies, current, behind=behind)
        self.transfer = self.divider * lowpass_response(frequencies, arrangement.bandwidth, arrangement.order)
        self.within = frequencies <= (arrangement.bandwidth or np.inf)

    def mixture(self, waves: list[Harmonics], shape: tuple[int, ...]) -> Mixture:
        """What it shows of electromotive forces in any mixture; ``shape``: of all designs together, (..., h)."""
        shown = (np.broadcast_to(self.transfer * wave, shape) for wave in waves)
        return Mixture(*(np.reshape(one, (-1, shape[-1])) for one in shown))


def probe_transfer(
    converter: Converter, arrangement: Arrangement, frequencies: Real, load_current: float,
    *, behind: Harmonics | None = None,
) -> Harmonics:  # fmt: skip
    """Voltage at the probe over the electromotive force of the ripple, without the limit of bandwidth.

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
    w, load = 2j * np.pi * frequencies, load_current / converter.output_voltage
    behind = converter.terminal_impedance(frequencies) if behind is None else behind
    fixtures = (1 / (one.esr + w * one.esl + 1 / (w * one.capacitance)) for one in arrangement.capacitors)
    probe = sum(fixtures, np.array(1 / PROBE_RESISTANCE))  # current through it and the fixtures [A] at 1 V
    terminals = 1 + w * arrangement.lead_inductance * probe  # voltage [V] there
    return np.asarray(1 / (terminals + behind * (probe + terminals * load)))


def measuring_circuit(converter: Converter, arrangement: Arrangement, load_current: float) -> Circuit:
    """Converter, the load it fed, and what stood at the probe; the reading is across ("probe", "converter_return")."""
    circuit = Circuit()
    converter.within.add(circuit)
    circuit.resistor("reference", RETURN, "0", 0.0)
    if load_current > 0:
        circuit.resistor("load", PLUS, RETURN, converter.output_voltage / load_current)
    circuit.inductor("probe.lead", PLUS, "probe", arrangement.lead_inductance)
    circuit.resistor("probe.input", "probe", RETURN, PROBE_RESISTANCE)
    for number, fixture in enumerate(arrangement.capacitors, 1):
        circuit.capacitor(f"probe.c{number}", "probe", f"probe:{number}a", fixture.capacitance)
        circuit.resistor(f"probe.r{number}", f"probe:{number}a", f"probe:{number}b", fixture.esr)
        circuit.inductor(f"probe.l{number}", f"probe:{number}b", RETURN, fixture.esl)
    return circuit
