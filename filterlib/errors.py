"""What can be wrong, said so that a person can act on it: where, which value, and what would be right."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

MOST_SHOWN = 20
"""Problems that a message lists; the rest is counted."""
_LONGEST_KEY, _LONGEST_WHY, _LONGEST_WORD = (
    120,
    600,
    100,
)  # characters of a message; of a word that a nearest one is sought for
_LINE_BREAKING = (
    "Cc",
    "Cf",
    "Cs",
    "Zl",
    "Zp",
)  # categories of characters that move the cursor or the direction of writing


class FilterlibError(ValueError):
    """Base of every error that a user's input can cause."""


class QuantityError(FilterlibError):
    """A number or a text that cannot be read as the quantity that was asked for.

    Attributes: ``name`` (the argument or key, or None), ``value`` (as given), ``why`` (what is wrong and what would be
    right).
    """

    def __init__(self, why: str, *, value: object = None, name: str | None = None) -> None:
        self.name, self.value, self.why = name, value, why
        super().__init__(f"{name}: {why}" if name else why)


class CircuitError(FilterlibError):
    """A circuit that cannot be solved as it stands; the message names the element or the node."""


class UnstableError(FilterlibError):
    """A circuit with a pole in the right half plane has no steady state. Attribute ``poles``: the culprits [1/s]."""

    def __init__(self, why: str, poles: object = None) -> None:
        self.poles = poles
        super().__init__(why)


class OutputError(FilterlibError):
    """A result that could not be written; nothing was replaced."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one file: ``file``, ``key`` ("" for the whole file), ``value`` (None: absent), ``why``."""

    file: str
    key: str
    value: object
    why: str

    def __str__(self) -> str:
        value = "" if self.value is None else f" = {short(self.value)}"
        key, why = cut(self.key, _LONGEST_KEY), cut(self.why, _LONGEST_WHY)
        return one_line(f"{self.file}: {key}{value}: {why}" if self.key else f"{self.file}: {why}")


class InputError(FilterlibError):
    """Everything that is wrong with an input, all at once. Attribute ``problems``: a tuple of `Problem`.

    The message has a line for each, `MOST_SHOWN` of them at most.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        more = len(self.problems) - MOST_SHOWN
        rest = [f"{self.problems[0].file}: and {more} more problem{'s' * (more > 1)}"] if more > 0 else []
        super().__init__("\n".join([*map(str, self.problems[:MOST_SHOWN]), *rest]))


def nearest(word: str, valid: Iterable[str]) -> str | None:
    """The valid name most like ``word``, or None where nothing is near.

    >>> nearest("capacitence", ["capacitance", "esr"])
    'capacitance'
    """
    names = list(valid) if len(word) <= _LONGEST_WORD else []
    folded = {name.casefold(): name for name in names}
    found = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def did_you_mean(word: str, valid: Iterable[str]) -> str:
    """A hint to put behind "unknown name": the nearest valid one, or all of them.

    >>> did_you_mean("esrr", ["capacitance", "esr"])
    'did you mean "esr"?'
    >>> did_you_mean("xyz", ["capacitance", "esr"])
    'valid: capacitance, esr'
    """
    names = sorted(valid)
    best = nearest(word, names)
    return f'did you mean "{best}"?' if best else f"valid: {', '.join(names) or 'none'}"


def short(value: object, length: int = 60) -> str:
    """A value as Python writes it, cut where it is long."""
    return cut(_written(value, length), length)


def _written(value: object, length: int) -> str:
    if isinstance(value, str | bytes | list | tuple):
        value = value[: length + 1]  # no more is shown of it
    try:
        return repr(value)
    except (RecursionError, ValueError):  # nested too deeply; a number of thousands of digits
        return type(value).__name__


def cut(text: str, length: int) -> str:
    """A text, cut where it is longer.

    >>> cut("capacitance", 4)
    'cap…'
    """
    return text if len(text) <= length else text[: length - 1] + "…"


def one_line(text: str) -> str:
    """A text without line breaks and other control characters, which could pass for a line of the program's own.

    >>> one_line("C1\\nfilterlib: all is well")
    'C1\\\\nfilterlib: all is well'
    """
    return "".join(
        c.encode("unicode_escape").decode() if unicodedata.category(c) in _LINE_BREAKING else c for c in text
    )


def problem(file: str, line: int, value: object, why: str) -> Problem:
    return Problem(file, f"line {line}" if line else "", value, why)


def refused(file: str, why: str, line: int = 0, value: object = None) -> InputError:
    return InputError([problem(file, line, value, why)])
