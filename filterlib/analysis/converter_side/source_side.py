"""The converter's input as a load of constant power behind its cable: does the line that feeds it ring at the lowest input?"""

from __future__ import annotations

import numpy as np

from filterlib.analysis.converter_side.converter_side_result import SourceSide
from filterlib.analysis.described import Henries, Ohms, Volts
from filterlib.analysis.stability.minor_loop import exact_limit
from filterlib.errors import FilterlibError, QuantityError
from filterlib.system.inside.input_side import InputSide
from filterlib.system.solution import Solution

BAND = 10.0, 1e7  # [Hz] in which the line may ring


def source_side(
    solution: Solution,
    *,
    cable_resistance: Ohms[float] | None = None,
    cable_inductance: Henries[float] | None = None,
    lowest: Volts[float] | None = None,
) -> SourceSide:
    """Whether the line that feeds the converter stays up, at its lowest input.

    Parameters: ``solution`` of one design; ``cable_resistance`` there and back, the battery's included [ohm], and ``cable_inductance`` of
    the loop [H], else those of battery, wire, fuse and switch; ``lowest`` input voltage [V], else that of the operating point or converter.
    Returns: SourceSide.
    Raises: FilterlibError where no input voltage is known; QuantityError for what is not positive; where the cable cannot deliver the power.
    Valid well below the converter's loop bandwidth and switching frequency, where its input draws a constant power.
    """
    converter, side = solution.design.converter, solution.design.input_side or InputSide()
    volts = lowest or solution.state.input_voltage or converter.input_voltage
    if volts is None:
        raise FilterlibError("converter.input_voltage: missing: what the input draws follows from it")
    feed = solution.design.battery_side
    henries = float(np.max(feed.inductance)) if cable_inductance is None else cable_inductance
    ohms = float(np.max(feed.resistance)) if cable_resistance is None else cable_resistance
    for name, value in (("cable_resistance", ohms), ("cable_inductance", henries), ("lowest", volts)):
        if not (np.isfinite(value) and value > 0):
            raise QuantityError("must be positive", name=name, value=value)
    drawn = float(solution.state.terminal_voltage * solution.state.converter_current / converter.efficiency.value)
    there = volts / 2 + np.sqrt(max(volts**2 / 4 - drawn * ohms, 0.0))
    if volts**2 < 4 * drawn * ohms:
        raise FilterlibError(
            f"the cable of {ohms:g} ohm cannot deliver {drawn:.3g} W at {volts:g} V: the input collapses without ringing"
        )
    farads = float(side.capacitance.value)
    found = _limits(side, ohms, henries, farads)
    return SourceSide(
        float(volts), drawn, -(there**2) / drawn, found[0] * there**2, found[1],
        _least(side, ohms, henries, drawn / there**2),
    )  # fmt: skip


def _limits(side: InputSide, ohms: float, henries: float, farads: float) -> tuple[float, float]:
    """Conductance [S] from which the line rings, and at which frequency [Hz]: R and L of the line beside C, ESR and ESL."""
    esr, esl = float(np.max(side.esr.value)), float(np.max(side.esl.value))

    def port(f: np.ndarray) -> np.ndarray:
        s = 2j * np.pi * np.where(f == 0, 1e-9, f)
        return 1 / (1 / (ohms + s * henries) + 1 / (1 / (s * farads) + esr + s * esl))

    return exact_limit(port, lambda f: -np.ones(len(f)), *BAND)


def _least(side: InputSide, ohms: float, henries: float, siemens: float) -> float:
    """Capacitance from which the line stays up, by halving over six decades; 0 where the least does, inf where the most does not."""
    low, high = 1e-8, 1e-2
    if _limits(side, ohms, henries, low)[0] > siemens:
        return 0.0
    if _limits(side, ohms, henries, high)[0] <= siemens:
        return np.inf
    for _ in range(21):  # to 1e-5
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if _limits(side, ohms, henries, middle)[0] > siemens else (middle, high)
    return high
