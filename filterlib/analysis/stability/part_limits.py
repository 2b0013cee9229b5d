"""What of the parts keeps a circuit from ringing: the value of each from which it rings, and what cold and age make of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from filterlib.analysis.stability.margins import critical, critical_here, named
from filterlib.analysis.stability.stability import least_damping
from filterlib.analysis.stability.stability_result import Condition, CriticalValue, Margin, PartLimits
from filterlib.errors import FilterlibError
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.values import Value
from filterlib.system.design import Design, with_values
from filterlib.system.line.load import Load
from filterlib.system.solution import Solution

COLD, ROOM, WARM = 253.15, 293.15, 333.15  # [K] at which dampers are judged: common practice, no source
REACH = 30.0  # times its value, or a thirtieth, as far as a part's value is followed
SMALL = (
    1.0  # share of more power below which the critical value of each part is worth its time: common practice, no source
)
_TRIED, _HALVED = 61, 30
_VALUES = {
    "resistance": "ohm",
    "inductance": "H",
    "dc_resistance": "ohm",
    "capacitance": "F",
    "esr": "ohm",
    "loss_resistance": "ohm",
}


def part_limits(solution: Solution, margin: Margin) -> PartLimits:
    """What of the parts keeps the load of a margin from ringing.

    Parameters: ``solution`` of one design at the margin's operating point; ``margin``.
    Returns: PartLimits; no values where the circuit is unstable, or far from it.
    """
    close = margin.stable and margin.more < SMALL
    wet = any(isinstance(stage.part, Capacitor) and stage.part.electrolytic for stage in solution.design.filter)
    return PartLimits(
        margin.point, margin.load, critical_values(solution, margin.load) if close else (),
        conditions(solution, margin.load) if wet else (),
    )  # fmt: skip


def critical_values(solution: Solution, load: str) -> tuple[CriticalValue, ...]:
    """The value of each part from which the circuit rings, each alone, the nearest first; only those that turn it within `REACH`.

    Parameters: ``solution`` of one design that is stable; ``load``: the name of a load of constant power.
    Returns: CriticalValue of each resistance, inductance, capacitance and ESR of the filter that has one, the DC state kept.
    Raises: FilterlibError for a load without constant power, and where the circuit is unstable as it is.
    """
    solution, wanted = solution.with_measured_output, named(solution, load)
    if _excess(solution, wanted) <= 0:
        raise FilterlibError(f"the circuit is unstable at {solution.point}: a margin to instability is not defined")
    found = [one for key, what, value in _places(solution) if (one := _turn(solution, wanted, key, what, value))]
    return tuple(sorted(found, key=lambda one: abs(np.log(one.ratio))))


def conditions(solution: Solution, load: str) -> tuple[Condition, ...]:
    """Critical power cold, at room temperature and warm, and cold with every electrolytic at the end of its life.

    The ESR of an electrolytic that states no curve grows in the cold as `Capacitor.cold_growth` has it.

    Raises FilterlibError for a load without constant power.
    """
    solution, wanted = solution.with_measured_output, named(solution, load)
    design = solution.design
    old = design.replace(filter=tuple(_worn(stage) for stage in design.filter))
    rows = [("cold", COLD, False), ("room temperature", ROOM, False), ("warm", WARM, False)]
    rows += [("cold and worn", COLD, True)] if old != design else []
    drawn = float(solution.state.load_currents[load] * solution.state.voltage(load))
    return tuple(
        Condition(
            words, kelvins, worn, critical(_at(solution, old if worn else design, kelvins), wanted)[0], drawn,
        )
        for words, kelvins, worn in rows
    )  # fmt: skip


def _at(solution: Solution, design: Design, kelvins: float) -> Solution:
    """A design at another temperature, at which its operating point then is too."""
    points = tuple(
        one.model_copy(update={"temperature": kelvins}) if one.name == solution.point else one
        for one in design.operating_points
    )
    there = _chilled(design, kelvins).model_copy(update={"operating_points": points})
    return Solution(there, replace(solution.state, temperature=kelvins))


def _chilled(design: Design, kelvins: float) -> Design:
    """With the ESR that electrolytics without a curve have in the cold."""
    parts = {stage.name: stage.part for stage in design.filter if isinstance(stage.part, Capacitor)}
    grown = {f"filter.{name}.esr": part.in_the_cold(part.esr, kelvins) for name, part in parts.items()}
    return with_values(design, {key: value for key, value in grown.items() if np.all(value)})


def _worn(stage: object) -> object:
    """A stage whose electrolytic is at the end of its life."""
    part = getattr(stage, "part", None)
    if not isinstance(part, Capacitor) or part.rated_life is None or part.maximum_temperature is None:
        return stage
    return stage.replace(part=part.aged(part.rated_life, part.maximum_temperature))  # type: ignore[attr-defined]


def _places(solution: Solution) -> Iterator[tuple[str, str, float]]:
    """Key, field and value of what may turn the circuit, of each stage and its part."""
    for stage in solution.design.filter:
        beside = getattr(stage, "damping", None)
        for way, model in (
            ("", stage),
            ("", stage.part),
            (".damping", beside),
            (".damping", getattr(beside, "part", None)),
        ):
            for field in _VALUES:
                value = getattr(model, field, None)
                if isinstance(value, float) and value > 0:
                    yield f"filter.{stage.name}{way}.{field}", field, value


def _with(solution: Solution, key: str, value: Value) -> Solution:
    return Solution(with_values(solution.design, {key: value}), solution.state)


def _excess(solution: Solution, load: Load) -> float:
    """Logarithm of the critical power over what is drawn."""
    volts = float(solution.state.voltage(load.name))
    drawn = float(solution.state.load_currents[load.name]) * volts
    return float(np.log(max(critical_here(solution, load)[0], 1e-300) / drawn))


def _turn(solution: Solution, load: Load, key: str, what: str, value: float) -> CriticalValue | None:
    """Where the value of one part makes the circuit ring: the nearest, found on a row of values and then halved down to."""
    factors = np.geomspace(1 / REACH, REACH, _TRIED)
    try:
        damping = least_damping(_with(solution, key, value * factors[:, None]))[0]
    except FilterlibError:
        return None
    here = _TRIED // 2
    bad = np.flatnonzero(np.broadcast_to(damping, _TRIED) <= 0)
    if not bad.size:
        return None
    at = int(bad[np.argmin(np.abs(bad - here))])
    step = 1 if at > here else -1
    stable, unstable = np.log(factors[[at - step, at]])
    for _ in range(_HALVED):
        middle = (stable + unstable) / 2
        good = _excess(_with(solution, key, value * float(np.exp(middle))), load) > 0
        stable, unstable = (middle, unstable) if good else (stable, middle)
        if abs(unstable - stable) < 1e-5:
            break
    part = key.split(".")[1]
    return CriticalValue(key, part, what, _VALUES[what], value, value * float(np.exp(unstable)), unstable > 0)
