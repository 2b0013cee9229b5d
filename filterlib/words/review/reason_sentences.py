"""The reasons in plain sentences, each with the numbers that it rests on: what fails worst and why, what is left, what to change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from filterlib.analysis.causes.causes_result import Cause, Mitigation, Refusal
from filterlib.analysis.judged import Proposal
from filterlib.analysis.review_result import ReasonsResult
from filterlib.words.facts import Sentence, Writer
from filterlib.words.labels import emission_source, resonance_words, source_phrase
from filterlib.words.quantities import capital, joined, number, stress_number
from filterlib.words.review.rating_sentences import failing_list, failing_text

NEAR = 4.0  # ratio of frequencies within which a resonance is said to be near
SHOWN_DROP = 1e-4  # [V] of drop from which it is worth a word
LITTLE = 0.05  # share of a figure by which a change must lower it to be worth a sentence
SHOWN = 3  # causes that a sentence names
ELSEWHERE = ("ripple", "spike")  # of which the other sentences say the causes
_REFUSALS = {
    "leakage": "earth leakage {value}, {limit} allowed; this is what would flow if the voltage alternated at 60 Hz",
    "saturation current": "choke {subject} saturated: {value} of {limit}",
    "unbalance": "choke {subject} saturated by unbalance: {value} of {limit}",
    "rated current": "choke {subject} above its rated current: {value} of {limit}",
    "usable voltage": "capacitor {subject} above its usable voltage: {value} of {limit}",
    "low voltage": "{subject} would have {value}, below {limit}",
    "unstable": "unstable at {subject}",
    "no chassis": "there is no chassis (chassis = false): a plastic box has no place for Y capacitors",
    "impossible": "{subject}",
}


def refusal_text(refusal: Refusal | None) -> str:
    """The rule that a change breaks; "" where it breaks none."""
    if refusal is None:
        return ""
    value = stress_number(refusal.value, refusal.unit, refusal.limit)
    limit = stress_number(refusal.limit, refusal.unit)
    return _REFUSALS[refusal.rule].format(subject=refusal.subject, value=value, limit=limit)


def reason_sentences(result: ReasonsResult) -> tuple[Sentence, ...]:
    """What the reasons come to: what is left and from where, why, and what to do next; none without a steady state."""
    if not result.stable:
        return () if result.judgement is None else (*worst_sentences(result), *_advice(result))
    changes = (_best, _pair) if result.judgement is None else (_advice,)
    steps = (left_sentence, _spike, _parasitic, _deviation, *changes)
    return (*worst_sentences(result), *(one for step in steps for one in step(result)))


def left_sentence(result: ReasonsResult) -> Iterator[Sentence]:
    """How much ripple remains at the load, and from where."""
    write, first = Writer(result), result.sources[0]
    more = " (other sources partly cancel it)" if first.ripple_alone > (1 + LITTLE) * result.ripple else ""
    yield write.sentence(
        f"The ripple at {result.load} is {write('ripple')} peak to peak in 20 MHz{_limit(write, result, '20MHz')}, and "
        f"{write('ripple_before')} without the filter. Most of what is left comes from {source_phrase(first.name)}: "
        f"{write('sources.0.ripple_alone')} alone{more}."
    )


def _limit(write: Writer, result: ReasonsResult, label: str) -> str:
    """The limit of the figure that decides, behind that figure."""
    known = result.figure == label and np.isfinite(result.limit)
    return f" (limit {write('limit')})" if known else ""


def _spike(result: ReasonsResult) -> Iterator[Sentence]:
    at = max(range(len(result.sources)), key=lambda n: result.sources[n].spike_alone)
    if result.sources[at].name == result.sources[0].name and result.spike < 1.5 * result.ripple:
        return
    write, one = Writer(result), result.sources[at]
    yield write.sentence(
        f"In full bandwidth it is {write('spike')}{_limit(write, result, 'full')}, and {write('spike_before')} without the filter. Most of what is left comes from {source_phrase(one.name)}: "
        f"without it there would be {write(f'sources.{at}.spike_falls')} less."
    )


def _parasitic(result: ReasonsResult) -> Iterator[Sentence]:
    wide = result.figure == "full"
    falls = [one.spike_falls if wide else one.ripple_falls for one in result.parasitics]
    if not falls:
        return
    at, write = int(np.argmax(falls)), Writer(result)
    one, name = result.parasitics[at], "spike" if wide else "ripple"
    ideal, left = (result.spike_ideal, one.spike) if wide else (result.ripple_ideal, one.ripple)
    now = write(name)
    if falls[at] < LITTLE * result.now:
        yield write.sentence(
            f"No parasitic of a part matters much: with ideal parts {write(f'{name}_ideal')} would be left instead of {now}. Better "
            "parts of the same values do not help; other values do."
        )
        return
    text = f"What matters most is the {one.words}: if that were ideal, {write(f'parasitics.{at}.{name}')} would be left instead of {now}"
    yield write.sentence(text + (f", and {write(f'{name}_ideal')} with every part ideal." if ideal < left else "."))


def _deviation(result: ReasonsResult) -> Iterator[Sentence]:
    deviation, write = result.deviation, Writer(result)
    if np.isnan(deviation.frequency) or result.sources[0].name == "common_mode":  # which goes another way
        return
    text = f"From {write('deviation.frequency')} on the filter is worse than one of ideal parts"
    if deviation.element:
        text += f", mostly because of the {deviation.what} of {deviation.element}"
    near = deviation.resonance
    if near is not None and 1 / NEAR < near.frequency / deviation.frequency < NEAR:
        at = write("deviation.resonance.frequency")
        text += f"; the nearest resonance, at {at}, is that of {resonance_words(near)}"
    yield write.sentence(f"{text}.")


def _advice(result: ReasonsResult) -> Iterator[Sentence]:
    """What to change first, of the changes that were judged as the design is."""
    assert result.judgement is not None
    write, best = Writer(result), next(iter(result.proposals), None)
    if result.judgement.good:
        now = write("ripple" if result.figure == "20MHz" else "spike")
        yield write.sentence(
            f"No change is needed: {result.load} has {now}, and everything is met over the whole range."
        )
    elif best is not None and best.robust:
        promised = "; ".join(_promises(write, best))
        yield write.sentence(
            f"Change first: {best.words}. Judged as the design is, over the whole range and at every operating point, this "
            f"meets every requirement and rating{': ' if promised else ''}{promised}."
        )
    else:
        yield from _not_enough(result, write, best)


def _promises(write: Writer, best: Proposal) -> Iterator[str]:
    """The greatest figure that a robust change leaves, for each ripple or spike that is asked for."""
    for at, verdict in enumerate(best.judgement.verdicts):
        if verdict.of_ripple:
            where = "in full bandwidth" if verdict.kind == "spike" else "of ripple"
            yield f"at most {write(f'proposals.0.judgement.verdicts.{at}.high')} {where} at {verdict.load}"


def _not_enough(result: ReasonsResult, write: Writer, best: Proposal | None) -> Iterator[Sentence]:
    start = "No change that was tried meets everything over the whole range"
    if best is not None and best.better:
        yield write.sentence(
            f"{start}. The best so far, which breaks nothing: {best.words}. Still open with it: {failing_list(best.open)}."
        )
        return
    broken = ", and each that helps breaks something else" if any(one.broken for one in result.proposals) else ""
    assert result.judgement is not None
    unsure = result.judgement.outcome != "not met"
    then = "Measure first: it may be met as it is." if unsure else "Look at the converter, or ask for less."
    yield write.sentence(f"{start}{broken}. {then}")


def _best(result: ReasonsResult) -> Iterator[Sentence]:
    at, write = _chosen(result.mitigations), Writer(result)
    if at is None or result.mitigations[at].figure(result.figure) > (1 - LITTLE) * result.now:
        now = write("ripple" if result.figure == "20MHz" else "spike")
        yield write.sentence(
            f"No single change that was tried lowers {now} by more than {LITTLE:.0%}; look at the converter."
        )
        return
    one, path = result.mitigations[at], f"mitigations.{at}"
    assert one.costs is not None
    drop = f" and {write(f'{path}.costs.drop')} more drop" if one.costs.drop > SHOWN_DROP else ""
    begin = (
        "The nominal figure needs no change. For more margin, worth a try"
        if result.now <= result.limit
        else "Worth a try"
    )
    yield write.sentence(
        f"{begin}: {one.words}. This leaves {_figures(write, path)}, for {_parts(one.costs.parts)}{drop}, at the nominal "
        "values; it was not judged whole."
    )


def _pair(result: ReasonsResult) -> Iterator[Sentence]:
    """Two changes, where one is not enough."""
    at, best = _chosen(result.pairs), _chosen(result.mitigations)
    single = result.now if best is None else min(result.now, result.mitigations[best].figure(result.figure))
    if at is None or single <= result.limit or result.pairs[at].figure(result.figure) > (1 - LITTLE) * single:
        return
    write, one, path = Writer(result), result.pairs[at], f"pairs.{at}"
    yield write.sentence(
        f"If that is not enough: {one.words}. This leaves {_figures(write, path)}, at the nominal values."
    )


def _chosen(tried: Sequence[Mitigation]) -> int | None:
    """The best that is not refused."""
    return next((n for n, one in enumerate(tried) if not one.refused), None)


def _figures(write: Writer, path: str) -> str:
    return f"{write(f'{path}.ripple')} in 20 MHz and {write(f'{path}.spike')} in full bandwidth"


def _parts(count: int) -> str:
    return "no more parts" if not count else f"{count} more part{'s' * (count > 1)}"


def worst_sentences(result: ReasonsResult) -> Iterator[Sentence]:
    """What fails worst, and its causes, and those of an instability; nothing of a ripple, or where nothing fails."""
    failing = result.worst
    if failing is not None and failing.kind not in ELSEWHERE:
        yield Sentence(f"What fails worst: {failing_text(failing)}.", ())
        if result.causes:
            yield _BY_KIND[failing.kind](result)
    if result.clash is not None:
        yield _clash(result)


def cause_words(cause: Cause) -> str:
    """What is gone, as a phrase."""
    if cause.kind == "source":
        return emission_source(cause.name)
    return f"the {cause.what} of {cause.name}" if cause.what else cause.name


def _lost(result: ReasonsResult) -> Sentence:
    write = Writer(result)
    taken = joined([f"{write(f'causes.{n}.falls')} in {result.causes[n].name}" for n in _shown(result)])
    return write.sentence(f"Most of the voltage is lost to resistance: {taken}.")


def _moved(result: ReasonsResult) -> Sentence:
    write = Writer(result)
    left = joined([f"{write(f'causes.{n}.left')} without {cause_words(result.causes[n])}" for n in _shown(result)])
    return write.sentence(f"At the nominal values the deviation would be {left}.")


def _heard(result: ReasonsResult) -> Sentence:
    write = Writer(result)
    nearest = result.worst.verdict.nearest if result.worst is not None and result.worst.verdict is not None else None
    source = max(nearest.by_source, key=lambda name: nearest.by_source[name]) if nearest is not None else ""
    parts = [n for n, one in enumerate(result.causes) if one.kind == "part"][:SHOWN]
    lower = joined([f"{write(f'causes.{n}.falls')} lower without {cause_words(result.causes[n])}" for n in parts])
    start = f"Most of that line is from {emission_source(source)}"
    return write.sentence(
        f"{start}; it would be {lower}." if parts else f"{start}; no parasitic of a part matters there."
    )


def _loaded(result: ReasonsResult) -> Sentence:
    write, check = Writer(result), result.worst.check if result.worst is not None else None
    what = check.what if check is not None else ""
    left = joined([f"{write(f'causes.{n}.left')} without {result.causes[n].name}" for n in _shown(result)])
    return write.sentence(f"{capital(what)} would be {left}.")


_BY_KIND = {"voltage": _lost, "drop": _lost, "step": _moved, "emission": _heard, "rating": _loaded}


def _clash(result: ReasonsResult) -> Sentence:
    write, clash = Writer(result), result.clash
    assert clash is not None
    values = joined([f"{one.label} {number(one.value, one.unit)}" for one in clash.case])
    which = f"the worst case, with {values}," if clash.case else "the circuit"
    how = f"oscillates at {write('clash.oscillates')}" if clash.oscillates > 0 else "is unstable"
    return write.sentence(
        f"At {clash.point} {which} {how}. The reason: {clash.load} draws constant power, which is {write('clash.resistance')} for small changes. The impedance that feeds it reaches "
        f"{write('clash.impedance')} at {write('clash.frequency')}, the resonance of {resonance_words(clash.resonance)}; it has to stay "
        "below that resistance."
    )


def _shown(result: ReasonsResult) -> range:
    return range(min(SHOWN, len(result.causes)))
