"""The way from the regulated voltage to a load, lumped: what is inside the converter, the filter, the lead and the load's capacitor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Amperes, Farads, Henries, Ohms, Seconds, Unit, Volts
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.load import Load

__all__ = ["USUAL", "Branch", "Path", "path_to", "shunts"]
OWN = (10e-6, 50e-3)  # [F], [ohm] at the input of a load that states no capacitor: common practice, no source
USUAL = 30e-3
"""[F] of a bank as it is often built: behind a fuse, and a diode that keeps it apart (common practice, no source)."""
SLOW = 1e4  # [Hz] at which capacitors of the filter are taken: their resistance rings with the leads


@dataclass(frozen=True)
class Branch:
    """A capacitor between the lines: ``farads`` behind ``ohms`` and ``henries``."""

    farads: Farads[float]
    ohms: Ohms[float]
    henries: Henries[float] = 0.0


@dataclass(frozen=True)
class Path:
    """From the regulated voltage to the load, lumped.

    Attributes: ``volts``, ``limit`` of the current for this load, ``back``, what is left of it at 0 V (the same: it keeps its current), and
    ``on``, the time at it before the converter switches off (inf: it does not); ``output`` resistance; ``loop``: damping [ohm],
    integral and delay inductance [H], as `Converter.loop_elements`; ``inside``, ``behind`` (the filter) and ``load``,
    capacitors at the converter, behind the filter and at the load; ``filter`` and ``lead``: resistance and inductance.
    """

    volts: Volts[float]
    limit: Amperes[float]
    output: Ohms[float]
    loop: Annotated[tuple[float, float, float], Unit("own", key=None)]
    inside: Branch
    filter: Annotated[tuple[float, float], Unit("own", key=None)]
    behind: Branch
    lead: Annotated[tuple[float, float], Unit("own", key=None)]
    load: Branch
    back: Amperes[float] = math.inf
    on: Seconds[float] = math.inf

    @property
    def ohms(self) -> float:
        """All resistance on the way [ohm]."""
        return self.output + self.filter[0] + self.lead[0]


def path_to(design: Design, load: Load, limit: float) -> Path:
    """The way from the converter to one load, with the filter's parts lumped, at their nominal values."""
    converter = design.converter
    ohms, henries = 0.0, 0.0
    for stage in design.filter:
        part = getattr(stage, "part", None)
        if isinstance(part, CommonModeChoke):
            ohms, henries = ohms + 2 * float(part.resistance_at()), henries + 2 * float(part.leakage_at())
        elif isinstance(part, DifferentialChoke):
            ohms, henries = ohms + float(part.resistance_at()), henries + float(part.inductance_at())
        elif isinstance(part, WirePair):
            ohms, henries = ohms + 2 * float(part.resistance()), henries + float(part.loop_inductance)
    lead = load.lead
    at_load = load.input_capacitor
    damping, integral, delay = (float(value) for value in converter.loop_elements)
    inside = Branch(float(converter.output_capacitance.value), float(converter.output_esr.value))
    return Path(
        converter.output_voltage, limit, float(converter.output_resistance.value), (damping, integral, delay), inside,
        (ohms, henries), max(shunts(design), key=lambda one: one.farads),
        (0.0, 0.0) if lead is None else (2 * float(lead.resistance()), float(lead.loop_inductance)),
        Branch(*OWN) if at_load is None else _capacitor(at_load.part, at_load.count, converter.output_voltage),
    )  # fmt: skip


def shunts(design: Design, *, damping: bool = False) -> list[Branch]:
    """The capacitors of the filter from line to line, at its voltage, those with ``damping`` resistors too; next to nothing where there is none."""
    kinds, volts = ("capacitor", "damping") if damping else ("capacitor",), design.converter.output_voltage
    stages = [stage for stage in design.filter if stage.kind in kinds]
    found = [_capacitor(stage.part, stage.count, volts) for stage in stages]  # type: ignore[union-attr, arg-type]
    return found or [Branch(1e-9, 1e-3)]


def _capacitor(part: Capacitor, count: int, volts: float) -> Branch:
    return Branch(count * float(part.capacitance_at(volts)), float(part.esr_at(SLOW, bias=volts)) / count)
