"""Stability on a page: how far from ringing, in a sentence, a table of what rules would allow, and two figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from filterlib.analysis.converter_side.regulation import Regulation
from filterlib.analysis.stability.margins import Margin
from filterlib.show.page import Illustration, illustration
from filterlib.show.review_tables import Table, table
from filterlib.show.stability.stability_figures import nyquist_figure, ratio_figure
from filterlib.system.design import Design
from filterlib.words.margin_sentences import (
    RULES,
    margin_sentence,
    margin_sentences,
    margin_title,
    regulation_sentences,
)
from filterlib.words.quantities import capital, number, share

NOTE = "Stable while the curve keeps −1 on its left; a rule keeps it out of more than that."


@dataclass(frozen=True)
class StabilityChapter:
    """What the page says of stability: ``title`` and ``verdict``, more ``sentences``, and figures and tables of the least margin."""

    title: str
    verdict: str
    sentences: tuple[str, ...]
    figures: tuple[Illustration, ...] = ()
    tables: tuple[Table, ...] = ()


def stability_chapter(
    margins: Sequence[Margin], design: Design, regulation: Sequence[Regulation] = ()
) -> StabilityChapter:
    """The chapter, of the margins of all loads at all operating points, and of the converter's own loop."""
    first, *others = margin_sentences(margins, design)
    others += regulation_sentences(regulation)
    if not margins:
        return StabilityChapter("no load of constant power", first, tuple(others))
    worst = min(margins, key=lambda one: one.more)
    words = margin_sentence(worst)
    figures = (
        illustration("stability-impedances", ratio_figure(worst), words),
        illustration("stability-ratio", nyquist_figure(worst), words, NOTE),
    )
    return StabilityChapter(
        margin_title(worst), first, tuple(others), figures, (margins_table(margins), rules_table(worst))
    )


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
        ("Phase margin", lambda one: f"{one.phase_margin:.0f}°" if one.phase_margin < 360 else "never at 0 dB"),
    )


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
