"""What was measured at the converter's terminals, and why they read something else at an operating point, in words."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.system.design import Design
from filterlib.system.inside.converter import Arrangement
from filterlib.system.requirements import band_label, band_words
from filterlib.system.solution import Solution
from filterlib.words.quantities import number

ALIKE = 0.01  # share by which two currents or voltages may differ and still count as the same


def measured_words(design: Design) -> str:
    """The first row of a table of ripples."""
    return f"converter terminals as measured, without filter, at {number(_measured_current(design), 'A')}"


def as_stated(arrangement: Arrangement, label: str) -> str:
    """Beside a reading: in which bandwidth, where that is not the column's; and what was stated, where it was read otherwise."""
    same, stated = band_label(0.0, arrangement.bandwidth, arrangement.order).startswith(label), arrangement.moved_from
    words = "as stated" if stated is None else f"{number(stated, 'V')} stated"
    return words if same else f"{words}, {band_words(0.0, arrangement.bandwidth)}"


def why_not_as_stated(solution: Solution) -> str:
    """Why the unfiltered terminals do not read at an operating point what was stated; "" where nothing differs."""
    return ", ".join(_differences(solution))


def _differences(solution: Solution) -> Iterator[str]:
    design, state = solution.design, solution.state
    converter, measured = design.converter, _measured_current(design)
    drawn = float(sum(state.load_currents.values()))
    if abs(drawn - measured) > ALIKE * max(drawn, measured):
        yield f"{number(drawn, 'A')} drawn, {number(measured, 'A')} while measuring"
    supply, stated = state.input_voltage, converter.input_voltage
    if supply and stated and abs(supply - stated) > ALIKE * stated:
        yield f"{number(supply, 'V')} at the input, {number(stated, 'V')} while measuring"
    if converter.ripple.capacitors or converter.ripple.lead_inductance:
        yield "without the probe's lead and capacitors"
    if not converter.measured_with and any(load.input_capacitor for load in design.loads):
        yield "with the loads' own capacitors"


def _measured_current(design: Design) -> float:
    stated = design.converter.ripple.load_current
    return design.full_current if stated is None else stated
