"""What a judged change comes to, in words: what is met with it, what it breaks, and what stays open."""

from __future__ import annotations

from filterlib.analysis.judged import Proposal
from filterlib.words.quantities import capital
from filterlib.words.review.rating_sentences import failing_list


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
