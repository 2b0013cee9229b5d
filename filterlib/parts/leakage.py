"""Leakage current of capacitors, as data sheets state it."""

from __future__ import annotations

import numpy as np

from filterlib.parts.values import Value


def electrolytic_leakage(capacitance: Value, rated_voltage: Value, factor: Value, least: Value = 0.0) -> Value:
    """Largest leakage current [A] of an electrolytic of ``capacitance`` [F] and ``rated_voltage`` [V].

    ``factor`` C V [1/s], 0.01 being "0.01 C V" in microamperes, microfarads and volts, or ``least`` [A], whichever is
    more. Valid at 20 °C and the rated voltage, some minutes after it was applied: it falls in use, grows in the warmth.
    Source: Nippon Chemi-Con, FAQ "About time-based changes in leakage current".

    >>> float(round(electrolytic_leakage(2200e-6, 35.0, 0.01) * 1e6, 6))
    770.0
    """
    return np.maximum(factor * capacitance * rated_voltage, least)


def insulation_leakage(voltage: Value, capacitance: Value, time: Value = np.inf, resistance: Value = np.inf) -> Value:
    """Leakage current [A] at ``voltage`` [V] of a film or ceramic capacitor of ``capacitance`` [F].

    V/R, R being the least of ``resistance`` [ohm] and ``time``/C, the time constant [s] (ohm farad) that data sheets
    state for large values. Valid at 20 °C after a minute; R falls by half for some 10 K (common practice, no source).
    Source: IEC 60384-1, section 4.5, as quoted by R. Gallay, garmanage.com, "Insulation resistance".

    >>> float(round(insulation_leakage(50.0, 10e-6, time=500.0) * 1e6, 6))
    1.0
    """
    return voltage / np.minimum(resistance, time / capacitance)
