"""Where the words of an SVG element stand, measured with the font itself: a second method beside the drawing's own table."""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations
from typing import NamedTuple
from xml.etree import ElementTree

from matplotlib import font_manager
from matplotlib.ft2font import FT2Font, LoadFlags

SVG = "{http://www.w3.org/2000/svg}"


class Box(NamedTuple):
    """Edges of a line of words [px], and the words."""

    left: float
    top: float
    right: float
    bottom: float
    words: str


@cache
def _font(bold: bool) -> FT2Font:
    font = FT2Font(font_manager.findfont("DejaVu Sans:bold" if bold else "DejaVu Sans"))
    font.set_size(100, 72)
    return font


def width(words: str, size: float, *, bold: bool = False) -> float:
    """As the letters' advances in the font give it; letters that it lacks are as wide as they are high."""
    return sum(_advance(letter, bold) for letter in words) * size


def _advance(letter: str, bold: bool) -> float:
    font = _font(bold)
    if not font.get_char_index(ord(letter)):
        return 1.0
    return float(font.load_char(ord(letter), flags=LoadFlags.NO_SCALE).horiAdvance) / font.units_per_EM


def texts(svg: str) -> list[str]:
    """The words of every line."""
    return [box.words for box in boxes(svg)]


def boxes(svg: str) -> list[Box]:
    """Of every line of words in an SVG element, turned ones too."""
    root = ElementTree.fromstring(svg)
    usual = float(root.attrib["font-size"])
    return [_box(element, usual) for element in root.iter(f"{SVG}text")]


def _box(element: ElementTree.Element, usual: float) -> Box:
    words, size = "".join(element.itertext()), float(element.get("font-size", usual))
    wide = width(words, size, bold=element.get("font-weight") == "bold")
    before = wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor", "start")]
    up, down = 0.75 * size, 0.2 * size
    turned = re.fullmatch(r"translate\((\S+) (\S+)\) rotate\(-90\)", element.get("transform", ""))
    if turned:
        x, y = float(turned[1]), float(turned[2])
        return Box(x - up, y - (wide - before), x + down, y + before, words)
    x, y = float(element.attrib["x"]), float(element.attrib["y"])
    return Box(x - before, y - up, x - before + wide, y + down, words)


def faults(svg: str) -> list[str]:
    """Words that are cut off by the paper's edge, and pairs of words that lie on each other."""
    left, top, wide, high = map(float, ElementTree.fromstring(svg).attrib["viewBox"].split())
    found = boxes(svg)
    cut = [f"{b.words!r} is cut off" for b in found
           if b.left < left or b.top < top or b.right > left + wide or b.bottom > top + high]  # fmt: skip
    pairs = [f"{a.words!r} lies on {b.words!r}" for a, b in combinations(found, 2)
             if a.left < b.right and b.left < a.right and a.top < b.bottom and b.top < a.bottom]  # fmt: skip
    return cut + pairs
