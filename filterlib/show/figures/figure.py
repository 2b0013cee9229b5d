"""A figure as data: plots on their axes, and the marks in them. `drawing.svg` makes a picture of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.show.style import BLACK, FINE, GREY, SOLID, Dash

Values: TypeAlias = NDArray[np.float64]
Side: TypeAlias = Literal["x", "y"]
Align: TypeAlias = Literal["start", "middle", "end"]
ROOM = 0.04  # of an axis, left free at both ends of what stands on it
_PREFIXED = frozenset(("V", "A", "W", "F", "H", "Hz", "s", "ohm"))
_NOTHING: Values = np.zeros(0)


@dataclass(frozen=True)
class Axis:
    """One axis: ``label``, ``unit`` in SI, ``log`` or linear, ``limits`` (None: by the marks there).

    ``names``: labels at 0, 1, 2 ... instead of numbers. ``falling``: the largest value is at the left, or lowest.
    """

    label: str = ""
    unit: str = ""
    log: bool = False
    limits: tuple[float | None, float | None] = (None, None)
    names: tuple[str, ...] = ()
    falling: bool = False

    @property
    def prefixed(self) -> bool:
        """Whether each tick has unit and prefix; else the unit stands behind the label."""
        return self.unit in _PREFIXED

    @property
    def words(self) -> str:
        """The label, with the unit where the ticks have none."""
        return f"{self.label} [{self.unit}]".lstrip() if self.unit and not self.prefixed else self.label


@dataclass(frozen=True)
class Look:
    """Of a line: ``width`` [px], ``dash`` in widths; of its points: ``marker`` (o, s, D, v, |), its ``size`` [px]."""

    colour: str = BLACK
    dash: Dash = SOLID
    width: float = 2.0
    marker: str = ""
    size: float = 7.0
    hollow: bool = False
    every: int = 1  # how many points for one marker


@dataclass(frozen=True, eq=False)
class Curve:
    """Points joined by a line, or points alone; what is not finite is a gap. ``label``: its name in the legend."""

    x: Values
    y: Values
    look: Look = field(default_factory=Look)
    label: str = ""
    joined: bool = True


@dataclass(frozen=True, eq=False)
class Area:
    """What lies between ``low`` and ``high``."""

    x: Values
    low: Values
    high: Values
    colour: str
    label: str = ""


@dataclass(frozen=True, eq=False)
class Bars:
    """Level bars from zero, one in each row of an axis of names, each with ``words`` at its end; ``shift`` in rows."""

    values: Values
    words: tuple[str, ...]
    label: str
    colour: str
    shift: float = 0.0
    hatched: bool = False


@dataclass(frozen=True)
class Level:
    """A line across at a y, or ``upright`` at an x, with ``words`` at its right end, or at its foot.

    ``over``: those of an upright one stand over the axes instead, and begin ("start") or end there.
    """

    at: float
    look: Look = field(default_factory=lambda: Look(GREY, FINE, 1.2))
    words: str = ""
    upright: bool = False
    over: Align | None = None
    label: str = ""


@dataclass(frozen=True)
class Span:
    """A range of y, or ``upright`` of x, that is shaded, or ``hatched``; ``words`` are at the head of an upright one."""

    low: float
    high: float
    upright: bool = False
    hatched: bool = False
    words: str = ""
    label: str = ""


@dataclass(frozen=True)
class Note:
    """Words beside the point x, y: ``shift`` [px] right and up from there; moved up or down where others are."""

    x: float
    y: float
    words: str
    shift: tuple[float, float] = (0.0, 8.0)
    align: Align = "middle"
    bold: bool = False
    label: str = ""


Mark: TypeAlias = Curve | Area | Bars | Level | Span | Note


def extent(mark: Mark, side: Side) -> Values:
    """The values along an axis that it has to hold for a mark; notes ask for no room."""
    match mark:
        case Curve():
            values = (mark.x if side == "x" else mark.y)[np.isfinite(mark.x) & np.isfinite(mark.y)]
        case Area():
            values = mark.x if side == "x" else np.concatenate((mark.low, mark.high))
        case Bars() if side == "x":
            values = np.append(mark.values[np.isfinite(mark.values)], 0.0)
        case Level() if mark.upright == (side == "x"):
            values = np.array([mark.at])
        case Span() if mark.upright == (side == "x"):
            values = np.array([mark.low, mark.high])
        case _:
            values = _NOTHING
    return values


def joint_extent(marks: Iterable[Mark], side: Side) -> tuple[float, float]:
    """The lowest and the highest of all values along an axis; zeros where there is none."""
    values = np.concatenate([_NOTHING, *(extent(mark, side) for mark in marks)])
    return (float(values.min()), float(values.max())) if values.size else (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Plot:
    """One pair of axes ``height`` px high; ``legend``: the names of its marks stand above it, and its ``title`` below them."""

    x: Axis
    y: Axis
    marks: tuple[Mark, ...]
    title: str = ""
    height: float = 215.0
    legend: bool = False

    def named(self) -> list[Mark]:
        """The marks of the legend: of each name the first."""
        first: dict[str, Mark] = {}
        for mark in self.marks if self.legend else ():
            first.setdefault(mark.label, mark)
        return [mark for label, mark in first.items() if label]


@dataclass(frozen=True, eq=False)
class Figure:
    """Plots in rows, ``width`` px wide, and lines of words at the ``foot``. ``share``: the axes, "x", "y" or both, that all have in common.

    A shared x axis has its words below the lowest row only, a shared y axis left of the first column.
    """

    title: str
    rows: tuple[tuple[Plot, ...], ...]
    share: str = ""
    foot: str = ""
    width: float = 960.0

    @property
    def plots(self) -> list[Plot]:
        """Row by row."""
        return [plot for row in self.rows for plot in row]

    def limits(self, plot: Plot, side: Side) -> tuple[float, float]:
        """The ends of an axis of one of the plots: as it states them, else by all marks along it, with a little room."""
        axis = plot.x if side == "x" else plot.y
        if axis.names:
            return -0.6, len(axis.names) - 0.4
        plots = self.plots if side in self.share else [plot]
        values = np.concatenate([_NOTHING, *(extent(mark, side) for one in plots for mark in one.marks)])
        ends = _ends(values, log=axis.log)
        low, high = (ends[at] if end is None else end for at, end in enumerate(axis.limits))
        return (low, high) if low < high else (low - 0.1 * (abs(low) or 1.0), low + 0.1 * (abs(low) or 1.0))


def _ends(values: Values, *, log: bool) -> tuple[float, float]:
    """Ends that hold all values; one step where there are none."""
    values = np.log10(values[values > 0]) if log else values
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    low, high = low - ROOM * (high - low), high + ROOM * (high - low)
    return (10**low, 10**high) if log else (low, high)
