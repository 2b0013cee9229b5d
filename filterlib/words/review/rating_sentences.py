"""What parts carry against their ratings, and what fails in a design, in words."""

from __future__ import annotations

from collections.abc import Iterable

from filterlib.analysis.failing import Failing
from filterlib.analysis.stress.stress_check import Basis, StressCheck
from filterlib.analysis.verdict import Verdict
from filterlib.parts.ageing import SEAL_LIFE, YEAR
from filterlib.system.file.accepted import AcceptedRating
from filterlib.units import format_quantity
from filterlib.words.quantities import interval_text, joined, number, share, stress_number
from filterlib.words.supply.supply_sentences import rule_text

_VERDICTS = {
    "met": "✓ met",
    "not met": "✗ not met",
    "no limit": "– no limit stated",
    "not known": "? not known",
}
_KINDS = {
    "rms": "rms, direct current included",
    "winding rms": "rms of a winding, direct current included",
    "magnetising peak": "largest current that magnetises the core",
    "unbalanced peak": "peak current that returns another way than through the choke",
    "peak": "at its peak",
    "leakage": "the most at 20 °C; nothing limits it",
    "life": "the design's service_life",
    "highest temperature": "up to the part's highest temperature",
    "ceramic rise": "the usual limit for ceramics",
}

SEAL_YEARS = f"{SEAL_LIFE / YEAR:.0f} years"
SEAL_DECIDES = f"beyond some {SEAL_YEARS} the seal decides"
LISTED = 3  # failings that a sentence lists


def basis_text(basis: Basis) -> str:
    """Whose a limit is and how the stress is counted, or why there is no limit."""
    if basis.missing == "thermal_resistance" and basis.kind == "life":
        return "the part states no thermal_resistance, so its temperature is not known"
    seal = f"; {SEAL_DECIDES}" if basis.beyond_seal else ""
    if basis.missing:
        return f"the {'design' if basis.kind == 'life' else 'part'} states no {basis.missing}{seal}"
    if basis.kind == "ripple rms":
        return "rms" + (f", with the part's factors against {joined(basis.factors)}" if basis.factors else "")
    if basis.kind == "usable voltage":
        rule = " by the rule of its kind" if basis.by_kind else ""
        return f"direct voltage and ripple; {share(basis.share)} of the rated {format_quantity(basis.rated, 'V')}{rule}"
    if basis.kind == "converter":
        return _of_converter(basis)
    return _KINDS[basis.kind] + seal


def _of_converter(basis: Basis) -> str:
    left = "the converter's rating" if basis.share == 1 else f"{share(basis.share)} of its rating at this temperature"
    return left + ("; its derating ends below this temperature" if basis.too_hot else "")


def stress_verdict(check: StressCheck) -> str:
    """The verdict on a stress, with its symbol."""
    return _VERDICTS.get(check.verdict, f"◐ undecided: depends on the {check.label}")


def stress_interval(check: StressCheck) -> str:
    """From the least to the greatest; "" where nothing moves it."""
    ends = dict.fromkeys(_told(end, check) for end in (check.low, check.high))
    return " to ".join(ends) if len(ends) > 1 else ""


def stress_value(check: StressCheck) -> str:
    """The nominal value, told from the limit."""
    return _told(check.value, check)


def _told(value: float, check: StressCheck) -> str:
    """A value of a stress; of a life no more than the seal lasts, unless the limit is longer than that."""
    if check.unit == "s" and value > SEAL_LIFE and not check.limit > SEAL_LIFE:
        return f"over {SEAL_YEARS}, longer than its seal lasts"
    return stress_number(value, check.unit, check.limit)


def stress_limit(check: StressCheck) -> str:
    """The limit, with the side on which the stress has to stay."""
    return f"at {'least' if check.at_least else 'most'} {stress_number(check.limit, check.unit)}"


def stress_sentence(check: StressCheck, point: str = "") -> str:
    """One stress with its interval, its limit and the verdict, at an operating point where one is named."""
    start, why = f"{check.part}: {check.what}", basis_text(check.basis)
    if check.verdict == "not known":
        return f"{start} is not known: {why}"
    interval = stress_interval(check)
    value = f"{start} {stress_value(check)}" + (f" ({interval})" if interval else "")
    if check.verdict == "no limit":
        return f"{value}; {why}"
    end = {"met": "", "not met": ": beyond its rating"}.get(check.verdict, f": undecided, depends on the {check.label}")
    return f"{value}, {stress_limit(check)} ({why}){end}" + (f", at {point}" if point else "")


def reason(accepted: AcceptedRating) -> str:
    """Why a rating may be exceeded, as one sentence on one line."""
    text = " ".join(accepted.reason.split())
    return text if text.endswith((".", "!", "?")) else f"{text}."


def failing_text(one: Failing) -> str:
    """One requirement, rating or operating point that is not as it should be."""
    if one.verdict is not None:
        return f"{one.verdict.requirement}: {_figure(one.verdict)}, at {one.point}"
    if one.check is not None:
        value = stress_interval(one.check) or stress_value(one.check)
        where = f", at {one.point}" if one.point else ""
        return f"{one.check.part}: {one.check.what} {value}, {stress_limit(one.check)}{where}"
    if one.rule is not None:
        return rule_text(one.rule)
    return f"unstable {'in a part of the range, ' if one.turned else ''}at {one.point}"


def _figure(verdict: Verdict) -> str:
    if verdict.unknown is not None:
        return verdict.verdict
    ends = interval_text(verdict.low, verdict.high, verdict.unit)
    return f"{verdict.verdict}, {ends or number(verdict.value, verdict.unit)}"


def failing_list(failing: Iterable[Failing]) -> str:
    """Several, the first few of them by name."""
    texts = [failing_text(one) for one in failing]
    more = f"; and {len(texts) - LISTED} more" if len(texts) > LISTED else ""
    return "; ".join(texts[:LISTED]) + more
