"""What fails worst, and what causes it: where a voltage is lost, what a step moves, what a receiver hears, what loads a part."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np

from filterlib.analysis.causes.causes_result import Cause, Kind
from filterlib.analysis.causes.parasitics import at_the_ends, ideals
from filterlib.analysis.causes.resonances import resonance_at
from filterlib.analysis.emission.one_line import OneLine
from filterlib.analysis.failing import Failing
from filterlib.analysis.judged import Clash, Judgement, PointJudgement, estimate_of, failings
from filterlib.analysis.linear.step_range import deviation
from filterlib.analysis.stability.stability import FREQUENCIES
from filterlib.analysis.stability.stability_result import Turn
from filterlib.analysis.stress.stress import stress
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.emission import EmissionRequirement
from filterlib.system.line.load import Load
from filterlib.system.line.stages import ChokeStage
from filterlib.system.requirements import StepRequirement
from filterlib.system.solution import Solution, powered_loads, solve_several

FASTER = 10.0  # times as fast a loop, to see what its slowness costs
LEAST = 0.02  # share of the greatest cause below which nothing is one
LEAST_DB = 0.3  # the same of a level [dB]
OCTAVE = 2.0  # ratio within which the peak of an impedance belongs to an oscillation


def worst_failing(judgement: Judgement) -> Failing | None:
    """What fails worst: what is sure before what may be, then what is furthest from what is asked; None where nothing fails."""
    return max(failings(judgement), key=lambda one: (one.sure, one.excess), default=None)


def causes_of(judgement: Judgement, failing: Failing) -> tuple[Cause, ...]:
    """The causes of what fails, that which costs most first; of ripple, spikes and instability there are none here."""
    point = point_of(judgement, failing)
    found = _FINDERS[failing.kind](judgement.design, point, failing) if failing.kind in _FINDERS else ()
    ranked = sorted(found, key=lambda one: (-one.falls, one.name, one.what))
    return tuple(one for one in ranked if one.falls > (LEAST_DB if one.step == "dB" else LEAST * ranked[0].falls))


def point_of(judgement: Judgement, failing: Failing) -> PointJudgement:
    """The operating point at which something fails; the first where it is over all of them."""
    named = (one for one in judgement.points if one.operating.point == failing.point)
    return next(named, judgement.points[0])


def _lost(design: Design, point: PointJudgement, failing: Failing) -> Iterator[Cause]:
    """Direct voltage that every part on the way to a load takes: they add to what is lost."""
    assert failing.verdict is not None
    solution, load, lost = point.solution, design.named_load(failing.verdict.load), failing.verdict.kind == "drop"
    state = solution.state
    if not lost and failing.verdict.value > getattr(_requirement(design, failing), "high", np.inf):
        return
    stages = {one.stage for one in solution.components if one.stage}
    taken = {
        stage: sum(
            abs(float(branch.direct)) * float(branch.ohms)
            for one in solution.components
            if one.stage == stage and not one.beside
            for branch in one.branches
        )
        for stage in stages
    }
    if load.lead is not None:
        taken[f"{load.name}'s lead"] = 2 * float(
            state.load_currents[load.name] * load.lead.resistance(state.temperature)
        )
    taken["the converter"] = float(state.nominal_voltage - state.terminal_voltage)
    for name, volts in taken.items():
        left = failing.verdict.value + (-volts if lost else volts)
        yield Cause("part", name, "resistance", left, volts, "V", "V")


def _requirement(design: Design, failing: Failing) -> object:
    return next(one for one in design.requirements if failing.verdict and one.words == failing.verdict.requirement)


def _moved(design: Design, point: PointJudgement, failing: Failing) -> Iterator[Cause]:
    """What a step would be with one thing gone: chokes, leads, losses, the slowness of the loop."""
    wanted, solution = _requirement(design, failing), point.solution
    assert isinstance(wanted, StepRequirement)
    loop = design.converter.loop_bandwidth
    now = deviation(solution, wanted)
    faster = solution.varied({"converter.loop_bandwidth": FASTER * float(loop.value)})
    listed = [(one.name, one.what, one.design) for one in ideals(design)]
    listed += [
        (one.name, "inductance", design.replace(filter=tuple(other for other in design.filter if other is not one)))
        for one in at_the_ends(design)
        if isinstance(one, ChokeStage)
    ]
    solved = solve_several([changed for *_, changed in listed], solution.point)
    every = [("the converter", f"slow loop (were it {FASTER:g} times as fast)", faster)]
    every += [
        (name, what, one) for (name, what, _), one in zip(listed, solved, strict=True) if isinstance(one, Solution)
    ]
    for name, what, changed in every:
        left = deviation(changed, wanted)
        yield Cause("part", name, what, left, now - left, "V", "V")


def one_line(design: Design, point: PointJudgement, failing: Failing) -> OneLine | None:
    """The line that decides an emission; None where there is none."""
    wanted = _requirement(design, failing)
    if not isinstance(wanted, EmissionRequirement) or failing.verdict is None or failing.verdict.nearest is None:
        return None
    return OneLine(point.solution, estimate_of(wanted, point.emissions).test, failing.verdict.nearest)


def _heard(design: Design, point: PointJudgement, failing: Failing) -> Iterator[Cause]:
    """What a receiver would read less without each source, and without each parasitic."""
    line = one_line(design, point, failing)
    if line is None:
        return
    level, unit = line.margin.level, line.margin.unit
    for source, falls in line.without_source().items():
        if np.isfinite(falls):
            yield Cause("source", source, "", level - falls, falls, unit, "dB")
    every = ideals(design)
    without = solve_several([each.design for each in every], point.solution.point)
    for one, falls in zip(every, line.lowered(without), strict=True):
        if np.isfinite(falls):
            yield Cause("part", one.name, one.what, level - falls, falls, unit, "dB")


def _loads(design: Design, point: PointJudgement, failing: Failing) -> Iterator[Cause]:
    """What a part would carry with each load switched off, and with each load's bond to the chassis taken off."""
    check = failing.check
    assert check is not None
    name = point.operating.point
    listed: list[tuple[Kind, str, Design]] = [
        ("load", load.name, _switched_off(design, load, name)) for load in design.loads
    ]
    bonded = [load for load in design.loads if load.bond is not None]
    for kind, what, changed in (*listed, *(("part", f"{one.name}'s bond", _unbonded(design, one)) for one in bonded)):
        left = _same(changed, name, check)
        if left is not None and np.isfinite(left):
            falls = left - check.value if check.at_least else check.value - left
            yield Cause(kind, what, "", left, falls, check.unit, check.unit)


