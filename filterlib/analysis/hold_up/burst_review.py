"""The bursts of a design for its review: the bank that they ask for, and how they start."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress

from filterlib.analysis.hold_up.bank_result import BankResult, Bursts, Start
from filterlib.analysis.hold_up.burst_bank import bank, bank_problems
from filterlib.analysis.hold_up.first_milliseconds import first_milliseconds
from filterlib.analysis.hold_up.fitted import hold_checks
from filterlib.analysis.supply.rules import Check, check
from filterlib.errors import CircuitError
from filterlib.system.design import Design

__all__ = ["bursts"]


def bursts(design: Design, *, whole: bool = True) -> Bursts | None:
    """The bursts of a design; None where no load has any.

    Not ``whole``: no more than whether the fitted capacitors hold them, for a change that is tried.

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
    holds, fitted = tuple(hold_checks(design)), design.attached_capacitance
    if not whole:
        return Bursts(fitted=fitted, checks=holds)
    banks = bank(design)
    starts = tuple(_starts(design, banks))
    return Bursts(banks, starts, fitted=fitted, checks=(*holds, *_dips(design, banks, starts)))


def _dips(design: Design, banks: Iterable[BankResult], starts: Iterable[Start]) -> Iterator[Check]:
    """No load falls too low at the start of a burst; undecided, anything down to 0 V, where that could not be followed."""
    found = {one.load: one.dips[0].lowest for one in starts}
    for one in banks:
        full, known = design.converter.output_voltage, one.load in found
        yield check(
            f"bursts.{one.load}.dip", one.load, "lowest voltage in the first milliseconds of a burst, nominal", "V",
            (found[one.load],) if known else (full, 0.0), one.lowest,
            "lowest voltage of its profile" if known else "lowest voltage of its profile; the start could not be followed", "the design file", at_least=True,
        )  # fmt: skip


def _starts(design: Design, banks: tuple[BankResult, ...]) -> Iterator[Start]:
    """The starts that could be followed: not those that ring between limit and load without end."""
    for one in banks:
        with suppress(CircuitError):
            yield first_milliseconds(design, one)
