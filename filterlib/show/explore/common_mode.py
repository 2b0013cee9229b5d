"""Panel of the notebook on common mode: every current of three conductors, at its place and with its size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from filterlib.analysis.linear.modal_two_port import CONVENTION, modal_currents
from filterlib.analysis.ripple.spectra import driven, from_transfers, full_current
from filterlib.network.circuit import Circuit, Current
from filterlib.parts.tables import standard_tables
from filterlib.show.explore.common_mode_drawing import picture
from filterlib.show.explore.pi_filter import LOAD, demo
from filterlib.show.explore.two_converters import as_it_is, off
from filterlib.show.panels import Calculation, Choice, Control, Display, Panel, Reading
from filterlib.show.words import number
from filterlib.system.chassis import Bond, Supply
from filterlib.system.design import Design
from filterlib.system.source_spectra import source_spectra
from filterlib.system.stages import ChassisCapacitor

OCTAVE = np.sqrt(2)  # a band reaches from the frequency over this to the frequency times this
TOP = 2e8  # [Hz]
Term = tuple[str, int, float]  # element, winding, sign

_LINES: dict[str, tuple[tuple[Term, ...], tuple[Term, ...]]] = {  # section: plus line, return line, towards the load
    "converter": (
        (("converter.lead", 1, 1),),
        (("L1", 2, 1), ("L1.cw2", 1, 1), ("C1.loop", 1, -1), ("L1.ci1", 1, -1), ("Yc.return.loop", 1, 1)),
    ),
    "choke": ((("L1", 1, 1), ("L1.cw1", 1, 1)), (("L1", 2, 1), ("L1.cw2", 1, 1))),
    "lead": ((("modem.lead.r1", 1, 1),), (("modem.lead.r2", 1, 1),)),
}
_TAPS: dict[str, tuple[Term, ...]] = {  # where something reaches the chassis, from left to right; into the chassis
    "battery": (("converter.supply.bond.resistance", 1, 1),),
    "coupling": (("converter.coupling", 1, 1),),
    "bond": (("converter.bond.resistance", 1, 1),),
    "Yc": (("Yc.plus.loop", 1, 1), ("Yc.return.loop", 1, 1)),
    "Yl": (("Yl.plus.loop", 1, 1), ("Yl.return.loop", 1, 1)),
    "modem": (("modem.bond.resistance", 1, 1), ("modem.stray", 1, 1)),
}
_ACROSS: dict[str, tuple[Term, ...]] = {name: ((f"{name}.loop", 1, 1),) for name in ("C1", "C2")}


@dataclass(frozen=True)
class Looked:
    """A design with one load, and the ``frequency`` [Hz] about which its currents are looked at."""

    design: Design
    frequency: float = 10e6


@dataclass(frozen=True)
class Currents:
    """Rms currents [A] of the harmonics within an octave about ``frequency`` [Hz].

    ``differential``, ``common``: by section, "converter", "choke" and "lead", as in `CONVENTION`; ``taps``: into the chassis
    at each place that reaches it; ``chassis``: in it, between each tap and the next; ``across``: of C1 and C2. ``voltage``
    [V] at the modem. ``harmonics`` (h,) [Hz]; ``driven``, ``arriving`` (h,) [A]: what the switching node puts into the
    chassis, and the common-mode current of the modem's lead. ``direct``, ``saturation`` [A]: direct current through the chassis, and
    that at which the choke saturates.
    """

    frequency: float
    differential: Mapping[str, float]
    common: Mapping[str, float]
    taps: Mapping[str, float]
    chassis: tuple[float, ...]
    across: Mapping[str, float]
    voltage: float
    harmonics: np.ndarray
    driven: np.ndarray
    arriving: np.ndarray
    direct: float
    saturation: float


def currents(looked: Looked) -> Currents:
    """Every current of the drawing, from one solution of the circuit."""
    design, state = looked.design, looked.design.state()
    forces = source_spectra(design.converter, full_current(design), input_voltage=state.input_voltage)
    harmonics = forces.frequencies[1:]
    harmonics = harmonics[harmonics <= TOP]
    circuit = design.build(state)
    read = _Read(circuit, design, forces, harmonics, state)
    band = (harmonics >= looked.frequency / OCTAVE) & (harmonics <= looked.frequency * OCTAVE)
    band |= np.abs(harmonics - looked.frequency) == np.min(np.abs(harmonics - looked.frequency))
    modes = {name: modal_currents(read(plus), read(minus)) for name, (plus, minus) in _LINES.items()}
    taps = {name: read(terms) for name, terms in _TAPS.items() if read.there(terms)}
    rms = partial(_rms, band=band)
    choke: Any = next(one.part for one in design.filter if one.name == "L1")
    return Currents(
        frequency=looked.frequency,
        differential={name: rms(differential) for name, (differential, _) in modes.items()},
        common={name: rms(common) for name, (_, common) in modes.items()} if taps else {},
        taps={name: rms(amps) for name, amps in taps.items()},
        chassis=tuple(rms(amps) for amps in np.cumsum(list(taps.values()), axis=0)[:-1]) if taps else (),
        across={name: rms(read(terms)) for name, terms in _ACROSS.items()},
        voltage=rms(read.volts),
        harmonics=harmonics,
        driven=np.sqrt(2) * np.abs(taps.get("coupling", np.zeros(len(harmonics)))),
        arriving=np.sqrt(2) * np.abs(modes["lead"][1]),
        direct=abs(float(state.unbalance("L1"))),
        saturation=float(np.min(choke.saturation_current)),
    )


def _rms(coefficients: np.ndarray, band: np.ndarray) -> float:
    return float(np.sqrt(2 * np.sum(np.abs(coefficients[band]) ** 2)))


class _Read:
    """Harmonics (h,) of sums of elements' currents [A], all sources together; an element that is not there carries none."""

    def __init__(self, circuit: Circuit, design: Design, forces: Any, harmonics: np.ndarray, state: Any) -> None:
        self._names = {element.name for element in circuit.elements}
        wanted = [term for pair in _LINES.values() for terms in pair for term in terms]
        wanted += [term for terms in (*_TAPS.values(), *_ACROSS.values()) for term in terms]
        keys = list(dict.fromkeys((name, winding) for name, winding, _ in wanted if name in self._names))
        port = design.named_load(LOAD).port
        rows = circuit.transfer(harmonics, driven(design), [*(Current(*key) for key in keys), port])
        found = from_transfers(design, state, forces, [*keys, LOAD], rows)
        self._whole: dict[Any, np.ndarray] = {}
        for (place, _), amps in found.items():
            self._whole[place] = self._whole.get(place, 0.0) + amps
        self.volts = self._whole[LOAD]
        self._none = np.zeros(len(harmonics), complex)

    def there(self, terms: tuple[Term, ...]) -> bool:
        return any(name in self._names for name, _, _ in terms)

    def __call__(self, terms: tuple[Term, ...]) -> np.ndarray:
        held = (sign * self._whole[name, winding] for name, winding, sign in terms if name in self._names)
        return sum(held, self._none)


