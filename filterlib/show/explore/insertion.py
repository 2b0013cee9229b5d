"""Panel of the notebook on insertion loss: a data sheet's 50-ohm curve beside what the same filter does in its circuit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from filterlib.analysis.linear.insertion_loss import SYSTEMS, InsertionResult, insertion
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.tables import data_folder
from filterlib.show.panels import (
    Axis,
    Calculation,
    Choice,
    Control,
    Curve,
    Display,
    Level,
    Panel,
    Picture,
    Plot,
    Reading,
    parts,
)
from filterlib.system.design import Design
from filterlib.system.files import load_design
from filterlib.words.quantities import number

LOAD = "modem"
FREQUENCIES = np.geomspace(1e4, 3e7, 161)
FIFTY = "50/50"


@dataclass(frozen=True)
class Compared:
    """Insertion loss of one filter (f,) [dB] by test system, and in its ``circuit``; impedances at its ends (f,) [ohm].

    ``at``: the same at the switching frequency and at 1 MHz, by curve; ``switching`` [Hz].
    """

    tested: dict[str, np.ndarray]
    circuit: np.ndarray
    source: np.ndarray
    load: np.ndarray
    switching: float
    at: dict[str, tuple[float, float]]


def compared(design: Design) -> Compared:
    """Test systems and circuit side by side, at the first operating point."""
    switching = design.converter.switching_frequency
    found = insertion(design, design.state(), frequencies=np.append(FREQUENCIES, [switching, 1e6]))
    curves = {**found.symmetrical, "circuit": found.real_symmetrical[LOAD]}
    return Compared(
        tested={name: found.symmetrical[name][:-2] for name in SYSTEMS},
        circuit=curves["circuit"][:-2],
        source=_magnitude(found, "converter_impedance"),
        load=_magnitude(found, "load_impedance"),
        switching=switching,
        at={name: (float(curve[-2]), float(curve[-1])) for name, curve in curves.items()},
    )


def _magnitude(found: InsertionResult, name: str) -> np.ndarray:
    return np.abs(getattr(found, name))[:-2]


def insertion_panel() -> Panel:
    """The demo's filter in test systems and between its converter and its modem."""
    design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    controls: list[Control | Choice] = [
        Choice("filter.C1.part", "C1 part", parts(Capacitor), group="C1, before the choke"),
        Control("filter.C1.capacitance", "C1 capacitance", "F", "10 nF", "1 mF", group="C1, before the choke"),
        Choice("filter.L1.part", "choke", parts(CommonModeChoke), group="Choke"),
        Control("filter.L1.leakage", "leakage", "H", "1 µH", "300 µH", group="Choke"),
        Choice("filter.C2.part", "C2 part", parts(Capacitor), group="C2, behind the choke"),
        Control("filter.C2.capacitance", "C2 capacitance", "F", "10 nF", "1 mF", group="C2, behind the choke"),
        Control("converter.output_capacitance", "converter's C", "F", "1 µF", "1 mF", group="What stands at the ends"),
        Control("converter.output_esr", "converter's ESR", "ohm", "1 mΩ", "1 Ω", group="What stands at the ends"),
        Control("load.modem.capacitance", "modem's C", "F", "1 µF", "1 mF", group="What stands at the ends"),
    ]
    loss = Plot(
        "Insertion loss",
        Axis("frequency", "Hz", "log", limits=(1e4, 3e7)),
        Axis("loss", "dB"),
        (
            *(Curve(f"{name} Ω", partial(_tested, name)) for name in SYSTEMS),
            Curve("in the circuit", lambda r: (FREQUENCIES, r.circuit), kept=True),
            Level("switching", lambda r: (r.switching,), upright=True),
        ),
    )
    ends = Plot(
        "What stands at the filter's ends",
        Axis("frequency", "Hz", "log", limits=(1e4, 3e7)),
        Axis("impedance", "Ω", "log"),
        (
            Curve("converter", lambda r: (FREQUENCIES, r.source)),
            Curve("load", lambda r: (FREQUENCIES, r.load), dash=(0, (1, 1.4))),
            Level("50 Ω", lambda r: (50.0,), counts=True),
        ),
    )
    display = Display(Picture([loss, ends], name="insertion-loss", widths=(3, 2)), _readings, _sentence)
    return Panel("Insertion loss and your circuit", Calculation(design, compared), controls, display)


def _tested(system: str, r: Compared) -> tuple[np.ndarray, np.ndarray]:
    return FREQUENCIES, r.tested[system]


def _readings(r: Compared) -> tuple[Reading, ...]:
    (sheet, sheet_high), (real, real_high) = r.at[FIFTY], r.at["circuit"]
    switching = number(r.switching, "Hz")
    return (
        Reading(f"data sheet, 50 Ω, at {switching}", f"{sheet:.1f} dB"),
        Reading("in the circuit, there", f"{real:.1f} dB", note=f"{sheet - real:.0f} dB less" if sheet > real else ""),
        Reading("data sheet, 50 Ω, at 1 MHz", f"{sheet_high:.1f} dB"),
        Reading("in the circuit, at 1 MHz", f"{real_high:.1f} dB"),
        Reading("0.1/100 Ω, there", f"{r.at['0.1/100'][0]:.1f} dB"),
    )


def _sentence(r: Compared) -> str:
    sheet, real = r.at[FIFTY][0], r.at["circuit"][0]
    return (
        f"At {number(r.switching, 'Hz')} the 50-ohm curve promises {sheet:.0f} dB and the circuit has {real:.0f} dB: the converter shows "
        f"the filter {number(float(np.interp(r.switching, FREQUENCIES, r.source)), 'Ω')} instead of 50 Ω, the load "
        f"{number(float(np.interp(r.switching, FREQUENCIES, r.load)), 'Ω')}."
    )
