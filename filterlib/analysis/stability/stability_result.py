"""What is known of an operating point and how stable it is there: nominally, over the range, and how far from ringing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Amperes, Henries, Hertz, InUnit, Kelvins, Ratio, Seconds, Unit, Watts
from filterlib.system.state import State

RuleName = Literal["0 dB", "6 dB", "gain and phase", "opposing argument"]
NAMED = 30e6  # [Hz] above which stray parts ring that no design controls


@dataclass(frozen=True)
class Stability:
    """``stable``; ``poles`` (p,) or None; ``method``.

    By poles: ``frequency`` and ``quality`` of the least damped one below `NAMED` (NaN where none rings); where ``count``
    poles are unstable, ``frequency`` of the one that grows fastest (0 where it does not ring), 2.718-fold every ``growth``.
    By the Nyquist count: the ``load`` whose curve encircles -1, or "".
    """

    stable: bool
    poles: Annotated[np.ndarray | None, Unit("1/s")]
    method: Literal["poles", "nyquist"]
    frequency: Hertz[float] = np.nan
    quality: Ratio[float] = np.nan
    count: int = 0
    growth: Seconds[float] = np.nan
    load: str = ""


@dataclass(frozen=True)
class Turn:
    """An uncertain parameter and the ``value`` from which the circuit is unstable, ``above`` it or below."""

    key: str
    label: str
    unit: str
    value: InUnit[float]
    above: bool


@dataclass(frozen=True)
class OverUncertainty:
    """Stability over the uncertain parameters.

    ``stable``: of every case tried; ``share`` of the plausible cases (each value anywhere in its range, as the range is walked)
    that are unstable; ``alone``: what alone turns it, the nearest to nominal first; ``together``: where none does, the nearest
    combination that turns it. ``damping`` ratio and ``frequency`` of the least damped pole pair found, in any case, of those
    that the loads of constant power reach: below 0 it is unstable; inf where none rings. ``case``: every uncertain parameter's
    value there. ``cases``: how many the share is of.
    """

    stable: bool
    share: Annotated[float, Unit("", "plausible cases that are unstable", "unstable_share")]
    damping: Annotated[float, Unit("", "least damping ratio", "least_damping_ratio")]
    frequency: Annotated[float, Unit("Hz", "least damped at", "least_damped")]
    cases: int
    alone: tuple[Turn, ...] = ()
    together: tuple[Turn, ...] = ()
    case: tuple[Turn, ...] = ()

    @property
    def quality(self) -> Annotated[float, Unit("", "Q of the least damped case", "least_damped_Q")]:
        """Q of the least damped case; NaN where it is unstable."""
        return 1 / (2 * self.damping) if self.damping > 0 else np.nan


@dataclass(frozen=True)
class Rule:
    """A rule about impedances: the ``power`` that it allows, and its share of what is stable; ``kept`` at what is drawn."""

    name: RuleName
    power: Watts[float]
    share: Ratio[float]
    kept: bool


@dataclass(frozen=True)
class Margin:
    """How far one load of constant power at one operating point is from making the circuit ring.

    ``power`` drawn and ``critical_power``, from which it is unstable, its voltage then taken into account; there it rings at
    ``critical_frequency`` (0: it does not ring but collapses; NaN: nothing turns it). ``more``: how much more it may draw, as a share of what it draws. ``damping``
    ratio and ``frequency`` of the least damped pair that loads of constant power see. ``gain_margin`` and ``phase_margin`` of the
    loop (inf where its size stays below 1; of an unstable one the first is below 0, and the other NaN). Curves (f,) over ``frequencies``: ``source_impedance`` back from the load, its capacitor
    included, ``load_impedance`` of the constant power alone, ``loop``: their ratio, complex. ``rules``: what rules would allow.
    """

    point: str
    load: str
    power: Watts[float]
    critical_power: Annotated[float, Unit("W", "critical power", "critical")]
    critical_frequency: Annotated[float, Unit("Hz", "rings there at", "critical")]
    damping: Annotated[float, Unit("", "damping ratio", "damping")]
    frequency: Annotated[float, Unit("Hz", "least damped at", "least_damped")]
    gain_margin: Annotated[float, Unit("dB", "gain margin", "gain_margin")]
    phase_margin: Annotated[float, Unit("deg", "phase margin", "phase_margin")]
    rules: tuple[Rule, ...]
    frequencies: Annotated[np.ndarray, Unit("Hz", key=None)]
    source_impedance: Annotated[np.ndarray, Unit("ohm", key=None)]
    load_impedance: Annotated[np.ndarray, Unit("ohm", key=None)]
    loop: Annotated[np.ndarray, Unit("", key=None)]

    @property
    def more(self) -> Annotated[float, Unit("", "more power before it rings", "more")]:
        """Share of the power drawn that may be added; negative where the circuit is unstable."""
        return self.critical_power / self.power - 1

    @property
    def stable(self) -> bool:
        """Whether it draws less than the critical power."""
        return self.power < self.critical_power


@dataclass(frozen=True)
class CriticalValue:
    """The value of a part, under its ``key``, at which the circuit begins to ring: ``value`` now, ``critical``, ``above`` it or below."""

    key: str
    part: str
    what: str
    unit: str
    value: InUnit[float]
    critical: InUnit[float]
    above: bool

    @property
    def ratio(self) -> Annotated[float, Unit("", "critical over present", "ratio")]:
        """Critical value over the present one."""
        return self.critical / self.value


@dataclass(frozen=True)
class Condition:
    """Critical power with the parts at another ``temperature``, or worn (``words``)."""

    words: str
    temperature: Kelvins[float]
    worn: bool
    critical_power: Annotated[float, Unit("W", "critical power", "critical")]
    power: Watts[float]


@dataclass(frozen=True)
class PartLimits:
    """What keeps one load from ringing: critical ``values`` of parts, where the margin is `SMALL`, and its critical power with electrolytics
    in other ``conditions``, where the filter has any."""

    point: str
    load: str
    values: tuple[CriticalValue, ...]
    conditions: tuple[Condition, ...]


@dataclass(frozen=True)
class PartNote:
    """What to know of the part ``name`` at an operating point: ``value`` against ``limit``.

    Of "unbalance", ``left`` and ``full``: inductance that the core has left for the common mode, of the whole.
    """

    kind: Literal["overcurrent", "overvoltage", "no bias curve", "beyond curve", "unbalance", "beyond saturation"]
    name: str
    value: InUnit[float]
    limit: InUnit[float] = np.nan
    unit: str = "A"
    left: Henries[float] = np.nan
    full: Henries[float] = np.nan


@dataclass(frozen=True)
class LightLoadResult:
    """What the converter does at a light load, see `filterlib.system.inside.light_load.LightLoad`.

    ``drawn`` of ``full`` load, ``below`` which it bursts; ``stated``: whether that is, ``certain``: whether the burst is; the burst's
    ``pulses``, ``period`` and ``peak``, and the current that they carry, ``delivered``: 0 and NaN where nothing is drawn.
    """

    drawn: Amperes[float]
    below: Amperes[float]
    full: Amperes[float]
    stated: bool
    certain: bool
    pulses: Annotated[int, Unit("")]
    period: Seconds[float]
    peak: Amperes[float]
    delivered: Amperes[float]


@dataclass(frozen=True)
class DiscontinuousResult:
    """An output inductor's current that falls to zero, see `filterlib.system.inside.light_load.Discontinuous`."""

    drawn: Amperes[float]
    half: Amperes[float]
    share: Ratio[float]
    known: bool


