"""Plain words for the short names that results use."""

from __future__ import annotations

import math
import re
from collections import Counter
from typing import Any

from filterlib.units import format_quantity

_SOURCES = {"ripple": "ripple", "spike": "spikes at the edges", "common_mode": "common mode"}
_PLACES = {
    "terminals": "converter terminals, with filter",
    "terminals_before": "converter terminals, without filter",
    "measured": "what the clipped scope shows, with filter",
    "measured_before": "what the clipped scope shows, without filter",
    "tip_on_clip": "the scope's tip on its own clip, with filter",
    "tip_on_clip_before": "the scope's tip on its own clip, without filter",
}
SYMBOLS = {"met throughout": "✓", "depends on": "◐", "not met": "✗", "not known": "?"}
_STRESSED = {
    "within": "✓ within its rating",
    "beyond": "✗ beyond its rating",
    "no limit": "– no limit stated",
    "not known": "? not known",
}


def bandwidth_words(label: str) -> str:
    """A bandwidth label as words.

    >>> bandwidth_words("20MHz"), bandwidth_words("150kHz_to_30MHz"), bandwidth_words("full")
    ('20 MHz', '150 kHz to 30 MHz', 'full bandwidth')
    """
    if label == "full":
        return "full bandwidth"
    return re.sub(r"(\d)([A-Za-z])", r"\1 \2", label).replace("_", " ")


def source_words(name: str) -> str:
    """A source's name as words.

    >>> source_words("common_mode"), source_words("logger")
    ('common mode', 'drawn by logger')
    """
    return _SOURCES.get(name, f"drawn by {name}")


def place_words(place: str) -> str:
    """A place's name as words.

    >>> place_words("modem"), place_words("modem_before")
    ('modem, with filter', 'modem, without filter')
    """
    if place in _PLACES:
        return _PLACES[place]
    if place.endswith("_before"):
        return f"{place.removesuffix('_before')}, without filter"
    return f"{place}, with filter"


def number(value: float | None, unit: str, digits: int = 3) -> str:
    """A number with its unit, or "not known" where there is none.

    >>> number(0.0123, "V"), number(float("nan"), "V"), number(0.04, "dB")
    ('12.3 mV', 'not known', '0.0 dB')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if unit == "dB":
        return f"{value:.1f} dB".replace("-", "\N{MINUS SIGN}")
    return format_quantity(float(value), unit, digits)


def band(low: float, high: float, unit: str) -> str:
    """A range with its unit, or "no band" where there is none.

    >>> band(0.004, 0.011, "V"), band(float("nan"), float("nan"), "V")
    ('4 mV to 11 mV', 'no band')
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no band"
    ends = dict.fromkeys((number(low, unit), number(high, unit)))
    return " to ".join(ends)


def unbroken(text: str) -> str:
    """A text in which no line ends between a number and its unit.

    >>> unbroken("4 mV to 11 mV") == "4\N{NO-BREAK SPACE}mV to 11\N{NO-BREAK SPACE}mV"
    True
    """
    return re.sub(r"(?<=\d) (?=(?!to |at |and )[A-Za-zµΩ°%²/]{1,4}(?!\w))", "\N{NO-BREAK SPACE}", text)


def share(value: float) -> str:
    """A share of one in whole percent.

    >>> share(0.731)
    '73 %'
    """
    return f"{100 * value:.0f} %" if math.isfinite(value) else "not known"


def stress_words(check: Any) -> str:
    """The verdict on a stress, with its symbol."""
    return _STRESSED.get(check.verdict, f"◐ depends on {check.depends_on}")


def margin(ratio: float) -> str:
    """What is left up to a limit, as a share of the stress.

    >>> margin(0.43), margin(36.0), margin(-0.95), margin(float("nan"))
    ('43 %', 'more than tenfold', '-95 %', '')
    """
    if math.isnan(ratio):
        return ""
    return "more than tenfold" if ratio > 9 else share(ratio)


def ratings(result: Any) -> str:
    """What the top of the page says of ratings that are exceeded; "" where none is.

    ``result``: a `ReviewResult`. They are no requirements, and the exit code does not know them.
    """
    count = len(result.broken_ratings)
    if not count:
        return ""
    more = f" (and {count - 1} more, see Stress)" if count > 1 else ""
    return f"Not a requirement, but a rating: {result.broken_ratings[0]}{more}."


def beside(result: Any) -> list[str]:
    """What is no requirement and yet to be known, a line each: ratings that are exceeded, the worst margin of an estimate.

    ``result``: a `ReviewResult`.
    """
    told = [f"⚠ Not a requirement, but a rating: {rating}." for rating in result.broken_ratings]
    held = [(margin, test, point) for point in result.points for test in point.emissions for margin in test.margins]
    if held:
        margin, test, point = min(held, key=lambda one: one[0].margin)
        below = f"{number(abs(margin.margin), 'dB')} {'below' if margin.margin >= 0 else 'above'} its limit"
        ends = band(margin.low, margin.high, "dB")
        told.append(
            f"≈ Conducted emission at the {test.side}, an estimate and no test: at worst {below} ({margin.title}, at "
            f"{number(margin.frequency, 'Hz')}, {point.operating.point}); margin over what is not known: {ends}."
        )
    return told


def summary(result: Any) -> str:
    """What became of the requirements, in one sentence."""
    unstable = [point.operating.point for point in result.points if not point.operating.stable]
    if unstable:
        return f"The circuit is unstable at {' and '.join(unstable)}: there it has no steady ripple."
    count = Counter(verdict.verdict for verdict in result.verdicts)
    total = len(result.verdicts)
    if not total:
        return "No requirement is stated, so none was judged."
    if count["met throughout"] == total:
        return "Every requirement is met throughout its band, at every operating point."
    parts = [f"{count[word]} {words}" for word, words in _OUTCOMES.items() if count[word]]
    return f"{total} requirement{'s' * (total > 1)}: {', '.join(parts)}."


_OUTCOMES = {
    "not met": "not met",
    "not known": "not known",
    "depends on": "undecided because something is not known",
    "met throughout": "met throughout",
}


def decisive_point(result: Any, load: str | None = None) -> Any:
    """The operating point to look at first: where a ripple requirement (of that load) has the least margin.

    An unstable point comes before all where no load is named; with a load, a point that has a ripple is preferred.
    """
    unstable = [point for point in result.points if not point.operating.stable]
    if unstable and load is None:
        return unstable[0]
    ripples = ("ripple", "spike")
    judged = [v for v in result.verdicts if v.kind in ripples and load in (None, v.load) and math.isfinite(v.margin)]
    steady = [point for point in result.points if point.operating.stable]
    named = {point.operating.point: point for point in steady}
    for verdict in sorted(judged, key=lambda verdict: verdict.margin):
        if verdict.point in named:
            return named[verdict.point]
    return (steady or result.points)[0]
