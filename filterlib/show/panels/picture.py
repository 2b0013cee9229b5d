"""A picture that is kept: axes drawn once, and on that background only what moves, sent as a small PNG.

A new figure for every move of a slider costs ten times as much: most of a figure is axes, ticks and words that do not move.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Generic

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator
from PIL import Image

from filterlib.show.panels.axis_limits import Pair, limits
from filterlib.show.panels.marks import Art, Axis, Drawn, Level, Look, Mark, Numbers, Plot, R
from filterlib.show.panels.paper import prefixed, style, svg
from filterlib.show.panels.theme import REFERENCE_LOOKS, Theme, looks

REFERENCES = 3  # curves that are kept while moving on
WIDE, NARROW, RIGHT = 90, 66, 24  # [px] left of axes whose ticks have a prefix and a unit, or only a number; and right
LOW, HIGH = (924, 214), (924, 240)  # [px] of a picture that leaves room for its sliders: one row of legend, or two
HIDDEN = 8  # [px] left of axes that are not drawn
TOP, BOTTOM, TITLE, BETWEEN = 6, 46, 22, 24  # [px] above and below axes, for a title, and for the ticks between two
LEGEND = 20  # [px] of one row of the legend
ENTRY, LETTER = 58, 6  # [px] of an entry's line and of a letter, a little more than either takes
TICK = {"x": 56, "y": 28}  # [px] that a tick's label needs
FONT = {"font.size": 9, "axes.titlesize": 9.5, "lines.linewidth": 1.5}
DPI = 100
COLOURS, GREYS = 64, 16  # of the PNG, and of its words and grid
RUN_LENGTHS = 3  # zlib's strategy for pictures of few colours: half the time and no more bytes


class Picture(Generic[R]):
    """The axes of a panel and what moves on them.

    Parameters
    ----------
    columns : plots side by side; those of a tuple within it one above the other
    size : width and height [px]
    name : what the figure is called
    widths : of the columns, in ratio
    """

    def __init__(
        self,
        columns: Sequence[Plot[R] | Sequence[Plot[R]]],
        *,
        name: str,
        size: tuple[int, int] = (900, 340),
        widths: Sequence[float] | None = None,
    ) -> None:
        self._columns = [[one] if isinstance(one, Plot) else list(one) for one in columns]
        self.plots = tuple(plot for column in self._columns for plot in column)
        self.name, self.size = name, size
        self._widths = list(widths) if widths else [1.0] * len(self._columns)
        self.theme = Theme()
        self._limits: dict[tuple[int, str], Pair] = {}
        self._numbers: list[list[Numbers]] = []
        self._kept: list[list[list[Numbers]]] = []
        self._background: Any = None  # matplotlib's copy of the drawn axes
        self._palette = Image.new("P", (1, 1))
        self._make()

    def twin(self) -> Picture[R]:
        """The same axes and marks, drawn by itself."""
        return Picture(self._columns, name=self.name, size=self.size, widths=self._widths)

    def _make(self) -> None:
        """The figure with its axes and moving artists, empty."""
        self.looks = looks(self.plots)
        with style(FONT):
            self.figure = Figure(figsize=(self.size[0] / DPI, self.size[1] / DPI), dpi=DPI)
            self.figure.set_label(self.name)
            self.canvas: Any = FigureCanvasAgg(self.figure)  # whose methods state no types
            self.axes = [self.figure.add_axes(box) for box in self._boxes()]
            self._titles = [axes.set_title(plot.title) for axes, plot in self._pairs()]
            for axes, plot in self._pairs():
                for side in ("x", "y"):
                    _prepare(axes, side, getattr(plot, side))
            self._join_labels()
            self._artists = [
                [mark.make(axes, self.looks[mark.label]) for mark in plot.marks] for axes, plot in self._pairs()
            ]
            self._references = [
                [
                    axes.plot([], [], animated=True, **self.theme.reference(number))[0]
                    for mark in plot.marks if mark.kept
                    for number in range(REFERENCES)
                ]
                for axes, plot in self._pairs()
            ]  # fmt: skip
        self._recolour()

    def _join_labels(self) -> None:
        """Along a column the lowest x axis alone has a label."""
        bottoms = np.cumsum([len(column) for column in self._columns]) - 1
        for at, axes in enumerate(self.axes):
            if at not in bottoms:
                axes.set_xlabel("")

    def _pairs(self) -> Iterator[tuple[Axes, Plot[R]]]:
        return zip(self.axes, self.plots, strict=True)

    def _boxes(self) -> Iterator[tuple[float, float, float, float]]:
        """Left, bottom, width and height of every axes, in shares of the figure."""
        width, height = self.size
        margins = [max(_margin(plot.y) for plot in column) for column in self._columns]
        room = width - sum(margins) - len(margins) * RIGHT
        left = 0.0
        for column, share, margin in zip(self._columns, self._widths, margins, strict=True):
            wide = room * share / sum(self._widths)
            high = (
                height - self._legend_rows() * LEGEND - TOP - BOTTOM - len(column) * TITLE - (len(column) - 1) * BETWEEN
            ) / len(column)
            for row in range(len(column)):
                bottom = BOTTOM + (len(column) - 1 - row) * (high + TITLE + BETWEEN)
                yield (left + margin) / width, bottom / height, wide / width, high / height
            left += wide + margin + RIGHT

    def _legend_rows(self) -> int:
        """Rows that the legend needs, with the references that may come."""
        labels = [*_named(self.looks), *(f"kept {n + 1}" for n in range(REFERENCES))]
        return -(-sum(ENTRY + LETTER * len(label) for label in labels) // self.size[0])

    # ---- what is shown ---------------------------------------------------------------------------------------------

    def put(self, result: R) -> None:
        """Put a result's numbers into the artists; the background goes where limits had to move."""
        self._numbers = [[mark.numbers(result) for mark in plot.marks] for plot in self.plots]
        for plot, artists, numbers in zip(self.plots, self._artists, self._numbers, strict=True):
            for mark, artist, drawn in zip(plot.marks, artists, numbers, strict=True):
                artist.set_visible(drawn is not None)
                if drawn is not None:
                    mark.update(artist, drawn)
        self._fit()

    def keep(self) -> None:
        """Keep what is shown as a reference; of more than `REFERENCES` the oldest goes."""
        self._kept = [*self._kept, self._numbers][-REFERENCES:]
        self._show_references()

    def forget(self) -> None:
        """Drop the references."""
        self._kept = []
        self._show_references()

    def _show_references(self) -> None:
        for at, (plot, artists) in enumerate(zip(self.plots, self._references, strict=True)):
            places = [place for place, mark in enumerate(plot.marks) if mark.kept]
            for order, artist in enumerate(artists):
                number, place = order % REFERENCES, places[order // REFERENCES]
                drawn = self._kept[number][at][place] if number < len(self._kept) else None
                artist.set_visible(drawn is not None)
                artist.set_data(*(drawn or ([], [])))
        self._background = None
        self._fit()

    def restyle(self, theme: Theme) -> None:
        """Another set of colours."""
        self.theme = theme
        numbers, kept = self._numbers, self._kept
        self._recolour()
        self._numbers, self._kept, self._background = numbers, kept, None

    def _recolour(self) -> None:
        theme = self.theme
        self.figure.set_facecolor(theme.paper)
        for title in self._titles:
            title.set_color(theme.ink)
        for axes, (plot, artists), references in zip(
            self.axes, zip(self.plots, self._artists, strict=True), self._references, strict=True
        ):
            theme.dress(axes)
            for mark, artist in zip(plot.marks, artists, strict=True):
                artist.set_color(theme.colour(self.looks[mark.label]["color"]))
            for order, artist in enumerate(references):
                artist.set_color(theme.reference(order % REFERENCES)["color"])

    # ---- limits ----------------------------------------------------------------------------------------------------

    def _fit(self) -> None:
        for at, (axes, plot) in enumerate(self._pairs()):
            drawn = [
                (mark, numbers)
                for shown in (self._numbers, *self._kept)
                for mark, numbers in zip(plot.marks, shown[at] if shown else (), strict=bool(shown))
                if numbers is not None and (shown is self._numbers or mark.kept)
            ]
            extents = [mark.extent(numbers) for mark, numbers in drawn]
            for index, side in enumerate("xy"):
                self._fit_one(at, axes, side, getattr(plot, side), [extent[index] for extent in extents])

    def _fit_one(self, at: int, axes: Axes, side: str, axis: Axis, values: list[np.ndarray]) -> None:
        old = self._limits.get((at, side))
        wanted = axis.limits or _wanted(axis, values, old)
        if wanted is None or wanted == old:
            return
        self._limits[at, side] = wanted
        getattr(axes, f"set_{side}lim")(*wanted)
        self._background = None

    # ---- drawing ---------------------------------------------------------------------------------------------------

    def draw(self) -> None:
        """Draw what moves on the background, and that first where it is not there."""
        if self._background is None:
            self._draw_background()
        self.canvas.restore_region(self._background)
        for axes, artists in zip(self.axes, self._moving(), strict=True):
            for artist in artists:
                axes.draw_artist(artist)

    def _moving(self) -> Iterator[list[Art]]:
        for references, artists in zip(self._references, self._artists, strict=True):
            yield [artist for artist in (*references, *artists) if artist.get_visible()]

    def _draw_background(self) -> None:
        with style():
            self._legend()
            self.canvas.draw()
        self._background, self._palette = self.canvas.copy_from_bbox(self.figure.bbox), self._colours()

    def _legend(self) -> None:
        """One legend for all axes: what is drawn alike means the same."""
        for old in list(self.figure.legends):
            old.remove()
        handles: list[Line2D | Patch] = []
        for label, look in _named(self.looks).items():
            colour = self.theme.colour(look["color"])
            handles.append(Line2D([], [], label=label, **look | {"color": colour}) if "linewidth" in look
                           else Patch(facecolor=colour, alpha=0.3, label=label))  # fmt: skip
        handles += [
            Line2D([], [], label=f"kept {number + 1}", **self.theme.reference(number))
            for number in range(len(self._kept))
        ]
        self.figure.legend(
            handles=handles, loc="upper left", bbox_to_anchor=(0.006, 1.0), borderaxespad=0.1,
            ncols=-(-len(handles) // self._legend_rows()), labelspacing=0.3,
            columnspacing=1.6, handlelength=2.6, labelcolor=self.theme.ink, fontsize=9,
        )  # fmt: skip

    def pixels(self) -> np.ndarray:
        """What was drawn, (height, width, 4)."""
        return np.asarray(self.canvas.buffer_rgba())

    def png(self) -> bytes:
        """What was drawn, as a PNG of `COLOURS` colours."""
        pixels = self.canvas.buffer_rgba()
        image = Image.frombuffer("RGBX", pixels.shape[1::-1], pixels, "raw", "RGBX", 0, 1).convert("RGB")
        image = image.quantize(palette=self._palette, dither=Image.Dither.NONE)
        buffer = io.BytesIO()
        image.save(buffer, "png", compress_level=1, compress_type=RUN_LENGTHS)
        return buffer.getvalue()

    def _colours(self) -> Image.Image:
        """The palette: paper, words and grid in fine steps, and every curve faded into the paper."""
        paper, theme = np.array(to_rgb(self.theme.paper)), self.theme
        inks = dict.fromkeys(
            [look["color"] for look in self.looks.values()] + [colour for colour, _ in REFERENCE_LOOKS]
        )
        steps = (COLOURS - GREYS) // len(inks)
        ramps = [_ramp(paper, to_rgb(theme.ink), GREYS)]
        ramps += [_ramp(paper, to_rgb(theme.colour(ink)), steps + 1)[1:] for ink in inks]
        palette = Image.new("P", (1, 1))
        palette.putpalette(np.round(255 * np.concatenate(ramps)).astype(np.uint8).tobytes())
        return palette

    def svg(self) -> str:
        """The same artists as an SVG element, in the colours of paper."""
        with self._on_paper():
            return svg(self.figure)

    def print_png(self) -> bytes:
        """The same artists as a PNG for a page, at twice the size, in the colours of paper."""
        buffer = io.BytesIO()
        with self._on_paper():
            self.figure.savefig(buffer, format="png", dpi=2 * DPI)
        return buffer.getvalue()

    @contextmanager
    def _on_paper(self) -> Iterator[None]:
        theme, self.theme = self.theme, Theme()
        self._recolour()
        with style(FONT):
            self._legend()
            yield
        self.restyle(theme)

    @property
    def limits(self) -> dict[tuple[int, str], Pair]:
        """The limits of every axis, to be put back later."""
        return dict(self._limits)

    @limits.setter
    def limits(self, wanted: dict[tuple[int, str], Pair]) -> None:  # {}: computed anew
        for (at, side), ends in wanted.items():
            getattr(self.axes[at], f"set_{side}lim")(*ends)
        self._limits, self._background = dict(wanted), None

    def faults(self) -> Iterator[str]:
        """What is wrong with what is drawn: not finite, or wholly outside its axes."""
        for at, plot in enumerate(self.plots):
            for mark, numbers in zip(plot.marks, self._numbers[at], strict=True):
                if numbers is None or isinstance(mark, Level):
                    continue
                yield from self._mark_faults(at, plot, mark, numbers)

    def _mark_faults(self, at: int, plot: Plot[R], mark: Mark[R], numbers: Drawn) -> Iterator[str]:
        x, y = mark.extent(numbers)
        what = f'"{mark.label}" in "{plot.title}"'
        if not len(x) or len(x) != len(y):
            yield f"{what} has {len(x)} x and {len(y)} y"
        elif not (np.isfinite(x).all() and np.isfinite(y).all()):
            yield f"{what} is not finite"
        elif not (_within(x, self._limits[at, "x"]) & _within(y, self._limits[at, "y"])).any():
            yield f"{what} lies wholly outside its axes"


def _ramp(paper: np.ndarray, ink: Sequence[float], steps: int) -> np.ndarray:
    return np.linspace(paper, ink, steps)


def _within(values: np.ndarray, ends: Pair) -> np.ndarray:
    return (values >= min(ends)) & (values <= max(ends))


def _wanted(axis: Axis, values: list[np.ndarray], old: Pair | None) -> Pair | None:
    """Limits by rule for all values along an axis; None where there are none."""
    log = axis.scale == "log"
    joined = np.concatenate([np.zeros(0), *values])
    joined = joined[np.isfinite(joined) & ((joined > 0) | (not log))]
    if not joined.size:
        return old
    low, high = float(joined.min()), float(joined.max())
    if axis.zero and not log:
        low, high = min(low, 0.0), max(high, 0.0)
    if axis.span is not None:
        low = max(low, high / axis.span if log else high - axis.span)
    return limits(low, high, old, log=log)


def _named(looks: dict[str, Look]) -> dict[str, Look]:
    """Those of the legend."""
    return {label: look for label, look in looks.items() if not label.startswith("_")}


def _margin(axis: Axis) -> int:
    """Room left of axes [px]."""
    if axis.names:
        return 2 * HIDDEN + LETTER * max(len(line) for name in axis.names for line in name.split("\n"))
    return HIDDEN if axis.hidden else WIDE if _prefixable(axis) else NARROW


def _prefixable(axis: Axis) -> bool:
    return bool(axis.unit) and axis.unit != "°" and not axis.unit.startswith("dB")


def _prepare(axes: Axes, side: str, axis: Axis) -> None:
    """Scale, label and ticks of one axis, with as many ticks as there is room for."""
    which = getattr(axes, f"{side}axis")
    if axis.hidden:
        axes.set_axis_off()
        return
    if axis.names:
        which.set_ticks(range(len(axis.names)), labels=axis.names)
        return
    getattr(axes, f"set_{side}scale")(axis.scale)
    if _prefixable(axis):
        prefixed(axes, side, axis.unit, axis.label)
    else:
        which.set_label_text(f"{axis.label} [{axis.unit}]" if axis.unit else axis.label)
    room = max(2, int((axes.bbox.width if side == "x" else axes.bbox.height) // TICK[side]))
    if axis.scale == "log":
        which.set_major_locator(LogLocator(numticks=room + 1))
        which.set_minor_locator(NullLocator())
    else:
        which.set_major_locator(MaxNLocator(nbins=room, steps=[1, 2, 5, 10]))
