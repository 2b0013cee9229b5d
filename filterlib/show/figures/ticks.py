"""Where the ticks of an axis stand, and what is written at them."""

from __future__ import annotations

import math

from filterlib.show.figures.figure import Axis
from filterlib.units import format_quantity

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_DEGREES = (15.0, 45.0, 90.0, 180.0, 360.0)
_PREFIXES = (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("µ", 1e-6), ("n", 1e-9))
_CLOSE = 1e-9  # of a step: where an end counts as standing on a tick

Tick = tuple[float, str]


def ticks(axis: Axis, low: float, high: float, most: int) -> list[Tick]:
    """About ``most`` ticks between two ends, with their words: one prefix for a linear axis, each its own on a logarithmic.

    >>> ticks(Axis("voltage", "V"), -0.0121, 0.0121, 5)
    [(-0.01, '−10 mV'), (-0.005, '−5 mV'), (0.0, '0 mV'), (0.005, '5 mV'), (0.01, '10 mV')]
    >>> [words for _, words in ticks(Axis("frequency", "Hz", log=True), 90.0, 2e6, 9)]
    ['100 Hz', '1 kHz', '10 kHz', '100 kHz', '1 MHz']
    >>> [words for _, words in ticks(Axis("phase", "°"), -200, 100, 9)]
    ['−180', '−135', '−90', '−45', '0', '45', '90']
    """
    if axis.names:
        return [(float(at), name) for at, name in enumerate(axis.names)]
    most = max(most, 2)
    if axis.log:
        return [(value, _own_prefix(value, axis)) for value in _decades(low, high, most)]
    step = _degrees(high - low, most) if axis.unit == "°" else _step((high - low) / most)
    prefix, scale = prefix_for(max(abs(low), abs(high))) if axis.prefixed else ("", 1.0)
    digits = max(0, 1 - math.floor(math.log10(step / scale) + _CLOSE))
    unit = f" {prefix}{axis.unit.replace('ohm', 'Ω')}" if axis.prefixed else ""
    return [(value, f"{_short(value / scale, digits)}{unit}") for value in _multiples(step, low, high)]


def _multiples(step: float, low: float, high: float) -> list[float]:
    first, last = math.ceil(low / step - _CLOSE), math.floor(high / step + _CLOSE)
    return [count * step for count in range(first, last + 1)]


def _step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(m * power for m in _STEPS if m * power >= least * (1 - _CLOSE))


def _degrees(span: float, most: int) -> float:
    return next((step for step in _DEGREES if span <= step * most), _step(span / most))


def _decades(low: float, high: float, most: int) -> list[float]:
    """Powers of ten, some left out where they are many; 2 and 5 between where they are few and there is room."""
    first, last = math.floor(math.log10(low) + _CLOSE), math.floor(math.log10(high) + _CLOSE)
    powers = [power for power in range(first, last + 1) if 10.0**power >= low * (1 - _CLOSE)]
    between = [m * 10.0**power for power in range(first, last + 1) for m in (1, 2, 5)]
    between = [value for value in between if low * (1 - _CLOSE) <= value <= high * (1 + _CLOSE)]
    if len(powers) <= 2 and len(between) <= most:
        return between if len(between) > 1 else _multiples(_step((high - low) / most), low, high)
    stride = -(-len(powers) // most)
    return [10.0**power for power in powers if power % stride == 0]


def prefix_for(largest: float) -> tuple[str, float]:
    """SI prefix for values up to ``largest``, and its factor."""
    return next(((prefix, scale) for prefix, scale in _PREFIXES if largest >= scale), ("p", 1e-12))


def _own_prefix(value: float, axis: Axis) -> str:
    return format_quantity(value, axis.unit) if axis.prefixed else f"{value:,.9g}"


def _short(value: float, digits: int) -> str:
    """Without zeros at the end, and with a true minus.

    >>> _short(-2.50, 2), _short(-0.0, 1), _short(100.0, 0)
    ('−2.5', '0', '100')
    """
    text = f"{value + 0.0:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", "\N{MINUS SIGN}") if text != "-0" else "0"
