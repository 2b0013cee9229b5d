"""One plug with few numbers: a battery, a cable, the capacitors at the input and one fix; for sliders."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Ohms, Seconds, Unit, Volts
from filterlib.analysis.supply.at_the_plug import usual_fixes
from filterlib.analysis.supply.hot_plug import NOTHING, falling, plug, plug_course, seen
from filterlib.analysis.supply.supply_result import Added, Input
from filterlib.network.netlist import Current
from filterlib.system.line.battery_side import Battery, BatterySide, Fuse, SupplyWire, Switch

__all__ = ["FIXES", "PlugCase", "PlugCaseResult", "plug_case"]
FIXES = ("nothing", "electrolytic", "r-c", "ntc", "pre-charge", "clamp", "soft switch")
Kind = Literal["film", "class 2 ceramic"]
OHMS = 3e-3  # [ohm] of ESR
STEADY = 3.0  # [A] that the converter draws later, for what a fix is sized by


@dataclass(frozen=True)
class PlugCase:
    """A battery of ``volts`` behind a cable of ``length`` [m] and ``area`` [m2]; ``farads`` of one ``kind`` at the input, rated for ``rated`` volts; one ``fix``."""

    farads: Farads[float] = 22e-6
    kind: Kind = "film"
    length: Annotated[float, Unit("m")] = 2.0
    fix: str = "nothing"
    volts: Volts[float] = 24.0
    rated: Volts[float] = 50.0
    area: Annotated[float, Unit("m2")] = 1.5e-6


@dataclass(frozen=True)
class PlugCaseResult:
    """What the plug does.

    ``peak`` voltage and ``current``; ``heat`` in cable and contacts and what is ``stored`` afterwards; ``melting``: I2t that a fuse sees;
    ``bare``: the peak without a fix; ``volts``, ``rated``; ``times``, ``course`` and ``amps`` (t,); ``ohms`` of the fix (0: none).
    """

    peak: Annotated[float, Unit("V", "peak voltage", "peak")]
    current: Annotated[float, Unit("A", "peak current", "peak")]
    heat: Annotated[float, Unit("J")]
    stored: Annotated[float, Unit("J")]
    melting: Annotated[float, Unit("A2s")]
    bare: Annotated[float, Unit("V", "peak without a fix", "bare")]
    volts: Volts[float]
    rated: Volts[float]
    ohms: Ohms[float]
    times: Seconds[np.ndarray]
    course: Volts[np.ndarray]
    amps: Amperes[np.ndarray]


def plug_case(case: PlugCase) -> PlugCaseResult:
    """A plug in time, with the fix and without.

    Raises: KeyError for a fix that is none of `FIXES`.

    >>> found = plug_case(PlugCase())
    >>> 36 < found.peak < 48 and found.peak == found.bare      # twice the battery's voltage, less what cable and contacts take
    True
    """
    side = BatterySide(Battery(), SupplyWire(length=case.length, cross_section=case.area), Fuse(), Switch())
    farads = case.farads if case.kind == "film" else falling(case.farads, case.volts)
    capacitors = (Input("input", farads, OHMS, case.rated),)
    added, ohms = _added(case, float(side.inductance))
    run = plug_course(side, capacitors, case.volts, added)
    done = seen(run, capacitors, case.volts, added)
    bare = done if added is NOTHING else plug(side, capacitors, case.volts)
    times, course, amps = run.drawn("in", Current("line"))
    return PlugCaseResult(
        done.peak_voltage, done.peak_current, done.heat, done.stored, done.melting, bare.peak_voltage, case.volts, case.rated, ohms,
        times, course, amps,
    )  # fmt: skip


def _added(case: PlugCase, henries: float) -> tuple[Added, float]:
    if case.fix == "nothing":
        return NOTHING, 0.0
    fixes = {name: (added, ohms) for name, _, ohms, _, added in usual_fixes(case.farads, henries, case.volts, STEADY)}
    return fixes[case.fix]
