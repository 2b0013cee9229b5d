"""What the benchmarks run still runs, at a small size."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import designs


@pytest.mark.parametrize("run", designs.RUNS)
def test_every_design_has_a_ripple_of_its_own(run):
    found = designs.RUNS[run][1](5)
    assert found.shape == (5,)
    assert np.all(found > 0)
    assert np.ptp(found) > 1e-3 * found.max()
