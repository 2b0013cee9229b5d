"""Rules of bursts, the battery's side, the plug and the switch-on as a table."""

from __future__ import annotations

from filterlib.analysis.supply.rules import Check
from filterlib.show.review_tables import Table, table
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import capital
from filterlib.words.supply_sentences import limit_words, value_words

__all__ = ["checks_table", "verdict_words"]


def checks_table(caption: str, checks: tuple[Check, ...]) -> Table:
    """One rule a row."""
    return table(
        caption, checks,
        ("What", lambda one: f"{capital(one.part)}: {one.what}"), ("Figure", value_words), ("Limit", limit_words),
        ("Verdict", verdict_words), ("Rule", lambda one: one.rule), ("Source", lambda one: one.source),
    )  # fmt: skip


def verdict_words(one: Check) -> str:
    """The verdict with its symbol."""
    return "– no limit stated" if one.verdict == "no limit" else f"{SYMBOLS[one.verdict]} {one.verdict}"
