"""Conducted emission on a page: sentences, figure and tables of every estimate that a design asks for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionResult, nearest
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.review_result import ReviewResult
from filterlib.show.emission.emissions import emissions_figure
from filterlib.show.page import Illustration, illustration
from filterlib.show.table import Table
from filterlib.system.design import Design
from filterlib.units import format_quantity
from filterlib.words.emission_sentences import ESTIMATE, agreement, covers, emission_notes, margin_sentence
from filterlib.words.labels import SYMBOLS, detector_words, emission_source
from filterlib.words.quantities import capital, interval_text, level_unit, number
from filterlib.words.stability_sentences import reason_text

PLACES = {
    "plus": "plus line to chassis",
    "return": "return line to chassis",
    "differential": "differential, v+ \N{MINUS SIGN} v\N{MINUS SIGN}",
    "common": "common, (v+ + v\N{MINUS SIGN})/2",
    "common_current": "common-mode current, i+ + i\N{MINUS SIGN}",
}
LEAST = -99.9  # [dBµV or dBµA] that is written for whatever is less


@dataclass(frozen=True)
class EmissionChapter:
    """What the page says of one estimate: at the operating point that comes nearest to a limit, margins of all."""

    title: str
    point: str
    statement: str
    sentences: tuple[str, ...]
    figures: tuple[Illustration, ...]
    tables: tuple[Table, ...]
    notes: tuple[str, ...]


def emission_chapters(result: ReviewResult) -> tuple[EmissionChapter, ...]:
    """One chapter for every estimate that the design of a `ReviewResult` asks for."""
    by_test = zip(*(point.emissions for point in result.points), strict=True)
    return tuple(_chapter(number_, results, result.design) for number_, results in enumerate(by_test, 1))


def _chapter(count: int, results: tuple[EmissionResult, ...], design: Design) -> EmissionChapter:
    steady = [one for one in results if one.reason is None]
    first = results[0]
    title = f"At the {first.side}, through the {first.network}"
    unstable = [
        f"At {one.point} there is none: {reason_text(one.reason)}." for one in results if one.reason is not None
    ]
    if not steady:
        return EmissionChapter(title, first.point, ESTIMATE, tuple(unstable), (), (), ())
    worst = min(steady, key=nearest)
    figures: tuple[Illustration, ...] = ()
    if len(worst.frequencies):
        drawn = emissions_figure(worst)
        figures = (illustration(f"emission-{count}-{worst.side}", drawn, " ".join(_sentences(worst)), NOTE),)
    return EmissionChapter(
        title, worst.point, ESTIMATE, (*_sentences(worst), *unstable), figures,
        (margins_table(steady), levels_table(worst)),
        tuple(filter(None, (agreement(worst), *covers(design, worst.side), *emission_notes(design, worst), _beyond(worst)))),
    )  # fmt: skip


NOTE = "Thick lines: limits. Dotted: the highest level over the uncertainty. Hatched: where the model is not trusted."


def _sentences(worst: EmissionResult) -> Iterator[str]:
    """How far from the limits, where, and what makes it."""
    if not worst.margins:
        yield "No harmonic is where a limit is, so no margin is given."
    for margin in worst.margins:
        yield f"{margin_sentence(margin)}."
    if worst.margins:
        yield _made_by(min(worst.margins, key=lambda margin: margin.margin))


def _made_by(margin: Margin) -> str:
    """What a receiver reads of each source alone where it comes nearest, the greatest first."""
    unit = level_unit(margin.unit)
    levels = ", ".join(
        f"{emission_source(source)} {_signed(max(level, LEAST))} {unit}" for source, level in margin.by_source.items()
    )
    return f"At {format_quantity(margin.frequency, 'Hz')} ({PLACES[margin.place]}) each source alone makes: {levels}."


def _signed(level: float) -> str:
    return f"{level:.1f}".replace("-", "\N{MINUS SIGN}")


def _beyond(worst: EmissionResult) -> str:
    """Which of the nearest approaches lie where the model is not trusted."""
    if all(margin.frequency <= worst.trusted_to for margin in worst.margins):
        return ""
    return (
        f"Above {format_quantity(worst.trusted_to, 'Hz')} the model is no longer trusted: margins there show the order of "
        "magnitude"
    )


def margins_table(results: list[EmissionResult]) -> Table:
    """Every limit and detector at every operating point: where it is nearest, and how far that is."""
    rows = tuple(
        (
            margin.title + (" (from memory)" if margin.from_memory else ""),
            detector_words(margin.detector),
            f"{_symbol(margin)}\N{NO-BREAK SPACE}{number(margin.margin, 'dB')}",
            f"{interval_text(margin.low, margin.high, 'dB')}, at {_ends_at(margin)}"
            if margin.low < margin.high
            else "",
            capital(margin.depends_on),
            f"{format_quantity(margin.frequency, 'Hz')}, {PLACES[margin.place]}",
            f"{margin.level:.1f} of {margin.limit_level:.1f} {level_unit(margin.unit)}",
            one.point,
        )
        for one in results
        for margin in one.margins
    )
    head = (
        "Limit", "Detector", "Margin", "Range", "Most of all", "Nearest at", "Level, of limit", "Operating point",
    )  # fmt: skip
    return Table("Margins below the limits, with their ranges (uncertain parameters); negative is above", head, rows)


def _ends_at(margin: Margin) -> str:
    """Where the receiver is tuned to at the least margin and at the greatest."""
    least, greatest = (format_quantity(at, "Hz") for at in (margin.low_at, margin.high_at))
    return least if least == greatest else f"{least} and {greatest}"


def _symbol(margin: Margin) -> str:
    return SYMBOLS[margin.verdict]


def levels_table(one: EmissionResult) -> Table:
    """Each line and each mode: its highest level and where, by detector."""
    detectors = list(dict.fromkeys(detector for _, detector in one.levels))
    rows = []
    for place, words in PLACES.items():
        levels = [one.levels[place, detector] for detector in detectors if (place, detector) in one.levels]
        if not levels or not levels[0].size:
            continue
        at = int(np.nanargmax(levels[0]))
        unit = "dBµA" if place == "common_current" else "dBµV"
        rows.append((
            capital(words), format_quantity(float(one.frequencies[at]), "Hz"),
            *(f"{_signed(level[at])} {unit}" for level in levels),
        ))  # fmt: skip
    head = ("Where", "Highest line at", *(detector_words(detector).capitalize() for detector in detectors))
    return Table(f"Each line and each mode at {one.point}", head, tuple(rows))
