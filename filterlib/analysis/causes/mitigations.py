"""What would fix it: every candidate tried on the real model, ranked, with its costs and the rules that it would break."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, Refusal, Rule
from filterlib.analysis.ripple.at_load import GRID, Seen, narrow_and_wide, seen
from filterlib.analysis.ripple.nominal import nominal
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.state import State
from filterlib.system.uncertain_parameters import uncertain_parameters, with_values

LEAKAGE_LIMIT = 3.5e-3
"""[A] of earth leakage: for pluggable equipment with a protective earth, IEC 60950-1, table 5A (from memory)."""
LEAKAGE_FREQUENCY = 60.0  # [Hz], the higher of the two mains frequencies
ALIKE = 2  # of a group, that take part in pairs
KEPT = 0.5  # share of its nominal effect, in decibels, that a fix keeps wherever it is said to hold
Progress = Callable[[float], None]


@dataclass(frozen=True)
class Costs:
    """What a change costs beside the design as it is.

    ``parts`` more; ``drop`` [V] more of direct voltage lost to the load; ``heat`` [W] more, of direct current; ``leakage``
    [A] to the chassis, of all Y capacitors, the larger of input and output voltage taken as alternating, rms, at 60 Hz:
    the worst; ``charge`` [C] more to be brought in when switched on; ``peak`` [dB] of the response from the converter's emf
    to the load at its greatest, at ``peak_frequency`` [Hz].
    """

    parts: int
    drop: float
    heat: float
    leakage: float
    charge: float
    peak: float
    peak_frequency: float


@dataclass(frozen=True)
class Failure:
    """Where a change loses its effect: another operating ``point``, or the ``end`` of an uncertain ``parameter`` by its label."""

    point: str = ""
    parameter: str = ""
    end: str = ""


@dataclass(frozen=True)
class Mitigation:
    """One change, or two together, as tried.

    ``names``; ``kinds``; ``ripple``, ``spike`` [V] at the load, in 20 MHz and in full bandwidth; ``costs``; ``refused``: the
    rule that it breaks, or None. ``checked``: whether it was also tried over the uncertainty and at the other operating
    points; then ``ripple_high``, ``spike_high`` [V]: greatest with each uncertain parameter alone at its ends; ``holds``: False
    where it loses more than half its effect somewhere, first where ``fails`` says. Figures are NaN where it could not be tried.
    """

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    ripple: float
    spike: float
    costs: Costs | None
    refused: Refusal | None = None
    checked: bool = False
    ripple_high: float = np.nan
    spike_high: float = np.nan
    holds: bool = False
    fails: Failure | None = None

    @property
    def words(self) -> str:
        """The change as an instruction."""
        return " and ".join(self.names)

    def figure(self, label: str) -> float:
        """Ripple ("20MHz") or spike ("full") [V]."""
        return self.ripple if label == "20MHz" else self.spike


@dataclass(frozen=True)
class Trial:
    """What mitigations are tried against: the design at its point, its load, and the figure that decides."""

    design: Design
    state: State
    load: str
    label: str
    now: Seen

    def see(self, design: Design) -> Seen:
        """The load's view of another design at the same operating point."""
        return seen(design, design.state(self.state.point), self.load)


def try_all(trial: Trial, found: Iterable[Candidate], *, progress: Progress | None = None) -> tuple[Mitigation, ...]:
    """Every candidate by itself, ranked: lowest figure first, what is refused last; ties by name."""
    listed = sorted(found, key=lambda one: one.name)
    tried = []
    for number, one in enumerate(listed):
        tried.append(_tried(trial, (one,)))
        if progress is not None:
            progress((number + 1) / len(listed))
    return ranked(tried, trial.label)


def try_pairs(
    trial: Trial,
    found: Iterable[Candidate],
    singles: Iterable[Mitigation],
    count: int,
    *,
    progress: Progress | None = None,
) -> tuple[Mitigation, ...]:
    """Two at a time of the ``count`` best, those that were not refused, of unlike groups first; ranked."""
    best = _unlike(found, singles, count)
    pairs = [(a, b) for a, b in combinations(sorted(best, key=lambda one: one.name), 2) if a.group != b.group]
    tried = []
    for number, pair in enumerate(pairs):
        tried.append(_tried(trial, pair))
        if progress is not None:
            progress((number + 1) / len(pairs))
    return ranked(tried, trial.label)


