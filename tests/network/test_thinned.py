"""A response read at all harmonics from some of them: against the circuit solved at each."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from filterlib import Circuit
from filterlib.network.thinned import STEP, WHOLE, at_all_orders, kept_orders


def resonance(quality, hertz):
    """A series resonance between 1 V and a load of 50 ohm."""
    circuit = Circuit().voltage_source("V", "a", "0").inductor("L", "a", "b", 1e-6)
    return circuit.capacitor("C", "b", "0", 1 / ((2 * np.pi * hertz) ** 2 * 1e-6)).resistor(
        "R", "b", "0", quality * 2 * np.pi * hertz * 1e-6
    )


@pytest.mark.parametrize(("quality", "off"), [(1.0, 1e-4), (8.0, 0.01), (30.0, 0.3)])
def test_a_resonance_beyond_the_whole_harmonics_is_read_the_better_the_wider_it_is(quality, off):
    """second method: solved at every harmonic; the resonance at the 200th of 1000, which is wider than the step up to 40."""
    f = 1e5 * np.arange(1, 1001)
    exact = resonance(quality, 2e7).transfer(f, "V", "b")
    read = at_all_orders(resonance(quality, 2e7).transfer(f[kept_orders(1000) - 1], "V", "b"), 1000)
    assert 0 < np.abs(read - exact).max() < off * np.abs(exact).max()
    kept = kept_orders(1000) - 1
    assert_allclose(read[kept], exact[kept], rtol=1e-9, atol=0)


@pytest.mark.parametrize("count", [1, WHOLE - 1, WHOLE, WHOLE + 1, WHOLE + 4, 500])
def test_the_first_and_the_last_harmonic_are_kept_and_none_is_passed_by_further_than_the_step(count):
    kept = kept_orders(count)
    assert_array_equal(kept[:WHOLE], np.arange(1, min(count, WHOLE) + 1))
    assert kept[-1] == count
    assert np.all(np.diff(kept) >= 1)
    assert np.all(np.diff(kept) <= np.maximum(1, (STEP - 1) * kept[:-1] + 0.5))  # hand
    assert at_all_orders(np.ones((3, len(kept)), complex), count) == pytest.approx(
        np.ones((3, count)), rel=1e-12, abs=0
    )
