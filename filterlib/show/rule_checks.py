"""Rules of bursts, the battery's side, the plug and the switch-on: as columns of a table, and for other programs."""

from __future__ import annotations

from collections.abc import Callable

from filterlib.analysis.supply.rules import Check
from filterlib.show.numbers import Section, numbers, texts
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import capital
from filterlib.words.supply.supply_sentences import check_sentence, limit_words, value_words

__all__ = ["CHECK_COLUMNS", "check_numbers", "verdict_words"]


def verdict_words(one: Check) -> str:
    """The verdict with its symbol."""
    return "– no limit stated" if one.verdict == "no limit" else f"{SYMBOLS[one.verdict]} {one.verdict}"


CHECK_COLUMNS: tuple[tuple[str, Callable[[Check], str]], ...] = (
    ("What", lambda one: f"{capital(one.part)}: {one.what}"),
    ("Figure", value_words),
    ("Limit", limit_words),
    ("Verdict", verdict_words),
    ("Rule", lambda one: one.rule),
    ("Source", lambda one: one.source),
)
"""One rule a row."""


def check_numbers(one: Check) -> Section:
    """One rule for other programs."""
    words = texts(one, "name", "part", "what", "verdict", "rule", "source") | {"sentence": check_sentence(one)}
    return words | numbers(one, "no limit stated")
