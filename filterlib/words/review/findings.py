"""What was judged in a review, a line each: requirements, stability, ratings, emission, bursts, the start and the supply."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.analysis.stress.stress_check import worst
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.rules import worst as worst_check
from filterlib.units import format_quantity
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import joined, margin_text, number
from filterlib.words.review.rating_sentences import stress_limit, stress_value
from filterlib.words.review.verdict_sentences import Finding
from filterlib.words.stability_sentences import likelihood
from filterlib.words.supply.bank_sentences import bank_line
from filterlib.words.supply.converter_side_sentences import MAY_OSCILLATE, OSCILLATES, little_phase, too_much
from filterlib.words.supply.supply_sentences import battery_line, plug_line
from filterlib.words.supply.switch_on_sentences import switch_on_line

WARNING = "⚠"


def outcome_words(result: ReviewResult) -> tuple[str, str]:
    """The symbol and the word of the whole review; "not judged" where nothing was asked and nothing is wrong."""
    outcome = result.outcome
    if outcome == "met" and not result.verdicts:
        return "–", "not judged"
    return SYMBOLS[outcome], outcome


def facts(result: ReviewResult) -> Iterator[Finding]:
    """Stability, ratings, and the worst of conducted emission where it is estimated."""
    yield _stability(result)
    yield _ratings(result)
    yield from _emission(result)
    yield from _bursts(result)
    yield from _start(result)
    yield from _supply(result)


def _start(result: ReviewResult) -> Iterator[Finding]:
    """Where more capacitance is attached than it starts into at best, and no limit is stated with which the start could be followed."""
    side = result.converter_side if result.design.converter.limit is None else None
    found = None if side is None else side.start
    if found is not None and found.attached > found.largest_high:
        yield Finding("–", "not judged", "Start", too_much(found))


def _supply(result: ReviewResult) -> Iterator[Finding]:
    """The battery's side, the plug and the switch-on, a line each."""
    found = result.judgement.supply
    if found is None:
        return
    sides: list[tuple[str, tuple[Check, ...], str]] = []
    if found.run is not None and found.plug is not None:
        sides += [("Battery's side", found.run.checks, battery_line(found.run))]
        sides += [("At the plug", found.plug.checks, plug_line(found.plug))]
    if found.switch_on is not None or found.why_no_start:
        start = found.switch_on
        sides += [
            ("Switch-on", (), found.why_no_start)
            if start is None
            else ("Switch-on", start.checks, switch_on_line(start))
        ]
    for subject, checks, line in sides:
        decided = worst_check(checks)
        answer = "no limit" if decided is None else decided.verdict
        yield Finding(SYMBOLS.get(answer, "–"), "not judged" if answer == "no limit" else answer, subject, line)


def _stability(result: ReviewResult) -> Finding:
    judgement = result.judgement
    if judgement.unstable:
        names = joined([one.operating.point for one in judgement.unstable])
        return Finding("✗", "unstable", "Stability", f"at {names}")
    if result.oscillates:
        return Finding("✗", "unstable", "Stability", OSCILLATES[result.oscillates])
    if judgement.turned:
        first = max(judgement.turned, key=lambda one: one.over.share if one.over is not None else 0.0)
        likely = f", in {likelihood(first.over)}" if first.over is not None else ""
        return Finding(
            "◐", "undecided", "Stability", f"unstable in a part of the range, at {first.operating.point}{likely}"
        )
    if result.may_oscillate:
        return Finding("◐", "undecided", "Stability", MAY_OSCILLATE[result.may_oscillate])
    loop = little_phase(result.converter_side, result.design.converter.control)
    return Finding("✓", "stable", "Stability", f"at every operating point, over the whole range{loop}")


def _ratings(result: ReviewResult) -> Finding:
    judgement = result.judgement
    if judgement.broken:
        check = judgement.broken[0][1]
        answer = "not met" if check.verdict == "not met" else "undecided"
        more = f"; {len(judgement.broken) - 1} more" if len(judgement.broken) > 1 else ""
        text = f"{check.part}: {check.what} {stress_value(check)}, {stress_limit(check)}{more}"
        return Finding(SYMBOLS[answer], answer, "Ratings", text)
    checks = [check for _, check in worst(point.stress for point in result.points) if np.isfinite(check.margin)]
    if judgement.unstable or not checks:
        return Finding("–", "not judged", "Ratings", "no steady state" if judgement.unstable else "no limit is stated")
    if judgement.exceeded:
        return Finding(WARNING, "met", "Ratings", f"{len(judgement.exceeded)} exceeded and accepted in the design file")
    least = min(checks, key=lambda check: check.margin)
    return Finding(
        "✓",
        "met",
        "Ratings",
        f"all {len(checks)}; the closest is {least.part}, {least.what}: {margin_text(least.margin)} left",
    )


def worst_emission(result: ReviewResult) -> tuple[Margin, str, PointResult] | None:
    """The least margin of all estimates, the side of the converter, and the operating point; None where there is none."""
    every = [
        (margin, test.test.side, point)
        for point in result.points
        for test in point.emissions
        for margin in test.margins
    ]
    return min(every, key=lambda one: one[0].margin) if every else None


def _emission(result: ReviewResult) -> Iterator[Finding]:
    found = worst_emission(result)
    if found is None:
        return
    margin, side, _ = found
    where = "below" if margin.margin >= 0 else "above"
    at = f"{number(abs(margin.margin), 'dB')} {where} its limit at {format_quantity(margin.frequency, 'Hz')}"
    if any(verdict.kind == "emission" for verdict in result.verdicts):
        yield Finding(SYMBOLS[margin.verdict], margin.verdict, f"Emission at the {side}", f"{at} (an estimate)")
    else:
        symbol = "✓" if margin.verdict == "met" else WARNING
        yield Finding(symbol, "estimate", f"Emission at the {side}", f"{at} (no requirement)")


def _bursts(result: ReviewResult) -> Iterator[Finding]:
    """The bursts of all loads in one line, where there are any."""
    found = result.judgement.bursts
    if found is None:
        return
    if found.reason:
        yield Finding("–", "not judged", "Bursts", found.reason)
        return
    lines, decided = "; ".join(map(bank_line, found.banks)), worst_check(found.checks)
    assert decided is not None  # a load with a profile has one
    needs = f"; {number(found.fitted, 'F')} fitted" if found.short else ""
    yield Finding(SYMBOLS[decided.verdict], decided.verdict, "Bursts", f"{lines}{needs}")
