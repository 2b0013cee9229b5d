"""Dampings of real parts that a design may get, each with its best resistor, as changes to try.

Three networks: a capacitor in series with the resistor, across a capacitor behind a choke; a second choke in series with the
resistor, across the choke; a second choke with the resistor across it, in series with the choke.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, Change, free_name, inserted
from filterlib.analysis.causes.further_changes import inductance
from filterlib.analysis.damping.damping_result import Branch
from filterlib.analysis.damping.ideal import Network, textbook
from filterlib.analysis.damping.real_parts import fitted
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.system.design import Design
from filterlib.system.line.stages import AcrossLines, ChokeDamping, ChokeStage, Damping, SeriesChoke, ShuntCapacitor
from filterlib.system.solution import Solution, solve
from filterlib.units import format_quantity

RATIOS: dict[Network, tuple[float, float, float]] = {
    "R-C across C": (1.0, 4.0, 20.0),
    "R-L across L": (0.1, 0.5, 2.0),
    "R-L in series": (0.2, 1.0, 5.0),
}
"""Least, best and greatest of what is added over what it damps: common practice, no source."""
HEADROOM = 1.2  # rated voltage or current over the design's, at least: common practice, no source
PLACES = 2  # capacitors behind chokes that are damped, the last first
NOTHING = (
    "nothing to damp: damping goes to a choke and the capacitor behind it, with a capacitor of "
    f"{RATIOS['R-C across C'][0]:g} to {RATIOS['R-C across C'][2]:g} times its size, or a choke, from the tables of parts"
)


@dataclass(frozen=True)
class _Place:
    """A choke and the capacitor that it resonates with: the latter's capacitance at its bias, and the stage behind it."""

    solution: Solution
    choke: ChokeStage
    capacitor: ShuntCapacitor
    behind: str
    henries: float
    farads: float

    def resistance(self, network: Network, ratio: float) -> float:
        """Of ideal parts [ohm]."""
        return float(np.sqrt(self.henries / self.farads)) * textbook(network, ratio)[0]

    @property
    def resonance(self) -> float:
        """Of choke and capacitor [Hz]."""
        return 1 / (2 * np.pi * float(np.sqrt(self.henries * self.farads)))


def branches(solution: Solution, parts: Mapping[str, Part]) -> Iterator[Branch]:
    """For the last capacitors behind chokes, the part of each kind that comes nearest to the ratio that is best, in each network."""
    for place in _places(solution):
        yield from _across_the_capacitor(place, parts)
        chokes = {name: one for name, one in parts.items() if type(one) is DifferentialChoke}
        if isinstance(place.choke, SeriesChoke) and place.choke.damping is None:
            yield from _across_the_choke(place, chokes)
        yield from _in_series(place, chokes)


def _places(solution: Solution) -> list[_Place]:
    design, found = solution.design, []
    for at, stage in enumerate(design.filter):
        chokes = [one for one in design.filter[:at] if isinstance(one, ChokeStage)]
        if isinstance(stage, ShuntCapacitor) and chokes:
            behind = design.filter[at + 1].name if at + 1 < len(design.filter) else ""
            found.append(_Place(solution, chokes[-1], stage, behind, inductance(chokes[-1]), _at_bias(solution, stage)))
    return found[::-1][:PLACES]


def _at_bias(solution: Solution, stage: ShuntCapacitor) -> float:
    """Capacitance of a stage at its direct voltage [F]."""
    bias = float(np.abs(solution.state.bias(stage.name)))
    return float(np.max(stage.part.capacitance_at(bias)) * stage.count)


def _nearest(network: Network, ratios: Mapping[str, float]) -> str | None:
    """The name whose ratio is nearest to the best one of a network; None where none is in its range."""
    least, best, most = RATIOS[network]
    fit = sorted((abs(np.log(ratio / best)), name) for name, ratio in ratios.items() if least <= ratio <= most)
    return fit[0][1] if fit else None


