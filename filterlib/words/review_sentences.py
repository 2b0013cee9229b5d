"""What a review comes to, in words: the outcome, and what is to be known although no requirement asks for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from filterlib.analysis.review import ReviewResult
from filterlib.words.quantities import interval_text, joined, number
from filterlib.words.rating_sentences import stress_sentence

_OUTCOMES = {
    "not met": "not met",
    "not known": "not known",
    "depends on": "undecided because something is not known",
    "met throughout": "met throughout",
}


def summary(result: ReviewResult) -> str:
    """What became of the requirements, in one sentence."""
    unstable = [point.operating.point for point in result.points if not point.operating.stable]
    if unstable:
        return f"The circuit is unstable at {joined(unstable)}: there it has no steady ripple."
    count: Counter[str] = Counter(verdict.verdict for verdict in result.verdicts)
    total = len(result.verdicts)
    if not total:
        return "No requirement is stated, so none was judged."
    if count["met throughout"] == total:
        return "Every requirement is met throughout its band, at every operating point."
    parts = [f"{count[word]} {words}" for word, words in _OUTCOMES.items() if count[word]]
    return f"{total} requirement{'s' * (total > 1)}: {', '.join(parts)}."


def broken_ratings(result: ReviewResult) -> list[str]:
    """A sentence for every rating that is exceeded, or may be; those exceeded first."""
    return [stress_sentence(check, point) for point, check in result.exceeded]


def cautions(result: ReviewResult) -> Iterator[str]:
    """What can hurt, or break."""
    yield from (f"A rating is exceeded, or may be: {rating}" for rating in broken_ratings(result))
    yield from result.cautions


def ratings(result: ReviewResult) -> str:
    """What the top of the page says of ratings that are exceeded, which the exit code does not know; "" where none is."""
    found = broken_ratings(result)
    more = f" (and {len(found) - 1} more, see Stress)" if len(found) > 1 else ""
    return f"Not a requirement, but a rating: {found[0]}{more}." if found else ""


def review_notes(result: ReviewResult) -> list[str]:
    """What is no requirement and yet to be known, a line each: exceeded ratings, the worst margin of an estimate."""
    notes = [f"⚠ Not a requirement, but a rating: {rating}." for rating in broken_ratings(result)]
    held = [(margin, test, point) for point in result.points for test in point.emissions for margin in test.margins]
    if held:
        margin, test, point = min(held, key=lambda one: one[0].margin)
        side = "below" if margin.margin >= 0 else "above"
        notes.append(
            f"≈ Conducted emission at the {test.side}, an estimate and no test: at worst {number(abs(margin.margin), 'dB')} {side} "
            f"its limit ({margin.title}, at {number(margin.frequency, 'Hz')}, {point.operating.point}); margin over the "
            f"uncertainty: {interval_text(margin.low, margin.high, 'dB')}."
        )
    return notes
