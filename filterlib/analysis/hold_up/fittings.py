"""What goes with a bank: how it is charged first, the fuse behind it, and the resistor that empties it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.described import Amperes, Ohms, Seconds, Unit, Volts
from filterlib.analysis.hold_up.fuses_and_limits import bleeder, melting_needed

__all__ = ["Bleeder", "Fuse", "Limiter", "bank_fuse", "bleeders", "fuse_rating", "limiters"]
NEARLY = 100.0  # a capacitor that is charged through a resistor is taken as full when a hundredth is missing
USED = 0.75  # of its rating, at most, that a fuse carries all the time: common practice, no source
LONG = 0.1  # [s] beyond which a fuse carries a burst as if it lasted: common practice, no source
SHORT = 20e-3  # [ohm] of wires and fuse in a short circuit behind the fuse, beside the bank's own
STARTS = 1000.0  # first charges that a fuse is chosen for: assumed
SAFE, TIMES, LITTLE = 10.0, (5.0, 30.0, 300.0), 1.0  # [V], [s] and [W] of the bleed resistors that are named
_R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""Rated currents of fuses: the series R10 of ISO 3 (from memory)."""


@dataclass(frozen=True)
class Limiter:
    """One way to charge a bank.

    Attributes: ``kind``; ``resistance`` (0 where it is none); ``current`` at the most; ``start``, the first charge, to
    99 %; ``heat`` in the limiter each time, and its ``peak`` power; ``recharge`` after a burst where it stays in the way;
    ``in_time``: whether that ends before the next burst.
    """

    kind: str
    resistance: Ohms[float]
    current: Annotated[float, Unit("A", "most current")]
    start: Annotated[float, Unit("s", "first charge")]
    heat: Annotated[float, Unit("J", "heat in it")]
    peak: Annotated[float, Unit("W", "most heat")]
    recharge: Seconds[float]
    in_time: bool


def limiters(
    farads: float, volts: float, amperes: float, recharge: float, rest: float, sag: float
) -> tuple[Limiter, ...]:
    """The converter's own limit, a linear current limiter, and a resistor, each at the ``amperes`` that are left [A].

    Parameters: largest capacitance [F]; full voltage [V]; ``recharge`` within the converter's limit [s]; ``rest`` between
    bursts [s]; ``sag`` in a burst [V]. The heat in a linear limiter and in a resistor is what the bank stores, C V^2 / 2,
    whatever their size.

    >>> [round(one.heat, 2) for one in limiters(30e-3, 28.0, 2.0, 0.1, 1.0, 6.0)]    # 30 mF at 28 V: 11.76 J
    [0.0, 11.76, 11.76]
    """
    stored, linear, ohms = farads * volts**2 / 2, farads * volts / amperes, volts / amperes
    settled = ohms * farads * math.log(NEARLY)
    steady = farads * sag / amperes
    return (
        Limiter("the converter's own current limit", 0.0, amperes, linear, 0.0, 0.0, recharge, recharge <= rest),
        Limiter("a linear current limiter", 0.0, amperes, linear, stored, volts * amperes, steady, steady <= rest),
        Limiter("a resistor", ohms, amperes, settled, stored, volts * amperes, settled, settled <= rest),
    )


@dataclass(frozen=True)
class Fuse:
    """The fuse between a bank and what it feeds.

    Attributes: ``carried`` current, by which its ``rating`` is chosen; ``pulse``, I2t of a burst, and ``first``, of the
    first charge; ``melting``, nominal melting I2t that all bursts and 1000 first charges ask for (nan: no number of
    bursts, or more than the catalogue has); ``short``, the I2t that a short circuit behind the fuse gets of the smallest
    bank, which has to be well above what opens it.
    """

    carried: Amperes[float]
    rating: Annotated[float, Unit("A", "rated current")]
    pulse: Annotated[float, Unit("A2s", "I²t of a burst")]
    first: Annotated[float, Unit("A2s", "I²t of the first charge")]
    melting: Annotated[float, Unit("A2s", "melting I²t needed")]
    short: Annotated[float, Unit("A2s", "I²t of a short circuit")]


def fuse_rating(amperes: float) -> float:
    """The next rated current [A] of the series R10 above what is carried all the time, of which 75 % are used.

    >>> fuse_rating(0.75), fuse_rating(3.0), fuse_rating(8.0)
    (1.0, 4.0, 12.5)
    """
    needed = amperes / USED * (1 - 1e-9)
    decade = 10.0 ** math.floor(math.log10(needed))
    return next(round(step * decade, 9) for step in (*_R10, 10.0, 12.5) if step * decade >= needed)


def bank_fuse(
    farads: float,
    ohms: float,
    volts: float,
    charge: Limiter,
    *,
    amperes: float,
    rms: float,
    seconds: float,
    pulse: float,
    bursts: float,
) -> Fuse:
    """The fuse of a bank of ``farads`` behind ``ohms``, for bursts of ``amperes`` for ``seconds`` and ``rms`` in the mean."""
    lasting = [amperes] * (seconds > LONG) + [charge.current] * (charge.start > LONG)
    carried, first = max(rms, *lasting, 0.0), charge.current**2 * charge.start
    asked = (melting_needed(pulse, bursts), melting_needed(first, STARTS)) if 0 < bursts <= 1e5 else (math.nan,)
    return Fuse(carried, fuse_rating(carried), pulse, first, max(asked), farads * volts**2 / 2 / (ohms + SHORT))


@dataclass(frozen=True)
class Bleeder:
    """A resistor that brings a full bank to ``safe`` within ``seconds``, and takes ``heat`` all the time."""

    resistance: Ohms[float]
    safe: Volts[float]
    seconds: Annotated[float, Unit("s", "time to the safe voltage")]
    heat: Annotated[float, Unit("W", "takes all the time")]
    energy: Annotated[float, Unit("J", "takes in a day")]


def bleeders(farads: float, volts: float) -> tuple[Bleeder, ...]:
    """For a bank of ``farads`` [F] at ``volts`` [V]: in 5, 30 and 300 s, and the one that takes 1 W all the time."""
    safe = min(SAFE, volts / 2)
    slow = volts**2 / LITTLE * farads * math.log(volts / safe)
    pairs = [(seconds, *bleeder(farads, volts, safe, seconds)) for seconds in sorted((*TIMES, slow))]
    return tuple(Bleeder(ohms, safe, seconds, watts, watts * 86400) for seconds, ohms, watts in pairs)
