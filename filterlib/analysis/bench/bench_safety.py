"""What the supply may do to who measures: its voltage, current and fuse."""

from __future__ import annotations

from dataclasses import dataclass

from filterlib.analysis.described import Amperes, Volts
from filterlib.system.design import Design

FUSE_MARGIN = 1.25  # of a fuse above the largest steady current: common practice, no source
FUSES = (
    1,
    2,
    3,
    5,
    7.5,
    10,
    15,
    20,
    25,
    30,
    40,
    50,
    60,
    80,
    100,
)  # [A] ratings that are sold: common practice, no source


@dataclass(frozen=True)
class SupplyFigures:
    """Highest direct voltage of all, current from the supply and the fuse for it; None where not stated."""

    voltage: Volts[float]
    current: Amperes[float | None]
    fuse: Amperes[float | None]


def supply_figures(design: Design) -> SupplyFigures:
    """What the safety steps need of the supply."""
    current = supply_current(design)
    return SupplyFigures(highest_voltage(design), current, None if current is None else fuse_rating(current))


def highest_voltage(design: Design) -> float:
    """Highest DC voltage [V] that the file names: output, input, and the input of every operating point."""
    inputs = [design.converter.input_voltage, *(point.input_voltage for point in design.operating_points)]
    return max([design.converter.output_voltage, *(volts for volts in inputs if volts is not None)])


def supply_current(design: Design) -> float | None:
    """Largest steady current [A] from the supply: full load at the lowest input voltage; None where no input is stated.

    The converter's efficiency is the one value that all of the design uses, ``converter.efficiency``; what is uncertain of
    it is within `FUSE_MARGIN`. Source: conservation of energy.
    """
    inputs = [design.converter.input_voltage, *(point.input_voltage for point in design.operating_points)]
    stated = [volts for volts in inputs if volts is not None]
    most = max(point.scale(load.name) for point in design.operating_points for load in design.loads)
    power = design.full_current * max(1.0, most) * design.converter.output_voltage
    return power / float(design.converter.efficiency.value) / min(stated) if stated else None


def fuse_rating(current: float) -> float | None:
    """The next fuse [A] above `FUSE_MARGIN` times a steady ``current`` [A]; None beyond the list.

    >>> fuse_rating(5.1), fuse_rating(81.0)
    (7.5, None)
    """
    return next((float(rating) for rating in FUSES if rating >= FUSE_MARGIN * current), None)
