"""A sheet of paper for circuit diagrams: symbols by schemdraw, words of our own (so that a name is never markup)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

from filterlib.show.style import own_identifiers, slug

PLUS, MINUS, CHASSIS = 0.0, -3.0, -5.8  # heights of the three lines [drawing units]
SCALE = 36.0  # [px] a drawing unit
FONT, CHARACTER = 12.0, 0.185  # [px] size of the words; [drawing units] a character takes at most
LONGEST = 30  # characters of a label that are shown
ROW_HEIGHT = {True: 8.6, False: 5.6}  # [drawing units] with and without a chassis line
_SVG = "http://www.w3.org/2000/svg"

Point = tuple[float, float]


def text_width(lines: Iterable[str]) -> float:
    """Width that the labels take at most [drawing units]."""
    return 0.25 + CHARACTER * max((len(_shown(line)) for line in lines), default=0)


class Sheet:
    """Lines, symbols and words at points (x, height above the plus line), in rows one below the other."""

    def __init__(self, *, chassis: bool) -> None:
        import schemdraw
        from schemdraw import elements

        self._drawing = schemdraw.Drawing(canvas="svg", show=False)
        self._elements = elements
        self._chassis = chassis
        self._down = 0.0
        self._words: list[tuple[float, float, str, str, bool]] = []

    def start_row(self, number: int) -> None:
        """Draw what follows in row ``number``, counted from zero."""
        self._down = number * ROW_HEIGHT[self._chassis]

    def _at(self, point: Point) -> Point:
        return point[0], point[1] - self._down

    def line(self, a: Point, b: Point, *, dashed: bool = False, width: float = 1.6) -> None:
        """A straight line; nothing where the ends agree."""
        if a != b:
            line = self._elements.Line(lw=width, ls="--" if dashed else "-")
            self._drawing.add(line.endpoints(self._at(a), self._at(b)))

    def part(self, symbol: str, a: Point, b: Point, *, dots: bool = False) -> None:
        """A symbol between two points."""
        if symbol == "wire":
            self.line(a, b, width=5.0)
        else:
            self._drawing.add(self._symbol(symbol).endpoints(self._at(a), self._at(b)))
        if symbol == "ripple source":
            self.text((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, ("∿",), anchor="middle")
        if dots:
            self.dot(a)
            self.dot(b)

    def _symbol(self, symbol: str) -> Any:
        e = self._elements
        made = {
            "capacitor": lambda: e.Capacitor(lw=1.6),
            "resistor": lambda: e.ResistorIEC(lw=1.6),
            "inductor": lambda: e.Inductor(lw=1.6),
            "core inductor": lambda: e.Inductor(core=2, lw=1.6),
            "source": lambda: e.SourceV(lw=1.6),
            "ripple source": lambda: e.Source(lw=1.6),
            "resistive": lambda: e.ResistorIEC(lw=1.6),
            "constant_current": lambda: e.SourceI(lw=1.6),
            "constant_power": lambda: e.ResistorIEC(lw=1.6, fill="#d9d9d9"),
        }
        return made[symbol]()

    def dot(self, point: Point, *, hollow: bool = False, small: bool = False) -> None:
        """A connection, or a terminal if hollow."""
        self._drawing.add(self._elements.Dot(open=hollow, radius=0.045 if small else 0.07).at(self._at(point)))

    def probe(self, tip: Point, other: Point, label: str) -> None:
        """Where a probe goes: a filled point at its tip with a name that hangs on it, a hollow one at its other side."""
        x, y = tip
        self.line((x, y), (x, y - 0.4), width=1.0)
        self.text(x, y - 0.65, (label,), anchor="middle", named=True)
        self.dot(tip)
        self.dot(other, hollow=True)

    def chassis_sign(self, point: Point) -> None:
        """The chassis symbol below a point."""
        self._drawing.add(self._elements.GroundChassis(lw=1.6).at(self._at(point)))

    def frame(self, top_left: Point, bottom_right: Point, name: str) -> None:
        """A dashed rectangle with a name above it."""
        (left, top), (right, bottom) = top_left, bottom_right
        corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
        for a, b in pairwise(corners):
            self.line(a, b, dashed=True, width=1.0)
        self.text(left + 0.1, top + 0.3, (name,), most=int((right - left) / CHARACTER))

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
        shift, anchor = (0.2, "start") if side == "right" else (-0.2, "end")
        self.text(x + shift, (PLUS + MINUS) / 2, (words,), anchor=anchor)

    def text(
        self,
        x: float,
        y: float,
        lines: Sequence[str],
        *,
        anchor: str = "start",
        named: bool = False,
        most: int = LONGEST,
    ) -> None:
        """Lines of at most ``most`` characters, their middle at height ``y``; bold the first where it is a name."""
        for index, line in enumerate(lines):
            height = y + (len(lines) - 1) * 0.22 - index * 0.44
            self._words.append((x, height - self._down, _shown(line, most), anchor, named and index == 0))

    def svg(self, title: str) -> str:
        """The sheet as an SVG element with a title."""
        root = ElementTree.fromstring(self._drawing.get_imagedata("svg"))
        for x, y, words, anchor, bold in self._words:
            place = {"x": f"{x * SCALE:.1f}", "y": f"{-y * SCALE + FONT * 0.35:.1f}", "text-anchor": anchor}
            if bold:
                place["font-weight"] = "bold"
            ElementTree.SubElement(root, f"{{{_SVG}}}text", place).text = words
        self._widen(root)
        heading = ElementTree.Element(f"{{{_SVG}}}title")
        heading.text = "".join(c for c in title if c.isprintable())
        root.insert(0, heading)
        root.set("font-family", "DejaVu Sans, Verdana, Arial, sans-serif")
        root.set("font-size", f"{FONT:g}")
        return own_identifiers(ElementTree.tostring(root, encoding="unicode"), slug(title))

    def _widen(self, root: ElementTree.Element) -> None:
        """Make room for the words, of which schemdraw knows nothing."""
        left, top, width, height = (float(number) for number in root.attrib["viewBox"].split())
        right, bottom = left + width, top + height
        for x, y, words, anchor, _ in self._words:
            long = CHARACTER * len(words) * SCALE
            start = x * SCALE - {"start": 0.0, "middle": long / 2, "end": long}[anchor]
            left, right = min(left, start), max(right, start + long)
            top, bottom = min(top, -y * SCALE - FONT), max(bottom, -y * SCALE + FONT)
        size = right - left + 8, bottom - top + 8
        root.set("viewBox", f"{left - 4:.1f} {top - 4:.1f} {size[0]:.1f} {size[1]:.1f}")
        root.set("width", f"{size[0]:.1f}")
        root.set("height", f"{size[1]:.1f}")


def _shown(line: str, most: int = LONGEST) -> str:
    printable = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
    return printable if len(printable) <= most else printable[: most - 1] + "…"
