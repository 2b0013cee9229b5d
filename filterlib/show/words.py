"""Plain words for the short names that results use."""

from __future__ import annotations

import math
import re

from filterlib.units import format_quantity

_SOURCES = {"ripple": "ripple", "spike": "spikes at the edges", "common_mode": "common mode"}
_PLACES = {"terminals": "converter terminals, with filter", "terminals_before": "converter terminals, as measured"}
SYMBOLS = {"met throughout": "✓", "depends on": "◐", "not met": "✗", "not known": "?"}


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

    >>> number(0.0123, "V"), number(float("nan"), "V")
    ('12.3 mV', 'not known')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    return format_quantity(float(value), unit, digits)


def band(low: float, high: float, unit: str) -> str:
    """A range with its unit, or "no band" where there is none.

    >>> band(0.004, 0.011, "V"), band(float("nan"), float("nan"), "V")
    ('4 mV to 11 mV', 'no band')
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no band"
    return f"{number(low, unit)} to {number(high, unit)}"


def share(value: float) -> str:
    """A share of one in whole percent.

    >>> share(0.731)
    '73 %'
    """
    return f"{100 * value:.0f} %" if math.isfinite(value) else "not known"
