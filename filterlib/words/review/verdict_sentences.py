"""One requirement and what became of it, as a line and in words, with what to measure where it is open; and ratings, a line each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from filterlib.analysis.judged import Judgement
from filterlib.analysis.ripple.ripple_result import measurement
from filterlib.analysis.uncertainty.measurement_result import LEAST, MeasurementValues
from filterlib.analysis.verdict import Verdict
from filterlib.words.emission_sentences import ESTIMATE, margin_sentence
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import capital, interval_text, number, range_text, share
from filterlib.words.review.measurement_sentences import measurement_words, what_to_measure
from filterlib.words.review.rating_sentences import reason, stress_sentence

WORD = 12  # letters of the longest verdict
_UNKNOWN = {
    "unstable": "the circuit is unstable at {point}",
    "no ladder": "a part has no ladder, so no step can be given",
    "no harmonic": "no harmonic is where it has a limit",
}


@dataclass(frozen=True)
class Finding:
    """One thing that was judged: its ``symbol`` and ``verdict``, what it is, the figure, and the ``limit`` behind a comma."""

    symbol: str
    verdict: str
    subject: str
    figure: str
    limit: str = ""

    @property
    def line(self) -> str:
        """The finding as one line."""
        return f"{self.symbol} {self.verdict:<{WORD}}  {self.subject}: {self.figure}{self.limit}"


def requirement_finding(verdict: Verdict) -> Finding:
    """One requirement: what it is, nominal value, interval, and limit."""
    subject, limit = _split(
        capital(verdict.requirement).replace(" peak to peak", "").replace(" with spikes", " and spikes")
    )
    return Finding(SYMBOLS[verdict.verdict], verdict.verdict, subject, _value_and_range(verdict), limit)


def _split(words: str) -> tuple[str, str]:
    """A requirement's phrase as what it is and, behind a comma, its limit."""
    for mark in (", at most ", " at most ", " between ", ", at least ", ", below "):
        if mark in words:
            subject, _, limit = words.partition(mark)
            return subject.removesuffix(" in full bandwidth"), f", {mark.strip(' ,')} {limit}"
    return words, ""


def _value_and_range(verdict: Verdict) -> str:
    if verdict.unknown is not None:
        return "unstable" if verdict.unknown == "unstable" else "no figure"
    value = number(verdict.value, verdict.unit, verdict.digits)
    ends = range_text(verdict.low, verdict.high, verdict.unit, verdict.digits)
    where = " where stable" if verdict.turned else ""
    return f"{value} ({ends}{where})" if " to " in ends else value


def verdict_cell(verdict: Verdict) -> str:
    """A verdict with its symbol."""
    if verdict.verdict == "probably met":
        return f"{SYMBOLS[verdict.verdict]} {verdict.verdict} (at least {share(verdict.plausible)})"
    on = f": depends on the {verdict.label}" if verdict.depends_on else ""
    return f"{SYMBOLS[verdict.verdict]} {verdict.verdict}{on}"


def verdict_sentence(verdict: Verdict, closing: MeasurementValues | None = None) -> str:
    """One requirement and what became of it; ``closing``: what was found to narrow one figure most, which is then what is advised of it."""
    start = capital(verdict.requirement)
    if verdict.unknown is not None:
        return f"{start}: {verdict.verdict}, because {_UNKNOWN[verdict.unknown].format(point=verdict.point)}."
    if verdict.nearest is not None:
        doubt = "" if verdict.trusted else ", where the model is no longer trusted"
        return f"{start}: {_emission_answer(verdict)}. {capital(margin_sentence(verdict.nearest))}{doubt} (worst at {verdict.point}). {ESTIMATE}"
    open_ = verdict.verdict == "undecided"
    answer = f"undecided, depends on the {verdict.label}" if open_ else verdict.verdict
    if verdict.turned:
        answer = f"undecided, because the circuit may be unstable, which depends on the {verdict.label}"
    if verdict.verdict == "probably met":
        answer = _probably(verdict)
    advice = measurement_words(measurement(verdict.depends_on)) if open_ else ""
    if open_ and not verdict.turned and (first := _narrows_most(verdict, closing)):
        answer, advice = "undecided", first
    value, ends = (
        number(verdict.value, verdict.unit, verdict.digits),
        interval_text(verdict.low, verdict.high, verdict.unit, verdict.digits),
    )
    probable = interval_text(verdict.probable_low, verdict.probable_high, verdict.unit, verdict.digits)
    probably = "" if probable == "none" else f"probably {probable}; "
    where = "where it is stable" if verdict.turned else "over the uncertainty"
    figure = f"{value} ({probably}{ends} {where})" if " to " in ends else value
    return f"{start}: {answer}. It is {figure}, worst at {verdict.point}." + (
        f" To decide it, measure {advice}." if advice else ""
    )


def _narrows_most(verdict: Verdict, closing: MeasurementValues | None) -> str:
    """The measurement that narrows this figure most; "" where that was not asked of it."""
    same = closing is not None and (closing.load, closing.label, closing.point) == (
        verdict.load,
        verdict.band,
        verdict.point,
    )
    useful = [one for one in closing.measurements if one.narrows >= LEAST] if closing is not None and same else []
    return what_to_measure(useful[0]) if useful else ""


def _emission_answer(verdict: Verdict) -> str:
    if verdict.verdict == "probably met":
        return _probably(verdict)
    return f"undecided, depends on {verdict.label}" if verdict.label else verdict.verdict


def _probably(verdict: Verdict) -> str:
    return f"probably met, in at least {share(verdict.plausible)} of the plausible cases"


def rating_lines(judgement: Judgement) -> Iterator[str]:
    """A line for each rating that is not met or undecided, then for each that the design accepts, with its reason."""
    for point, check in judgement.broken:
        verdict = "✗ Rating not met" if check.verdict == "not met" else "◐ Rating undecided"
        yield f"{verdict}: {stress_sentence(check, point)}."
    for point, check in judgement.exceeded:
        accepted = judgement.acceptance(check)
        if accepted is not None:
            yield f"⚠ Rating accepted: {stress_sentence(check, point)}. Reason: {reason(accepted)}"
    for accepted in judgement.unused:
        yield f"⚠ Accepted, but not exceeded: {accepted.rating} of {accepted.part}. The file can leave this out."


def rating_count(judgement: Judgement) -> str:
    """How many ratings are not met, undecided, or exceeded and accepted; "" where none is exceeded."""
    broken = len([check for _, check in judgement.broken if check.verdict == "not met"])
    undecided = len(judgement.broken) - broken
    accepted = len(judgement.exceeded) - len(judgement.broken)
    counts = (broken, "not met"), (undecided, "undecided"), (accepted, "exceeded and accepted")
    said = [f"{count} {words}" for count, words in counts if count]
    return f"Ratings: {', '.join(said)}." if said else ""
