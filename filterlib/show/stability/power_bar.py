"""The margin of one load as a bar: what it draws, what rules about impedances would allow, and the power from which it rings."""

from __future__ import annotations

from html import escape

import numpy as np

from filterlib.analysis.stability.stability_result import Margin
from filterlib.show.figures.letters import text_width
from filterlib.words.quantities import number

WIDE, HIGH, EDGE = 420.0, 62.0, 8.0  # [px] of the drawing, and left free at its sides
_MIDDLE, _FONT = 32.0, 12.0  # [px] height of the bar, size of the words
SHOWN = "6 dB", "0 dB"  # rules that are marked


def power_bar(one: Margin) -> str:
    """The bar as an SVG, its powers on a logarithmic axis; "" where nothing turns it, and where nothing is stable."""
    if not (np.isfinite(one.critical_power) and one.critical_power > 0 and one.power > 0):
        return ""
    rules = {rule.name: rule.power for rule in one.rules if rule.name in SHOWN and np.isfinite(rule.power)}
    ends = np.log([min(one.power, one.critical_power, *rules.values()) / 2, 1.6 * max(one.power, one.critical_power)])

    def at(watts: float) -> float:
        return float(EDGE + (WIDE - 2 * EDGE) * (np.log(watts) - ends[0]) / (ends[1] - ends[0]))

    drawn, critical = at(one.power), at(one.critical_power)
    pieces = [
        f'<path d="M{EDGE:g} {_MIDDLE:g}H{WIDE - EDGE:g}" stroke="#777777" stroke-width="1"/>',
        f'<path d="M{EDGE:g} {_MIDDLE:g}H{critical:.1f}" stroke="#009E73" stroke-width="4"/>',
        *(
            f'<path d="M{at(watts):.1f} {_MIDDLE - 7:g}v14" stroke="#777777" stroke-width="1.5"/>'
            for watts in rules.values()
        ),
        f'<path d="M{drawn:.1f} {_MIDDLE - 12:g}v24" stroke="#000" stroke-width="2.5"/>',
        f'<path d="M{critical:.1f} {_MIDDLE - 14:g}v28" stroke="#D55E00" stroke-width="2.5" stroke-dasharray="5 2"/>',
        *_words([(at(watts), name) for name, watts in rules.items()], _MIDDLE - 17),
        *_words(
            [(drawn, f"draws {number(one.power, 'W')}"), (critical, f"rings at {number(one.critical_power, 'W')}")],
            HIGH - 3,
        ),
    ]
    return f'<svg aria-hidden="true" viewBox="0 0 {WIDE:g} {HIGH:g}" font-family="DejaVu Sans, Verdana, Arial, sans-serif">{"".join(pieces)}</svg>'


def _words(marks: list[tuple[float, str]], down: float) -> list[str]:
    """Words on one line, each at its mark, moved apart to the right where they would lie on each other."""
    placed, free = [], 0.0
    pairs = sorted((x, words, text_width(words, _FONT) + 4) for x, words in marks)
    for count, (x, words, wide) in enumerate(pairs, 1):
        behind = sum(one[2] for one in pairs[count:])
        start = min(max(x - wide / 2, free), WIDE - wide - behind)
        placed.append(
            f'<text x="{start + 2:.1f}" y="{down:g}" font-size="{_FONT:g}" fill="#000">{escape(words)}</text>'
        )
        free = start + wide
    return placed