# ---- what can be changed ---------------------------------------------------------------------------------------------

_STRAP, _LONG = Bond(), Bond(inductance="600 nH", resistance="10 mΩ")


def _with_y(design: Design, *, part: str, name: str) -> Design:
    """A Y capacitor on each line: "Yc" before the choke, "Yl" at the load's end."""
    bought = next(table[part] for table in standard_tables() if part in table)
    stage: Any = ChassisCapacitor(kind="capacitor_to_chassis", name=name, part=bought)
    at = 1 if name == "Yc" else len(design.filter)
    return design.replace(filter=(*design.filter[:at], stage, *design.filter[at:]))


def _plastic(design: Design) -> Design:
    """In a box of plastic: nothing reaches a chassis, and nothing is driven through one."""
    return design.replace(
        has_chassis=False,
        converter=design.converter.within,
        filter=tuple(stage for stage in design.filter if not stage.reaches_chassis),
        loads=tuple(load.replace(bond=None) for load in design.loads),
    )


_SMALL, _LARGE = "class2-4n7-Y2-2211", "film-10n-Y2"
CHOICES: dict[str, tuple[str, dict[str, Callable[[Design], Design]]]] = {  # in the order in which they are applied
    "battery": ("battery's pole", {"to the chassis": as_it_is, "floats": off({"converter.supply": None})}),
    "bond": (
        "converter's return",
        {"floats": as_it_is, "strap of 20 nH": off({"converter.bond": _STRAP}), "wire of 600 nH": off({"converter.bond": _LONG})},
    ),
    "modem": ("modem's return", {"coax to the mast": as_it_is, "floats": off({"load.modem.bond": None})}),
    "y": (
        "Y capacitors",
        {
            "none": as_it_is,
            "2 × 4.7 nF, before the choke": partial(_with_y, part=_SMALL, name="Yc"),
            "2 × 10 nF, before the choke": partial(_with_y, part=_LARGE, name="Yc"),
            "2 × 4.7 nF, load's end": partial(_with_y, part=_SMALL, name="Yl"),
            "2 × 10 nF, load's end": partial(_with_y, part=_LARGE, name="Yl"),
        },
    ),
    "chassis": ("box", {"metal cabinet": as_it_is, "plastic, no chassis": _plastic}),
}  # fmt: skip


