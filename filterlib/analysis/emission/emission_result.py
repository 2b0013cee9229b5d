"""What is asked and estimated of one line's conducted emission: its test, its spectra, levels and margins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Literal, get_args

import numpy as np

from filterlib.analysis.described import Amperes, Hertz, Ratio, Unit, Volts
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.stability.stability_result import Stability
from filterlib.analysis.uncertainty.plausible import Interval
from filterlib.errors import FilterlibError, did_you_mean
from filterlib.parts.artificial_network import ArtificialNetwork, artificial_network
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.limits import INSIDE, LimitFile, find_limit
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.units import decibels, from_decibels

Side = Literal["output", "input"]
SIDES: tuple[Side, ...] = get_args(Side)
LINES = ("plus", "return")
INPUT_LINES = ("input_plus", "input_return")
OUTPUT_LINES = ("load_plus", "0")
_PEAK = Unit("V", key=None, except_at={"common_current": "A"})
_LEVEL = Unit("dBuV", key="", except_at={"common_current": "dBuA"})


@dataclass(frozen=True)
class EmissionTest:
    """What is measured, and against what.

    ``side``: the converter's "output" line, at the end of the filter, or its "input" line; ``network``: name of an
    artificial network, or "" for the one at which the first limit holds; ``limits``: names of standard limits, or limit
    files that were read; ``input_side``: the figures of the input, None for defaults.

    Raises FilterlibError for a side, network or limit that does not exist, and for an ``input_side`` at the output.
    """

    side: Side = "output"
    network: str = ""
    limits: tuple[str | LimitFile, ...] = ("mains-class-b",)
    input_side: InputSide | None = None

    def __post_init__(self) -> None:
        if self.side not in SIDES:
            raise FilterlibError(f'no side "{self.side}"; {did_you_mean(str(self.side), SIDES)}')
        if self.side == "output" and self.input_side is not None:
            raise FilterlibError('input_side: belongs to side = "input"; leave it out at the output')
        if isinstance(self.limits, str):
            raise FilterlibError(f'limits: a tuple of names is needed, ("{self.limits}",), not one text')
        for one in self.limits:
            if not isinstance(one, LimitFile):
                find_limit(one)
        if self.network:
            artificial_network(self.network)

    @property
    def judged(self) -> tuple[LimitFile, ...]:
        """The limits, read."""
        return tuple(find_limit(one) if isinstance(one, str) else one for one in self.limits)

    @property
    def at(self) -> ArtificialNetwork:
        """The network."""
        named = (one.limit.network for one in self.judged if one.limit.network is not None)
        return artificial_network(self.network or next(named, "50uH"))

    @property
    def ends(self) -> np.ndarray:
        """Where limits begin and end within the network's range (e,) [Hz], the ends of that range among them."""
        whole = self.at.low * (1 + INSIDE), self.at.high * (1 - INSIDE)
        ends = np.concatenate([whole, *(one.limit.ends for one in self.judged)])
        return np.unique(ends[(ends >= self.at.low) & (ends <= self.at.high)])

    @property
    def held(self) -> InputSide:
        """The input, with its defaults."""
        return self.input_side or InputSide()

    def inputs(self, converter: Converter) -> tuple[UncertainParameter, ...]:
        """Uncertain parameters of the input; nothing at the output."""
        return tuple(self.held.uncertain_parameters(converter)) if self.side == "input" else ()


