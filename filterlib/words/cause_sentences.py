"""What fails worst and what causes it, where that is no ripple: one sentence for what, one for why."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.analysis.causes.reasons import ReasonsResult
from filterlib.analysis.causes.worst import Cause
from filterlib.words.facts import Sentence, Writer
from filterlib.words.labels import emission_source, resonance_words
from filterlib.words.proposal_sentences import failing_text
from filterlib.words.quantities import capital, joined

SHOWN = 3  # causes that a sentence names
ELSEWHERE = ("ripple", "spike")  # of which the other sentences say the causes


def worst_sentences(result: ReasonsResult) -> Iterator[Sentence]:
    """What fails worst, and its causes; nothing where that is a ripple or nothing fails."""
    failing = result.worst
    if failing is None or failing.kind in ELSEWHERE:
        return
    yield Sentence(f"What fails worst: {failing_text(failing)}.", ())
    if result.clash is not None:
        yield _clash(result)
    elif result.causes:
        yield _BY_KIND[failing.kind](result)


def cause_words(cause: Cause) -> str:
    """What is gone, as a phrase."""
    if cause.kind == "source":
        return emission_source(cause.name)
    return f"the {cause.what} of {cause.name}" if cause.what else cause.name


def _gone(cause: Cause) -> str:
    return f"with {cause.what} of {cause.name}" if cause.what.startswith("a ") else f"without {cause_words(cause)}"


def _lost(result: ReasonsResult) -> Sentence:
    write = Writer(result)
    taken = joined([f"{write(f'causes.{n}.falls')} in {result.causes[n].name}" for n in _shown(result)])
    return write.sentence(f"Most of the voltage is lost to resistance: {taken}.")


def _moved(result: ReasonsResult) -> Sentence:
    write = Writer(result)
    left = joined([f"{write(f'causes.{n}.left')} {_gone(result.causes[n])}" for n in _shown(result)])
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
    return write.sentence(
        f"{clash.load} draws constant power, {write('clash.resistance')} for small changes; what feeds it reaches "
        f"{write('clash.impedance')} at {write('clash.frequency')}, the resonance of {resonance_words(clash.resonance)}, and has to stay "
        "below that resistance."
    )


def _shown(result: ReasonsResult) -> range:
    return range(min(SHOWN, len(result.causes)))
