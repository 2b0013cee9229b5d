"""What is drawn on a panel's axes: curves, ranges, levels and points, each with the way from a result to its numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeAlias, TypeVar

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

R = TypeVar("R")  # the result of a panel
Drawn: TypeAlias = tuple[Any, ...]  # numbers of a mark: arrays, or words and their place
Numbers: TypeAlias = Drawn | None  # None: there is nothing to draw for this result
Look: TypeAlias = dict[str, Any]  # keywords of matplotlib
Art: TypeAlias = Any  # the artist of a mark: a line, a patch, a collection or a text
Extent: TypeAlias = tuple[np.ndarray, np.ndarray]
STRETCHES = 512  # of a waveform, about one for each pixel of its axes


@dataclass(frozen=True)
class Axis:
    """One axis: ``label``, ``unit`` (on each tick; "dB" and "°" too), ``scale``, and ``limits`` where they are fixed.

    ``span``: what is further than this below the highest value is cut off (factor on a logarithmic axis, else a
    difference). ``zero``: 0 is always within. ``hidden``: axes of a drawing, without lines, ticks and label.
    ``names``: what is written at 0, 1, 2 ... instead of numbers.
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
class Mark(Generic[R]):
    """Anything on axes: ``numbers`` gives what it shows of a result, or None. The same ``label`` has the same look everywhere.

    ``colour`` and ``dash``: by the order of labels where not given; ``kept``: whether it is kept as a reference;
    ``marker``: points instead of a line.
    """

    label: str
    numbers: Callable[[R], Numbers]
    colour: str | None = None
    dash: object = None
    kept: bool = False
    marker: str | None = None

    def make(self, axes: Axes, look: Look) -> Art:
        """The artist that moves."""
        (line,) = axes.plot([], [], animated=True, label=self.label, **look)
        return line

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put numbers into the artist."""
        artist.set_data(*numbers)

    def extent(self, numbers: Drawn) -> Extent:
        """All x and all y."""
        return np.atleast_1d(np.asarray(numbers[0], float)), np.atleast_1d(np.asarray(numbers[1], float))


@dataclass(frozen=True)
class Curve(Mark[R]):
    """A curve: ``numbers`` gives x and y."""


@dataclass(frozen=True)
class Range(Mark[R]):
    """A shaded range: ``numbers`` gives x, low and high."""

    def make(self, axes: Axes, look: Look) -> Art:
        """The artist that moves."""
        shape = Polygon(
            np.zeros((1, 2)), facecolor=look["color"], alpha=0.22, linewidth=0, animated=True, label=self.label
        )
        return axes.add_patch(shape)

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put numbers into the artist."""
        x, low, high = (np.asarray(one, float) for one in numbers)
        artist.set_xy(np.column_stack((np.concatenate((x, x[::-1])), np.concatenate((low, high[::-1])))))

    def extent(self, numbers: Drawn) -> Extent:
        """All x and all y."""
        x, low, high = (np.asarray(one, float) for one in numbers)
        return np.concatenate((x, x)), np.concatenate((low, high))


@dataclass(frozen=True)
class Level(Mark[R]):
    """A line across the axes, such as a limit: ``numbers`` gives one value, or several.

    ``upright``: at x instead of at y. It does not move the limits of its axis unless ``counts``.
    """

    upright: bool = False
    counts: bool = False

    def make(self, axes: Axes, look: Look) -> Art:
        """The artist that moves: one line, broken between the levels."""
        transform = axes.get_xaxis_transform() if self.upright else axes.get_yaxis_transform()
        (line,) = axes.plot([], [], animated=True, label=self.label, transform=transform, **look)
        return line

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put numbers into the artist."""
        at = np.repeat(np.asarray(numbers, float), 3)
        along = np.tile([0.0, 1.0, np.nan], len(numbers))
        artist.set_data(*((at, along) if self.upright else (along, at)))

    def extent(self, numbers: Drawn) -> Extent:
        """All x and all y: of a level that counts, along its own axis only."""
        at, none = np.asarray(numbers, float), np.zeros(0)
        if not self.counts:
            return none, none
        return (at, none) if self.upright else (none, at)


@dataclass(frozen=True)
class Plot(Generic[R]):
    """One pair of axes: ``title``, its ``x`` and ``y``, and the ``marks`` on them."""

    title: str
    x: Axis
    y: Axis
    marks: tuple[Mark[R], ...]


def envelope(times: np.ndarray, wave: np.ndarray) -> Extent:
    """A waveform (n,) of a power of two of samples for a picture: of each stretch the lowest and the highest value, in order.

    >>> wave = np.sin(np.arange(8192))
    >>> x, y = envelope(np.arange(8192.0), wave)
    >>> len(x), float(np.ptp(y) / np.ptp(wave))
    (1024, 1.0)
    """
    if len(wave) <= 2 * STRETCHES:
        return times, wave
    stretches = wave.reshape(STRETCHES, -1)
    places = np.sort(np.column_stack((stretches.argmin(axis=1), stretches.argmax(axis=1))), axis=1)
    x = times[:: len(wave) // (2 * STRETCHES)]
    return x, np.take_along_axis(stretches, places, axis=1).ravel()
