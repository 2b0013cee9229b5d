"""What can be wrong, said so that a person can act on it: where, which value, and what would be right."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


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
        return f"{self.file}: {self.key}{value}: {self.why}" if self.key else f"{self.file}: {self.why}"


class InputError(FilterlibError):
    """Everything that is wrong with an input, all at once. Attribute ``problems``: a tuple of `Problem`."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def nearest(word: str, valid: Iterable[str]) -> str | None:
    """The valid name most like ``word``, or None where nothing is near.

    >>> nearest("capacitence", ["capacitance", "esr"])
    'capacitance'
    """
    names = list(valid)
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
    text = repr(value)
    return text if len(text) <= length else text[: length - 1] + "…"
