"""Panel of the notebook on common-mode chokes: measured in two ways, and what current leaves of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.network.circuit import Circuit
from filterlib.parts.common_mode_choke import CommonModeChoke
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
from filterlib.words.quantities import number

SWITCHING = 180e3  # [Hz] of the demo's clean converter
SPIKE = 30e6  # [Hz] where a converter's edges ring
FREQUENCIES = np.geomspace(1e4, 1e8, 301)
CURRENTS = np.geomspace(1e-3, 100, 151)


@dataclass(frozen=True)
class Measured:
    """A choke between two ways of measuring, and over current.

    ``common`` (f,) [ohm]: both windings in parallel, as common-mode current meets them; ``loop`` (f,) [ohm]: out through one
    and back through the other, as the load's ripple does. ``inductance_left``, ``loop_left`` (c,) [H]: of one winding over
    the unbalanced current, of the loop over the balanced one. The rest [H, ohm, A] at the currents of the sliders.
    """

    common: np.ndarray
    loop: np.ndarray
    inductance_left: np.ndarray
    loop_left: np.ndarray
    inductance: float
    loop_inductance: float
    ratio: float
    coupling: float
    common_at_switching: float
    loop_at_switching: float
    loop_at_spike: float
    unbalance: float
    current: float


def measured(at: Mapping[str, Any]) -> Measured:
    """Both ways of measuring a choke, at a balanced and an unbalanced current."""
    part: CommonModeChoke = at["part"]
    currents = {"current": at["current"], "unbalance": at["unbalance"]}
    frequencies = np.append(FREQUENCIES, [SWITCHING, SPIKE])
    joined = Circuit().resistor("near", "line", "twin", 0.0).resistor("far", "0", "twin_end", 0.0)
    parallel = part.add(joined, "L1", ("line", "0"), ("twin", "twin_end"), **currents)
    bridged = Circuit().resistor("bridge", "end", "twin_end", 0.0)
    there_and_back = part.add(bridged, "L1", ("line", "end"), ("0", "twin_end"), **currents)
    common = np.abs(parallel.impedance(frequencies, "line"))
    loop = np.abs(there_and_back.impedance(frequencies, "line"))
    leakage = float(part.leakage_at(at["current"]))
    inductance = float(part.magnetising_at(at["unbalance"], at["current"])) + leakage
    return Measured(
        common=common[:-2],
        loop=loop[:-2],
        inductance_left=np.asarray(part.magnetising_at(CURRENTS)) + part.leakage_per_winding,
        loop_left=2 * part.leakage_at(CURRENTS) * np.ones_like(CURRENTS),
        inductance=inductance,
        loop_inductance=2 * leakage,
        ratio=2 * leakage / inductance,
        coupling=1 - leakage / inductance,
        common_at_switching=float(common[-2]),
        loop_at_switching=float(loop[-2]),
        loop_at_spike=float(loop[-1]),
        unbalance=at["unbalance"],
        current=at["current"],
    )


def choke_panel() -> Panel:
    """A common-mode choke on sliders."""
    start = {"part": parts(CommonModeChoke)["cm-1m0-5A"], "unbalance": 1e-3, "current": 3.6}
    controls: list[Control | Choice] = [
        Choice("choke.part", "choke", parts(CommonModeChoke), start="cm-1m0-5A"),
        Control("choke.inductance", "inductance", "H", "20 µH", "20 mH", group="One winding"),
        Control("choke.leakage_per_winding", "leakage", "H", "100 nH", "200 µH", group="One winding"),
        Control("choke.winding_capacitance", "capacitance", "F", "1 pF", "100 pF", group="One winding"),
        Control("choke.saturation_current", "saturates at", "A", "10 mA", "10 A", group="One winding"),
        Control("unbalance", "unbalanced", "A", "1 mA", "10 A", "1 mA", group="Current"),
        Control("current", "out and back", "A", "0.1 A", "100 A", "3.6 A", group="Current"),
    ]
    plots = (
        Plot(
            "Impedance",
            Axis("frequency", "Hz", "log", limits=(1e4, 1e8)),
            Axis("impedance", "Ω", "log"),
            (
                Curve("common mode", lambda r: (FREQUENCIES, r.common), kept=True),
                Curve("out and back", lambda r: (FREQUENCIES, r.loop), kept=True),
                Level("180 kHz, 30 MHz", lambda r: (SWITCHING, SPIKE), upright=True),
            ),
        ),
        Plot(
            "What current leaves",
            Axis("current", "A", "log", limits=(1e-3, 100)),
            Axis("inductance", "H", "log"),
            (
                Curve("common mode", lambda r: (CURRENTS, r.inductance_left), kept=True),
                Curve("out and back", lambda r: (CURRENTS, r.loop_left), kept=True),
                Curve("here", lambda r: ([r.unbalance, r.current], [r.inductance, r.loop_inductance]), marker="o"),
            ),
        ),
    )
    display = Display(Picture(plots, name="choke"), _readings, _sentence)
    calculation = Calculation(start, measured, change=_changed)
    return Panel("A choke with two windings", calculation, controls, display)


def _readings(r: Measured) -> tuple[Reading, ...]:
    return (
        Reading("one winding, now", r.inductance, "H"),
        Reading("out and back, now", r.loop_inductance, "H", note=f"{100 * r.ratio:.3g} % of one winding"),
        Reading("coupling of the windings", f"{r.coupling:.4f}"),
        Reading("out and back at 180 kHz", r.loop_at_switching, "Ω"),
        Reading("out and back at 30 MHz", r.loop_at_spike, "Ω"),
    )


def _sentence(r: Measured) -> str:
    return (
        f"Current that does not come back meets {number(r.inductance, 'H')} and {number(r.common_at_switching, 'Ω')} at 180 kHz; "
        f"the load's current, out and back, meets {number(r.loop_inductance, 'H')} and {number(r.loop_at_switching, 'Ω')}."
    )


def _changed(start: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """What the controls say; "choke.FIELD" is of the part, its leakage being that of one winding."""
    now = dict(start)
    for name, given in values.items():
        field = name.removeprefix("choke.")
        if field == name or field == "part":
            now[field] = given
        elif field == "leakage_per_winding":
            now["part"] = now["part"].replace(leakage=given, leakage_measured="per_winding")
        else:
            now["part"] = now["part"].replace(**{field: given})
    return now
