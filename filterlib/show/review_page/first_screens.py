"""The first two screens of a review: outcome, bars, ripple before and after; then the circuit, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.show.figures.figure import Axis, Curve, Figure, Level, Look, Mark, Plot
from filterlib.show.figures.plots import LIMIT, limit_words
from filterlib.show.page import Illustration, illustration
from filterlib.show.review_page.requirement_bars import RequirementBar, requirement_bars
from filterlib.show.style import AFTER, BEFORE
from filterlib.words.labels import bandwidth_words
from filterlib.words.quantities import capital, number
from filterlib.words.review.findings import facts, outcome_words
from filterlib.words.review.review_sentences import count, deciding_measurements, headline
from filterlib.words.review.verdict_sentences import Finding

WIDE, HIGH = 580.0, 236.0  # [px] of the picture of before and after
MEASUREMENTS = 3  # that the second screen lists
_LOOKS = {"met": "good", "probably met": "good", "not judged": "open", "undecided": "open", "not met": "bad"}


@dataclass(frozen=True)
class FirstScreens:
    """What a reader sees without opening anything."""

    look: str
    symbol: str
    outcome: str
    why: str
    count: str
    facts: tuple[Finding, ...]
    bars: tuple[RequirementBar, ...]
    before_after: Illustration | None
    measurements: tuple[str, ...]


def first_screens(result: ReviewResult) -> FirstScreens:
    """Of a `ReviewResult`."""
    symbol, outcome = outcome_words(result)
    judgement = result.judgement
    return FirstScreens(
        look=_LOOKS[outcome], symbol=symbol, outcome=capital(outcome), why=headline(result), count=count(result),
        facts=tuple(facts(result)), bars=requirement_bars(result),
        before_after=_before_after(result, judgement.decisive[2]),  # type: ignore[arg-type]
        measurements=tuple(deciding_measurements(result))[:MEASUREMENTS],
    )  # fmt: skip


def _before_after(result: ReviewResult, point: PointResult) -> Illustration | None:
    """Ripple at the load that decides, without and with the filter, on one scale; None where there is no steady ripple."""
    load, label, _ = result.judgement.decisive
    keys = [(f"{load}_before", label), (load, label)]
    if point.ripple.reason is not None or any(key not in point.ripple.waveforms for key in keys):
        return None
    limits = [one.limit for one in result.verdicts if one.load == load and one.band == label]
    figure = before_after_figure(point, load, label, min(limits, default=np.nan))
    before, after = (number(point.ripple.figures[key].peak_to_peak, "V") for key in keys)
    words = f"In {bandwidth_words(label)} {before} peak to peak without and {after} with the filter, at {point.operating.point}."
    return illustration("before-after", figure, words)


def before_after_figure(point: PointResult, load: str, label: str, limit: float) -> Figure:
    """Two periods at a load without and with the filter, about their middles, on one scale, with the limit [V] where one is."""
    ripple, marks = point.ripple, []
    period = 1 / ripple.switching_frequency
    times = np.concatenate((ripple.times, ripple.times + period))
    for place, words, colour in ((f"{load}_before", "without filter", BEFORE), (load, "with filter", AFTER)):
        wave = ripple.waveforms[place, label]
        wave = wave - (wave.max() + wave.min()) / 2
        marks.append(Curve(times, np.tile(wave, 2), Look(colour, width=2.0), words))
    edges: list[Mark] = []
    if np.isfinite(limit):
        edges = [Level(-limit / 2, LIMIT), Level(limit / 2, LIMIT, limit_words(limit))]
    plot = Plot(
        Axis("time", "s", limits=(0.0, 2 * period)), Axis("voltage", "V"), (*marks, *edges), height=HIGH, legend=True
    )
    return Figure(f"Ripple at {load} before and after, {bandwidth_words(label)}", ((plot,),), width=WIDE)
