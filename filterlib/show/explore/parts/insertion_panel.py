"""Panel of the notebook on insertion loss: a data sheet's 50-ohm curve, and what the same filter does in its circuit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from filterlib.analysis.linear.insertion_loss import SYSTEMS, insertion
from filterlib.analysis.linear.linear_result import InsertionResult
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.show import panels as ui
from filterlib.show.explore.design_controls import circuit
from filterlib.show.explore.lessons import INSERTION
from filterlib.show.explore.tide_gauge import LOAD, demo, demo_text
from filterlib.system.design import Design
from filterlib.system.solution import solve
from filterlib.words.quantities import number

FREQUENCIES = np.geomspace(1e4, 3e7, 161)  # [Hz]
HIGH = 1e6  # [Hz] that is read, too
FIFTY = "50/50"
_LARGE = ("converter.output_capacitance", "filter.C1.capacitance", "filter.L1.leakage", "filter.C2.capacitance")


@dataclass(frozen=True)
class FilterLoss:
    """Insertion ``loss`` of one filter over a grid with the ``switching`` frequency [Hz] and `HIGH` in it."""

    loss: InsertionResult
    switching: float

    @property
    def circuit(self) -> np.ndarray:
        """Between its own converter and the modem (f,) [dB]."""
        return self.loss.real_symmetrical[LOAD]

    def at(self, frequency: float) -> dict[str, float]:
        """The loss [dB] at the frequency of the grid next to one [Hz], by test system and "circuit"."""
        place = int(np.argmin(np.abs(self.loss.frequencies - frequency)))
        return {name: float(curve[place]) for name, curve in {**self.loss.symmetrical, "circuit": self.circuit}.items()}


def _loss(design: Design) -> FilterLoss:
    """Test systems and circuit, at the first operating point."""
    switching = float(design.converter.switching_frequency)
    frequencies = np.union1d(FREQUENCIES, [switching, HIGH])
    return FilterLoss(insertion(solve(design), frequencies=frequencies), switching)


def insertion_panel() -> ui.Panel[Design, FilterLoss]:
    """The demo's filter in test systems and between its converter and its modem."""
    ends = "Impedances at the ends"
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("filter.C1.part", "C1 part", ui.parts(Capacitor), group="C1, before the choke"),
        ui.Control("filter.C1.capacitance", "C1 capacitance", "F", "10 nF", "1 mF", group="C1, before the choke"),
        ui.Choice("filter.L1.part", "choke", ui.parts(CommonModeChoke), group="Choke"),
        ui.Control("filter.L1.leakage", "leakage", "H", "1 µH", "300 µH", group="Choke"),
        ui.Choice("filter.C2.part", "C2 part", ui.parts(Capacitor), group="C2, behind the choke"),
        ui.Control("filter.C2.capacitance", "C2 capacitance", "F", "10 nF", "1 mF", group="C2, behind the choke"),
        ui.Control("converter.output_capacitance", "converter's C", "F", "1 µF", "1 mF", group=ends),
        ui.Control("converter.output_esr", "converter's ESR", "ohm", "1 mΩ", "1 Ω", group=ends),
        ui.Control("load.modem.capacitance", "modem's C", "F", "1 µF", "1 mF", group=ends),
    ]
    start = demo("clean")
    calculation = ui.Calculation(start, _loss, text=demo_text("clean"))
    every = ui.in_front(controls, _LARGE)
    display = ui.Display(_picture(), _readings, _sentence, circuit=circuit(start, LOAD, every), lesson=INSERTION)
    return ui.Panel("Insertion loss and your circuit", calculation, every, display)


def _picture() -> ui.Picture[FilterLoss]:
    loss: ui.Plot[FilterLoss] = ui.Plot(
        "Insertion loss",
        ui.Axis("frequency", "Hz", "log", limits=(1e4, 3e7)),
        ui.Axis("loss", "dB"),
        (
            *(ui.Curve(f"{name} Ω", partial(_tested, name)) for name in SYSTEMS),
            ui.Curve("in the circuit", lambda r: (r.loss.frequencies, r.circuit), kept=True),
            ui.Level("switching", lambda r: (r.switching,), upright=True),
        ),
    )
    ends: ui.Plot[FilterLoss] = ui.Plot(
        "Impedance at the filter's ends",
        ui.Axis("frequency", "Hz", "log", limits=(1e4, 3e7)),
        ui.Axis("impedance", "Ω", "log"),
        (
            ui.Curve("converter", lambda r: (r.loss.frequencies, np.abs(r.loss.converter_impedance))),
            ui.Curve("load", lambda r: (r.loss.frequencies, np.abs(r.loss.load_impedance)), dash=(0, (1, 1.4))),
            ui.Level("50 Ω", lambda r: (50.0,), counts=True, dash=(0, (1, 2))),
        ),
    )
    return ui.Picture([loss, ends], name="insertion-loss", size=ui.HIGH, widths=(3, 2))


def _tested(system: str, r: FilterLoss) -> tuple[np.ndarray, np.ndarray]:
    return r.loss.frequencies, r.loss.symmetrical[system]


def _readings(r: FilterLoss) -> tuple[ui.Reading, ...]:
    low, high = r.at(r.switching), r.at(HIGH)
    sheet, real = low[FIFTY], low["circuit"]
    return (
        ui.Reading(f"data sheet, 50 Ω, at {number(r.switching, 'Hz')}", f"{sheet:.1f} dB"),
        ui.Reading(
            "in the circuit, there", f"{real:.1f} dB", note=f"{sheet - real:.0f} dB less" if sheet > real else ""
        ),
        ui.Reading("data sheet, 50 Ω, at 1 MHz", f"{high[FIFTY]:.1f} dB"),
        ui.Reading("in the circuit, at 1 MHz", f"{high['circuit']:.1f} dB"),
        ui.Reading(f"0.1/100 Ω, at {number(r.switching, 'Hz')}", f"{low['0.1/100']:.1f} dB"),
    )


def _sentence(r: FilterLoss) -> str:
    at, place = r.at(r.switching), int(np.searchsorted(r.loss.frequencies, r.switching))
    source, load = (number(abs(one[place]), "Ω") for one in (r.loss.converter_impedance, r.loss.load_impedance))
    return (
        f"At {number(r.switching, 'Hz')} the 50-ohm curve promises {at[FIFTY]:.0f} dB and the circuit has {at['circuit']:.0f} dB: "
        f"the filter sees a converter of {source} instead of 50 Ω, and a load of {load}."
    )
