"""Panel of the notebook on a bank for bursts: bank, burst and limit on sliders; how long it holds and what the burst asks for."""

from __future__ import annotations

import math

import numpy as np

from filterlib.analysis.hold_up.burst_case import BurstCase, BurstResult, burst_case
from filterlib.show import panels as ui
from filterlib.show.explore.supply_lessons import BANK
from filterlib.words.quantities import number

_CIRCUIT = (
    ui.Drawn("source", "converter", ("supply",)),
    ui.Drawn("box", "diode, fuse", value="prevent backflow"),
    ui.Drawn("capacitor", "bank", ("farads", "ohms")),
    ui.Drawn("load", "modem", ("draws", "burst", "lowest")),
)


def bank_panel() -> ui.Panel[BurstCase, BurstResult]:
    """30 mF at 28 V beside a converter of 2 A, and a modem of 3 A for 8 s, on sliders."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Control("farads", "bank", "F", "1 mF", "5 F", "30 mF"),
        ui.Control("burst", "length of a burst", "s", "10 ms", "30 s", "8 s"),
        ui.Control("draws", "modem draws", "A", 0.5, 10, 3),
        ui.Control("supply", "converter gives", "A", 0.4, 10, 2),
        ui.Control("lowest", "lowest voltage of the modem", "V", 10, 27, 22, scale="linear", steps=68),
        ui.Control("ohms", "resistance of bank and fuse", "ohm", "1 mΩ", "1 Ω", "30 mΩ"),
    ]
    every = ui.in_front(controls, ("farads", "burst", "draws", "supply"))
    display = ui.Display(_picture(), _readings, _sentence, _alarm, _CIRCUIT, BANK)
    return ui.Panel("A bank for bursts", ui.Calculation(BurstCase(), burst_case), every, display)


def _picture() -> ui.Picture[BurstResult]:
    course: ui.Plot[BurstResult] = ui.Plot(
        "The modem's voltage",
        ui.Axis("time", "s"),
        ui.Axis("voltage", "V"),
        (
            ui.Curve("modem", lambda r: (r.times, r.course), kept=True),
            ui.Level("lowest voltage", lambda r: (r.lowest,), counts=True),
            ui.Level("end of the burst", lambda r: (r.burst,), upright=True, counts=True, dash=(0, (1, 2))),
        ),
    )
    row: ui.Plot[BurstResult] = ui.Plot(
        "How long every bank holds",
        ui.Axis("bank", "F", "log", limits=(1e-4, 10.0)),
        ui.Axis("time (top: for ever)", "s", "log", limits=(1e-4, 1e3)),
        (
            ui.Curve("holds", lambda r: (r.row, _shown(r.row_holds)), kept=True),
            ui.Curve("here", lambda r: ([r.farads], _shown(np.array([r.holds]))), marker="o"),
            ui.Level("end of the burst", lambda r: (r.burst,), dash=(0, (1, 2))),
        ),
    )
    return ui.Picture([course, row], name="bank", size=ui.LOW)


def _shown(seconds: np.ndarray) -> np.ndarray:
    """For ever lies at the upper edge, and not at all below the lower one."""
    return np.asarray(np.clip(seconds, 1e-5, 1e3))


def _readings(r: BurstResult) -> tuple[ui.Reading, ...]:
    holds = "for ever" if math.isinf(r.holds) else number(r.holds, "s")
    back = "never" if math.isinf(r.recharge) else number(r.recharge, "s")
    return (
        ui.Reading(
            "holds", holds, verdict="met" if r.holds >= r.burst else "not met", note=f"burst {number(r.burst, 's')}"
        ),
        ui.Reading("needs at least", "no bank" if r.needed == 0 else number(r.needed, "F")),
        ui.Reading(
            "full again after",
            back,
            verdict="met" if r.recharge <= r.rest else "not met",
            note=f"pause {number(r.rest, 's')}",
        ),
        ui.Reading("energy", r.energy, "J"),
        ui.Reading("into a short circuit", r.short, "A"),
    )


def _sentence(r: BurstResult) -> str:
    if r.needed == 0:
        return "No bank is needed: the converter gives what the modem draws."
    size = "This bank is large enough" if r.lasts else "This bank is too small"
    return (
        f"{size}: it gives {number(r.deficit, 'A')} for {number(r.holds, 's')}, and the burst of {number(r.burst, 's')} needs "
        f"{number(r.needed, 'F')} or more."
    )


def _alarm(r: BurstResult) -> str:
    if r.holds < r.burst:
        return "Too low before the burst ends"
    return "" if r.lasts else "Not full before the next burst"
