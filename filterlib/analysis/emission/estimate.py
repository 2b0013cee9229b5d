"""Conducted emission of the output or the input line: what a receiver would read, against limits, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal

import numpy as np

from filterlib.analysis.described import Decibels, Hertz, InUnit, Unit
from filterlib.analysis.emission.line_spectra import LINES, EmissionTest, LineSpectra, Side, line_spectra
from filterlib.analysis.emission.receiver import DETECTORS, MICROVOLT, main_line, read, tunings
from filterlib.analysis.linear.modal_two_port import modal_currents, modal_voltages
from filterlib.analysis.ripple.ripple import trusted_to
from filterlib.analysis.stability.by_frequency_response import stays_up
from filterlib.analysis.stability.stability import Stability, stability
from filterlib.analysis.uncertainty.interval import Interval, in_chunks, over_shapes, shapes
from filterlib.system.design import Design
from filterlib.system.limits import LimitFile
from filterlib.system.solution import Solution
from filterlib.system.state import State
from filterlib.system.uncertain_parameter import UncertainParameter
from filterlib.system.uncertain_parameters import uncertain_parameters
from filterlib.units import decibels, from_decibels

PLACES = (*LINES, "differential", "common")
CURRENT = "common_current"
INPUT_TRUSTED = 10e6  # [Hz] above which what rings at the input's switching edges decides: common practice, no source
_JUDGED = {("line", "dBuV"): LINES, ("common_mode", "dBuV"): ("common",), ("common_mode", "dBuA"): (CURRENT,)}

_ROUNDING = 1e-9  # share by which rounding may move a frequency past the end of the network's range
_PEAK = Unit("V", key=None, except_at={"common_current": "A"})
_LEVEL = Unit("dBuV", key="", except_at={"common_current": "dBuA"})
Answer = Literal["below throughout", "depends on", "above throughout"]


@dataclass(frozen=True)
class Margin:
    """How far one detector stays below one limit where it comes nearest; negative means above it.

    ``limit``: the file's name; ``place``: "plus", "return", "common" or "common_current"; ``frequency``: to which the receiver
    is tuned; ``line``: the harmonic that it hears most there, the same but at the end of a limit's piece; ``by_source``: what it
    would read there of each source alone, most first; ``low``, ``high``: the worst and best
    margin over the uncertainty (equal to it where no range was sought); ``depends_on``: label of the uncertain
    parameter that moves it most, or "".
    """

    limit: str
    title: str
    detector: str
    place: str
    frequency: Annotated[float, Unit("Hz", key="at")]
    line: Hertz[float]
    by_source: Annotated[Mapping[str, float], Unit("{unit}", key=None)]
    level: InUnit[float]
    limit_level: Annotated[float, Unit("{unit}", key="limit")]
    unit: str
    margin: Decibels[float]
    low: Annotated[float, Unit("dB", key="margin_low")]
    high: Annotated[float, Unit("dB", key="margin_high")]
    depends_on: str
    from_memory: bool

    @property
    def verdict(self) -> Answer:
        """Against the limit over the whole range."""
        return "above throughout" if self.high < 0 else "depends on" if self.low < 0 else "below throughout"


@dataclass(frozen=True)
class EmissionResult:
    """Conducted emission at one operating point; h harmonics within the network's range.

    ``spacing`` of the harmonics; ``amplitudes``: place -> complex (h,) peak amplitudes, at the receiver's ports;
    ``by_source``: (place, source) -> the same of each source, which add up; ``levels``: (place, detector) -> (h,), rms;
    ``low``, ``high``: place -> (h,), the peak detector's range over the uncertainty (empty where none was sought). Places:
    "plus" and "return", each line to chassis; "differential", v+ - v-; "common", (v+ + v-)/2; "common_current", i+ + i-.
    ``margins``: one a limit and detector. ``assumptions``: uncertain parameters that no file states.
    ``extents``: (limit, detector) -> ratio of level to limit over the uncertainty, with the values that make its
    ends. ``reason``: why there is nothing (an unstable circuit), else None.
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
    extents: Mapping[Any, Interval] = field(default_factory=dict)
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

    @property
    def worst(self) -> Margin | None:
        """The margin that decides; None where there is none."""
        return min(self.margins, key=lambda one: one.margin, default=None)

    def common_over_differential(self, frequency: float) -> float:
        """By how much, on each line, the common mode exceeds the differential part [dB], at the harmonic next to a frequency [Hz]."""
        at = int(np.argmin(np.abs(self.frequencies - frequency)))
        half = self.levels["differential", "peak"][at] - decibels(2.0)  # each line has half of the differential voltage
        return float(self.levels["common", "peak"][at] - half)


