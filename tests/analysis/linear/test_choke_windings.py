"""A common-mode choke between two ways of measuring: against the matrix of its windings."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib.analysis.linear.choke_windings import LoadedChoke, choke_windings
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.tables import find_part, standard_tables


def test_both_ways_of_measuring_a_choke():
    """Second method: the matrix of the two windings, without their capacitances, far below the resonance."""
    part = find_part("cm-2m2-5A", CommonModeChoke, standard_tables()).replace(
        winding_capacitance=0.0, interwinding_capacitance=0.0
    )
    found = choke_windings(LoadedChoke(part, 2e-3, 3.0), switching=180e3, spike=30e6)
    matrix = part.impedance(found.frequencies, current=3.0, unbalance=2e-3)
    z11, z12, z22 = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 1]
    np.testing.assert_allclose(found.loop, np.abs(z11 + z22 - 2 * z12), rtol=1e-6, atol=0)
    parallel = (z11 * z22 - z12**2) / (z11 + z22 - 2 * z12)
    np.testing.assert_allclose(found.common, np.abs(parallel), rtol=1e-6, atol=0)
    at = np.interp(np.log([180e3, 30e6]), np.log(found.frequencies), found.loop)
    assert (found.loop_at_switching, found.loop_at_spike) == pytest.approx(tuple(at), rel=0.01, abs=0)
    assert found.coupling == pytest.approx(1 - found.loop_inductance / 2 / found.inductance, rel=1e-12, abs=0)
