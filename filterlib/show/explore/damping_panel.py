"""Panel of the notebook on damping: a filter with one resistor, as it is and at the worst tolerances, and every other resistor."""

from __future__ import annotations

import math

from filterlib.analysis.damping.damped_filter import DampedFilter, FilterResult, damped_filter, every_resistor
from filterlib.analysis.damping.ideal import NETWORKS
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import DAMPING
from filterlib.words.quantities import number

F0 = 1 / (2 * math.pi * 10e-6)  # [Hz] of 10 µH and 10 µF, whose R0 is 1 ohm


def damping_panel() -> ui.Panel[DampedFilter, FilterResult]:
    """A damped filter of ideal parts on sliders: 10 µH and 10 µF, so that R0 is 1 ohm and f0 15.9 kHz."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("network", "network", {name: name for name in NETWORKS}),
        ui.Control("ratio", "added part, × filter's", "", 0.25, 20, 2, scale="log"),
        ui.Control("resistance", "resistor", "ohm", 0.05, 20, 0.9129),
        ui.Control("spread", "tolerance, × 20 %", "", 0, 2, 1, scale="linear"),
    ]
    calculation = ui.Calculation(
        DampedFilter(), damped_filter, lambda design, result, tick: every_resistor(design, result)
    )
    return ui.Panel(
        "Damping without waste", calculation, controls, ui.Display(_picture(), _readings, _sentence, lesson=DAMPING)
    )


def _picture() -> ui.Picture[FilterResult]:
    impedance: ui.Plot[FilterResult] = ui.Plot(
        "Impedance at the output",
        ui.Axis("frequency", "Hz", "log", limits=(F0 / 10, 10 * F0)),
        ui.Axis("impedance", "Ω", "log"),
        (
            ui.Curve("nominal parts", lambda r: (F0 * r.frequencies, r.nominal), kept=True),
            ui.Curve("worst tolerances", lambda r: (F0 * r.frequencies, r.worst)),
            ui.Level("the textbook's peak", lambda r: (r.best_peak,)),
        ),
    )
    every: ui.Plot[FilterResult] = ui.Plot(
        "Peak with every resistor",
        ui.Axis("resistor", "Ω", "log"),
        ui.Axis("peak", "Ω", "log"),
        (
            ui.Curve("nominal parts", lambda r: None if r.row is None else (r.row, r.row_nominal)),
            ui.Curve("worst tolerances", lambda r: None if r.row is None else (r.row, r.row_worst)),
            ui.Curve("here", lambda r: ([r.resistance] * 2, [r.peak, r.worst_peak]), marker="o"),
        ),
    )
    return ui.Picture([impedance, every], name="damping", size=ui.LOW, widths=(3, 2))


def _readings(r: FilterResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading("peak", r.peak, "Ω", note=f"least possible {r.best_peak:.3g} Ω"),
        ui.Reading("worst peak", r.worst_peak, "Ω"),
        ui.Reading("textbook's resistor", r.textbook, "Ω"),
        ui.Reading("robust resistor", f"{r.robust:.3g} Ω" if r.row is not None else "being sought"),
    )


def _sentence(r: FilterResult) -> str:
    return (
        f"With a resistor of {number(r.resistance, 'ohm')} the peak is {number(r.peak, 'ohm')}, and {number(r.worst_peak, 'ohm')} at the "
        f"worst tolerances; the textbook's resistor is {number(r.textbook, 'ohm')}, with a peak of {number(r.best_peak, 'ohm')}."
    )
