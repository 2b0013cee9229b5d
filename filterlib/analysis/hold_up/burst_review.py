"""The bursts of a design for its review: the bank that they ask for, and how they start."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Unit
from filterlib.analysis.hold_up.burst_bank import BankResult, bank, bank_problems
from filterlib.analysis.hold_up.first_milliseconds import Start, first_milliseconds
from filterlib.errors import CircuitError
from filterlib.system.design import Design

__all__ = ["Bursts", "bursts"]


@dataclass(frozen=True)
class Bursts:
    """Of every load with a profile its bank, and its start where that could be followed; or ``reason``, why nothing can be said.

    ``fitted``: all capacitance that the design has outside the converter.
    """

    banks: tuple[BankResult, ...] = ()
    starts: tuple[Start, ...] = ()
    reason: str = ""
    fitted: Annotated[float, Unit("F", "fitted", "fitted")] = 0.0

    @property
    def short(self) -> tuple[BankResult, ...]:
        """The loads whose bursts ask for more capacitance, behind any diode, than the design has: their voltage falls too low."""
        return tuple(one for one in self.banks if one.least > self.fitted)


def bursts(design: Design) -> Bursts | None:
    """The bursts of a design; None where no load has any.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> bursts(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")) is None
    True
    """
    if all(load.profile is None for load in design.loads):
        return None
    problems = tuple(bank_problems(design))
    if problems:
        return Bursts(reason="; ".join(f"{one.key}: {one.why}" for one in problems))
    banks = bank(design)
    return Bursts(banks, tuple(_starts(design, banks)), fitted=design.attached_capacitance)


def _starts(design: Design, banks: tuple[BankResult, ...]) -> Iterator[Start]:
    """The starts that could be followed: not those that ring between limit and load without end."""
    for one in banks:
        with suppress(CircuitError):
            yield first_milliseconds(design, one)
