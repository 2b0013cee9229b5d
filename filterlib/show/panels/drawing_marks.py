"""Marks of a drawing that moves, such as a circuit: lines that stay, words, and paths as wide as what they carry.

They are drawn on axes that are `hidden`. A label that begins with "_" has a look and no place in the legend.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from filterlib.show.panels.marks import Art, Drawn, Extent, Look, Mark, R

Points: TypeAlias = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Lines(Mark[R]):
    """Polylines: ``numbers`` gives a sequence of them, each a sequence of points (x, y)."""

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put them into one line, broken between them."""
        broken = [point for line in numbers for point in (*line, (np.nan, np.nan))]
        artist.set_data(*np.array(broken, float).T)

    def extent(self, numbers: Drawn) -> Extent:
        """All x and all y."""
        x, y = np.array([point for line in numbers for point in line], float).T
        return x, y


@dataclass(frozen=True)
class Paths(Mark[R]):
    """Polylines of different width: ``numbers`` gives a sequence of (width [points], points)."""

    def make(self, axes: Axes, look: Look) -> Art:
        """The artist that moves."""
        return axes.add_collection(
            LineCollection(
                [], colors=look["color"], linestyles=[look["linestyle"]], capstyle="butt", animated=True, label=self.label
            ),
            autolim=False,
        )  # fmt: skip

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put paths and widths into the artist."""
        artist.set_segments([points for _, points in numbers])
        artist.set_linewidths([width for width, _ in numbers])

    def extent(self, numbers: Drawn) -> Extent:
        """All x and all y."""
        x, y = np.array([point for _, points in numbers for point in points], float).T
        return x, y


@dataclass(frozen=True)
class Words(Mark[R]):
    """Words at a place: ``numbers`` gives x, y and the words; ``align``: which of their sides is at x."""

    align: str = "center"

    def make(self, axes: Axes, look: Look) -> Art:
        """The artist that moves."""
        return axes.text(
            0, 0, "", color=look["color"], ha=self.align, va="center", fontsize=8.5, linespacing=1.15, animated=True
        )

    def update(self, artist: Art, numbers: Drawn) -> None:
        """Put place and words into the artist."""
        x, y, words = numbers
        artist.set_position((x, y))
        artist.set_text(words)

    def extent(self, numbers: Drawn) -> Extent:
        """The place."""
        return np.array([numbers[0]], float), np.array([numbers[1]], float)
