"""What a reader does with a panel: commits to a guess, tries settings, and reads why only when the sliders have arrived."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from html import escape

from filterlib.show.panels.controls import Choice, Control


@dataclass(frozen=True)
class Guess:
    """A ``question`` with its ``options``; which one is chosen is kept, and none is marked as right.

    ``covers``: picture and numbers at the start would give it away, and come with the guess or with the first move.
    """

    question: str
    options: tuple[str, ...]
    covers: bool = False


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

    def stopping(self, control: Control | Choice) -> Control | Choice:
        """The same control, a slider with what is to be tried among its positions."""
        stops = tuple(one.at[control.name] for one in self.tries if control.name in one.at)
        return replace(control, stops=stops) if isinstance(control, Control) else control

    @property
    def covers(self) -> bool:
        """Whether picture and numbers wait for the guess."""
        return self.guess is not None and self.guess.covers

    @property
    def question(self) -> str:
        """The guess, for a page without sliders."""
        return f"**Guess:** {self.guess.question} ({'; '.join(self.guess.options)})" if self.guess else ""

    @property
    def answers(self) -> str:
        """What there is to try, for a page without sliders, each answer folded."""
        fold = "<details><summary>{}</summary>{}</details>"
        return "\n".join(fold.format(escape(one.text), escape(one.why)) for one in self.tries)
