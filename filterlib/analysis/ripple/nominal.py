"""What a panel shows of a design at once: nominal figures only, in a few milliseconds, from frequency responses alone.

The same circuits, sources and bands as the full analyses; what they do for every place, source and
uncertain parameter is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from filterlib.analysis.described import Amperes, Decibels, Hertz, Ratio, Seconds, Volts
from filterlib.analysis.linear.fourier import step_from_response
from filterlib.analysis.linear.frequency_response import peaks
from filterlib.analysis.linear.steps import RISE_TIME, SETTLED, steps
from filterlib.analysis.ripple.ripple_result import Band, Spectra, named_band
from filterlib.analysis.ripple.spectra import driven, from_transfers
from filterlib.analysis.stability.stability import FREQUENCIES, encircles_nothing, sharp
from filterlib.network.netlist import Output
from filterlib.system.design import Design
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution, powered_loads
from filterlib.system.state import State
from filterlib.units import decibels

_LOOK = np.logspace(-7, 0, 141)  # [s] at which the length of the picture is sought
POINTS = 301
STEPS = (1.0, 2.0, 5.0, 10.0)
AUDIBLE = 0.02  # of the greatest response: a sharp peak below that is not seen in the step


@dataclass(frozen=True)
class NominalResult:
    """Nominal figures at one load and operating point.

    ``with_filter``, ``without_filter`` (f,) complex: load voltage over the ripple's electromotive force; ``resonances`` as in
    `BodeResult`. ``step_current``: rise of the load's current, with `RISE_TIME`; ``step``, ``step_before`` (t,): deviation at
    the load with and without the filter. ``band``: what the ripple is read in; ``ripple``, ``ripple_before`` (n,) over one
    ``period`` (n,). ``voltage`` at the load, ``drop`` from the regulated voltage. ``stable``; where it is not, step and ripple
    with the filter are empty and NaN.
    """

    point: str
    load: str
    band: Band
    frequencies: Hertz[np.ndarray]
    with_filter: Ratio[np.ndarray]
    without_filter: Ratio[np.ndarray]
    resonances: tuple[tuple[Hertz[float], Decibels[float], str], ...]
    voltage: Volts[float]
    drop: Volts[float]
    stable: bool
    step_current: Amperes[float] = np.nan
    times: Seconds[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    step: Volts[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    step_before: Volts[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    period: Seconds[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    ripple: Volts[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    ripple_before: Volts[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    peak_to_peak: Volts[float] = np.nan
    peak_to_peak_before: Volts[float] = np.nan


@dataclass(frozen=True, eq=False)
class _Side:
    """One circuit's answers at a load: over the source, after the load's current, its ripple; and whether it is stable."""

    over_source: np.ndarray
    impedance: np.ndarray
    spectra: Spectra
    stable: bool


def nominal(solution: Solution, load: str, *, band: str = "20MHz") -> NominalResult:
    """The nominal figures at a load.

    Ripple is exactly that of `ripple`. Steps come from the frequency response, to a hundredth of their greatest excursion;
    stability from the turns of det(1 - Z Y) about the origin, Z being the impedances at the loads of constant power and Y
    their admittances, everything else being passive. Where a resonance is too sharp for that, the poles give both.

    Parameters: ``solution`` of one design; ``load``: its name; ``band``: label of the band in which ripple is read, one of
    `filterlib.analysis.ripple.ripple_result.bands`.
    Returns: NominalResult, in SI units; without ripple and steps where the circuit is unstable.
    Raises: FilterlibError for an unknown load, ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> result = nominal(solution, "modem")
    >>> round(1e3 * result.peak_to_peak, 2), round(1e3 * result.peak_to_peak_before, 1)  # [mV]
    (4.9, 88.3)
    """
    design, at = solution.design, solution.state
    wanted = design.named_load(load)
    chosen = named_band(design, band)
    after, before = _side(solution, load), _without(_Without(design, at, load))
    voltage = float(at.voltage(load))
    figures: dict[str, Any] = {
        "point": at.point, "load": load, "band": chosen, "frequencies": FREQUENCIES, "with_filter": after.over_source,
        "without_filter": before.over_source, "resonances": peaks(FREQUENCIES, decibels(after.over_source)),
        "voltage": voltage, "drop": float(design.converter.output_voltage - voltage), "stable": after.stable,
    }  # fmt: skip
    then = _ripple(before, load, chosen)
    figures |= {"period": then.period, "ripple_before": then.wave, "peak_to_peak_before": then.peak_to_peak}
    if not after.stable:
        return NominalResult(**figures, **_step_before(solution, wanted, before))
    now = _ripple(after, load, chosen)
    figures |= _steps(solution, wanted, after, before)
    return NominalResult(**figures, ripple=now.wave, peak_to_peak=now.peak_to_peak)


# fields of a design that the circuit without filter does not depend on
_ELSEWHERE = ("name", "note", "filter", "couplings", "operating_points", "requirements")


@dataclass(frozen=True, eq=False)
class _Without:
    """A design without its filter: equal to another one wherever the rest of it and the load's state are equal."""

    design: Design
    state: State
    load: str

    @property
    def _facts(self) -> tuple[object, ...]:
        state, design = self.state, self.design
        rest = tuple(getattr(design, name) for name in type(design).model_fields if name not in _ELSEWHERE)
        drawn = tuple((one.name, float(state.voltage(one.name)), state.scale(one.name)) for one in design.loads)
        currents = tuple(float(amps) for amps in state.load_currents.values())
        at = state.temperature, state.age, state.input_voltage
        return self.load, rest, drawn, currents, *at

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Without) and self._facts == other._facts

    def __hash__(self) -> int:
        return hash((self.load, self.design.converter, self.design.loads))


