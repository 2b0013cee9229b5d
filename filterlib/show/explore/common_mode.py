"""Panel of the notebook on common mode: every current of three conductors, at its place and with its size."""

from __future__ import annotations

from dataclasses import dataclass

from filterlib.analysis.linear.two_lines import CONVENTION
from filterlib.analysis.ripple.conductor_currents import ConductorCurrents, Layout, conductor_currents
from filterlib.show import panels as ui
from filterlib.show.explore.common_mode_drawing import picture
from filterlib.show.explore.lessons import COMMON_MODE
from filterlib.show.explore.tide_gauge import LOAD, Y_CAPACITORS, Change, as_it_is, by_keys, demo, demo_text
from filterlib.system.design import Design
from filterlib.system.inside.ways import Bond, Supply
from filterlib.system.solution import solve
from filterlib.words.quantities import number

LAYOUT = Layout(
    LOAD,
    "L1",
    lines={
        "converter": (
            (("converter.lead", 1, 1),),
            (("L1", 2, 1), ("L1.cw2", 1, 1), ("C1.loop", 1, -1), ("L1.ci1", 1, -1), ("Yc.return.loop", 1, 1)),
        ),
        "choke": ((("L1", 1, 1), ("L1.cw1", 1, 1)), (("L1", 2, 1), ("L1.cw2", 1, 1))),
        "lead": ((("modem.lead.r1", 1, 1),), (("modem.lead.r2", 1, 1),)),
    },
    taps={
        "battery": (("converter.supply.bond.resistance", 1, 1),),
        "coupling": (("converter.coupling", 1, 1),),
        "bond": (("converter.bond.resistance", 1, 1),),
        "Yc": (("Yc.plus.loop", 1, 1), ("Yc.return.loop", 1, 1)),
        "Yl": (("Yl.plus.loop", 1, 1), ("Yl.return.loop", 1, 1)),
        "modem": (("modem.bond.resistance", 1, 1), ("modem.stray", 1, 1)),
    },
    across={name: ((f"{name}.loop", 1, 1),) for name in ("C1", "C2")},
)


@dataclass(frozen=True)
class Setting:
    """A design with one load, and the ``frequency`` [Hz] in the middle of the octave that is shown."""

    design: Design
    frequency: float = 10e6


def currents(setting: Setting) -> ConductorCurrents:
    """Every current of the drawing."""
    return conductor_currents(solve(setting.design), LAYOUT, setting.frequency)


# ---- what can be changed ---------------------------------------------------------------------------------------------

_STRAP, _LONG = Bond(), Bond(inductance="600 nH", resistance="10 mΩ")


def _plastic(design: Design) -> Design:
    """In a box of plastic: nothing reaches a chassis, and nothing is driven through one."""
    return design.replace(
        has_chassis=False,
        converter=design.converter.within,
        filter=tuple(stage for stage in design.filter if not stage.reaches_chassis),
        loads=tuple(load.replace(bond=None) for load in design.loads),
    )


CHOICES: dict[str, tuple[str, dict[str, Change]]] = {  # in the order in which they are applied
    "battery": ("battery's pole", {"to the chassis": as_it_is, "floats": by_keys({"converter.supply": None})}),
    "bond": (
        "converter's return",
        {"floats": as_it_is, "strap of 20 nH": by_keys({"converter.bond": _STRAP}), "wire of 600 nH": by_keys({"converter.bond": _LONG})},
    ),
    "modem": ("modem's return", {"coax to the mast": as_it_is, "floats": by_keys({"load.modem.bond": None})}),
    "y": ("Y capacitors", Y_CAPACITORS),
    "chassis": ("box", {"metal cabinet": as_it_is, "plastic, no chassis": _plastic}),
}  # fmt: skip


def set_up(setting: Setting, values: ui.Values) -> Setting:
    """Sliders first, then choices, the box last: what a plastic box leaves out cannot be changed any more."""
    keys = {key: value for key, value in values.items() if "." in key}
    design = by_keys(keys)(setting.design)
    for name in CHOICES:
        design = values.get(name, as_it_is)(design)
    return Setting(design, float(values.get("frequency", setting.frequency)))


