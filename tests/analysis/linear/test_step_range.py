"""What each uncertain parameter alone does to a step, against the exact step of the design that has it there."""

import pytest

from filterlib.analysis.linear.step_range import step_range
from filterlib.analysis.linear.steps import steps
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import StepRequirement
from filterlib.system.solution import solve
from tests.designs import KNOWN, converter, design, series, shunt


def test_effect_of_each_parameter_alone():
    """second method: the poles of the circuit with the one parameter moved; the quick way is good to a percent or so."""
    solution = solve(design(series(), shunt("100 µF"), source=converter(**KNOWN))).with_measured_output
    found = step_range(solution, StepRequirement(kind="step", load="modem", limit="1 V", current="0.5 A"))
    moved = 0
    for one in uncertain_parameters(solution.design):
        ends = [
            steps(solution.varied({one.key: end}), "modem", step_current=0.5).load_dip for end in (one.low, one.high)
        ]
        assert found.effects[one.key] == pytest.approx(
            (min(*ends, found.nominal), max(*ends, found.nominal)), rel=0.02, abs=0
        )
        moved += max(ends) > 1.01 * min(ends)
    assert moved