@lru_cache(maxsize=8)
def _without(one: _Without) -> _Side:
    """The side without the filter, kept while nothing but the filter's reactances moves."""
    return _side(Solution(one.design, one.state), one.load, filtered=False)


def _side(solution: Solution, load: str, *, filtered: bool = True) -> _Side:
    """One circuit, one elimination: at the grid and at the harmonics, for the converter's sources and the loads'."""
    design = solution.design
    harmonics = solution.source_spectra.frequencies[1:]
    powered = powered_loads(solution)
    names = dict.fromkeys((load, *(one.name for one in powered)))
    sources = driven(design)
    ports: list[Output] = [design.named_load(name).port for name in names]
    rows = np.array(
        solution.with_filter(filtered).transfer(
            np.concatenate((FREQUENCIES, harmonics)),
            [*sources, *(design.named_load(name).source for name in names)],
            ports,
        )
    )
    count = len(FREQUENCIES)
    by_source = from_transfers(solution, [load], [[row[0, count:]] for row in rows[: len(sources)]])
    driving = rows[len(sources) :, :, :count]
    places = [list(names).index(one.name) for one in powered]
    return _Side(
        over_source=rows[0, 0, :count],
        impedance=driving[0, 0],
        spectra=Spectra(harmonics, by_source, {}, {}, solution.source_spectra),
        stable=not filtered or encircles_nothing(solution, powered, -driving[np.ix_(places, places)]),
    )


def _steps(solution: Solution, load: Load, after: _Side, before: _Side) -> dict[str, Any]:
    """Deviations after the load's current rises; exact where a sharp peak rings on."""
    amps = _amperes(solution, load)
    rise = 1 / (1 + 2j * np.pi * FREQUENCIES * RISE_TIME)
    moved = after.impedance * rise
    peak = np.abs(moved) * sharp(np.abs(after.impedance))
    if peak.max() > AUDIBLE * np.abs(moved).max():
        exact = steps(solution, load.name)
        times, deviation = exact.times[1:], exact.load_step[1:]
    else:
        times = _times(step_from_response(FREQUENCIES, moved, _LOOK))
        deviation = amps * step_from_response(FREQUENCIES, moved, times)
    then = amps * step_from_response(FREQUENCIES, before.impedance * rise, times)
    return {"step_current": amps, "times": times, "step": deviation, "step_before": then}


def _step_before(solution: Solution, load: Load, before: _Side) -> dict[str, Any]:
    """The deviation without the filter alone."""
    amps = _amperes(solution, load)
    moved = before.impedance / (1 + 2j * np.pi * FREQUENCIES * RISE_TIME)
    times = _times(step_from_response(FREQUENCIES, moved, _LOOK))
    return {"step_current": amps, "times": times, "step_before": amps * step_from_response(FREQUENCIES, moved, times)}


def _amperes(solution: Solution, load: Load) -> float:
    return abs(float(solution.state.load_currents.get(load.name, 1.0))) / 2


def _times(look: np.ndarray) -> np.ndarray:
    """Until a step at the times of `_LOOK` rests, to 1, 2 or 5 times a power of ten."""
    off = np.abs(look - look[-1]) > SETTLED * np.max(np.abs(look))
    last = _LOOK[np.flatnonzero(off)[-1]] if off.any() else _LOOK[0]
    power = 10.0 ** np.floor(np.log10(last))
    return np.linspace(0, power * next(step for step in STEPS if step * power >= last), POINTS)[1:]


class _Ripple(NamedTuple):
    """One side's ripple over one period, and its size."""

    period: np.ndarray
    wave: np.ndarray
    peak_to_peak: float


@lru_cache(maxsize=8)
def _ripple(side: _Side, load: str, band: Band) -> _Ripple:
    """Kept with the side without the filter, while nothing but the filter's reactances moves."""
    wave = side.spectra.waveform(load, band)
    period = np.arange(len(wave)) / (side.spectra.frequencies[0] * len(wave))
    return _Ripple(period, wave, float(side.spectra.peak_to_peak(load, band)))