@dataclass(frozen=True)
class OperatingResult:
    """One operating point; mappings are by name.

    ``load_scale``: share of the full draw by load; ``drops``: regulated voltage minus load voltage; ``currents`` through chokes
    and wires; ``unbalances``: sum of both windings' currents; ``notes``: what to know of parts at this point; ``state``: the
    `State` itself; ``light_load``, ``discontinuous``: None where the load is not so light.
    """

    point: str
    temperature: Kelvins[float]
    load_scale: Annotated[Mapping[str, float], Unit("", "share of full draw", key=None)]
    terminal_voltage: Annotated[float, Unit("V", "terminals", "terminals", digits=4)]
    load_voltages: Annotated[Mapping[str, float], Unit("V", "voltage", "", digits=4)]
    load_currents: Annotated[Mapping[str, float], Unit("A", "current", "")]
    load_powers: Annotated[Mapping[str, float], Unit("W", "power", "")]
    drops: Annotated[Mapping[str, float], Unit("V", "drop", "drop")]
    currents: Annotated[Mapping[str, float], Unit("A", key="")]
    unbalances: Annotated[Mapping[str, float], Unit("A", key="unbalance")]
    biases: Annotated[Mapping[str, float], Unit("V", key="bias")]
    converter_current: Annotated[float, Unit("A", "converter", "converter")]
    stability: Stability
    notes: tuple[PartNote, ...]
    state: State
    light_load: LightLoadResult | None = None
    discontinuous: DiscontinuousResult | None = None

    @property
    def stable(self) -> bool:
        """Whether there is a steady state."""
        return self.stability.stable

    @property
    def poles(self) -> np.ndarray | None:
        """(p,) [1/s], or None where a part has no ladder."""
        return self.stability.poles

    @property
    def reason(self) -> Stability | None:
        """Why there is no steady state; None where there is one."""
        return None if self.stable else self.stability


@dataclass(frozen=True)
class ProvedRange:
    """One uncertain parameter of a proof: its range, and of a counter-example its ``value`` (NaN else)."""

    key: str
    label: str
    unit: str
    low: InUnit[float]
    high: InUnit[float]
    value: InUnit[float] = np.nan


@dataclass(frozen=True)
class Proof:
    """``verdict``: "stable" for every combination of ``ranges``, proved; "unstable" for their values; or "undecided".

    ``held``: keys of the other uncertain parameters, at their nominal values. ``boxes``: parts of the ranges and intervals of
    frequency that were asked.
    """

    point: str
    verdict: Literal["stable", "unstable", "undecided"]
    ranges: tuple[ProvedRange, ...]
    held: tuple[str, ...]
    boxes: Annotated[int, Unit("", key="boxes")]