def _unbonded(design: Design, load: Load) -> Design:
    loads = (one.replace(bond=None) if one.name == load.name else one for one in design.loads)
    return design.replace(loads=tuple(loads))


def _switched_off(design: Design, load: Load, point: str) -> Design:
    points = tuple(
        one.replace(loads={**one.loads, load.name: 0.0}) if one.name == point else one
        for one in design.operating_points
    )
    return design.replace(operating_points=points)


def _same(design: Design, point: str, check: StressCheck) -> float | None:
    """The same stress of another design, nominal; None where there is none."""
    (solved,) = solve_several([design], point)
    if not isinstance(solved, Solution):
        return None
    try:
        checks = stress(solved, interval=False).checks
    except FilterlibError:
        return None
    return next((one.value for one in checks if (one.name, one.what) == (check.name, check.what)), None)


_FINDERS: dict[str, Callable[[Design, PointJudgement, Failing], Iterable[Cause]]] = {
    "voltage": _lost, "drop": _lost, "step": _moved, "emission": _heard, "rating": _loads,
}  # fmt: skip


def clash_of(point: PointJudgement) -> Clash | None:
    """The load of constant power that oscillates with what feeds it, where an operating point is unstable; None without one."""
    solution, oscillates, case = _oscillating(point)
    found = [_clash(solution, load, oscillates, case) for load in powered_loads(solution)]
    return max(found, key=lambda one: one.impedance / -one.resistance, default=None)


def _oscillating(point: PointJudgement) -> tuple[Solution, float, tuple[Turn, ...]]:
    """The circuit that oscillates, its frequency [Hz], and what makes it: of nominal values, or the worst case of their ranges."""
    over = point.over
    if not point.turned or over is None:
        return point.solution, point.operating.stability.frequency, ()
    keys = {one.key for one in (*over.alone, *over.together)}
    worst = point.solution.varied({one.key: one.value for one in over.case})
    return worst, over.frequency, tuple(one for one in over.case if one.key in keys)


def _clash(solution: Solution, load: Load, oscillates: float, case: tuple[Turn, ...]) -> Clash:
    """With this load drawing a constant current instead: the impedance between its terminals, at its peak near the oscillation."""
    volts, amps = (float(np.max(of[load.name])) for of in (solution.state.load_voltages, solution.state.load_currents))
    constant = load.replace(kind="constant_current", power=None, current=amps)
    loads = tuple(constant if one.name == load.name else one for one in solution.design.loads)
    circuit = replace(solution, design=solution.design.replace(loads=loads)).with_measured_output.circuit
    near = _near(oscillates)
    impedance = np.abs(circuit.impedance(near, *load.port))
    top = int(np.argmax(impedance))
    resonance = resonance_at(circuit, load.source, float(near[top]), float(20 * np.log10(impedance[top])))
    peak, at = float(impedance[top]), float(near[top])
    return Clash(load.name, -volts / amps, peak, at, resonance, oscillates, case, solution)


def _near(frequency: float) -> np.ndarray:
    """Where the impedance that makes an oscillation has its peak [Hz]: within an octave of it; anywhere, where that is not known."""
    if not frequency > 0:
        return FREQUENCIES
    return np.geomspace(frequency / OCTAVE, frequency * OCTAVE, 65)