@dataclass(frozen=True)
class LineSpectra:
    """What each source puts on each line, as peak amplitudes 2 c_k of the harmonics 1 ... h; (h,) or (designs, h).

    ``voltages``: (line, source) -> at the receiver's port, to chassis; ``currents``: (line, source) -> out of the device into
    the network.
    """

    frequencies: Hertz[np.ndarray]
    voltages: Volts[dict[tuple[str, str], np.ndarray]]
    currents: Amperes[dict[tuple[str, str], np.ndarray]]

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources, in order."""
        return tuple(dict.fromkeys(source for _, source in self.voltages))

    def voltage(self, line: str) -> np.ndarray:
        """Of all sources together [V]."""
        return sum((v for (at, _), v in self.voltages.items() if at == line), np.zeros(1))

    def current(self, line: str) -> np.ndarray:
        """Of all sources together [A]."""
        return sum((i for (at, _), i in self.currents.items() if at == line), np.zeros(1))


@dataclass(frozen=True)
class EmissionResult:
    """Conducted emission at one operating point; h harmonics within the network's range.

    ``spacing`` of the harmonics; ``amplitudes``: place -> complex (h,) peak amplitudes, at the receiver's ports;
    ``by_source``: (place, source) -> the same of each source, which add up; ``levels``: (place, detector) -> (h,), rms;
    ``low``, ``high``: place -> (h,), the peak detector's range over the uncertainty (empty where none was sought). Places:
    "plus" and "return", each line to chassis; "differential", v+ - v-; "common", (v+ + v-)/2; "common_current", i+ + i-.
    ``margins``: one a limit and detector. ``assumptions``: uncertain parameters that no file states.
    ``extents``: (limit, detector) -> ratio of level to limit over the uncertainty, with the values that make its
    ends. ``bursts``: whether it is that of stated bursts, read at the loudest lines alone, with the range of steady switching about it. ``reason``: why there is nothing (an unstable circuit), else None.
    """

    point: str
    test: EmissionTest
    spacing: Annotated[float, Unit("Hz", key=None)] = np.nan
    frequencies: Annotated[np.ndarray, Unit("Hz", key="frequency")] = field(default_factory=lambda: np.zeros(0))
    amplitudes: Annotated[Mapping[str, np.ndarray], _PEAK] = field(default_factory=dict)
    by_source: Annotated[Mapping[tuple[str, str], np.ndarray], _PEAK] = field(default_factory=dict)
    levels: Annotated[Mapping[tuple[str, str], np.ndarray], _LEVEL] = field(default_factory=dict)
    low: Annotated[Mapping[str, np.ndarray], replace(_LEVEL, key="peak_low")] = field(default_factory=dict)
    high: Annotated[Mapping[str, np.ndarray], replace(_LEVEL, key="peak_high")] = field(default_factory=dict)
    margins: tuple[Margin, ...] = ()
    trusted_to: Hertz[float] = np.nan
    assumptions: tuple[UncertainParameter, ...] = ()
    extents: Mapping[tuple[str, str], Extent] = field(default_factory=dict)
    bursts: bool = False
    reason: Stability | None = None

    @property
    def side(self) -> Side:
        """Of the converter."""
        return self.test.side

    @property
    def network(self) -> str:
        """The network's title."""
        return self.test.at.title

    @property
    def limits(self) -> tuple[LimitFile, ...]:
        """The limits."""
        return self.test.judged

    def plausible_share(self, limit: str, asked: float) -> Ratio[float]:
        """Share of the plausible cases, at least, in which all detectors stay as far below a limit as is ``asked`` for [dB]; NaN where none are drawn."""
        margins = [one for one in self.margins if one.limit == limit]
        if all(one.kept(asked) == "met" for one in margins):
            return 1.0
        drawn = [
            self.extents[limit, one.detector].plausible for one in margins if (limit, one.detector) in self.extents
        ]
        known = [one for one in drawn if one is not None]
        if len(known) < len(margins):
            return np.nan
        needed = [from_decibels(one.needed(asked)) for one in margins]
        worst = np.max([one.figures * over for one, over in zip(known, needed, strict=True)], axis=0)
        return known[0].of(worst).least_share(-np.inf, 1.0)

    @property
    def worst(self) -> Margin | None:
        """The margin that decides; None where there is none."""
        return min(self.margins, key=lambda one: one.margin, default=None)

    def common_over_differential(self, frequency: float) -> float:
        """By how much, on each line, the common mode exceeds the differential part [dB], at the harmonic next to a frequency [Hz]."""
        at = int(np.argmin(np.abs(self.frequencies - frequency)))
        half = self.levels["differential", "peak"][at] - decibels(2.0)  # each line has half of the differential voltage
        return float(self.levels["common", "peak"][at] - half)


@dataclass(frozen=True)
class Extent(Interval):
    """The interval of the highest line, as its ratio to the limit; ``low_at``, ``high_at``: which line that is at either end."""

    low_at: Annotated[int, Unit("", key=None)] = 0
    high_at: Annotated[int, Unit("", key=None)] = 0


def emission_tests(design: Design) -> tuple[EmissionTest, ...]:
    """What the design file asks for, one test a side and network: of its estimates and of its requirements."""
    limits_at: dict[tuple[str, str], dict[str, LimitFile]] = {}
    for one in design.emissions:
        limits_at.setdefault((one.side, one.at), {}).update({limit.name: limit for limit in one.limits})
    for wanted in design.requirements:
        if not isinstance(wanted, EmissionRequirement):
            continue
        limits_at.setdefault((wanted.side, wanted.at), {})[wanted.limit.name] = wanted.limit
    return tuple(
        EmissionTest(side, network, tuple(limits.values()), design.input_side if side == "input" else None)  # type: ignore[arg-type]
        for (side, network), limits in limits_at.items()
    )


def nearest(result: EmissionResult) -> float:
    """The least nominal margin [dB]; without a limit in reach, the highest line's level below nothing [-dBµV]."""
    if result.margins:
        return min(margin.margin for margin in result.margins)
    return -max((float(np.max(level, initial=-np.inf)) for level in result.levels.values()), default=-np.inf)
