"""The panel of the notebook on before and after, which checks every control itself: what it computes."""

import pytest

from filterlib.show.explore.bench_panel import CHOKE, bench_panel


def test_only_the_bridged_choke_explains_the_capture():
    """The recording is of a circuit that shares nothing with the library, with links across its choke."""
    panel = bench_panel()
    assert not panel.at({}).explains
    bridged = panel.at({CHOKE: "30 nH"})
    assert bridged.explains
    assert bridged.pp_expected == pytest.approx(69.9e-3, rel=0.05, abs=0)  # second method: the simulation's own figure
    tenfold = panel.at({"factor": "readings ten times too high"})
    assert tenfold.pp_expected == pytest.approx(10 * panel.at({}).pp_expected, rel=1e-9, abs=0)
    assert not tenfold.explains
