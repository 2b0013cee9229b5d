"""Stability on a page: how far from ringing, in a sentence, a table of what rules would allow, and two figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from filterlib.analysis.converter_side.converter_side_result import ConverterSide
from filterlib.analysis.stability.stability_result import Margin, PartLimits
from filterlib.show.page import Illustration, illustration
from filterlib.show.stability.power_bar import power_bar
from filterlib.show.stability.stability_figures import nyquist_figure, ratio_figure
from filterlib.show.table import Table, table
from filterlib.system.design import Design
from filterlib.units import format_temperature
from filterlib.words.margin_sentences import (
    RULES,
    margin_sentence,
    margin_sentences,
    margin_title,
)
from filterlib.words.quantities import capital, number, share
from filterlib.words.supply.converter_side_sentences import converter_side_advice, converter_side_lines

NOTE = "Stable while the curve keeps −1 on its left. A rule forbids the curve a larger region."


@dataclass(frozen=True)
class StabilityChapter:
    """What the page says of stability: ``title``, ``verdict``, the margin as a ``bar`` (an SVG) and ``lines`` on the converter's side
    first; folded more ``sentences``, ``figures`` and ``tables`` of the least margin."""

    title: str
    verdict: str
    sentences: tuple[str, ...]
    lines: tuple[str, ...] = ()
    bar: str = ""
    figures: tuple[Illustration, ...] = ()
    tables: tuple[Table, ...] = ()


def stability_chapter(
    margins: Sequence[Margin], design: Design, side: ConverterSide | None = None, limits: PartLimits | None = None
) -> StabilityChapter:
    """The chapter, of the margins of all loads at all operating points, of the converter's side and of what the parts have to keep."""
    first, *others = margin_sentences(margins, design)
    lines = () if side is None else tuple(converter_side_lines(side, design))
    others += [] if side is None else converter_side_advice(side, design)
    if not margins:
        return StabilityChapter("no load of constant power", first, tuple(others), lines)
    worst = min(margins, key=lambda one: one.more)
    words = margin_sentence(worst)
    figures = (
        illustration("stability-impedances", ratio_figure(worst), words),
        illustration("stability-ratio", nyquist_figure(worst), words, NOTE),
    )
    tables = (margins_table(margins), rules_table(worst), *limits_tables(limits))
    return StabilityChapter(margin_title(worst), first, tuple(others), lines, power_bar(worst), figures, tables)


def margins_table(margins: Sequence[Margin]) -> Table:
    """One load at one operating point a row."""
    return table(
        "How far from ringing",
        margins,
        ("Load, operating point", lambda one: f"{one.load}, {one.point}"),
        ("Draws", lambda one: number(one.power, "W")),
        ("Critical power", lambda one: number(one.critical_power, "W")),
        ("Rings at", lambda one: number(one.critical_frequency, "Hz")),
        ("Gain margin", lambda one: number(one.gain_margin, "dB")),
        ("Phase margin", _phase_margin),
    )


def _phase_margin(one: Margin) -> str:
    if math.isnan(one.phase_margin):
        return "none: unstable"
    return "never at 0 dB" if math.isinf(one.phase_margin) else f"{one.phase_margin:.0f}°"


def rules_table(one: Margin) -> Table:
    """What each rule would allow at one load."""
    return table(
        f"What rules would allow {one.load}, {one.point}",
        one.rules,
        ("Rule", lambda rule: capital(RULES[rule.name])),
        ("Allows", lambda rule: number(rule.power, "W")),
        ("Of what is stable", lambda rule: share(rule.share) if rule.share == rule.share else "-"),
        ("Says", lambda rule: "✓ allowed" if rule.kept else "✗ not allowed"),
    )


def limits_tables(limits: PartLimits | None) -> Iterator[Table]:
    """The value of each part from which it rings, and the critical power with the electrolytics cold, warm and worn."""
    where = "" if limits is None else f"{limits.load}, {limits.point}"
    if limits is not None and limits.values:
        yield table(
            f"From which value of one part it rings: {where}",
            limits.values,
            ("Part", lambda one: one.part),
            ("What", lambda one: one.what.replace("_", " ")),
            ("Is", lambda one: number(one.value, one.unit)),
            ("Rings", lambda one: f"{'above' if one.above else 'below'} {number(one.critical, one.unit)}"),
        )
    if limits is not None and limits.conditions:
        yield table(
            f"Critical power with the electrolytics as they may be: {where}",
            limits.conditions,
            ("Electrolytics", lambda one: one.words),
            ("Temperature", lambda one: format_temperature(one.temperature)),
            ("Critical power", lambda one: number(one.critical_power, "W")),
            ("Draws", lambda one: number(one.power, "W")),
        )