def start() -> Setting:
    """The brick with its modem alone, fed by a battery whose pole is bonded at its own end of the cable."""
    brick = demo("brick")
    converter = brick.converter.replace(bond=None, supply=Supply())
    return Setting(
        brick.replace(
            name="Tide gauge, three conductors", note="Saved from a notebook", converter=converter, requirements=(),
            loads=tuple(load for load in brick.loads if load.name == LOAD),
        )
    )  # fmt: skip


def common_mode_panel() -> ui.Panel[Setting, ConductorCurrents]:
    """The currents of the brick's three conductors."""
    joined = "Joined to the chassis"
    chosen = [ui.Choice(name, label, options, group=joined) for name, (label, options) in CHOICES.items()]
    paths = "Paths of the current"
    controls: list[ui.Control | ui.Choice] = [
        ui.Control("frequency", "octave around", "Hz", "150 kHz", "100 MHz", group=paths),
        ui.Control("converter.common_mode.coupling", "node to chassis", "F", "10 pF", "1 nF", 120e-12, group=paths),
        ui.Control("converter.supply.inductance", "cable to the battery", "H", "100 nH", "10 µH", 1e-6, group=paths),
        ui.Control("load.modem.bond.inductance", "coax to the mast", "H", "20 nH", "5 µH", 150e-9, group=paths),
        ui.Control("load.modem.lead.length", "modem's lead", "m", "5 cm", "5 m", 0.4, group=paths),
        *chosen,
    ]  # fmt: skip
    calculation = ui.Calculation(start(), currents, change=set_up, text=demo_text("brick"))
    return ui.Panel(
        "Common mode, made visible",
        calculation,
        ui.in_front(controls, ("frequency", "y", "battery", "chassis")),
        ui.Display(picture(), _readings, _sentence, lesson=COMMON_MODE, off=_off),
    )


def _off(r: ConductorCurrents) -> set[str]:
    """Controls of what is not there: all of the chassis in a plastic box, the cable of a pole that floats, a coax that does."""
    cable, coax = "converter.supply.inductance", "load.modem.bond.inductance"
    if not r.taps:
        return {cable, coax, "converter.common_mode.coupling", "battery", "bond", "modem", "y"}
    return {name for name, tap in ((cable, "battery"), (coax, "modem")) if tap not in r.taps}


_PATHS = {
    "battery": "through the battery cable",
    "bond": "through the converter's bond",
    "Yc": "through the Y capacitors",
    "Yl": "through the Y capacitors",
    "modem": "through the modem and its lead",
}


def _readings(r: ConductorCurrents) -> tuple[ui.Reading, ...]:
    heavy = r.direct > r.saturation
    return (
        ui.Reading("common mode in the lead", _amps(r.common.get("lead")), note="i_cm = i+ + i−, rms"),
        ui.Reading("differential in the lead", _amps(r.differential["lead"]), note="i_dm = (i+ − i−)/2, rms"),
        ui.Reading("driven into the chassis", _amps(r.taps.get("coupling")), note="by the switching node"),
        ui.Reading("modem's voltage", r.voltage, "V", note="v_dm = v+ − v−, rms"),
        ui.Reading(
            "direct current in the chassis", _amps(r.direct if r.direct > 1e-6 else None),
            note=f"the choke saturates at {number(r.saturation, 'A')}" if heavy else "",
        ),
    )  # fmt: skip


def _amps(amps: float | None) -> str:
    return "none" if amps is None else number(amps, "A")


def _sentence(r: ConductorCurrents) -> str:
    if not r.taps:
        return (
            "A plastic box: no chassis, no place for Y capacitors, and in this model nothing but differential current."
        )
    paths = sorted(((amps, _PATHS[name]) for name, amps in r.taps.items() if name in _PATHS), reverse=True)
    returned = " and ".join(f"{number(amps, 'A')} {words}" for amps, words in paths)
    return (
        f"In the octave around {number(r.frequency, 'Hz')} the switching node drives {number(r.taps['coupling'], 'A')} into the "
        f"chassis. {f'It returns: {returned}' if paths else 'It has no way to return'}. By convention {CONVENTION}."
    )
