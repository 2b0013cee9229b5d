"""What would fix it: every candidate tried on the real model, ranked, with its costs and the rules that it would break."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, applied
from filterlib.analysis.causes.causes_result import Costs, Mitigation, Refusal
from filterlib.analysis.described import Volts
from filterlib.analysis.ripple.at_load import GRID, Seen, seen, seen_several
from filterlib.analysis.ripple.ripple_result import narrow_and_wide
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stress.overloads import overloads
from filterlib.errors import FilterlibError
from filterlib.system.design import Design, with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import VoltageRequirement
from filterlib.system.solution import Solution, solve_several
from filterlib.system.state import State

LEAKAGE_LIMIT = 3.5e-3
"""[A] of earth leakage: for pluggable equipment with a protective earth, IEC 60950-1, table 5A (from memory)."""
LEAKAGE_FREQUENCY = 60.0  # [Hz], the higher of the two mains frequencies
ALIKE = 2  # of a group, that take part in pairs
Progress = Callable[[float], None]


@dataclass(frozen=True)
class Trial:
    """What mitigations are tried against: the solved design, its load, and the figure that decides."""

    solution: Solution
    load: str
    label: str
    now: Seen

    @property
    def design(self) -> Design:
        """The design as it is."""
        return self.solution.design

    @property
    def state(self) -> State:
        """Its DC state."""
        return self.solution.state

    def see(self, design: Design) -> Seen:
        """The load's view of another design at the same operating point."""
        return seen(self.solution.changed(design), self.load)

    def see_all(self, designs: Sequence[Design]) -> list[Seen]:
        """The same of several designs. Raises what the first that cannot be solved raises."""
        views = self.see_several(designs)
        for view in views:
            if isinstance(view, FilterlibError):
                raise view
        return [view for view in views if isinstance(view, Seen)]

    def see_several(self, designs: Sequence[Design]) -> list[Seen | FilterlibError]:
        """The same of several designs, those of one structure in one go; why, in place of what cannot be solved."""
        solved = solve_several(designs, self.solution.point)
        solutions = [one for one in solved if isinstance(one, Solution)]
        views = iter(seen_several(solutions, self.load))
        return [next(views) if isinstance(one, Solution) else one for one in solved]


def try_all(
    trial: Trial, candidates: Iterable[Candidate], *, progress: Progress | None = None
) -> tuple[Mitigation, ...]:
    """Every candidate by itself, ranked: lowest figure first, what is refused last; ties by name."""
    singles = [(one,) for one in sorted(candidates, key=lambda one: one.name)]
    return ranked(_tried(trial, singles, progress), trial.label)


def try_pairs(
    trial: Trial,
    candidates: Iterable[Candidate],
    singles: Iterable[Mitigation],
    count: int,
    *,
    progress: Progress | None = None,
) -> tuple[Mitigation, ...]:
    """Two at a time of the ``count`` best, those that were not refused, of unlike groups first; ranked."""
    best = _unlike(candidates, singles, count)
    pairs = [(a, b) for a, b in combinations(sorted(best, key=lambda one: one.name), 2) if a.group != b.group]
    return ranked(_tried(trial, pairs, progress), trial.label)


def _unlike(candidates: Iterable[Candidate], singles: Iterable[Mitigation], count: int) -> list[Candidate]:
    """The best that were not refused, first `ALIKE` of each group, then the others: one group's exclude each other."""
    known = {one.name: one for one in candidates}
    allowed = [known[other.names[0]] for other in singles if not other.refused]
    best = [one for n, one in enumerate(allowed) if sum(other.group == one.group for other in allowed[:n]) < ALIKE]
    return [*best, *(one for one in allowed if one not in best)][:count]


def ranked(tried: Iterable[Mitigation], label: str) -> tuple[Mitigation, ...]:
    """In the order of the figure that decides; refused ones last; ties by the other figure, parts and name."""

    def key(one: Mitigation) -> tuple[object, ...]:
        parts = one.costs.parts if one.costs is not None else 0
        figures = [float(np.nan_to_num(v, nan=np.inf)) for v in (one.figure(label), one.ripple, one.spike)]
        return bool(one.refused), *figures, parts, one.names

    return tuple(sorted(tried, key=key))


