"""A `Figure` as an SVG element: text that stays text, nothing cut off, no words on others, the same bytes each time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np

from filterlib.disk import write_text
from filterlib.show.figures.figure import Align, Area, Axis, Bars, Curve, Figure, Level, Mark, Note, Plot, Span, Values
from filterlib.show.figures.letters import fitted, text_width
from filterlib.show.figures.paths import joined, markers, needed, stroke
from filterlib.show.figures.ticks import Tick, ticks
from filterlib.show.style import slug

RIGHT, EDGE = 36.0, 6.0  # [px] right of axes; at the edge of the paper
FONT, SMALL, LINE = 14.0, 12.0, 17.0  # [px] size of words, of those in a plot, and from line to line
LEFT, NAMES, GAP = 96.0, 430.0, 10.0  # [px] left of numbers at least, of names at most; between rows
SAMPLE, ENTRY, LEGEND = 48.0, 24.0, 22.0  # [px] of a legend: before its words, between two entries, its rows
ROOM = {"x": 74.0, "y": 30.0}  # [px] for the words of one tick
TICK = 5.0  # [px]
BAR = 0.36  # of a row
FACES = "DejaVu Sans, Verdana, Arial, sans-serif"
_HEAD = 'xmlns="http://www.w3.org/2000/svg" font-family="{}" font-size="{:g}" stroke-linejoin="round" fill="none"'
_LINES = (  # of what is hatched and of bars: identifier, colour, width [px]
    ("hatch", "#b5b5b5", 1.4), ("stripes", "#fff", 2.0),
)  # fmt: skip
_PATTERN = (
    '<pattern id="{}" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V8" stroke="{}" stroke-width="{:g}"/></pattern>'
)


def svg(figure: Figure) -> str:
    """The figure as an SVG element, with its title; identifiers begin with a slug of that title.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.bode_figure(filterlib.bode(solution, "modem")))[:4]
    '<svg'
    """
    return _Drawing(figure).text()


def save(figure: Figure, path: str | Path) -> None:
    """Write the figure to an SVG file. Raises OutputError where it cannot be."""
    write_text(path, svg(figure) + "\n")


@dataclass(frozen=True)
class _Scale:
    """Where values along an axis stand on the paper: from ``start`` on, ``length`` px (negative: upwards)."""

    axis: Axis
    ends: tuple[float, float]
    start: float
    length: float

    def __call__(self, values: Values | float) -> Values:
        """Places [px]; not a number where a logarithmic axis has none."""
        low, high = self._along(np.array(self.ends))
        share: Values = (self._along(np.asarray(values, float)) - low) / (high - low)
        places: Values = self.start + self.length * (1 - share if self.axis.falling else share)
        return np.where(np.isfinite(places), places, np.nan)

    def _along(self, values: Values) -> Values:
        return np.log10(np.where(values > 0, values, np.nan)) if self.axis.log else values

    def at(self, value: float) -> float:
        """Place of one value [px]."""
        return float(self(value))


@dataclass(frozen=True)
class _Frame:
    """Where a plot stands on the paper [px], and its ticks; none where another plot has them."""

    plot: Plot
    left: float
    top: float
    width: float
    x: _Scale
    y: _Scale
    ticks: tuple[Sequence[Tick], Sequence[Tick]]
    worded: tuple[bool, bool]

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.plot.height


class _Drawing:
    """The paper: pieces of SVG in the order in which they are drawn, and where words stand already."""

    def __init__(self, figure: Figure) -> None:
        self._figure, self._name, self._wide = figure, slug(figure.title), figure.width
        self._pieces: list[str] = []
        self._boxes: list[tuple[float, float, float, float]] = []  # left, top, right, bottom
        self._height = EDGE
        frames = list(self._frames())
        for line in _lines(figure.foot):
            self._height += LINE
            self._words(frames[0].left if frames else LEFT, self._height, line, size=SMALL)
        self._height = round(self._height + EDGE)
        for number, frame in enumerate(frames):
            self._axes(frame)
            self._head(frame)
            self._marks(frame, f"{self._name}-{number}")
        for frame in frames:  # on top of everything
            for mark in frame.plot.marks:
                for x, y, words, align in _notes(frame, mark):
                    bold = isinstance(mark, Note) and mark.bold
                    self._words(x, y, words, align=align, size=SMALL, bold=bold, free=True)

    def text(self) -> str:
        """The element."""
        body, size = "".join(self._pieces), f"{self._wide:g} {self._height:g}"
        patterns = [(f"{self._name}-{which}", *look) for which, *look in _LINES]
        needed = "".join(_PATTERN.format(*one) for one in patterns if f"#{one[0]})" in body)
        title = escape(fitted(self._figure.title, 1, 1e9))
        paper = f'<rect width="{self._wide:g}" height="{self._height:g}" fill="#fff"/>'
        place = f'width="{self._wide:g}" height="{self._height:g}" viewBox="0 0 {size}"'
        head = _HEAD.format(FACES, FONT)
        return f"<svg {head} {place}><title>{title}</title><defs>{needed}</defs>{paper}{body}</svg>"

    # ---- where everything stands -------------------------------------------------------------------------------

    def _frames(self) -> Iterator[_Frame]:
        """A frame for every plot, row by row; margins as wide as the words in them."""
        figure = self._figure
        count = max((len(row) for row in figure.rows), default=0)
        lefts = [max(self._left(row[at], at) for row in figure.rows if at < len(row)) for at in range(count)]
        width = (self._wide - sum(lefts) - count * RIGHT) / max(count, 1)
        for number, row in enumerate(figure.rows):
            worded = "x" not in figure.share or number == len(figure.rows) - 1
            top = self._height + max(_above(plot, width) for plot in row)
            for at, plot in enumerate(row):
                left = sum(lefts[: at + 1]) + at * (width + RIGHT)
                x = _Scale(plot.x, figure.limits(plot, "x"), left, width)
                y = _Scale(plot.y, figure.limits(plot, "y"), top + plot.height, -plot.height)
                places = ticks(plot.x, *x.ends, int(width / ROOM["x"])), self._ticks(plot)
                yield _Frame(plot, left, top, width, x, y, places, (worded, at == 0 or "y" not in figure.share))
            below = max(TICK + LINE * (1 + len(_lines(plot.x.words))) for plot in row) if worded else 0.0
            self._height = top + max(plot.height for plot in row) + below + GAP

    def _ticks(self, plot: Plot) -> Sequence[Tick]:
        """Of the y axis; none where nothing stands there."""
        return ticks(plot.y, *self._figure.limits(plot, "y"), int(plot.height / ROOM["y"])) if plot.marks else ()

    def _left(self, plot: Plot, column: int) -> float:
        """Room left of the axes [px]."""
        if column and "y" in self._figure.share:
            return GAP
        needed = EDGE + LINE * len(_lines(plot.y.words)) + _widest(plot, self._ticks(plot)) + 3 * TICK
        return max(needed, 0.0 if plot.y.names else LEFT)

    # ---- words -------------------------------------------------------------------------------------------------

    def _words(
        self, x: float, y: float, words: str, *, align: Align = "start", size: float = FONT, bold: bool = False,
        free: bool = False, most: float = np.inf,
    ) -> None:  # fmt: skip
        """One line on height ``y``, not beyond the paper; ``free``: on white, moved to where no other words are."""
        words = fitted(words, size, min(most, self._wide - EDGE), bold=bold)
        width = text_width(words, size, bold=bold)
        before = {"start": 0.0, "middle": width / 2, "end": width}[align]
        left = max(EDGE / 2, min(x - before, self._wide - EDGE / 2 - width))
        y = self._free(left, y, width, size) if free else y
        self._boxes.append((left, y - size, left + width, y + size / 4))
        look = f' text-anchor="{align}"' * (align != "start") + f' font-size="{size:g}"' * (size != FONT)
        look += ' font-weight="bold"' * bold
        look += ' stroke="#fff" stroke-opacity=".9" stroke-width="3.5" paint-order="stroke"' * free
        self._pieces.append(f'<text x="{left + before:.1f}" y="{y:.1f}" fill="#000"{look}>{escape(words)}</text>')

    def _free(self, x: float, y: float, width: float, size: float) -> float:
        for turn in range(14):
            base = y + 1.25 * size * ((turn + 1) // 2) * (-1 if turn % 2 else 1)
            top, bottom = base - size, base + size / 4
            taken = any(x < b[2] and b[0] < x + width and top < b[3] and b[1] < bottom for b in self._boxes)
            if not taken and top >= 0 and bottom <= self._height:
                return base
        return y

    # ---- axes, title and legend --------------------------------------------------------------------------------

    def _axes(self, frame: _Frame) -> None:
        left, right, top, bottom = frame.left, frame.right, frame.top, frame.bottom
        xs, ys = ([(scale.at(at), name) for at, name in places]
                  for scale, places in zip((frame.x, frame.y), frame.ticks, strict=True))  # fmt: skip
        grid = "".join(f"M{x:.1f} {top:.1f}V{bottom:.1f}" for x, _ in xs)
        grid += "".join(f"M{left:.1f} {y:.1f}H{right:.1f}" for y, _ in ys if not frame.plot.y.names)
        lines = f"M{left:.1f} {top:.1f}V{bottom:.1f}H{right:.1f}"
        lines += "".join(f"M{x:.1f} {bottom:.1f}v{TICK:g}" for x, _ in xs)
        lines += "".join(f"M{left:.1f} {y:.1f}h-{TICK:g}" for y, _ in ys)
        self._pieces.append(f'<path d="{grid}" stroke="#d4d4d4" stroke-width=".8"/><path d="{lines}" stroke="#000"/>')
        if frame.worded[0]:
            for x, name in xs:
                self._words(x, bottom + TICK + LINE - 2, name, align="middle")
            for at, line in enumerate(_lines(frame.plot.x.words), 2):
                self._words((left + right) / 2, bottom + TICK + LINE * at, line, align="middle")
        if frame.worded[1]:
            self._words_left(frame, ys)

    def _words_left(self, frame: _Frame, ys: Sequence[Tick]) -> None:
        """Names or numbers at the ticks, and beside them the label, turned."""
        plot, edge = frame.plot, frame.left - 2 * TICK
        size = SMALL if plot.y.names else FONT
        for y, name in ys:
            lines = _lines(name)
            for at, line in enumerate(lines):
                base = y + (at - (len(lines) - 1) / 2) * 1.2 * size + 0.36 * size
                self._words(edge, base, line, align="end", size=size, most=NAMES)
        labels = _lines(plot.y.words)
        for at, line in enumerate(reversed(labels)):
            x, y = edge - _widest(plot, frame.ticks[1]) - TICK - 4 - LINE * at, (frame.top + frame.bottom) / 2
            shown = fitted(line, FONT, plot.height + 2 * GAP)
            half = text_width(shown, FONT) / 2
            self._boxes.append((x - FONT, y - half, x + FONT / 4, y + half))
            turned = f'transform="translate({x:.1f} {y:.1f}) rotate(-90)" text-anchor="middle" fill="#000"'
            self._pieces.append(f"<text {turned}>{escape(shown)}</text>")

    def _head(self, frame: _Frame) -> None:
        """Title and legend above the axes, where they hide no curve."""
        plot = frame.plot
        y = frame.top - 8 - LINE * _words_over(plot)
        if plot.title:
            self._words(frame.left, y, plot.title, most=frame.width + RIGHT)
            y -= LINE + 6
        rows = _legend(plot, frame.width)
        for number, row in enumerate(rows, 1 - len(rows)):
            x, base = frame.left + 4, y + LEGEND * number
            for mark in row:
                self._pieces.extend(self._sample(mark, x, base - 4.5))
                self._words(x + SAMPLE, base, mark.label, most=frame.width - SAMPLE)
                x += _entry(mark)

    def _sample(self, mark: Mark, x: float, y: float) -> Iterator[str]:
        """What stands before a mark's name in the legend."""
        long = SAMPLE - 8
        if isinstance(mark, Curve | Level):
            if isinstance(mark, Level) or mark.joined:
                yield stroke(f"M{x:.1f} {y:.1f}h{long:g}", mark.look)
            yield markers(np.array([x + long / 2]), np.array([y]), mark.look)
        elif isinstance(mark, Area | Bars):
            yield from self._box(mark, x, y - 5.5, long, 11.0)

    # ---- marks -------------------------------------------------------------------------------------------------

    def _marks(self, frame: _Frame, name: str) -> None:
        place = f'x="{frame.left:.1f}" y="{frame.top:.1f}" width="{frame.width:.1f}" height="{frame.plot.height:g}"'
        data = escape(json.dumps(_scales(frame), separators=(",", ":")))
        self._pieces.append(
            f'<clipPath id="{name}"><rect {place}/></clipPath><g clip-path="url(#{name})" data-plot="{data}">'
        )
        for mark in frame.plot.marks:
            self._pieces.extend(self._mark(frame, mark))
        self._pieces.append("</g>")

    def _mark(self, frame: _Frame, mark: Mark) -> Iterator[str]:
        match mark:
            case Curve():
                yield f'<g data-curve="{escape(fitted(mark.label, 1, 1e9))}">' if mark.joined else "<g>"
                yield from _curve(frame, mark)
                yield "</g>"
            case Area():
                x, low, high = frame.x(mark.x), frame.y(mark.low), frame.y(mark.high)
                kept = needed(x, low, high, most=frame.width)
                x, low, high = x[kept], low[kept], high[kept]
                yield f'<path d="{joined(np.append(x, x[::-1]), np.append(low, high[::-1]))}Z" fill="{mark.colour}"/>'
            case Level(upright=True):
                yield stroke(f"M{frame.x.at(mark.at):.1f} {frame.bottom:.1f}V{frame.top:.1f}", mark.look)
            case Level():
                yield stroke(f"M{frame.left:.1f} {frame.y.at(mark.at):.1f}H{frame.right:.1f}", mark.look)
            case Span():
                fill = f'"url(#{self._name}-hatch)"' if mark.hatched else '"#000" fill-opacity=".08"'
                yield f'<path d="{_corners(frame, mark)}" fill={fill}/>'
            case Bars():
                height = BAR * (frame.y.at(1.0) - frame.y.at(0.0))
                for row, value in enumerate(np.nan_to_num(mark.values)):
                    start, end = sorted((frame.x.at(0.0), frame.x.at(value)))
                    yield from self._box(mark, start, frame.y.at(row + mark.shift) - height / 2, end - start, height)

    def _box(self, mark: Area | Bars, x: float, y: float, width: float, height: float) -> Iterator[str]:
        place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
        yield f'<rect {place} fill="{mark.colour}"/>'
        if isinstance(mark, Bars) and mark.hatched:
            yield f'<rect {place} fill="url(#{self._name}-stripes)"/>'