def emissions(
    solution: Solution,
    test: EmissionTest | None = None,
    *,
    interval: bool = True,
    progress: Callable[[float], None] | None = None,
) -> EmissionResult:
    """Conducted emission at an operating point, on each line and as modes, with margins to the limits.

    Parameters: ``solution`` of one design; ``test``: which line, through which network, against which limits; ``interval``:
    False leaves the search over the uncertainty out; ``progress``: called with the share of the search that is done, 0 .. 1.
    Returns: EmissionResult, its levels (h,) [dBµV or dBµA]: an estimate before a test, not a test.
    Raises: ScaleError where the converter's stated figures contradict each other; FilterlibError where the input current
    cannot be estimated, and for an unknown network or limit.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> nearest = emissions(solution, interval=False).worst
    >>> nearest.limit, nearest.detector, round(nearest.margin, 1)  # [dB]
    ('mains-class-b', 'average', -7.3)
    """
    test = test or EmissionTest()
    if not stays_up(solution):
        return EmissionResult(solution.point, test, reason=stability(solution))
    return estimate(solution, test, interval=interval, progress=progress)


def estimate(
    solution: Solution,
    test: EmissionTest,
    *,
    interval: bool | Mapping[Any, Interval],
    progress: Callable[[float], None] | None = None,
) -> EmissionResult:
    """As `emissions`, of a circuit that is known to be stable there.

    ``interval``: True seeks the range; the ``extents`` of another operating point give that at the values which make its ends.
    """
    design, state = solution.design, solution.state
    spectra = line_spectra(solution, test)
    inside, amplitudes = _inside(spectra.frequencies, test), _amplitudes(spectra)
    tuned = _tuned(spectra.frequencies, test)
    spacing = design.converter.switching_frequency
    levels = _levels(amplitudes, spacing, tuned)
    spread = _Spread(state, test)
    intervals = _intervals(design, spread, interval, progress)
    return EmissionResult(
        point=state.point,
        test=test,
        spacing=spacing,
        frequencies=spectra.frequencies[inside],
        amplitudes={place: values[inside] for place, values in amplitudes.items()},
        by_source={
            (place, source): values[inside]
            for source in spectra.sources
            for place, values in _amplitudes(spectra, source).items()
        },
        levels={key: level[: inside.sum()] for key, level in levels.items()},
        low=spread.low,
        high=spread.high,
        margins=tuple(_margins(levels, tuned, spectra, test, intervals, _labels(design, test))),
        trusted_to=min(trusted_to(design), INPUT_TRUSTED if test.side == "input" else np.inf),
        assumptions=tuple(one for one in _box(design, test, tolerances=False) if not one.stated),
        extents=intervals,
    )


def _intervals(
    design: Design, spread: _Spread, interval: bool | Mapping[Any, Interval], progress: Callable[[float], None] | None
) -> Mapping[Any, Interval]:
    """The range of every margin, as a ratio: sought, or read where another operating point has its ends."""
    more = _more(spread.test)
    if not interval:
        return {}
    if isinstance(interval, bool):
        return over_shapes(design, spread, more=more, progress=progress)
    ends = [values for each in interval.values() for values in (each.at_low, each.at_high)]
    read: dict[Any, list[np.ndarray]] = {name: [] for name in interval}
    for variant in shapes(design):
        box = (*uncertain_parameters(variant), *more(variant))
        values = {one.key: np.array([[at.get(one.key, one.nominal)] for at in ends]) for one in box}
        for name, figures in in_chunks(variant, spread)(values).items():
            read[name].append(figures)
    return {
        name: replace(interval[name], low=float(np.nanmin(figures)), high=float(np.nanmax(figures)))
        for name, figures in read.items()
    }


def _inside(frequencies: np.ndarray, test: EmissionTest) -> np.ndarray:
    """Which frequencies lie in the network's range."""
    return (frequencies >= test.at.low * (1 - _ROUNDING)) & (frequencies <= test.at.high * (1 + _ROUNDING))


def _tuned(frequencies: np.ndarray, test: EmissionTest) -> np.ndarray:
    """Where the receiver is tuned: to the harmonics inside, then to what is between them and to the ends of the limits."""
    return tunings(frequencies[_inside(frequencies, test)], frequencies[0], test.ends)


def _amplitudes(spectra: LineSpectra, source: str = "") -> dict[str, np.ndarray]:
    """Both lines, both modes and the common-mode current, of all sources or of one."""
    if source:
        volts, amps = (
            tuple(by_source[line, source] for line in LINES) for by_source in (spectra.voltages, spectra.currents)
        )
    else:
        volts, amps = (tuple(map(read_line, LINES)) for read_line in (spectra.voltage, spectra.current))
    values = (*volts, *modal_voltages(*volts), modal_currents(*amps)[1])
    return dict(zip((*PLACES, CURRENT), values, strict=True))


