"""Panel of the notebook on the spark at the plug: battery, cable, input capacitors and one fix; peak voltage and current."""

from __future__ import annotations

from filterlib.analysis.supply.plug_case import PlugCase, PlugCaseResult, plug_case
from filterlib.show import panels as ui
from filterlib.show.explore.supply_lessons import PLUG
from filterlib.words.quantities import number

FIXES = {
    "nothing": "nothing", "electrolytic beside": "electrolytic", "resistor and capacitor beside": "r-c", "NTC in the line": "ntc",
    "pre-charge through a resistor": "pre-charge", "clamping diode": "clamp", "transistor that opens slowly": "soft switch",
}  # fmt: skip
_CIRCUIT = (
    ui.Drawn("source", "battery", ("volts",)),
    ui.Drawn("wire", "cable", ("length",)),
    ui.Drawn("box", "helped by", ("fix",)),
    ui.Drawn("capacitor", "input", ("farads", "kind", "rated")),
    ui.Drawn("load", "converter", value="off yet"),
)


def plug_panel() -> ui.Panel[PlugCase, PlugCaseResult]:
    """24 V onto 2 m of cable and 22 µF of ceramic, on sliders."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("kind", "input capacitor", {"class 2 ceramic": "class 2 ceramic", "film": "film"}),
        ui.Choice("fix", "what helps", FIXES),
        ui.Control("length", "cable, one way", "m", 0.3, 20, 2),
        ui.Control("farads", "input capacitance", "F", "1 µF", "470 µF", "22 µF"),
        ui.Control("volts", "battery", "V", 5, 48, 24, scale="linear", steps=43),
        ui.Control("rated", "capacitor rated for", "V", 25, 100, 50, scale="linear", steps=75),
    ]
    calculation = ui.Calculation(PlugCase(kind="class 2 ceramic"), plug_case)
    every = ui.in_front(controls, ("kind", "fix", "length", "farads"))
    display = ui.Display(_picture(), _readings, _sentence, _alarm, _CIRCUIT, PLUG)
    return ui.Panel("The spark at the plug", calculation, every, display)


def _picture() -> ui.Picture[PlugCaseResult]:
    volts: ui.Plot[PlugCaseResult] = ui.Plot(
        "Voltage at the input capacitors",
        ui.Axis("time", "s"),
        ui.Axis("voltage", "V", zero=True),
        (
            ui.Curve("input", lambda r: (r.times, r.course), kept=True),
            ui.Level("rating", lambda r: (r.rated,), counts=True),
            ui.Level("battery", lambda r: (r.volts,), dash=(0, (1, 2))),
        ),
    )
    amps: ui.Plot[PlugCaseResult] = ui.Plot(
        "Current in the cable",
        ui.Axis("time", "s"),
        ui.Axis("current", "A", zero=True),
        (ui.Curve("cable", lambda r: (r.times, r.amps), kept=True),),
    )
    return ui.Picture([volts, amps], name="plug", size=ui.LOW)


def _readings(r: PlugCaseResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading(
            "peak voltage", r.peak, "V", "met" if r.peak <= r.rated else "not met", f"rated {number(r.rated, 'V')}"
        ),
        ui.Reading("peak current", r.current, "A"),
        ui.Reading("heat on the way", r.heat, "J"),
        ui.Reading("stored afterwards", r.stored, "J"),
        ui.Reading("a fuse sees", r.melting, "A2s"),
    )


def _sentence(r: PlugCaseResult) -> str:
    helped = f" (without help {number(r.bare, 'V')})" if r.peak != r.bare else ""
    return (
        f"Plugged onto {number(r.volts, 'V')}, the input capacitors reach {number(r.peak, 'V')}{helped}, rated {number(r.rated, 'V')}; "
        f"the cable carries {number(r.current, 'A')} at its peak."
    )


def _alarm(r: PlugCaseResult) -> str:
    return "" if r.peak <= r.rated else "The plug exceeds the capacitor's rating"
