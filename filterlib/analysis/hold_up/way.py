"""The way from the regulated voltage to a load: what is inside the converter, the filter, the lead and the load's capacitor."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Henries, Ohms, Seconds, Unit, Volts
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AcrossLines, AnyStage

__all__ = ["USUAL", "Branch", "Path", "Section", "across", "add_filter", "in_series", "path_to", "together"]
OWN = (10e-6, 50e-3)  # [F], [ohm] at the input of a load that states no capacitor: common practice, no source
NO_LEAD = (
    1e-3,
    10e-9,
)  # [ohm], [H] of a load beside the filter, a centimetre there and back: common practice, no source
USUAL = 30e-3
"""[F] of a bank as it is often built: behind a fuse, and a diode that keeps it apart (common practice, no source)."""
NONE = 1e-6  # [ohm] that stands for no resistance at all: the limit of a current needs a slope
SLOW = 1e4  # [Hz] at which capacitors of the filter are taken: their resistance rings with the leads


@dataclass(frozen=True)
class Branch:
    """A capacitor between the lines: ``farads`` behind ``ohms`` and ``henries``."""

    farads: Farads[float]
    ohms: Ohms[float]
    henries: Henries[float] = 0.0


NEXT_TO_NOTHING = Branch(1e-9, 1e-3)


def together(each: Sequence[Branch]) -> Branch:
    """Capacitors in parallel as one, without inductance: of a slow current each carries its share of the capacitance.

    >>> one = together([Branch(2.0, 1.0), Branch(1.0, 4.0)])     # by hand: (4 x 1 + 1 x 4) / 9
    >>> one.farads, round(one.ohms, 6)
    (3.0, 0.888889)
    """
    total = sum(one.farads for one in each)
    return Branch(total, sum(one.farads**2 * one.ohms for one in each) / total**2)


@dataclass(frozen=True)
class Section:
    """A piece of the filter: ``ohms`` and ``henries`` in series, and behind them its ``shunts`` from line to line."""

    ohms: Ohms[float]
    henries: Henries[float]
    shunts: tuple[Branch, ...] = ()


@dataclass(frozen=True)
class Path:
    """From the regulated voltage to the load.

    Attributes: ``volts``, ``limit`` of the current for this load, ``back``, what is left of it at 0 V (the same: it keeps its current), and
    ``on``, the time at it before the converter switches off (inf: it does not); ``output`` resistance; ``loop``: damping [ohm],
    integral and delay inductance [H], as `Converter.loop_elements`; ``inside``, the capacitor in the converter; ``first``, those of the filter
    before its first choke; ``sections`` of the filter behind that; ``lead``: resistance and inductance; ``load``, the capacitor there.
    """

    volts: Volts[float]
    limit: Amperes[float]
    output: Ohms[float]
    loop: Annotated[tuple[float, float, float], Unit("own", key=None)]
    inside: Branch
    sections: tuple[Section, ...]
    lead: Annotated[tuple[float, float], Unit("own", key=None)]
    load: Branch
    first: tuple[Branch, ...] = ()
    back: Amperes[float] = math.inf
    on: Seconds[float] = math.inf

    @property
    def ohms(self) -> float:
        """All resistance on the way [ohm]."""
        return self.output + sum(one.ohms for one in self.sections) + self.lead[0]

    @property
    def without_rings(self) -> Path:
        """The same with all capacitors of the filter behind all of its resistance, and no inductance there."""
        shunts = (*self.first, *(shunt for one in self.sections for shunt in one.shunts))
        lumped = together(shunts) if shunts else NEXT_TO_NOTHING
        section = Section(sum(one.ohms for one in self.sections), 0.0, (lumped,))
        return replace(self, first=(), sections=(section,))

    @property
    def ring(self) -> float:
        """The most [V] by which the filter's inductance can lift or lower what is behind it: all of it carrying the limit, I sqrt(L / C)."""
        henries = sum(one.henries for one in self.sections)
        behind = [shunt.farads for one in self.sections for shunt in one.shunts]
        least = 1 / (
            1 / (self.inside.farads + sum(one.farads for one in self.first))
            + 1 / max(sum(behind) + self.load.farads, 1e-12)
        )
        return min(self.limit * math.sqrt(henries / least), self.volts)


def path_to(design: Design, load: Load, limit: float) -> Path:
    """The way from the converter to one load, its parts in their order, at their nominal values."""
    converter, lead, at_load = design.converter, load.lead, load.input_capacitor
    volts = converter.output_voltage
    damping, integral, delay = (float(value) for value in converter.loop_elements)
    first, sections = _pieces(design)
    return Path(
        volts, limit, max(float(converter.output_resistance.value), NONE), (damping, integral, delay),
        Branch(float(converter.output_capacitance.value), float(converter.output_esr.value)), sections,
        NO_LEAD if lead is None else (2 * float(lead.resistance()), float(lead.loop_inductance)),
        Branch(*OWN) if at_load is None else _capacitor(at_load.part, at_load.count, volts), first,
    )  # fmt: skip