def _scales(frame: _Frame) -> dict[str, object]:
    """What a script needs to say which value is at a place: the frame [px], and both axes."""
    axes = {
        side: {
            "low": _short(scale.ends[0]),
            "high": _short(scale.ends[1]),
            "log": scale.axis.log,
            "unit": scale.axis.unit,
        }
        for side, scale in (("x", frame.x), ("y", frame.y))
    }
    place = {name: round(getattr(frame, name), 1) for name in ("left", "top", "width")}
    return {**place, "height": frame.plot.height, **axes}


def _short(value: float) -> float:
    return float(f"{value:.6g}")


def _above(plot: Plot, width: float) -> float:
    """Room above the axes [px]."""
    return GAP + (LINE + 6) * bool(plot.title) + LEGEND * len(_legend(plot, width)) + LINE * _words_over(plot)


def _words_over(plot: Plot) -> bool:
    return any(isinstance(mark, Level) and mark.over for mark in plot.marks)


def _widest(plot: Plot, places: Sequence[Tick]) -> float:
    """Width of the longest name or number beside the y axis [px]."""
    size = SMALL if plot.y.names else FONT
    return min(NAMES, max((text_width(line, size) for _, name in places for line in _lines(name)), default=0.0))


def _legend(plot: Plot, width: float) -> list[list[Mark]]:
    """The legend's entries in rows as long as the axes."""
    rows: list[list[Mark]] = []
    for mark in plot.named():
        if rows and sum(map(_entry, rows[-1])) + _entry(mark) - ENTRY <= width:
            rows[-1].append(mark)
        else:
            rows.append([mark])
    return rows


