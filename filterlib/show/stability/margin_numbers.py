"""How far from ringing, as numbers for results.json."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.converter_side.regulation import Regulation
from filterlib.analysis.stability.margins import Margin
from filterlib.show.numbers import Section, numbers
from filterlib.words.margin_sentences import margin_sentence

UNSTABLE = "the loop is unstable, or never crosses over"
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


def regulation_section(found: Iterable[Regulation]) -> list[Section]:
    """The converter's own loop with the filter on, for each place where it may sense."""
    return [{"point": one.point, "sensed": one.sensed, "stable": one.stable} | numbers(one, UNSTABLE) for one in found]


def _rule(rule: object) -> Section:
    return {"rule": rule.name, "allows": bool(rule.kept)} | numbers(rule, NOTHING)  # type: ignore[attr-defined]