def _pieces(design: Design) -> tuple[tuple[Branch, ...], tuple[Section, ...]]:
    """The capacitors before the first choke; and each run of chokes and wires with the capacitors behind it."""
    pieces, volts = [Section(0.0, 0.0)], design.converter.output_voltage
    for stage in design.filter:
        if isinstance(stage, AcrossLines):
            branch = _capacitor(stage.part, stage.count, volts, float(np.max(getattr(stage, "resistance", 0.0))))
            pieces[-1] = replace(pieces[-1], shunts=(*pieces[-1].shunts, branch))
        elif (value := _in_series(stage)) is not None:
            if pieces[-1].shunts or len(pieces) == 1:
                pieces.append(Section(0.0, 0.0))
            pieces[-1] = Section(pieces[-1].ohms + value[0], pieces[-1].henries + value[1])
    pieces[-1] = replace(
        pieces[-1], shunts=pieces[-1].shunts or (NEXT_TO_NOTHING,)
    )  # or inductors alone would meet there
    return ((), tuple(pieces)) if len(pieces) == 1 else (pieces[0].shunts, tuple(pieces[1:]))


def _in_series(stage: AnyStage) -> tuple[float, float] | None:
    """Resistance and inductance that a stage puts into the loop; None for what is from line to line, or to the chassis."""
    part = getattr(stage, "part", None)
    if isinstance(part, CommonModeChoke):
        return 2 * float(part.resistance_at()), 2 * float(part.leakage_at())
    if isinstance(part, DifferentialChoke):
        return len(stage.lines) * float(part.resistance_at()), len(stage.lines) * float(part.inductance_at())
    if isinstance(part, WirePair):
        return 2 * float(part.resistance()), float(part.loop_inductance)
    return None


def add_filter(circuit: PiecewiseCircuit, path: Path, amperes: float = 0.0) -> dict[str, float]:
    """Add the converter's own capacitor at "converter" and the filter from there to "filter"; what is in each at rest, with ``amperes`` through it.

    The capacitors are at the voltage of the path less what ``amperes`` lose; all empty where that is 0.
    """
    volts = path.volts - path.output * amperes
    start = _shunts(circuit, "converter", (path.inside, *path.first), volts)
    last = len(path.sections) - 1
    before = "converter"
    for k, one in enumerate(path.sections):
        node = "filter" if k == last else f"stage{k}"
        volts -= one.ohms * amperes
        start |= in_series(circuit, node, before, (one.ohms, one.henries), amperes)
        start |= _shunts(circuit, node, one.shunts, volts)
        before = node
    return start


def in_series(
    circuit: PiecewiseCircuit, node: str, before: str, value: tuple[float, float], amperes: float = 0.0
) -> dict[str, float]:
    """Add resistance and inductance between two nodes; the current in it at rest."""
    ohms, henries = value
    circuit.resistor(f"{node}.r", before, f"{node}.x", max(ohms, NONE))
    circuit.inductor(f"{node}.l", f"{node}.x", node, max(henries, 1e-10))
    return {f"{node}.l": amperes}


def across(circuit: PiecewiseCircuit, name: str, node: str, branch: Branch, volts: float = 0.0) -> dict[str, float]:
    """Add a capacitor from a node to the return; the voltage in it at rest."""
    circuit.capacitor(f"{name}.c", node, f"{name}.e", branch.farads)
    circuit.resistor(f"{name}.esr", f"{name}.e", "0", max(branch.ohms, NONE))
    return {f"{name}.c": volts}


def _shunts(circuit: PiecewiseCircuit, node: str, shunts: Iterable[Branch], volts: float) -> dict[str, float]:
    return {
        key: value
        for k, one in enumerate(shunts)
        for key, value in across(circuit, f"{node}.{k}", node, one, volts).items()
    }


def _capacitor(part: Capacitor, count: int, volts: float, more: float = 0.0) -> Branch:
    return Branch(count * float(part.capacitance_at(volts)), float(part.esr_at(SLOW, bias=volts)) / count + more)


def supply_of(design: Design, load: Load, end: str = "value") -> float:
    """What the converter may give this load when hot, with all others at full draw [A]: by its rating, or its limit where that is less.

    ``end``: of the limit's range.
    """
    rating, volts, limit = design.converter.rating, design.converter.output_voltage, design.converter.limit
    limits = [math.inf if limit is None else float(getattr(limit.current, end))]
    if rating is not None:
        share = rating.share(warmest(design))
        limits += [] if rating.output_current is None else [share * rating.output_current]
        limits += [] if rating.output_power is None else [share * rating.output_power / volts]
    return min(limits) - sum(float(other.draws(volts, 1.0)) for other in design.loads if other is not load)


def warmest(design: Design) -> float:
    """The highest temperature [K] of all operating points."""
    return max(point.temperature for point in design.operating_points)