def _levels(amplitudes: dict[str, np.ndarray], spacing: float, tuned: np.ndarray) -> dict[tuple[str, str], np.ndarray]:
    """(place, detector) -> level (..., t) [dBµV or dBµA] at every frequency to which the receiver is tuned."""
    return {
        (place, detector): decibels(values / MICROVOLT)
        for place, lines in amplitudes.items()
        for detector, values in read(lines, spacing, tuned).items()
    }


def _gaps(levels: Mapping[tuple[str, str], np.ndarray], tuned: np.ndarray, test: EmissionTest) -> dict[Any, Any]:
    """(limit, detector) -> (places judged, distance below the limit (..., places, t) [dB]); infinite where none holds."""
    gaps = {}
    for one in test.judged:
        places = _JUDGED[one.limit.of, one.limit.unit]
        for detector in one.limit.detectors:
            level = np.stack([levels[place, detector] for place in places], axis=-2)
            gaps[one, detector] = places, one.limit.at(tuned, detector) - level
    return gaps


def _margins(
    levels: Mapping[tuple[str, str], np.ndarray],
    tuned: np.ndarray,
    spectra: LineSpectra,
    test: EmissionTest,
    intervals: Mapping[Any, Interval],
    labels: Mapping[str, str],
) -> Any:
    for (one, detector), (places, gap) in _gaps(levels, tuned, test).items():
        row, column = np.unravel_index(int(np.argmin(gap)), gap.shape)
        margin = float(gap[row, column])
        if not np.isfinite(margin):
            continue  # nothing is heard where this detector has a limit
        interval = intervals.get((one.name, detector))
        ends = (-decibels(interval.high), -decibels(interval.low)) if interval else (margin, margin)
        place, at = places[row], float(tuned[column])
        level = float(levels[place, detector][column])
        yield Margin(
            one.name, one.limit.title, detector, place, at, _line(spectra, place, at), _alone(spectra, place, detector, at),
            level, level + margin, one.limit.unit, margin, min(float(ends[0]), margin), max(float(ends[1]), margin),
            labels.get(interval.decisive, interval.decisive) if interval else "", one.limit.from_memory,
        )  # fmt: skip


def _line(spectra: LineSpectra, place: str, at: float) -> float:
    """The harmonic that a receiver tuned to ``at`` hears most [Hz]."""
    return main_line(_amplitudes(spectra)[place], spectra.frequencies[0], at)


def _alone(spectra: LineSpectra, place: str, detector: str, at: float) -> dict[str, float]:
    """What a receiver tuned to ``at`` reads of each source alone [dBµV or dBµA], most first."""
    lines = {source: _amplitudes(spectra, source)[place] for source in spectra.sources}
    read_ = {source: read(one, spectra.frequencies[0], [at])[detector][0] for source, one in lines.items()}
    levels = {source: float(decibels(value / MICROVOLT)) for source, value in read_.items()}
    return dict(sorted(levels.items(), key=lambda pair: -pair[1]))


class _Spread:
    """What is measured of many designs at once; keeps the range of every line of the spectrum as it goes."""

    def __init__(self, state: State, test: EmissionTest) -> None:
        self.state, self.test = state, test
        self.low: dict[str, np.ndarray] = {}
        self.high: dict[str, np.ndarray] = {}

    def __call__(self, design: Design, values: Mapping[str, Any]) -> dict[Any, Any]:
        """(limit, detector) -> nearest approach as the ratio of level to limit, (designs,)."""
        test = self.test
        if test.side == "input":
            test = EmissionTest(test.side, test.network, test.limits, test.held.at(values))
        spectra = line_spectra(Solution(design, self.state), test)
        tuned, count = _tuned(spectra.frequencies, test), int(_inside(spectra.frequencies, test).sum())
        levels = _levels(_amplitudes(spectra), design.converter.switching_frequency, tuned)
        for place in (*PLACES, CURRENT):
            rows = np.atleast_2d(levels[place, DETECTORS[0]])[:, :count]
            self.low[place] = np.fmin.reduce([*rows, self.low.get(place, rows[0])])
            self.high[place] = np.fmax.reduce([*rows, self.high.get(place, rows[0])])
        gaps = _gaps(levels, tuned, test)
        if not gaps:  # no limit: the search then follows the highest line
            return {"highest": from_decibels(levels["plus", DETECTORS[0]].max(axis=-1))}
        return {
            (one.name, detector): from_decibels(-gap.min(axis=(-2, -1))) for (one, detector), (_, gap) in gaps.items()
        }


def _more(test: EmissionTest) -> Callable[[Design], Any]:
    return lambda design: test.inputs(design.converter)


def _box(design: Design, test: EmissionTest, *, tolerances: bool = True) -> tuple[UncertainParameter, ...]:
    return (*uncertain_parameters(design, tolerances=tolerances), *_more(test)(design))


def _labels(design: Design, test: EmissionTest) -> dict[str, str]:
    return {one.key: one.label for one in _box(design, test)} | {"converter.shape": "shape of the switching current"}
