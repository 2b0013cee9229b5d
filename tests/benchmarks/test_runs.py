"""What the benchmarks run still runs, at a small size."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import designs, panels, ringing, supply


@pytest.mark.parametrize("run", designs.RUNS)
def test_every_design_has_a_ripple_of_its_own(run):
    found = designs.RUNS[run][1](5)
    assert found.shape == (5,)
    assert np.all(found > 0)
    assert np.ptp(found) > 1e-3 * found.max()


def test_a_panels_time_is_split_into_three_that_make_the_whole():
    found = panels.kernel()
    assert [row.what.rsplit(": ")[1] for row in found] == ["compute", "draw", "encode"]
    assert all(row.time > 0 for row in found)
    assert sum(row.ratio for row in found) == pytest.approx(1.0, rel=1e-9, abs=0)


def test_no_certificate_of_a_few_is_contradicted():
    counts, wrong, times = ringing.contradicted(range(100, 106), 200)
    assert sum(counts.values()) == len(times) == 6
    assert wrong == 0


def test_plugs_with_tolerances_differ_and_pass_the_battery():
    peaks = [supply.toleranced(seed) for seed in range(4)]
    assert min(peaks) > supply.VOLTS
    assert len(set(peaks)) == 4
