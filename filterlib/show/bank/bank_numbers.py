"""The bank that bursts ask for, and how they start, as numbers for other programs."""

from __future__ import annotations

from filterlib.analysis.hold_up.bank_result import BankResult, Bursts, Fittings, Start
from filterlib.show.numbers import Section, numbers, texts
from filterlib.show.rule_checks import check_numbers

__all__ = ["bank_numbers", "bursts_section"]
NO_LIFE = "no service life is stated, or the bursts are too many for the curve"
NOT_STATED = "the part's table does not state it, or it has no limit"


def bursts_section(found: Bursts | None) -> Section:
    """All of it for other programs; null with the reason where there is none."""
    if found is None or found.reason:
        return {"loads": [], "reason": "no load has a profile" if found is None else found.reason}
    starts = {one.load: _start_numbers(one) for one in found.starts}
    checks = {"checks": [check_numbers(one) for one in found.checks]}
    return {"loads": [bank_numbers(one) | {"start": starts.get(one.load)} for one in found.banks]} | checks


def bank_numbers(result: BankResult) -> Section:
    """One load's bursts for other programs."""
    return {
        **texts(result, "load", "refused"),
        **numbers(result),
        "isolations": [texts(one, "kind") | numbers(one, NOT_STATED) for one in result.isolations],
        "banks": [
            texts(one, "part", "kind", "count", "parts", "words") | numbers(one, NOT_STATED) for one in result.banks
        ],
        **({} if result.fittings is None else _fittings_numbers(result.fittings)),
    }


def _fittings_numbers(fittings: Fittings) -> Section:
    return {
        "limiters": [texts(one, "kind", "in_time") | numbers(one) for one in fittings.limiters],
        "fuse": numbers(fittings.fuse, NO_LIFE),
        "bleeders": [numbers(one) for one in fittings.bleeders],
        "course_in_time": numbers(fittings.in_time),
    }


def _start_numbers(start: Start) -> Section:
    return {
        **numbers(start, "no battery voltage is known, or no capacitance is enough"),
        "dips": [texts(one, "place") | numbers(one, "later than the time that was followed") for one in start.dips],
    }
