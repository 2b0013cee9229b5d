"""What a reader does with a panel: commits to a guess, tries settings, and reads why only when the sliders have arrived."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Guess:
    """A ``question`` with its ``options``; which one is chosen is kept, and none is marked as right."""

    question: str
    options: tuple[str, ...]


@dataclass(frozen=True)
class Try:
    """Something to try, ``text``: the setting ``at`` (values of controls by name, the others at their start) ticks it, and
    ``why`` unfolds."""

    text: str
    at: Mapping[str, str]
    why: str


@dataclass(frozen=True)
class Lesson:
    """The guess and the tries of one panel."""

    guess: Guess | None = None
    tries: tuple[Try, ...] = ()

    @property
    def markdown(self) -> str:
        """All of it, for a page without sliders."""
        asked = f"**Guess:** {self.guess.question} ({'; '.join(self.guess.options)})\n\n" if self.guess else ""
        return asked + "\n".join(f"{number}. {one.text}: {one.why}" for number, one in enumerate(self.tries, 1))
