"""Steps at many loads from one circuit: as each alone, and with the poles found once."""

import numpy as np
import pytest

from filterlib.analysis.linear.steps import MANY, steps, steps_at
from filterlib.network.equations import modes
from filterlib.system.solution import solve
from tests.designs import design, resistive, series, shunt


def of(loads):
    return solve(
        design(shunt(), series(), shunt(), load=[resistive(name=f"load{n}", resistance="30 ohm") for n in range(loads)])
    )


@pytest.fixture
def counted(monkeypatch):
    """A list that grows with every search for the poles of a circuit."""
    found, bands = [], modes.bands
    monkeypatch.setattr(modes, "bands", lambda *arguments: found.append(1) or bands(*arguments))
    return found


def test_many_loads_share_the_poles_of_one_circuit(counted):
    """second method: each load's step alone, whose circuit has no other rising source."""
    solution = of(MANY)
    names = [one.name for one in solution.design.loads]
    shared, once = steps_at(solution, names), len(counted)
    alone = {name: steps(solution, name) for name in names}
    assert (once, len(counted)) == (1, 1 + MANY)
    for name in names:
        peak = np.abs(alone[name].load_step).max()
        assert shared[name].load_step == pytest.approx(alone[name].load_step, rel=0, abs=1e-4 * peak)  # [V]
        assert shared[name].load_dip == pytest.approx(alone[name].load_dip, rel=1e-4, abs=0)
        assert shared[name].overshoot == pytest.approx(alone[name].overshoot, rel=1e-3, abs=0)
        assert shared[name].settling_time == pytest.approx(alone[name].settling_time, rel=0.03, abs=0)


def test_few_loads_have_exactly_the_steps_that_each_has_alone():
    """hand: the same circuit, so the same numbers."""
    solution = of(2)
    for name, found in steps_at(solution, ["load0", "load1"]).items():
        assert np.array_equal(found.load_step, steps(solution, name).load_step)