def _tried(
    trial: Trial, changes: Sequence[tuple[Candidate, ...]], progress: Progress | None = None
) -> list[Mitigation]:
    """Changes, one at a time or two together, as tried on the real model."""
    refused = [next((one.refused for one in change if one.refused), None) for change in changes]
    designs: dict[int, Design] = {}
    for place, change in enumerate(changes):
        try:
            if not refused[place]:
                designs[place] = applied(trial.design, change)
        except FilterlibError as error:
            refused[place] = Refusal("impossible", str(error))
    views = dict(zip(designs, trial.see_several(list(designs.values())), strict=True))
    if progress is not None:
        progress(1.0)
    return [_mitigation(trial, change, views.get(place), refused[place]) for place, change in enumerate(changes)]


def _mitigation(
    trial: Trial, change: tuple[Candidate, ...], view: Seen | FilterlibError | None, refused: Refusal | None
) -> Mitigation:
    names, kinds = tuple(one.name for one in change), tuple(one.kind for one in change)
    if not isinstance(view, Seen):
        return Mitigation(names, kinds, np.nan, np.nan, None, refused or Refusal("impossible", str(view)))
    costs = _costs(trial, view, sum(one.parts for one in change))
    broken = next(broken_rules(trial, view.solution, costs), None)
    return Mitigation(names, kinds, float(view.ripple), float(view.spike), costs, broken)


def _costs(trial: Trial, now: Seen, parts: int) -> Costs:
    top = int(np.argmax(np.abs(now.response)))
    return Costs(
        parts=parts,
        drop=float(trial.state.voltage(trial.load) - now.solution.state.voltage(trial.load)),
        heat=_heat(now.solution.state) - _heat(trial.state),
        leakage=leakage(now.solution.design),
        charge=_charge(now.solution.design) - _charge(trial.design),
        peak=float(20 * np.log10(np.abs(now.response[top]))),
        peak_frequency=float(GRID[top]),
    )


def _heat(state: State) -> float:
    """Of direct current between the regulated voltage and the loads [W]."""
    fed = sum(state.load_voltages[name] * amps for name, amps in state.load_currents.items())
    return float(state.nominal_voltage * state.converter_current - fed)


def _charge(design: Design) -> float:
    """In the capacitors across the lines, those of the loads too, as they are without bias: the most [C]."""
    return design.converter.output_voltage * design.attached_capacitance


def leakage(design: Design) -> float:
    """Earth-leakage current [A] of all Y capacitors, one line's alone on a voltage to the chassis: see `Costs`."""
    volts = max(design.converter.output_voltage, design.converter.input_voltage or 0.0)
    farads = sum(
        np.max(one.part.capacitance) * one.count * (2 if one.line == "both" else 1) for one in design.chassis_capacitors
    )
    return float(2 * np.pi * LEAKAGE_FREQUENCY * farads * volts)


def broken_rules(trial: Trial, solution: Solution, costs: Costs) -> Iterator[Refusal]:
    """Rules that a changed design breaks and the design as it is does not."""
    if costs.leakage > max(LEAKAGE_LIMIT, leakage(trial.design)):
        yield Refusal("leakage", value=costs.leakage, limit=LEAKAGE_LIMIT)
    before = {one.what for one in overloads(trial.solution)}
    for one in overloads(solution):
        if one.what not in before:
            name, part, _ = one.what
            yield Refusal(one.rating, part or name, one.value, one.limit, one.unit)
    volts, before_volts = float(solution.state.voltage(trial.load)), float(trial.state.voltage(trial.load))
    for wanted in solution.design.requirements:
        if isinstance(wanted, VoltageRequirement) and wanted.load == trial.load and volts < wanted.low <= before_volts:
            yield Refusal("low voltage", trial.load, volts, wanted.low, "V")


def highest(trial: Trial, candidate: Candidate) -> tuple[Volts[float], Volts[float]]:
    """Greatest ripple and spike of a changed design with each uncertain parameter alone at both ends of its range."""
    return _at_ends(candidate.change(trial.design), trial)


def _at_ends(design: Design, trial: Trial) -> tuple[float, float]:
    box = uncertain_parameters(design)
    if not box:
        now = trial.see(design)
        return float(now.ripple), float(now.spike)
    columns = np.repeat([[one.nominal for one in box]], 2 * len(box), axis=0)
    for place, one in enumerate(box):
        columns[2 * place : 2 * place + 2, place] = one.low, one.high
    many = with_values(design, {one.key: columns[:, [place]] for place, one in enumerate(box)})
    harmonics = spectra(trial.solution.changed(many), outputs={trial.load: many.named_load(trial.load).port})
    narrow, wide = (float(np.nanmax(harmonics.peak_to_peak(trial.load, band))) for band in narrow_and_wide(design))
    return narrow, wide