def _across_the_capacitor(place: _Place, parts: Mapping[str, Part]) -> Iterator[Branch]:
    """One of each kind of capacitor."""
    design = place.solution.design
    capacitors = {name: one for name, one in parts.items() if isinstance(one, Capacitor)}
    by_kind: dict[str, dict[str, float]] = {}
    for each, part in capacitors.items():
        if np.min(part.rated_voltage) > HEADROOM * design.converter.output_voltage:
            by_kind.setdefault(part.kind, {})[each] = float(np.max(part.capacitance)) / place.farads
    stage = free_name(design, "D")
    for ratios in by_kind.values():
        if (name := _nearest("R-C across C", ratios)) is None:
            continue
        branch = partial(Damping, kind="damping", name=stage, part=capacitors[name])
        yield _fitted(
            place, "R-C across C", stage, capacitors[name], ratios[name],
            lambda ohms, branch=branch: partial(inserted, stage=branch(resistance=ohms), before=place.behind),  # type: ignore[misc]
            f"fit {name}{{}} beside {place.capacitor.name}, as damping", part_of=f"damping of {place.capacitor.name}",
        )  # fmt: skip


def _across_the_choke(place: _Place, chokes: Mapping[str, DifferentialChoke]) -> Iterator[Branch]:
    """A second choke and the resistor, across each choke of the stage."""
    own = float(np.max(place.choke.part.inductance))
    ratios = {name: float(np.max(one.inductance)) / own for name, one in chokes.items()}
    if (name := _nearest("R-L across L", ratios)) is not None:
        each = " in each line" if len(place.choke.lines) == 2 else ""
        yield _fitted(
            place, "R-L across L", place.choke.name, chokes[name], ratios[name],
            lambda ohms: partial(_beside, stage=place.choke.name, damping=ChokeDamping(resistance=ohms, part=chokes[name])),
            f"fit {name}{{}} across {place.choke.name}{each}, as damping", part_of=f"damping of {place.choke.name}",
        )  # fmt: skip


def _in_series(place: _Place, chokes: Mapping[str, DifferentialChoke]) -> Iterator[Branch]:
    """A second choke that carries the line's current, the resistor across it, before the choke."""
    design = place.solution.design
    amps = HEADROOM * abs(float(np.max(place.solution.state.current(place.choke.name))))
    strong = {
        name: float(np.max(one.inductance)) / place.henries
        for name, one in chokes.items()
        if min(np.min(one.rated_current), np.min(one.saturation_current)) > amps
    }
    if (name := _nearest("R-L in series", strong)) is not None:
        made = partial(SeriesChoke, kind="differential_choke", name=free_name(design, "L"), part=chokes[name])
        yield _fitted(
            place, "R-L in series", free_name(design, "L"), chokes[name], strong[name],
            lambda ohms: partial(inserted, stage=made(damping=ChokeDamping(resistance=ohms)), before=place.choke.name),
            f"fit {name}{{}} before {place.choke.name}, as damping", part_of=f"damping before {place.choke.name}",
        )  # fmt: skip


def _beside(design: Design, *, stage: str, damping: ChokeDamping) -> Design:
    """The design with a damping across one of its chokes."""
    return design.replace(
        filter=tuple(one.replace(damping=damping) if one.name == stage else one for one in design.filter)
    )


_RESISTOR = {
    "R-C across C": " in series with a resistor of {}",
    "R-L across L": " in series with a resistor of {}",
    "R-L in series": " with a resistor of {} across it",
}


def _fitted(
    place: _Place, network: Network, stage: str, part: Capacitor | DifferentialChoke, ratio: float, change: Callable[[float], Change], words: str,
    *, part_of: str,
) -> Branch:  # fmt: skip
    """A damping with its best resistor; ``words`` have a place for that."""
    lines = len(place.choke.lines) if network == "R-L across L" else 1
    ohms = place.resistance(network, ratio) / lines
    trial = solve(change(ohms)(place.solution.design), place.solution.point)
    resistor = fitted(trial, stage, ohms, place.resonance, network)
    value = _RESISTOR[network].format(format_quantity(resistor.chosen, "ohm", 2))
    said = words.format(value if resistor.chosen else ", whose own ESR is enough,")
    candidate = Candidate(said, f"damping with {part.kind}", part_of, 2, change(resistor.chosen))
    return Branch(candidate, network, stage, part, ratio, resistor, _charged(trial, place.choke.name))


def _charged(solution: Solution, choke: str) -> float:
    """Every capacitance behind a choke [F]: filter's, dampings' and loads'."""
    design = solution.design
    names = [stage.name for stage in design.filter]
    fitted = [one for one in design.filter[names.index(choke) :] if isinstance(one, AcrossLines)]
    own = [load.input_capacitor for load in design.loads if load.input_capacitor is not None]
    return float(sum(np.max(one.part.capacitance) * one.count for one in (*fitted, *own)))
