"""How far a load's voltage deviates after a step of its current, over the range of what is uncertain."""

from __future__ import annotations

from filterlib.analysis.linear.steps import steps
from filterlib.system.requirements import StepRequirement
from filterlib.system.solution import Solution
from filterlib.system.uncertain_parameters import uncertain_parameters

SLOW = ("output_capacitance", "output_esr", "output_resistance", "loop_bandwidth")


def step_range(solution: Solution, wanted: StepRequirement) -> tuple[float, float, float, str]:
    """Greatest deviation [V] after the step, its least and greatest, and the uncertain parameter that moves it most ("": none).

    Each uncertain parameter is moved alone to its ends, and all to the worse ones together. NaN where a part has no ladder.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> wanted = StepRequirement(kind="step", load="modem", limit="1 V", current="1 A")
    >>> value, low, high, key = step_range(solution, wanted)
    >>> low < value < high
    True
    """

    def dip(values: dict[str, float]) -> float:
        return steps(solution.varied(values), wanted.load, step_current=wanted.current).load_dip

    value = dip({})
    if value != value:
        return value, value, value, ""
    moving = [one for one in uncertain_parameters(solution.design) if _matters(one.key)]
    ends = {one: (dip({one.key: one.low}), dip({one.key: one.high})) for one in moving}
    worst = dip({one.key: one.low if pair[0] > pair[1] else one.high for one, pair in ends.items()})
    best = dip({one.key: one.high if pair[0] > pair[1] else one.low for one, pair in ends.items()})
    most = max(ends, key=lambda one: abs(ends[one][1] - ends[one][0]), default=None)
    alone = [level for pair in ends.values() for level in pair]
    return value, min(best, value, *alone), max(worst, value, *alone), most.key if most else ""


def _matters(key: str) -> bool:
    return key.split(".")[1] in SLOW or key.endswith(("capacitance", "input_capacitor.esr"))
