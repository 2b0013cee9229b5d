"""Panel of the notebook on common-mode chokes: measured in two ways, and what current leaves of it."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from filterlib.analysis.linear.choke_windings import ChokeResult, LoadedChoke, choke_windings
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import CHOKE
from filterlib.show.explore.tide_gauge import SPIKE, SWITCHING
from filterlib.words.quantities import number

_PART = "cm-1m0-5A"
_WINDING = ("leakage_per_winding", "winding_capacitance", "part", "inductance", "saturation_current")
_CIRCUIT = (
    ui.Drawn("source", "unbalanced", ("unbalance",)),
    ui.Drawn("common-mode choke", "leakage", tuple(f"choke.{name}" for name in _WINDING)),
    ui.Drawn("load", "out and back", ("current",)),
)


def choke_panel() -> ui.Panel[LoadedChoke, ChokeResult]:
    """A common-mode choke on sliders."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("choke.part", "choke", ui.parts(CommonModeChoke), start=_PART),
        ui.Control("choke.inductance", "inductance", "H", "20 µH", "20 mH", group="One winding"),
        ui.Control("choke.leakage_per_winding", "leakage", "H", "100 nH", "200 µH", group="One winding"),
        ui.Control("choke.winding_capacitance", "capacitance", "F", "1 pF", "100 pF", group="One winding"),
        ui.Control("choke.saturation_current", "saturates at", "A", "10 mA", "10 A", group="One winding"),
        ui.Control("unbalance", "unbalanced", "A", "1 mA", "10 A", "1 mA", group="Current"),
        ui.Control("current", "out and back", "A", "0.1 A", "100 A", "3.6 A", group="Current"),
    ]
    start = LoadedChoke(ui.parts(CommonModeChoke)[_PART], unbalance=1e-3, current=3.6)
    calculation = ui.Calculation(start, partial(choke_windings, switching=SWITCHING, spike=SPIKE), change=_changed)
    large = ("choke.part", "choke.leakage_per_winding", "choke.winding_capacitance", "unbalance")
    display = ui.Display(_picture(), _readings, _sentence, circuit=_CIRCUIT, lesson=CHOKE)
    return ui.Panel("A choke with two windings", calculation, ui.in_front(controls, large), display)


def _picture() -> ui.Picture[ChokeResult]:
    impedance: ui.Plot[ChokeResult] = ui.Plot(
        "Impedance",
        ui.Axis("frequency", "Hz", "log", limits=(1e4, 1e8)),
        ui.Axis("impedance", "Ω", "log"),
        (
            ui.Curve("common mode", lambda r: (r.frequencies, r.common), kept=True),
            ui.Curve("out and back", lambda r: (r.frequencies, r.loop), kept=True),
            ui.Level("180 kHz, 30 MHz", lambda r: (SWITCHING, SPIKE), upright=True),
        ),
    )
    inductance: ui.Plot[ChokeResult] = ui.Plot(
        "Inductance left at a current",
        ui.Axis("current", "A", "log", limits=(1e-3, 100)),
        ui.Axis("inductance", "H", "log"),
        (
            ui.Curve("common mode", lambda r: (r.currents, r.inductance_left), kept=True),
            ui.Curve("out and back", lambda r: (r.currents, r.loop_left), kept=True),
            ui.Curve("here", lambda r: ([r.unbalance, r.current], [r.inductance, r.loop_inductance]), marker="o"),
        ),
    )
    return ui.Picture([impedance, inductance], name="choke", size=ui.LOW)


def _readings(r: ChokeResult) -> tuple[ui.Reading, ...]:
    share = 100 * r.loop_inductance / r.inductance
    return (
        ui.Reading("one winding, now", r.inductance, "H"),
        ui.Reading("out and back, now", r.loop_inductance, "H", note=f"{share:.3g} % of one winding"),
        ui.Reading("coupling of the windings", f"{r.coupling:.4f}"),
        ui.Reading("out and back at 180 kHz", r.loop_at_switching, "Ω"),
        ui.Reading("out and back at 30 MHz", r.loop_at_spike, "Ω"),
    )


def _sentence(r: ChokeResult) -> str:
    return (
        f"Current that returns another way meets {number(r.inductance, 'H')} and {number(r.common_at_switching, 'Ω')} at 180 kHz; "
        f"the load's current, out and back, meets {number(r.loop_inductance, 'H')} and {number(r.loop_at_switching, 'Ω')}."
    )


def _changed(start: LoadedChoke, values: ui.Values) -> LoadedChoke:
    """The controls' values; "choke.FIELD" is of the part, its leakage being that of one winding."""
    for name, value in values.items():
        field = name.removeprefix("choke.")
        if field == name or field == "part":
            start = replace(start, **{field: value})
        else:
            leakage = field == "leakage_per_winding"
            fields = {"leakage": value, "leakage_measured": "per_winding"} if leakage else {field: value}
            start = replace(start, part=start.part.replace(**fields))
    return start