def _entry(mark: Mark) -> float:
    return SAMPLE + text_width(mark.label, FONT) + ENTRY


def _lines(words: str) -> list[str]:
    return words.split("\n") if words else []


def _notes(frame: _Frame, mark: Mark) -> Iterator[tuple[float, float, str, Align]]:
    """Words that belong to a mark, and where they would stand were nothing in the way."""
    match mark:
        case Level(words="") | Span(words=""):
            pass
        case Level(upright=True, over=side) if side:
            yield frame.x.at(mark.at) + (4 if side == "start" else -4), frame.top - 6, mark.words, side
        case Level(upright=True):
            yield frame.x.at(mark.at) + 4, frame.bottom - 7, mark.words, "start"
        case Level():
            yield frame.right - 4, frame.y.at(mark.at) - 4, mark.words, "end"
        case Span():
            yield frame.x.at(mark.low) + 5, frame.top + SMALL + 3, mark.words, "start"
        case Note():
            yield frame.x.at(mark.x) + mark.shift[0], frame.y.at(mark.y) - mark.shift[1], mark.words, mark.align
        case Bars():
            for row, (value, words) in enumerate(zip(np.nan_to_num(mark.values), mark.words, strict=True)):
                x, y = frame.x.at(value), frame.y.at(row + mark.shift) + 0.36 * SMALL
                yield (x - 4, y, words, "end") if value < 0 else (x + 4, y, words, "start")


def _curve(frame: _Frame, mark: Curve) -> Iterator[str]:
    x, y, every = frame.x(mark.x), frame.y(mark.y), mark.look.every
    if mark.joined:
        kept = needed(x, y, most=frame.width)
        yield stroke(joined(x[kept], y[kept]), mark.look)
    yield markers(x[::every], y[::every], mark.look)


def _corners(frame: _Frame, mark: Span) -> str:
    if mark.upright:
        low, high = frame.x.at(mark.low), frame.x.at(mark.high)
        return f"M{low:.1f} {frame.top:.1f}V{frame.bottom:.1f}H{high:.1f}V{frame.top:.1f}Z"
    low, high = frame.y.at(mark.low), frame.y.at(mark.high)
    return f"M{frame.left:.1f} {low:.1f}H{frame.right:.1f}V{high:.1f}H{frame.left:.1f}Z"
