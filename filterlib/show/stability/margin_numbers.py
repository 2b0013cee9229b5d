"""How far from ringing, as numbers for results.json."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.stability.margins import Margin
from filterlib.show.numbers import Section, numbers
from filterlib.words.margin_sentences import margin_sentence

NOTHING = "nothing turns it unstable, or no resonance is there"


def margins_section(margins: Iterable[Margin]) -> list[Section]:
    """Each load of constant power, with what rules about impedances would allow it."""
    return [
        {
            "load": one.load,
            "words": margin_sentence(one),
            **numbers(one, NOTHING),
            "rules": [_rule(rule) for rule in one.rules],
        }
        for one in margins
    ]


def _rule(rule: object) -> Section:
    return {"rule": rule.name, "allows": bool(rule.kept)} | numbers(rule, NOTHING)  # type: ignore[attr-defined]
