"""Figures as text: a number with its unit, an interval, a share, a margin; and the small change of sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

from filterlib.units import format_hours, format_quantity, quantity

LEAST_RISE = 0.01  # [K] below which a rise in temperature is not distinguished
LEAST_VOLTAGE = 1e-9  # [V] below which no instrument tells a ripple from its own noise: common practice, no source


def number(value: float | None, unit: str, digits: int = 3) -> str:
    """A number with its unit, or "not known" where there is none.

    >>> number(0.0123, "V"), number(float("nan"), "V"), number(0.04, "dB")
    ('12.3 mV', 'not known', '0.0 dB')
    >>> number(-0.0404, "V"), number(3e-13, "V"), number(0.0, "V")
    ('\N{MINUS SIGN}40.4 mV', 'below 1 nV', '0 V')
    >>> number(-0.0, "s"), number(-0.04, "dB")
    ('0 s', '0.0 dB')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if unit.startswith("dB"):
        return _minus(f"{round(value, 1) + 0.0:.1f} {level_unit(unit)}")
    if unit == "V" and 0 < abs(value) < LEAST_VOLTAGE:
        return f"below {format_quantity(LEAST_VOLTAGE, 'V')}"
    return _minus(format_quantity(float(value) + 0.0, unit, digits))  # zero has no sign


def _minus(text: str) -> str:
    """The one sign for "less than nothing"."""
    return text.replace("-", "\N{MINUS SIGN}")


def level_unit(unit: str) -> str:
    """A unit of level as it is printed.

    >>> level_unit("dBuV")
    'dBµV'
    """
    return unit.replace("u", "µ")


def interval_text(low: float, high: float, unit: str, digits: int = 3) -> str:
    """An interval with its unit, or "none" where there is none.

    >>> interval_text(0.004, 0.011, "V"), interval_text(float("nan"), float("nan"), "V")
    ('4 mV to 11 mV', 'none')
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "none"
    return " to ".join(dict.fromkeys((number(low, unit, digits), number(high, unit, digits))))


def range_text(low: float, high: float, unit: str, digits: int = 3) -> str:
    """An interval with one unit, that of its larger end; "none" where there is none.

    >>> range_text(996e-6, 0.103, "V"), range_text(27.5, 27.9, "V"), range_text(0.005, 0.005, "V")
    ('0.996 to 103 mV', '27.5 to 27.9 V', '5 mV')
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "none"
    whole = number(max(low, high, key=abs), unit, digits)
    if number(low, unit, digits) == number(high, unit, digits) or whole.startswith("below"):
        return whole
    sign = whole.partition(" ")[2]
    factor = 1.0 if unit.startswith("dB") else quantity(f"1 {sign}", unit)
    return f"{plain(low / factor, digits)} to {plain(high / factor, digits)} {sign}".rstrip()


def plain(value: float, digits: int = 3) -> str:
    """A number without a unit, and without a power of ten, rounded to some digits; nothing below a thousandth.

    >>> plain(0.9964), plain(102.6), plain(-4.0), plain(0.00004), plain(12.34, 2)
    ('0.996', '103', '\N{MINUS SIGN}4', '0', '12')
    """
    rounded = round(float(f"{value:.{digits - 1}e}"), 3)
    return _minus(f"{rounded:.10g}") if rounded else "0"


def both_ranges(whole: tuple[float, float], probable: tuple[float, float], unit: str, digits: int = 3) -> str:
    """The whole range of a figure, and the probable one behind it where there is one.

    >>> both_ranges((0.004, 0.011), (0.005, 0.009), "V"), both_ranges((0.004, 0.011), (math.nan, math.nan), "V")
    ('4 mV to 11 mV, probably 5 mV to 9 mV', '4 mV to 11 mV')
    """
    text = interval_text(*whole, unit, digits)
    if " to " not in text or not math.isfinite(probable[0]):
        return text
    return f"{text}, probably {interval_text(*probable, unit, digits)}"


def share(value: float) -> str:
    """A share of one in whole percent.

    >>> share(0.731)
    '73 %'
    """
    return _minus(f"{100 * value:.0f} %") if math.isfinite(value) else "not known"


def margin_text(ratio: float) -> str:
    """What is left up to a limit, as a share of the stress.

    >>> margin_text(0.43), margin_text(36.0), margin_text(-0.95), margin_text(float("nan"))
    ('43 %', 'more than tenfold', '\N{MINUS SIGN}95 %', '')
    """
    if math.isnan(ratio):
        return ""
    return "more than tenfold" if ratio > 9 else share(ratio)


def stress_number(value: float, unit: str, limit: float = math.nan) -> str:
    """A stress: times in hours, and no rise that nobody would measure; as many digits as tell it from its ``limit``, six at most.

    >>> stress_number(28.004, "V", 28.0), stress_number(28.0, "V", 28.0)
    ('28.004 V', '28 V')
    >>> stress_number(3.6e6, "s"), stress_number(0.001, "K"), stress_number(2.5, "A")
    ('1000 h', 'below 0.01 K', '2.5 A')
    """
    if math.isnan(value):
        return "not known"
    if unit == "K" and math.isinf(value):
        return "thermal runaway"
    if unit == "K" and abs(value) < LEAST_RISE:
        return f"below {LEAST_RISE:g} K"
    hours = unit == "s" and math.isfinite(value)
    texts = (format_hours(value, n) if hours else format_quantity(value, unit, n) for n in range(3, 7))
    if math.isnan(limit) or value == limit:
        return next(texts)
    alike = stress_number(limit, unit)
    return next((text for text in texts if text != alike), alike)


def ohms(value: float) -> str:
    """The size of an impedance, which may be infinite."""
    return number(value, "ohm") if math.isfinite(value) else "infinite"


def loss(level: float) -> str:
    """An insertion loss, which is infinite where nothing passes."""
    return number(level, "dB") if math.isfinite(level) else "nothing passes"


def unbroken(text: str) -> str:
    """A text in which no line ends between a number and its unit.

    >>> unbroken("4 mV to 11 mV") == "4\N{NO-BREAK SPACE}mV to 11\N{NO-BREAK SPACE}mV"
    True
    """
    return re.sub(r"(?<=\d) (?=(?!to |at |and )[A-Za-zµΩ°%²/]{1,4}(?!\w))", "\N{NO-BREAK SPACE}", text)


def capital(text: str) -> str:
    """With a capital letter."""
    return text[:1].upper() + text[1:]


def joined(words: Iterable[str]) -> str:
    """A list as one says it.

    >>> joined(["C1", "L1", "C2"]), joined(["C1"])
    ('C1, L1 and C2', 'C1')
    """
    several = list(words)
    return " and ".join([", ".join(several[:-1]), several[-1]]) if len(several) > 1 else "".join(several)


def runs(orders: Sequence[int]) -> str:
    """Whole numbers as words.

    >>> runs((1, 2, 3, 7, 9, 10))
    '1 to 3, 7, 9 and 10'
    """
    groups: list[list[int]] = []
    for order in orders:
        if groups and order == groups[-1][-1] + 1:
            groups[-1].append(order)
        else:
            groups.append([order])
    return ", ".join(
        f"{run[0]}" if len(run) == 1 else f"{run[0]} {'and' if len(run) == 2 else 'to'} {run[-1]}" for run in groups
    )
