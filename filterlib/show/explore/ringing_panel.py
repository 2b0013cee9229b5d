"""Panel of the notebook on ringing: a choke and two capacitors before a modem of constant power, poles, step and impedance together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from filterlib.analysis.stability.damped_line import AT, DampedLine, LineResult, damped_line
from filterlib.parts.capacitor import Capacitor
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import RINGING
from filterlib.words.quantities import number

CHEAP = "aluminium-47u-63V"
_CIRCUIT = (
    ui.Drawn("source", "supply", value="28 V"),
    ui.Drawn("choke", "choke", ("inductance",)),
    ui.Drawn("capacitor", "C2", value="2.2 µF"),
    ui.Drawn("capacitor", "beside", ("damper.esr", "damper.part", "temperature")),
    ui.Drawn("load", "modem", ("power",)),
)
HALF, FAST = 50.0, 250.0  # [1/ms] to either side of the poles' border, and up and down


def ringing_panel() -> ui.Panel[DampedLine, LineResult]:
    """The board's line on sliders: power, the second capacitor with its ESR and temperature, the choke."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("damper.part", "beside C2", ui.parts(Capacitor), start=CHEAP),
        ui.Control("power", "power of the modem", "W", 1, 1000, 84),
        ui.Control("damper.esr", "ESR at 25 °C", "ohm", "1 mΩ", "30 Ω"),
        ui.Control("temperature", "temperature", "K", "-40 °C", "105 °C", "25 °C", steps=145),
        ui.Control("inductance", "choke", "H", "1 µH", "100 µH", "10 µH"),
    ]
    calculation = ui.Calculation(DampedLine(ui.parts(Capacitor)[CHEAP]), damped_line, change=_changed)
    every = ui.in_front(controls, ("damper.part", "damper.esr", "temperature", "power"))
    display = ui.Display(_picture(), _readings, _sentence, _alarm, _CIRCUIT, RINGING)
    return ui.Panel("Will it ring?", calculation, every, display)


def _picture() -> ui.Picture[LineResult]:
    impedance: ui.Plot[LineResult] = ui.Plot(
        "Impedances at the modem",
        ui.Axis("frequency", "Hz", "log", limits=(100, 1e6)),
        ui.Axis("impedance", "Ω", "log"),
        (
            ui.Curve("seen by the modem", lambda r: (r.frequencies, r.source), kept=True),
            ui.Curve("the modem's own", lambda r: (r.frequencies, r.load)),
            ui.Level("would ring here", lambda r: (r.critical_frequency,), upright=True),
        ),
    )
    step: ui.Plot[LineResult] = ui.Plot(
        "After a tenth more current",
        ui.Axis("time", "s"),
        ui.Axis("voltage", "V"),
        (ui.Curve("modem", lambda r: (r.times, np.clip(r.step, -5, 5)), kept=True),),
    )
    poles: ui.Plot[LineResult] = ui.Plot(
        "Poles: right of 0 it grows",
        ui.Axis("real part, 1/ms", "", limits=(-HALF, HALF)),
        ui.Axis("imaginary, 1/ms", "", limits=(-FAST, FAST)),
        (
            ui.Curve("poles", lambda r: _pair(r.poles), marker="o"),
            ui.Level("border", lambda r: (0.0,), upright=True),
        ),
    )
    return ui.Picture([impedance, step, poles], name="ringing", size=ui.HIGH, widths=(3, 3, 2))


def _pair(poles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The pair that rings [1/ms], at the edge where it is beyond; a real one far left would press it against the border."""
    pair = (poles[np.abs(poles.imag) > 0] if np.any(poles.imag) else poles) / 1e3
    return np.clip(pair.real, -HALF, HALF), np.clip(pair.imag, -FAST, FAST)


def _readings(r: LineResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading("critical power", r.critical_power, "W", "stable" if r.stable else "unstable"),
        ui.Reading("drawn", r.power, "W", note=_share(r.power / r.critical_power)),
        ui.Reading(
            "damping ratio", number(r.damping, "", 2) if np.isfinite(r.frequency) else "no ringing", note=_turns(r)
        ),
        ui.Reading("ESR there", r.esr, "ohm", note=f"with all losses, at {number(AT, 'Hz')}"),
    )


def _share(share: float) -> str:
    return f"{100 * share:.0f} % of it" if share < 10 else f"{share:.3g} times that"


def _turns(r: LineResult) -> str:
    return f"of the poles at {number(r.frequency, 'Hz')}" if np.isfinite(r.frequency) else ""


def _sentence(r: LineResult) -> str:
    there = f", at {number(r.critical_frequency, 'Hz')}" if r.critical_frequency > 0 else ""
    verdict = "It is stable" if r.stable else f"It is unstable, and {_what_grows(r)} grows"
    return (
        f"{verdict}: the modem draws {number(r.power, 'W')}, and {number(r.critical_power, 'W')} is critical{there}; "
        f"the second capacitor has {number(r.beside, 'F')} and {number(r.esr, 'ohm')}."
    )


def _alarm(r: LineResult) -> str:
    return "" if r.stable else f"✗ UNSTABLE: {_what_grows(r)} grows"


def _what_grows(r: LineResult) -> str:
    return "the ringing" if np.isfinite(r.frequency) else "any disturbance"


def _changed(start: DampedLine, values: ui.Values) -> DampedLine:
    """The controls' values; "damper.FIELD" is of the second capacitor."""
    for name, value in values.items():
        field = name.removeprefix("damper.")
        if field == name or field == "part":
            start = replace(start, **{field: value})
        else:
            start = replace(start, part=start.part.replace(**{field: value}))
    return start
