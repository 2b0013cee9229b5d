"""A load with and without the filter: the figures of the full analysis, and each source alone."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.with_and_without import with_and_without
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve


def demo(name):
    return load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml")


@pytest.mark.parametrize("name", ["clean", "brick"])
def test_it_reads_as_the_full_analysis(name):
    """second method: the full ripple of both demo files, which has the load without the filter as well."""
    design = demo(name)
    found = with_and_without(solve(design), "modem")
    full = ripple(solve(design), interval=False).figures
    for label, now, then in (("20MHz", found.ripple, found.ripple_before), ("full", found.spike, found.spike_before)):
        assert now == pytest.approx(full["modem", label].peak_to_peak, rel=1e-9, abs=0)
        assert then == pytest.approx(full["modem_before", label].peak_to_peak, rel=1e-9, abs=0)
    for source, alone in found.alone.items():
        assert alone == pytest.approx(full["modem", "full"].by_source[source], rel=1e-9, abs=0)
    assert np.ptp(found.after) == pytest.approx(found.spike, rel=0.01, abs=0)  # of its samples
    assert found.times[-1] < design.converter.period


def test_the_common_mode_drive_alone_follows_its_swing():
    """hand: half the swing, half of what it makes."""
    brick = demo("brick")
    half = brick.replace(
        converter=brick.converter.replace(common_mode=brick.converter.common_mode.replace(swing="14 V"))
    )
    whole, less = (with_and_without(solve(one), "modem") for one in (brick, half))
    assert less.alone["common_mode"] == pytest.approx(whole.alone["common_mode"] / 2, rel=1e-9, abs=0)
    down = less.levels["common_mode"] - whole.levels["common_mode"]
    there = np.arange(1, len(down) + 1) % 7 != 0  # hand: with a duty of 1/7 every seventh harmonic is missing
    np.testing.assert_allclose(down[there], 20 * np.log10(0.5), rtol=1e-9, atol=0)
