"""What stands on a panel's axes: curves, bands, levels and points, each with the way from a result to its numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

Numbers: TypeAlias = tuple[Any, ...] | None  # None: there is nothing to draw for this result
Look: TypeAlias = dict[str, Any]


@dataclass(frozen=True)
class Axis:
    """One axis: ``label``, ``unit`` (on each tick; "dB" and "°" too), ``scale``, and ``limits`` where they stay as they are.

    ``span``: what is further than this below the highest value is cut off (factor on a logarithmic axis, else a
    difference). ``zero``: 0 is always within. ``hidden``: axes of a drawing, without lines, ticks and label.
    ``names``: what stands at 0, 1, 2 ... instead of numbers.
    """

    label: str
    unit: str = ""
    scale: Literal["linear", "log"] = "linear"
    limits: tuple[float, float] | None = None
    span: float | None = None
    zero: bool = False
    hidden: bool = False
    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class Curve:
    """A curve: ``numbers`` gives x and y of a result, or None. The same ``label`` has the same look in all axes.

    ``colour`` and ``dash``: by the order of labels where not given; ``kept``: whether it is kept as a reference;
    ``marker``: points instead of a line.
    """

    label: str
    numbers: Callable[[Any], Numbers]
    colour: str | None = None
    dash: Any = None
    kept: bool = False
    marker: str | None = None

    def make(self, axes: Any, look: Look) -> Any:
        """The artist that moves."""
        (line,) = axes.plot([], [], animated=True, label=self.label, **look)
        return line

    def update(self, artist: Any, numbers: tuple[Any, ...]) -> None:
        """Put numbers into the artist."""
        artist.set_data(*numbers)

    def extent(self, numbers: tuple[Any, ...]) -> tuple[np.ndarray, np.ndarray]:
        """All x and all y."""
        return np.atleast_1d(np.asarray(numbers[0], float)), np.atleast_1d(np.asarray(numbers[1], float))


@dataclass(frozen=True)
class Band:
    """A shaded band: ``numbers`` gives x, low and high of a result, or None."""

    label: str
    numbers: Callable[[Any], Numbers]
    colour: str | None = None
    kept: bool = False
    dash: Any = None
    marker: str | None = None

    def make(self, axes: Any, look: Look) -> Any:
        """The artist that moves."""
        from matplotlib.patches import Polygon

        shape = Polygon(
            np.zeros((1, 2)), facecolor=look["color"], alpha=0.22, linewidth=0, animated=True, label=self.label
        )
        return axes.add_patch(shape)

    def update(self, artist: Any, numbers: tuple[Any, ...]) -> None:
        """Put numbers into the artist."""
        x, low, high = (np.asarray(one, float) for one in numbers)
        artist.set_xy(np.column_stack((np.concatenate((x, x[::-1])), np.concatenate((low, high[::-1])))))

    def extent(self, numbers: tuple[Any, ...]) -> tuple[np.ndarray, np.ndarray]:
        """All x and all y."""
        x, low, high = (np.asarray(one, float) for one in numbers)
        return np.concatenate((x, x)), np.concatenate((low, high))


@dataclass(frozen=True)
class Level:
    """A line across the axes, such as a limit: ``numbers`` gives one value, or several, of a result, or None.

    ``upright``: at x instead of at y. It does not move the limits of its axis unless ``counts``.
    """

    label: str
    numbers: Callable[[Any], Numbers]
    colour: str | None = None
    dash: Any = None
    upright: bool = False
    counts: bool = False
    kept: bool = False
    marker: str | None = None

    def make(self, axes: Any, look: Look) -> Any:
        """The artist that moves: one line, broken between the levels."""
        transform = axes.get_xaxis_transform() if self.upright else axes.get_yaxis_transform()
        (line,) = axes.plot([], [], animated=True, label=self.label, transform=transform, **look)
        return line

    def update(self, artist: Any, numbers: tuple[Any, ...]) -> None:
        """Put numbers into the artist."""
        at = np.repeat(np.asarray(numbers, float), 3)
        along = np.tile([0.0, 1.0, np.nan], len(numbers))
        artist.set_data(*((at, along) if self.upright else (along, at)))

    def extent(self, numbers: tuple[Any, ...]) -> tuple[np.ndarray, np.ndarray]:
        """All x and all y: of a level that counts, along its own axis only."""
        at, none = np.asarray(numbers, float), np.zeros(0)
        if not self.counts:
            return none, none
        return (at, none) if self.upright else (none, at)


Mark: TypeAlias = Curve | Band | Level


@dataclass(frozen=True)
class Plot:
    """One pair of axes: ``title``, its ``x`` and ``y``, and what stands on them."""

    title: str
    x: Axis
    y: Axis
    marks: tuple[Mark, ...]
