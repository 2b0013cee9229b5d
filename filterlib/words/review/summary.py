"""A review in the few lines of a terminal: outcome, why, and what was judged."""

from __future__ import annotations

import re
import textwrap

from filterlib.analysis.review_result import ReviewResult
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import capital
from filterlib.words.review.findings import WARNING, facts, outcome_words
from filterlib.words.review.review_sentences import headline, to_check
from filterlib.words.review.verdict_sentences import WORD, rating_lines, requirement_finding
from filterlib.words.supply.light_load_sentences import light_load_sentences

LINES, WIDTH = 12, 100  # of the summary in a terminal
MOST = 3  # lines of the sentence that says why
_UNDER = " " * (WORD + 4)  # before the lines of a finding behind its first


def warnings(result: ReviewResult) -> list[str]:
    """What else has to be known: odd values and readings, ratings that are accepted as exceeded, converters that may burst at light load."""
    odd = [f"{sentence}." for sentence in to_check(result)]
    accepted = [line.removeprefix("⚠ ") for line in rating_lines(result.judgement) if line.startswith("⚠")]
    return odd + accepted + [f"{sentence}." for point in result.points for sentence in light_load_sentences(point)]


def terminal_summary(result: ReviewResult, ending: list[str]) -> str:
    """The review in at most `LINES` lines of at most `WIDTH` letters, no sentence cut; what ``ending`` names (files) stays on its lines.

    What does not fit is counted, and is on the page.
    """
    symbol, outcome = outcome_words(result)
    head = [*_wrapped(f"{symbol} {capital(outcome)}: {result.design.name}"), *_first(headline(result), MOST, "  ")]
    tail = [line for one in facts(result) for line in _wrapped(one.line, _UNDER)]
    if outcome == "probably met" and result.exit_code:
        tail += ["Exit code 1: 0 asks for the whole range, or with --accept probable for 95 % of the cases."]
    room = LINES - len(head) - len(tail) - len(ending)
    order = sorted(result.verdicts, key=lambda one: list(SYMBOLS).index(one.verdict), reverse=True)
    aside = warnings(result)
    shown = _fitting([_wrapped(requirement_finding(one).line, _UNDER) for one in order], room - bool(aside))
    notes = _noted(aside, room - len(shown)) if aside else []
    return "\n".join([*head, *shown, *tail, *notes, *ending])


def _fitting(blocks: list[list[str]], room: int) -> list[str]:
    """As many blocks of lines as there is room for; a last line says how many are left out."""
    if sum(map(len, blocks)) <= room:
        return [line for block in blocks for line in block]
    lines: list[str] = []
    for done, block in enumerate(blocks):
        if len(lines) + len(block) >= room:
            left = len(blocks) - done
            return [*lines, f"  {left} {'more ' * bool(done)}requirement{'s' * (left > 1)} on the page"]
        lines += block
    return lines


def _noted(aside: list[str], room: int) -> list[str]:
    """The first thing that has to be known beside, where all of it fits; else that there is something."""
    more = f" ({len(aside) - 1} more on the page)" if len(aside) > 1 else ""
    lines = _wrapped(f"{WARNING} {aside[0]}{more}", "  ")
    if len(lines) <= room:
        return lines
    return [f"{WARNING} {len(aside)} note{'s' * (len(aside) > 1)} under Cautions on the page"]


def _first(text: str, lines: int, indent: str) -> list[str]:
    """The first whole sentences of a text that fit in so many lines; the first one always."""
    sentences = re.split(r"(?<=[.!?]) (?=[A-Z])", text)
    for count in range(len(sentences), 1, -1):
        if len(found := _wrapped(" ".join(sentences[:count]), indent, indent)) <= lines:
            return found
    return _wrapped(sentences[0], indent, indent)


def _wrapped(text: str, under: str = "  ", first: str = "") -> list[str]:
    """A text on lines that end between words; ``under``: what stands before those behind the first."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=under, break_on_hyphens=False, break_long_words=False
    )