def set_up(looked: Looked, values: Mapping[str, Any]) -> Looked:
    """Sliders first, then choices, the box last: what a plastic box leaves out cannot be changed any more."""
    keys = {key: given for key, given in values.items() if "." in key}
    design = off(keys)(looked.design)
    for name in CHOICES:
        design = values.get(name, as_it_is)(design)
    return Looked(design, float(values.get("frequency", looked.frequency)))


def begun() -> Looked:
    """The brick with its modem alone, fed by a battery whose pole is bonded at its own end of the cable."""
    brick = demo("brick")
    converter = brick.converter.replace(bond=None, supply=Supply())
    return Looked(
        brick.replace(
            name="Tide gauge, three conductors", note="Saved from a notebook", converter=converter, requirements=(),
            loads=tuple(load for load in brick.loads if load.name == LOAD),
        )
    )  # fmt: skip


def common_mode_panel() -> Panel:
    """The currents of the brick's three conductors."""
    chosen = [
        Choice(name, label, options, group="Who is joined to the chassis") for name, (label, options) in CHOICES.items()
    ]
    ways = "Ways"
    controls: list[Control | Choice] = [
        Control("frequency", "octave about", "Hz", "150 kHz", "100 MHz", group=ways),
        Control("converter.common_mode.coupling", "node to chassis", "F", "10 pF", "1 nF", group=ways),
        Control("converter.supply.inductance", "cable to the battery", "H", "100 nH", "10 µH", 1e-6, group=ways),
        Control("load.modem.bond.inductance", "coax to the mast", "H", "20 nH", "5 µH", 150e-9, group=ways),
        Control("load.modem.lead.length", "modem's lead", "m", "5 cm", "5 m", 0.4, group=ways),
        *chosen,
    ]  # fmt: skip
    for at, one in enumerate(controls[1:5], 1):
        if one.start is None:  # the design stands within what is changed
            controls[at] = Control(one.name, one.label, "F", "10 pF", "1 nF", 120e-12, group=ways)
    calculation = Calculation(begun(), currents, change=set_up)
    return Panel("Common mode, made visible", calculation, controls, Display(picture(), _readings, _sentence))


_WAYS = {
    "battery": "by the battery's cable",
    "bond": "by the converter's bond",
    "Yc": "through the Y capacitors",
    "Yl": "through the Y capacitors",
    "modem": "by the modem and its lead",
}


def _readings(r: Currents) -> tuple[Reading, ...]:
    heavy = r.direct > r.saturation
    return (
        Reading("common mode in the lead", _amps(r.common.get("lead")), note="i_cm = i+ + i−, rms"),
        Reading("differential in the lead", _amps(r.differential["lead"]), note="i_dm = (i+ − i−)/2, rms"),
        Reading("driven into the chassis", _amps(r.taps.get("coupling")), note="by the switching node"),
        Reading("modem's voltage", r.voltage, "V", note="v_dm = v+ − v−, rms"),
        Reading(
            "direct current in the chassis", _amps(r.direct if r.direct > 1e-6 else None),
            note=f"choke bears {number(r.saturation, 'A')}" if heavy else "",
        ),
    )  # fmt: skip


def _amps(given: float | None) -> str:
    return "none" if given is None else number(given, "A")


def _sentence(r: Currents) -> str:
    if not r.taps:
        return (
            "A plastic box: no chassis, no place for Y capacitors, and in this model nothing but differential current."
        )
    ways = sorted(((amps, _WAYS[name]) for name, amps in r.taps.items() if name in _WAYS), reverse=True)
    back = ", ".join(f"{number(amps, 'A')} {words}" for amps, words in ways) or "and finds no way back"
    return (
        f"In the octave about {number(r.frequency, 'Hz')} the switching node drives {number(r.taps['coupling'], 'A')} into the "
        f"chassis; back come {back}. By convention {CONVENTION}."
    )
