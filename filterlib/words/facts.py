"""Sentences with the numbers that they rest on: each number by its path in a result, with the unit of its field."""

from __future__ import annotations

from dataclasses import dataclass

from filterlib.analysis.described import described
from filterlib.words.quantities import number


@dataclass(frozen=True)
class Fact:
    """A number in a sentence: its ``path`` in the result, such as "sources.0.ripple_alone", ``unit`` and ``value``."""

    path: str
    unit: str
    value: float


@dataclass(frozen=True)
class Sentence:
    """``text``, and the ``facts`` in it."""

    text: str
    facts: tuple[Fact, ...]


class Writer:
    """Writes numbers of a result by their paths in it, with the units of their fields, and remembers which."""

    def __init__(self, result: object) -> None:
        self.result = result
        self.facts: list[Fact] = []

    def __call__(self, path: str) -> str:
        """The number at a path, as text."""
        *way, name = path.split(".")
        place: object = self.result
        for step in way:
            place = place[int(step)] if isinstance(place, tuple) else getattr(place, step)
        value, unit = float(getattr(place, name)), described(place)[name].of(place)
        self.facts.append(Fact(path, unit, value))
        return number(value, unit)

    def sentence(self, text: str) -> Sentence:
        """The text with all numbers written so far."""
        return Sentence(text, tuple(self.facts))
