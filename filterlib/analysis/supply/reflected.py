"""Ripple reflected to the battery: what of the switches' input current the input capacitor leaves to the line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Unit
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide, input_current
from filterlib.system.line.battery_side import BatterySide

__all__ = ["Reflected", "reflected"]
ORDERS = np.arange(1, 101)
SAMPLES = 1024
_HARD = {"capacitance": "low", "esr": "high", "esl": "high", "lead_inductance": "low"}
_SOFT = {"capacitance": "high", "esr": "low", "esl": "low", "lead_inductance": "high"}


@dataclass(frozen=True)
class Reflected:
    """Ripple current in the battery's line at full load: ``peak_to_peak`` and ``rms``; ``low`` and ``high`` of the first over the ranges of
    input capacitor and line."""

    peak_to_peak: Annotated[float, Unit("A", "peak to peak", "pp")]
    rms: Amperes[float]
    low: Annotated[float, Unit("A", key="pp_low")]
    high: Annotated[float, Unit("A", key="pp_high")]


def reflected(design: Design, volts: float) -> Reflected:
    """Ripple current from a battery of ``volts`` [V] at full load.

    Each harmonic of what the switches draw divides between the input capacitor (C, ESR, ESL in series) and the line: battery, wire, fuse,
    switch and the converter's own lead. Common mode is left out; so is an input filter.
    Returns: Reflected in SI units.
    """
    side, fed = design.input_side or InputSide(), design.battery_side
    nominal = _line_current(design, side, fed, volts)
    ends = [
        _peak_to_peak(_line_current(design, _at(side, which), _line(fed, end), volts))
        for which, end in ((_SOFT, "high"), (_HARD, "low"))
    ]
    here = _peak_to_peak(nominal)
    return Reflected(here, float(np.sqrt(2 * np.sum(abs(nominal) ** 2))), min(here, *ends), max(here, *ends))


def _at(side: InputSide, ends: dict[str, str]) -> InputSide:
    ranges = {name: getattr(side, name) for name in ends}
    return side.model_copy(update={name: one.at(getattr(one, ends[name])) for name, one in ranges.items()})


def _line(side: BatterySide, end: str) -> BatterySide:
    """The line with its inductance at an end."""
    keys = {"battery.inductance": side.battery.inductance, "supply_wire.inductance": side.wire.inductance}
    return side.at({key: getattr(one, end) for key, one in keys.items()})


def _line_current(design: Design, side: InputSide, fed: BatterySide, volts: float) -> np.ndarray:
    """Its harmonics c_k [A]."""
    converter = design.converter
    s = 2j * np.pi * ORDERS * converter.switching_frequency
    power = design.full_current * converter.output_voltage
    drawn = np.asarray(input_current(converter, side, ORDERS, power=power, full_power=power, voltage=volts)).ravel()
    capacitor = 1 / (s * side.capacitance.value) + side.esr.value + s * side.esl.value
    line = float(fed.resistance) + s * (float(fed.inductance) + side.lead_inductance.value)
    return np.asarray(drawn * np.ravel(capacitor / (capacitor + line)))


def _peak_to_peak(harmonics: np.ndarray) -> float:
    spectrum = np.zeros(SAMPLES // 2 + 1, complex)
    spectrum[1 : len(harmonics) + 1] = harmonics * SAMPLES
    return float(np.ptp(np.fft.irfft(spectrum, SAMPLES)))
