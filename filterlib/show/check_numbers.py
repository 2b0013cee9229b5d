"""Rules of bursts, the battery's side, the plug and the switch-on for other programs."""

from __future__ import annotations

from filterlib.analysis.supply.rules import Check
from filterlib.show.numbers import Section, numbers, texts
from filterlib.words.supply_sentences import check_sentence

__all__ = ["check_numbers"]


def check_numbers(one: Check) -> Section:
    """One rule for other programs."""
    words = texts(one, "name", "part", "what", "verdict", "rule", "source") | {"sentence": check_sentence(one)}
    return words | numbers(one, "no limit stated")
