"""One bar for each requirement: where its figure is, probably and possibly, against its limit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html import escape
from typing import TypeAlias

import numpy as np

from filterlib.analysis.review_result import ReviewResult
from filterlib.analysis.verdict import Verdict
from filterlib.show.figures.letters import text_width
from filterlib.system.emission import EmissionRequirement
from filterlib.system.requirements import Requirement, VoltageRequirement
from filterlib.words.quantities import interval_text, number
from filterlib.words.review.verdict_sentences import Finding, requirement_finding

WIDE, HIGH, EDGE = 340.0, 44.0, 6.0  # [px] of one bar's drawing, and left free at its sides
ROOM = 1.15  # of the longest bar: where the scale ends
_MIDDLE, _FONT = 14.0, 12.0  # [px] height of the bar's middle; size of the limits' words
Place: TypeAlias = Callable[[float], float]  # from a value to px
_HEIGHTS = (8.0, 18.0, 26.0)  # [px] of the possible interval, the probable one, and the nominal value


@dataclass(frozen=True)
class RequirementBar:
    """A requirement on the first screen: its ``finding``, its drawing, ``words`` for those who do not see it.

    ``probable``: whether plausible cases are drawn in it.
    """

    finding: Finding
    svg: str
    words: str
    probable: bool


def requirement_bars(result: ReviewResult) -> tuple[RequirementBar, ...]:
    """A bar for every requirement of a `ReviewResult`, in their order."""
    stated = {one.words: one for one in result.design.requirements}
    return tuple(
        RequirementBar(
            requirement_finding(one),
            _svg(one, _limits(one, stated.get(one.requirement))),
            f"{one.requirement}: {_words(one)}",
            bool(np.isfinite(one.probable_low)),
        )
        for one in result.verdicts
    )


def _limits(verdict: Verdict, wanted: Requirement | None) -> tuple[float, float]:
    """The least and the greatest value that is allowed; infinite where there is no such end."""
    if isinstance(wanted, VoltageRequirement):
        return wanted.low, wanted.high
    if isinstance(wanted, EmissionRequirement):
        return verdict.limit, np.inf
    return -np.inf, verdict.limit


def _words(verdict: Verdict) -> str:
    if not np.isfinite(verdict.value):
        return "No figure"
    possible = interval_text(verdict.low, verdict.high, verdict.unit, verdict.digits)
    probable = interval_text(verdict.probable_low, verdict.probable_high, verdict.unit, verdict.digits)
    probably = "" if probable == "none" else f", probably {probable}"
    return f"{number(verdict.value, verdict.unit, verdict.digits)}{probably}, possibly {possible}"


def _svg(verdict: Verdict, limits: tuple[float, float]) -> str:
    if not np.isfinite(verdict.value):
        return ""
    possible, probable = (verdict.low, verdict.high), (verdict.probable_low, verdict.probable_high)
    values = [value for value in (*possible, verdict.value, *limits) if np.isfinite(value)]
    low, high = _scale(values, from_zero=verdict.kind not in ("voltage", "emission"))

    def at(value: float) -> float:
        return float(EDGE + (WIDE - 2 * EDGE) * (value - low) / (high - low))

    pieces = [*_allowed(limits, at(low), at(high), at), *_interval(possible, 0, at), *_interval(probable, 1, at)]
    pieces.append(
        f'<path d="M{at(verdict.value):.1f} {_MIDDLE - _HEIGHTS[2] / 2:g}v{_HEIGHTS[2]:g}" stroke="#000" stroke-width="2"/>'
    )
    pieces += _limit_lines(limits, verdict.unit, at)
    return f'<svg aria-hidden="true" viewBox="0 0 {WIDE:g} {HIGH:g}" font-family="DejaVu Sans, Verdana, Arial, sans-serif">{"".join(pieces)}</svg>'


def _scale(values: list[float], *, from_zero: bool) -> tuple[float, float]:
    """The ends of the axis [unit of the values]."""
    least, most = min(values), max(values)
    if from_zero:
        return 0.0, ROOM * most or 1.0
    room = 0.2 * (most - least) or 1.0
    return least - room, most + room


def _allowed(limits: tuple[float, float], start: float, end: float, at: Place) -> Iterator[str]:
    """The axis, heavier where a value is allowed."""
    left, right = (at(one) if np.isfinite(one) else edge for one, edge in zip(limits, (start, end), strict=True))
    yield f'<path d="M{start:.1f} {_MIDDLE:g}H{end:.1f}" stroke="#777777" stroke-width="1"/>'
    yield f'<path d="M{left:.1f} {_MIDDLE:g}H{right:.1f}" stroke="#009E73" stroke-width="3"/>'


def _interval(ends: tuple[float, float], which: int, at: Place) -> Iterator[str]:
    if np.isfinite(ends).all():
        start, height = at(ends[0]), _HEIGHTS[which]
        width = max(at(ends[1]) - start, 1.0)
        opacity = (0.45, 0.9)[which]
        place = f'x="{start:.1f}" y="{_MIDDLE - height / 2:g}" width="{width:.1f}" height="{height:g}"'
        yield f'<rect {place} fill="#0072B2" fill-opacity="{opacity}"/>'


def _limit_lines(limits: tuple[float, float], unit: str, at: Place) -> Iterator[str]:
    """A line at each limit, its value below it."""
    for limit in limits:
        if np.isfinite(limit):
            x, words = at(limit), number(limit, unit)
            half = text_width(words, _FONT) / 2 + 1
            middle = min(max(x, half), WIDE - half)
            yield f'<path d="M{x:.1f} 0V{2 * _MIDDLE:g}" stroke="#D55E00" stroke-width="2.5" stroke-dasharray="5 2"/>'
            yield f'<text x="{middle:.1f}" y="{HIGH - 3:g}" text-anchor="middle" font-size="{_FONT:g}" fill="#000">{escape(words)}</text>'