def _unlike(found: Iterable[Candidate], singles: Iterable[Mitigation], count: int) -> list[Candidate]:
    """The best that were not refused, first `ALIKE` of each group, then the others: one group's exclude each other."""
    known = {one.name: one for one in found}
    allowed = [known[held.names[0]] for held in singles if not held.refused]
    best = [one for n, one in enumerate(allowed) if sum(held.group == one.group for held in allowed[:n]) < ALIKE]
    return [*best, *(one for one in allowed if one not in best)][:count]


def ranked(tried: Iterable[Mitigation], label: str) -> tuple[Mitigation, ...]:
    """In the order of the figure that decides; refused ones last; ties by the other figure, parts and name."""

    def key(one: Mitigation) -> tuple[Any, ...]:
        parts = one.costs.parts if one.costs is not None else 0
        figures = [float(np.nan_to_num(v, nan=np.inf)) for v in (one.figure(label), one.ripple, one.spike)]
        return bool(one.refused), *figures, parts, one.names

    return tuple(sorted(tried, key=key))


def _tried(trial: Trial, pair: tuple[Candidate, ...]) -> Mitigation:
    names, kinds = tuple(one.name for one in pair), tuple(one.kind for one in pair)
    forbidden = next((one.refused for one in pair if one.refused), None)
    if forbidden:
        return Mitigation(names, kinds, np.nan, np.nan, None, forbidden)
    try:
        design = _apply(trial.design, pair)
        now = trial.see(design)
    except FilterlibError as error:
        return Mitigation(names, kinds, np.nan, np.nan, None, Refusal("impossible", str(error)))
    costs = _costs(trial, design, now, sum(one.parts for one in pair))
    broken = next(broken_rules(trial, design, now.state, costs), None)
    return Mitigation(names, kinds, float(now.ripple), float(now.spike), costs, broken)


def _apply(design: Design, pair: tuple[Candidate, ...]) -> Design:
    for one in pair:
        design = one.change(design)
    return design


def _costs(trial: Trial, design: Design, now: Seen, parts: int) -> Costs:
    top = int(np.argmax(np.abs(now.response)))
    return Costs(
        parts=parts,
        drop=float(trial.state.voltage(trial.load) - now.state.voltage(trial.load)),
        heat=_heat(now.state) - _heat(trial.state),
        leakage=leakage(design),
        charge=_charge(design) - _charge(trial.design),
        peak=float(20 * np.log10(np.abs(now.response[top]))),
        peak_frequency=float(GRID[top]),
    )


def _heat(state: State) -> float:
    """Of direct current between the regulated voltage and the loads [W]."""
    fed = sum(state.load_voltages[name] * amps for name, amps in state.load_currents.items())
    return float(state.nominal_voltage * state.converter_current - fed)


def _charge(design: Design) -> float:
    """In the capacitors across the lines, those of the loads too, as they are without bias: the most [C]."""
    held: list[Any] = [one for one in design.filter if one.kind in ("capacitor", "damping")]
    held += [one.input_capacitor for one in design.loads if one.input_capacitor is not None]
    return float(design.converter.output_voltage * sum(np.max(one.part.capacitance) * one.count for one in held))


def leakage(design: Design) -> float:
    """Earth-leakage current [A] of all Y capacitors, one line's alone on a voltage to the chassis: see `Costs`."""
    volts = max(design.converter.output_voltage, design.converter.input_voltage or 0.0)
    held = [one for one in design.filter if one.kind == "capacitor_to_chassis"]
    farads = sum(np.max(one.part.capacitance) * one.count * (2 if one.line == "both" else 1) for one in held)
    return float(2 * np.pi * LEAKAGE_FREQUENCY * farads * volts)


def broken_rules(trial: Trial, design: Design, state: State, costs: Costs) -> Iterator[Refusal]:
    """Rules that a changed design breaks and the design as it is does not."""
    if costs.leakage > max(LEAKAGE_LIMIT, leakage(trial.design)):
        yield Refusal("leakage", value=costs.leakage, limit=LEAKAGE_LIMIT)
    before = {(one.rule, one.subject) for one in _overloads(trial.design, trial.state)}
    yield from (one for one in _overloads(design, state) if (one.rule, one.subject) not in before)
    volts, before_volts = float(state.voltage(trial.load)), float(trial.state.voltage(trial.load))
    for wanted in design.requirements:
        if wanted.kind == "voltage" and wanted.load == trial.load and volts < wanted.low <= before_volts:
            yield Refusal("low voltage", trial.load, volts, wanted.low, "V")


