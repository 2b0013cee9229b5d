"""The looks of a panel: one for each label, distinguished by line style as well as colour, on light and on dark ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from filterlib.show.panels.marks import Level, Look, Plot, R, Range
from filterlib.show.style import BLACK, BLUE, COLOURS, DASHES, GREEN, ORANGE, PURPLE, VERMILION

GREY, BROWN, INDIGO = "#7f7f7f", "#8c6d1f", "#5b5fc7"  # of what was kept: none of them is a curve's own
ON_DARK = {
    GREY: "#b0b0b0", BROWN: "#d9b75a", INDIGO: "#a3a6f5", BLUE: "#6CB8F0", VERMILION: "#FF9A52", GREEN: "#3FD6A6", PURPLE: "#EBA6D1", ORANGE: "#F2C14E", BLACK: "#E6E6E6",
}  # fmt: skip
"""Lighter twins of the palette: a contrast of 4.5 and more on a ground of #1c1c1c."""
REFERENCE_LOOKS: tuple[tuple[str, object], ...] = (
    (GREY, (0, (7, 2, 1, 2))), (BROWN, (0, (1, 1.4))), (INDIGO, (0, (3, 1, 1, 1, 1, 1))),
)  # fmt: skip
LIMIT_DASH = (0, (8, 3))


@dataclass(frozen=True)
class Theme:
    """Colours of paper and ink; ``dark`` swaps the palette for its lighter twins."""

    dark: bool = False

    @property
    def paper(self) -> str:
        """The ground."""
        return "#1c1c1c" if self.dark else "#ffffff"

    @property
    def ink(self) -> str:
        """Words and ticks."""
        return "#e6e6e6" if self.dark else "#1a1a1a"

    def colour(self, light: str) -> str:
        """A colour of the palette on this ground."""
        return ON_DARK.get(light, light) if self.dark else light

    def reference(self, number: int) -> Look:
        """The look of a kept curve."""
        colour, dash = REFERENCE_LOOKS[number]
        return {"color": self.colour(colour), "linestyle": dash, "linewidth": 1.5}

    def dress(self, axes: Axes) -> None:
        """Give axes these colours."""
        axes.set_facecolor(self.paper)
        axes.tick_params(colors=self.ink, which="both", grid_color="#3d3d3d" if self.dark else "#d4d4d4")
        axes.xaxis.label.set_color(self.ink)
        axes.yaxis.label.set_color(self.ink)
        for spine in axes.spines.values():
            spine.set_edgecolor(self.ink)


def looks(plots: Sequence[Plot[R]]) -> dict[str, Look]:
    """The look of each label, in the order in which labels are met."""
    by_label: dict[str, Look] = {}
    lines = 0
    for mark in (mark for plot in plots for mark in plot.marks):
        if mark.label in by_label:
            continue
        if isinstance(mark, Range):
            by_label[mark.label] = {"color": mark.colour or BLUE}
            continue
        if isinstance(mark, Level):
            by_label[mark.label] = {
                "color": mark.colour or BLACK,
                "linestyle": mark.dash or LIMIT_DASH,
                "linewidth": 1.2,
            }
            continue
        colour, dash = mark.colour or COLOURS[lines % len(COLOURS)], mark.dash or DASHES[lines % len(DASHES)]
        lines += 1
        by_label[mark.label] = {"color": colour, "linestyle": dash, "linewidth": 1.7} | (
            {"marker": mark.marker, "linestyle": "none", "markersize": 5} if mark.marker else {}
        )
    return by_label
