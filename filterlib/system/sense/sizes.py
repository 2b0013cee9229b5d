"""Sizes that may be true and are more often a slip: of bursts, ratings, limits, temperatures; each is said, and nothing refused."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.errors import Problem
from filterlib.system.design import Design
from filterlib.system.line.stages import Damping
from filterlib.system.requirements import StepRequirement
from filterlib.units import format_quantity

COLDEST, HOTTEST = 218.15, 398.15  # [K] -55 to 125 °C, for which most parts are made: common practice, no source
LARGE_CURRENT, LARGE_POWER, SMALL_CURRENT = (
    200.0,
    5e3,
    1e-6,
)  # [A], [W] beyond what such filters carry; common practice, no source
LONG_BURST = 60.0  # [s] from which on a load's burst is no longer one that capacitors carry; common practice, no source
SMALL_PEAK, SMALL_RESISTOR = (
    1e-3,
    1e-3,
)  # [A] of a converter's pulse, [ohm] of a damping resistor; common practice, no source
NEARLY = 0.9  # of its period, from which on a burst is no longer one; common practice, no source
LOW_VOLTAGE = 0.2  # of the output voltage, below which few loads work; common practice, no source
APART = 10.0  # times, by which two figures for one thing may miss each other; common practice, no source

Row = tuple[bool, str, float, str, str]
"""Whether it is odd, key, value, its unit, and why."""


def odd_sizes(design: Design) -> tuple[Problem, ...]:
    """Values to look at once more: key, value as text and why.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> odd_sizes(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"))
    ()
    """
    rows = (
        *_draw(design),
        *_profiles(design),
        *_rating(design),
        *_bursts(design),
        *_points(design),
        *_wanted(design),
        *_damping(design),
    )
    return tuple(Problem("", key, format_quantity(value, unit), why) for odd, key, value, unit, why in rows if odd)


def _draw(design: Design) -> Iterator[Row]:
    why = "all loads together draw {} than such a filter usually carries; was a prefix forgotten?"
    amps = design.full_current
    large = amps > LARGE_CURRENT or amps * design.converter.output_voltage > LARGE_POWER
    yield large, "load", amps, "A", why.format("more")
    yield amps < SMALL_CURRENT, "load", amps, "A", why.format("less")


def _profiles(design: Design) -> Iterator[Row]:
    lowest = LOW_VOLTAGE * design.converter.output_voltage
    for number, load in enumerate(design.loads, 1):
        if (profile := load.profile) is not None:
            key = f"load[{number}].profile"
            yield profile.idle >= 1, f"{key}.idle", profile.idle, "", "a load that never draws less has no bursts"
            yield (
                profile.burst > LONG_BURST,
                f"{key}.burst",
                profile.burst,
                "s",
                "capacitors carry bursts of seconds at most",
            )
            why = "nearly the whole period: hardly any time is left to recharge; were burst and pause exchanged?"
            yield profile.burst > NEARLY * profile.period, f"{key}.burst", profile.burst, "s", why
            why = f"few loads work below {format_quantity(lowest, 'V')} here; was a prefix forgotten?"
            yield profile.lowest_voltage < lowest, f"{key}.lowest_voltage", profile.lowest_voltage, "V", why


def _rating(design: Design) -> Iterator[Row]:
    rating, volts = design.converter.rating, design.converter.output_voltage
    if rating is None:
        return
    amps, watts = rating.output_current, rating.output_power
    large = "more than a converter of this kind usually gives; was a prefix forgotten?"
    if amps is not None:
        yield amps > LARGE_CURRENT, "converter.rating.output_current", amps, "A", large
    if watts is not None:
        yield watts > LARGE_POWER, "converter.rating.output_power", watts, "W", large
    if amps is not None and watts is not None:
        why = f"more than {APART:g} times away from output_current at {volts:g} V: {format_quantity(amps * volts, 'W')}"
        yield not 1 / APART <= watts / (amps * volts) <= APART, "converter.rating.output_power", watts, "W", why
    if rating.derating is not None:
        shares = [share for _, share in rating.derating]
        why = "more is left in the heat than in the cold; a derating falls as the temperature rises"
        yield any(np.diff(shares) > 0), "converter.rating.derating", max(shares), "", why
        yield max(shares) > 1, "converter.rating.derating", max(shares), "", "more than the rating itself"
        yield max(shares) == 0, "converter.rating.derating", 0.0, "", "nothing is left of the rating at any temperature"


def _bursts(design: Design) -> Iterator[Row]:
    converter, full = design.converter, design.full_current
    if converter.burst is not None and (peak := converter.burst.peak) is not None:
        why = "no usual peak of a converter's pulses; was a prefix forgotten?"
        yield not SMALL_PEAK <= peak <= LARGE_CURRENT, "converter.burst.peak", peak, "A", why
    if converter.burst_below is not None:
        amps = converter.burst_below.of(full)
        yield (
            amps >= full > 0,
            "converter.burst_below",
            amps,
            "A",
            "all that the loads draw: the converter would always burst",
        )


def _points(design: Design) -> Iterator[Row]:
    nominal, life, names = design.converter.input_voltage, design.service_life, [load.name for load in design.loads]
    drawn = max(point.scale(name) for point in design.operating_points for name in names)
    yield drawn == 0, "operating_point.load", drawn, "%", "no load draws anything at any operating point"
    for number, point in enumerate(design.operating_points, 1):
        key, volts = f"operating_point[{number}]", point.input_voltage
        why = "parts are made for -55 to 125 °C at most; was a unit forgotten?"
        yield not COLDEST <= point.temperature <= HOTTEST, f"{key}.temperature", point.temperature, "K", why
        if life is not None:
            yield point.age > life, f"{key}.age", point.age, "s", "older than service_life, which the design asks for"
        if volts is not None and nominal is not None:
            why = f"more than {APART:g} times away from converter.input_voltage; was a prefix forgotten?"
            yield not 1 / APART <= volts / nominal <= APART, f"{key}.input_voltage", volts, "V", why


def _wanted(design: Design) -> Iterator[Row]:
    volts = design.converter.output_voltage
    for number, wanted in enumerate(design.requirements, 1):
        key, limit = f"requirement[{number}]", getattr(wanted, "limit", None)
        if isinstance(limit, float):
            yield limit >= volts, f"{key}.limit", limit, "V", "as much as the output voltage: nothing could fail it"
        if isinstance(wanted, StepRequirement):
            yield (
                wanted.current > LARGE_CURRENT,
                f"{key}.current",
                wanted.current,
                "A",
                "no usual step of a load; was a prefix forgotten?",
            )


def _damping(design: Design) -> Iterator[Row]:
    for number, stage in enumerate(design.filter, 1):
        if isinstance(stage, Damping):
            ohms = float(np.min(stage.resistance))
            why = "so little damps nothing; was a prefix forgotten?"
            yield 0 < ohms < SMALL_RESISTOR, f"filter[{number}].resistance", ohms, "ohm", why
