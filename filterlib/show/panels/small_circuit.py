"""A small circuit beside the sliders: each part has its live value, is marked while it is moved, and leads to its slider."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil
from typing import Literal, TypeAlias

Symbol: TypeAlias = Literal["source", "capacitor", "choke", "common-mode choke", "box", "shunt", "wire", "load"]
PLUS, RETURN, HEIGHT = 34, 110, 126  # [px] from the top
SHUNTS = ("source", "capacitor", "shunt", "load")  # their words are at their right
LEAST: dict[Symbol, int] = {"choke": 84, "common-mode choke": 84, "box": 84, "source": 92, "load": 96}  # [px] wide
USUAL, STEM, ASIDE = 60, 30, 48  # [px] width of others; of a shunt: its wire, and what it needs beside its words
LETTER, BOLD = 6.5, 7.5  # [px] wide, of a value and of a name
MOST = 16  # letters of a value that there is room for: longer ones are pressed together
_COIL = "a4.5 4.5 0 1 1 9 0" * 4


@dataclass(frozen=True)
class Drawn:
    """One part: its ``symbol``, its ``name``, and the ``controls`` that belong to it; a click leads to the first one that can be
    seen, and the value of the first is written beside it. Without controls it has the fixed ``value``."""

    symbol: Symbol
    name: str
    controls: tuple[str, ...] = ()
    value: str = ""


def circuit_svg(parts: Sequence[Drawn], letters: Mapping[str, int] | None = None) -> str:
    """The parts from left to right between two lines, as an SVG element whose values the browser fills in; ``letters``: of the longest
    value that a control shows, by its name, so that there is room for it wherever the slider is.

    >>> svg = circuit_svg([Drawn("source", "converter", ("converter",)), Drawn("capacitor", "C1", ("filter.C1.capacitance",))])
    >>> svg.count('role="button"'), 'data-value="filter.C1.capacitance"' in svg
    (2, True)
    """
    left, drawn, end = 0, [], 0
    for part in parts:
        room = LETTER * min(MOST, max([len(part.value), *((letters or {}).get(name, 0) for name in part.controls[:1])]))
        wide = _wide(part, room)
        drawn.append(_part(part, left, wide, room))
        end = left + (STEM if part.symbol in SHUNTS else wide)
        left += wide
    ends = f"M{STEM} {PLUS}H{end}M{STEM} {RETURN}H{end}"
    return (
        f'<svg class="fl-circuit" viewBox="0 0 {left} {HEIGHT}" width="{left}" height="{HEIGHT}" role="group" '
        f'aria-label="The circuit: each part leads to its slider"><path class="fl-line" d="{ends}"/>{"".join(drawn)}</svg>'
    )


def _wide(part: Drawn, room: float) -> int:
    """Width of the part with its words [px]."""
    words = max(BOLD * len(part.name), room)
    return max(LEAST.get(part.symbol, USUAL), ceil(words + (ASIDE if part.symbol in SHUNTS else LETTER)))


def _part(part: Drawn, left: int, wide: int, room: float) -> str:
    middle = left + (STEM if part.symbol in SHUNTS else wide / 2)
    path, x, y, align = _path(part.symbol, middle)
    live = f' data-value="{escape(part.controls[0])}" data-room="{room:g}"' if part.controls else ""
    inside = (
        f'<path d="{path}"/>'
        f'<text x="{x:g}" y="{y}" text-anchor="{align}" class="fl-part-name">{escape(part.name)}</text>'
        f'<text x="{x:g}" y="{y + 14}" text-anchor="{align}"{live}>{escape(part.value)}</text>'
    )
    if not part.controls:
        return f"<g>{inside}</g>"
    return (
        f'<g class="fl-part" role="button" tabindex="0" data-names="{escape(" ".join(part.controls))}" '
        f'aria-label="{escape(part.name)}: to its slider"><rect class="fl-hit" x="{left}" y="2" width="{wide}" height="{HEIGHT - 4}"/>'
        f"{inside}</g>"
    )


def _path(symbol: Symbol, at: float) -> tuple[str, float, int, str]:
    """The symbol's lines, and where its two lines of words are: x, y of the first, and how they are aligned."""
    across, middle = RETURN - PLUS, (PLUS + RETURN) / 2
    if symbol == "capacitor":
        return (
            f"M{at} {PLUS}V{middle - 3}M{at - 10} {middle - 3}h20M{at - 10} {middle + 3}h20M{at} {middle + 3}V{RETURN}",
            at + 14,
            68,
            "start",
        )
    if symbol in ("source", "load", "shunt"):
        body = "M-13 0a13 13 0 1 0 26 0a13 13 0 1 0-26 0".replace("M-13 0", f"M{at - 13} {middle}")
        box = f"M{at - 9} {middle - 16}h18v32h-18z"
        shape, half = (body, 13) if symbol == "source" else (box, 16)
        return f"M{at} {PLUS}V{middle - half}{shape}M{at} {middle + half}v{across / 2 - half}", at + 16, 68, "start"
    if symbol == "wire":
        return f"M{at - 18} {PLUS - 2}h36M{at - 18} {PLUS}h36M{at - 18} {PLUS + 2}h36", at, 14, "middle"
    if symbol == "box":
        return f"M{at - 18} {PLUS - 8}h36v16h-36z", at, PLUS + 24, "middle"
    coils = [f"M{at - 18} {line}{_COIL}" for line in ((PLUS,) if symbol == "choke" else (PLUS, RETURN))]
    return "".join(coils), at, 62, "middle"
