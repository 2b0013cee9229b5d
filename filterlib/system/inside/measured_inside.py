"""A converter whose output impedance was measured: that in place of what is assumed inside, for all that asks whether the line rings."""

from __future__ import annotations

import numpy as np
from pydantic import InstanceOf

from filterlib.network.wiring import Wiring
from filterlib.parts.curves.measured import series_ladder
from filterlib.parts.curves.one_port_fit import FittedCurve
from filterlib.system.inside.converter import INSIDE, PLUS, RETURN, Converter


class MeasuredInside(Converter):
    """A converter with the ``network`` of its measured output impedance between its terminals; what is said of its inside moves nothing.

    For frequencies it is as measured, continued by the network outside the band; for poles it is the network. Direct current sees the
    output resistance.
    """

    network: InstanceOf[FittedCurve]

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """All that is said of its inside too."""
        return (*super().ineffective(driven), *INSIDE)

    def terminal_impedance(self, frequencies: np.ndarray, inner: np.ndarray | None = None) -> np.ndarray:
        """As measured [ohm]; (f,)."""
        f, (low, high) = np.asarray(frequencies, float), self.network.band
        known = np.clip(f, low, high)
        port, curve = self.network.one_port, self.network.curve
        beyond = np.abs(curve.at(known) / port.impedance(known)) * port.impedance(np.where(f == 0, low, f))
        return np.where(f == 0, np.mean(self.output_resistance.value), np.where(known == f, curve.at(known), beyond))

    def add(self, circuit: Wiring) -> None:
        """The same sources, and all of its impedance where the lead is of any other converter."""
        circuit.voltage_source("regulated", "converter:inner", RETURN)
        circuit.voltage_source("ripple", "converter:emf", "converter:inner")
        circuit.immittance("converter.lead", "converter:emf", PLUS, self.terminal_impedance, ladder=self._ladder)
        self.add_ways_to_the_chassis(circuit)

    def _ladder(self) -> Wiring:
        port = self.network.one_port
        return series_ladder(port, port.resistance)


def measured_inside(converter: Converter) -> Converter:
    """The converter with its output impedance as measured; itself where the file names none that can be used."""
    held = converter.control.output_impedance
    if held is None or isinstance(converter, MeasuredInside) or held.fit[0] is None:
        return converter
    fields = {name: getattr(converter, name) for name in Converter.model_fields}
    return MeasuredInside.model_construct(converter.model_fields_set, network=held.fit[0], **fields)