def _overloads(design: Design, state: State) -> Iterator[Refusal]:
    """Chokes and capacitors beyond what they are rated for."""
    for stage in design.filter:
        part: Any = stage.part
        name, called = stage.name, part.name or stage.name
        balanced, unbalance = abs(float(state.current(name))), abs(float(state.unbalance(name)))
        if stage.kind == "differential_choke":
            yield from _over("saturated", called, balanced, part.saturation_current)
        if stage.kind == "common_mode_choke":
            yield from _over("saturated by unbalance", called, unbalance, part.saturation_current)
        if stage.kind.endswith("choke"):
            yield from _over("rated current", called, balanced, part.rated_current)
        if hasattr(part, "usable_voltage"):
            for element in (name, f"{name}.plus", f"{name}.return"):
                yield from _over("usable voltage", called, float(state.bias(element)), part.usable_voltage, "V")


def _over(rule: Rule, subject: str, value: float, limit: Any, unit: str = "A") -> Iterator[Refusal]:
    if limit is not None and value > np.min(limit):
        yield Refusal(rule, subject, value, float(np.min(limit)), unit)


@dataclass(frozen=True)
class Baseline:
    """The deciding figure of the design as it is [V]: at every other stable operating point by name, and with each unknown
    alone at its ends, by label and end."""

    points: Mapping[str, float]
    ends: Mapping[tuple[str, str], float]


def baseline(trial: Trial) -> Baseline:
    """What changes are checked against."""
    points = {}
    for point in trial.design.operating_points:
        state = trial.design.state(point.name)
        if point.name != trial.state.point and nominal(trial.design, trial.load, state=state).stable:
            points[point.name] = float(_figure(replace(trial, state=state).see(trial.design), trial.label))
    return Baseline(points, _at_ends(trial.design, trial)[0])


def check(trial: Trial, mitigation: Mitigation, found: Iterable[Candidate], was: Baseline) -> Mitigation:
    """A mitigation tried over the band and at the other operating points.

    Each unknown is moved alone to both ends of its range, in the design with and without the change. A change after
    which the circuit is unstable is refused.
    """
    known = {one.name: one for one in found}
    design = _apply(trial.design, tuple(known[name] for name in mitigation.names))
    now = float(_figure(trial.now, trial.label))
    least = KEPT * np.log(mitigation.figure(trial.label) / now)
    for name in (trial.state.point, *was.points):
        if not nominal(design, trial.load, state=design.state(name)).stable:
            return replace(mitigation, refused=Refusal("unstable", name))
    fails = []
    for name, before in was.points.items():
        there = replace(trial, state=trial.design.state(name)).see(design)
        if np.log(float(_figure(there, trial.label)) / before) > least:
            fails.append(Failure(point=name))
    then, ripple, spike = _at_ends(design, trial)
    worse = (key for key, v in then.items() if np.log(v / was.ends.get(key, now)) > least)
    fails += [Failure(parameter=label, end=end) for label, end in worse]
    first = fails[0] if fails else None
    return replace(mitigation, checked=True, ripple_high=ripple, spike_high=spike, holds=not fails, fails=first)


def _figure(now: Seen, label: str) -> Any:
    return now.ripple if label == "20MHz" else now.spike


def _at_ends(design: Design, trial: Trial) -> tuple[dict[tuple[str, str], float], float, float]:
    """The deciding figure with each unknown alone at both ends, by label and end; the greatest ripple and spike [V]."""
    box = uncertain_parameters(design)
    if not box:
        now = trial.see(design)
        return {}, float(now.ripple), float(now.spike)
    columns = np.repeat([[one.nominal for one in box]], 2 * len(box), axis=0)
    for place, one in enumerate(box):
        columns[2 * place : 2 * place + 2, place] = one.low, one.high
    many = with_values(design, {one.key: columns[:, [place]] for place, one in enumerate(box)})
    found = spectra(many, many.state(trial.state.point), outputs={trial.load: many.named_load(trial.load).port})
    figures = [np.ravel(found.peak_to_peak(trial.load, band)) for band in narrow_and_wide(design)]
    keys = [(one.label, end) for one in box for end in ("low", "high")]
    chosen = figures[0] if trial.label == "20MHz" else figures[1]
    values = {key: float(v) for key, v in zip(keys, np.broadcast_to(chosen, len(keys)), strict=True) if np.isfinite(v)}
    return values, float(np.nanmax(figures[0])), float(np.nanmax(figures[1]))
