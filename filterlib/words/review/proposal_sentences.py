"""What a judged change comes to, in words: what is met with it, what it breaks, and what stays open."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.failing import Failing
from filterlib.analysis.review_result import Proposal
from filterlib.analysis.verdict import Verdict
from filterlib.words.quantities import capital, interval_text, number
from filterlib.words.review.rating_sentences import stress_interval, stress_limit, stress_value
from filterlib.words.supply.supply_sentences import rule_text

LISTED = 3  # failings that a sentence lists


def failing_text(one: Failing) -> str:
    """One requirement, rating or operating point that is not as it should be."""
    if one.verdict is not None:
        return f"{one.verdict.requirement}: {_figure(one.verdict)}, at {one.point}"
    if one.check is not None:
        value = stress_interval(one.check) or stress_value(one.check)
        where = f", at {one.point}" if one.point else ""
        return f"{one.check.part}: {one.check.what} {value}, {stress_limit(one.check)}{where}"
    if one.rule is not None:
        return rule_text(one.rule)
    return f"unstable {'in a part of the range, ' if one.turned else ''}at {one.point}"


def _figure(verdict: Verdict) -> str:
    if verdict.unknown is not None:
        return verdict.verdict
    ends = interval_text(verdict.low, verdict.high, verdict.unit)
    return f"{verdict.verdict}, {ends or number(verdict.value, verdict.unit)}"


def failing_list(failing: Iterable[Failing]) -> str:
    """Several, the first few of them by name."""
    texts = [failing_text(one) for one in failing]
    more = f"; and {len(texts) - LISTED} more" if len(texts) > LISTED else ""
    return "; ".join(texts[:LISTED]) + more


def outcome(one: Proposal) -> str:
    """What a change comes to, with its symbol."""
    if one.robust:
        return "✓ everything met over the whole range"
    if one.broken:
        return "✗ breaks something"
    return "◐ helps, not enough" if one.better else "– no help"


def proposal_row(one: Proposal) -> tuple[str, str, str, str]:
    """Change, outcome, what it breaks, and what else is open."""
    broken = {failing.what for failing in one.broken}
    rest = [failing for failing in one.open if failing.what not in broken]
    return capital(one.words), outcome(one), failing_list(one.broken), failing_list(rest)
