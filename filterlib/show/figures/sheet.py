"""A sheet of paper for circuit diagrams: symbols as in IEC 60617, lines, and words that are never markup."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from math import atan2, degrees, hypot

from filterlib.show.figures import letters
from filterlib.show.figures.figure import Align

PLUS, MINUS, CHASSIS = 0.0, -3.0, -5.8  # heights of the three lines [drawing units]
SCALE = 36.0  # [px] a drawing unit
FONT = 12.0  # [px] size of the words
LONGEST = 210.0  # [px] of a label that is shown
ROW_HEIGHT = {True: 8.6, False: 5.6}  # [drawing units] with and without a chassis line
_HEAD = 'xmlns="http://www.w3.org/2000/svg" font-family="DejaVu Sans, Verdana, Arial, sans-serif" font-size="12"'
_STROKE = 'stroke="#000" stroke-width="1.6" stroke-linecap="round" stroke-linejoin="round" fill="none"'
_CIRCLE = "M-18 0a18 18 0 1 0 36 0a18 18 0 1 0-36 0"
_BOX = "M-18-9h36v18h-36z"
_COIL = "M-18 0" + 4 * "a4.5 4.5 0 1 1 9 0"
_SYMBOLS = {  # half of its length [px], from whose ends the leads go; its path, on the middle of a line to the right
    "capacitor": (3.2, "M-3.2-9v18M3.2-9v18"),
    "resistor": (18.0, _BOX),
    "inductor": (18.0, _COIL),
    "core inductor": (18.0, f"{_COIL}M-18-9h36M-18-13.3h36"),
    "source": (18.0, f"{_CIRCLE}M-9-3.6v7.2M5.4 0h7.2M9-3.6v7.2"),
    "ripple source": (18.0, _CIRCLE),
    "resistive": (18.0, _BOX),
    "constant_current": (18.0, f"{_CIRCLE}M-9 0H9m-6-4l6 4l-6 4"),
    "constant_power": (18.0, _BOX),
}
_CHASSIS_SIGN = "v14.4l-6.8 9m6.8-9h-6.8l-6.7 9m13.5-9h6.8l-6.8 9"

Point = tuple[float, float]


@dataclass(frozen=True)
class _Words:
    """One line on the sheet: where it begins, is centred or ends [px], down from the plus line."""

    x: float
    y: float
    text: str
    align: Align
    bold: bool
    part: str = ""

    @property
    def svg(self) -> str:
        bold = ' font-weight="bold"' * self.bold
        place = f'x="{self.x:.1f}" y="{self.y:.1f}" text-anchor="{self.align}"'
        return f"<text {place}{bold}{self.part}>{escape(self.text)}</text>"

    @property
    def ends(self) -> tuple[float, float]:
        """Where it begins and ends at most [px]."""
        wide = letters.text_width(self.text, FONT, bold=self.bold)
        start = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.align]
        return start, start + wide


def text_width(lines: Iterable[str]) -> float:
    """Width that the labels take at most [drawing units]."""
    shown = [letters.fitted(line, FONT, LONGEST) for line in lines]
    return 0.25 + max((letters.text_width(line, FONT) for line in shown), default=0.0) / SCALE


class Sheet:
    """Lines, symbols and words at points (x, height above the plus line), in rows one below the other."""

    def __init__(self, *, chassis: bool) -> None:
        self._chassis = chassis
        self._down = 0.0
        self._part = ""
        self._drawn: list[str] = []
        self._over: list[str] = []  # dots, on top of the lines that meet there
        self._ends: list[Point] = []  # of everything but words [px]
        self._words: list[_Words] = []

    def start_row(self, number: int) -> None:
        """Draw what follows in row ``number``, counted from zero."""
        self._down = number * ROW_HEIGHT[self._chassis]

    def start_part(self, name: str) -> None:
        """What is drawn from now on belongs to a part of the design, for a page that marks it."""
        self._part = f' data-part="{escape(letters.fitted(name, 1, 1e9))}"'

    def _at(self, point: Point) -> Point:
        """A point's place [px], to the right and down."""
        place = point[0] * SCALE, (self._down - point[1]) * SCALE
        self._ends.append(place)
        return place

    def line(self, a: Point, b: Point, *, dashed: bool = False, width: float = 1.6) -> None:
        """A straight line; nothing where the ends agree."""
        if a != b:
            (x, y), (to_x, to_y) = self._at(a), self._at(b)
            look = f' stroke-width="{width:g}"' * (width != 1.6) + ' stroke-dasharray="6 3"' * dashed
            self._drawn.append(f'<path d="M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}"{look}/>')

    def part(self, symbol: str, a: Point, b: Point, *, dots: bool = False) -> None:
        """A symbol between two points."""
        if symbol == "wire":
            self.line(a, b, width=5.0)
        else:
            self._symbol(symbol, self._at(a), self._at(b))
        if symbol == "ripple source":
            self.text((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, ("∿",), anchor="middle")
        if dots:
            self.dot(a)
            self.dot(b)

    def _symbol(self, symbol: str, a: Point, b: Point) -> None:
        (half, path), across = _SYMBOLS[symbol], hypot(b[0] - a[0], b[1] - a[1]) / 2
        turn = degrees(atan2(b[1] - a[1], b[0] - a[0]))
        place = f"translate({(a[0] + b[0]) / 2:.1f} {(a[1] + b[1]) / 2:.1f})" + f" rotate({turn:g})" * (turn != 0)
        fill = ' fill="#d9d9d9"' * (symbol == "constant_power")
        leads = f"M{-across:.1f} 0H{-half:g}M{half:g} 0H{across:.1f}"
        self._drawn.append(f'<path transform="{place}" d="{leads}{path}"{fill}{self._part}/>')

    def dot(self, point: Point, *, hollow: bool = False, small: bool = False) -> None:
        """A connection, or a terminal if hollow."""
        x, y = self._at(point)
        fill, radius = "#fff" if hollow else "#000", 1.8 if small else 2.7
        self._over.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{fill}"/>')

    def probe(self, tip: Point, other: Point, label: str) -> None:
        """Where a probe goes: a filled point at its tip with a name that hangs on it, a hollow one at its other side."""
        x, y = tip
        self.line((x, y), (x, y - 0.4), width=1.0)
        self.text(x, y - 0.65, (label,), anchor="middle", named=True)
        self.dot(tip)
        self.dot(other, hollow=True)

    def chassis_sign(self, point: Point) -> None:
        """The chassis symbol below a point."""
        x, y = self._at(point)
        self._drawn.append(f'<path d="M{x:.1f} {y:.1f}{_CHASSIS_SIGN}"/>')
        self._ends += [(x - 16, y), (x, y + 26)]

    def frame(self, top_left: Point, bottom_right: Point, name: str) -> None:
        """A dashed rectangle with a name above it."""
        (left, top), (right, bottom) = top_left, bottom_right
        corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
        for a, b in pairwise(corners):
            self.line(a, b, dashed=True, width=1.0)
        self.text(left + 0.1, top + 0.3, (name,), most=(right - left) * SCALE)

    def rails(self, start: float, end: float, *, skip: Sequence[str] = ()) -> None:
        """The lines "plus", "return" and "chassis" from ``start`` to ``end``, but for those to skip."""
        for name, y in (("plus", PLUS), ("return", MINUS)):
            if name not in skip:
                self.line((start, y), (end, y))
        if self._chassis and "chassis" not in skip:
            self.line((start, CHASSIS), (end, CHASSIS))

    def continued(self, x: float, words: str, *, side: str) -> None:
        """The end of a row at which the lines go on elsewhere."""
        for y in (PLUS, MINUS, CHASSIS) if self._chassis else (PLUS, MINUS):
            self.dot((x, y), hollow=True)
        if side == "right":
            self.text(x + 0.2, (PLUS + MINUS) / 2, (words,))
        else:
            self.text(x - 0.2, (PLUS + MINUS) / 2, (words,), anchor="end")

    def text(
        self, x: float, y: float, lines: Sequence[str], *, anchor: Align = "start", named: bool = False, most: float = LONGEST
    ) -> None:  # fmt: skip
        """Lines of at most ``most`` px, their middle at height ``y``; bold the first where it is a name."""
        for index, line in enumerate(lines):
            bold = named and index == 0
            down = self._down - y - (len(lines) - 1) * 0.22 + index * 0.44
            shown = letters.fitted(line, FONT, most, bold=bold)
            self._words.append(_Words(x * SCALE, down * SCALE + 0.35 * FONT, shown, anchor, bold, self._part))

    def svg(self, title: str) -> str:
        """The sheet as an SVG element with a title."""
        xs = [x for x, _ in self._ends] + [end for words in self._words for end in words.ends]
        ys = [y for _, y in self._ends] + [words.y - FONT for words in self._words] + [words.y for words in self._words]
        left, top = min(xs) - 22, min(ys) - 6
        width, height = max(xs) + 22 - left, max(ys) + 6 - top
        place = f'width="{width:.1f}" height="{height:.1f}" viewBox="{left:.1f} {top:.1f} {width:.1f} {height:.1f}"'
        paper = f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}" fill="#fff"/>'
        words = "".join(one.svg for one in self._words)
        heading = escape(letters.fitted(title, 1, 1e9))
        drawn = "".join((*self._drawn, *self._over))
        return f"<svg {_HEAD} {place}><title>{heading}</title>{paper}<g {_STROKE}>{drawn}</g>{words}</svg>"
