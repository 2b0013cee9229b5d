"""Panel of the notebook on damping: a filter with one resistor, as it is and at the worst tolerances, and every other resistor."""

from __future__ import annotations

from filterlib.analysis.damping.damped_filter import DampedFilter, FilterResult, damped_filter, every_resistor
from filterlib.analysis.damping.ideal import NETWORKS
from filterlib.show import panels as ui


def damping_panel() -> ui.Panel[DampedFilter, FilterResult]:
    """A damped filter of ideal parts on sliders, in units of R0 and f0."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("network", "network", {name: name for name in NETWORKS}),
        ui.Control("ratio", "added over damped", "", 0.25, 20, 2, scale="log"),
        ui.Control("resistance", "resistor over R0", "", 0.05, 20, 0.9129, scale="log"),
        ui.Control("spread", "tolerances, 1: ±20 %", "", 0, 2, 1, scale="linear"),
    ]
    calculation = ui.Calculation(
        DampedFilter(), damped_filter, lambda design, result, tick: every_resistor(design, result)
    )
    return ui.Panel("Damping without waste", calculation, controls, ui.Display(_picture(), _readings, _sentence))


def _picture() -> ui.Picture[FilterResult]:
    impedance: ui.Plot[FilterResult] = ui.Plot(
        "Impedance over R0",
        ui.Axis("frequency over f0", "", "log", limits=(0.1, 10)),
        ui.Axis("impedance over R0", "", "log"),
        (
            ui.Curve("nominal parts", lambda r: (r.frequencies, r.nominal), kept=True),
            ui.Curve("worst tolerances", lambda r: (r.frequencies, r.worst)),
            ui.Level("the textbook's peak", lambda r: (r.best_peak,)),
        ),
    )
    every: ui.Plot[FilterResult] = ui.Plot(
        "Peak with every resistor",
        ui.Axis("resistor over R0", "", "log"),
        ui.Axis("peak over R0", "", "log"),
        (
            ui.Curve("nominal parts", lambda r: None if r.row is None else (r.row, r.row_nominal)),
            ui.Curve("worst tolerances", lambda r: None if r.row is None else (r.row, r.row_worst)),
            ui.Curve("here", lambda r: ([r.resistance] * 2, [r.peak, r.worst_peak]), marker="o"),
        ),
    )
    return ui.Picture([impedance, every], name="damping", widths=(3, 2))


def _readings(r: FilterResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading("peak over R0", f"{r.peak:.3f}", note=f"least possible {r.best_peak:.3f}"),
        ui.Reading("worst peak over R0", f"{r.worst_peak:.3f}"),
        ui.Reading("textbook's resistor", f"{r.textbook:.3f}"),
        ui.Reading("robust resistor", f"{r.robust:.3f}" if r.row is not None else "being sought"),
    )


def _sentence(r: FilterResult) -> str:
    return (
        f"With a resistor of {r.resistance:.3g} R0 the peak is {r.peak:.3g} R0, and {r.worst_peak:.3g} R0 at the worst tolerances; "
        f"the textbook's resistor is {r.textbook:.3g} R0, with a peak of {r.best_peak:.3g} R0."
    )
