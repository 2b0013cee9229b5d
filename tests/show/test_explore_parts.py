"""The panels of the notebooks: what there is to try, and numbers by hand."""

import numpy as np
import pytest

from filterlib.show.explore.common_mode import common_mode_panel
from filterlib.show.explore.emission_panel import emission_panel
from filterlib.show.explore.parts import insertion_panel
from filterlib.show.explore.parts.capacitor_panel import one_panel, pair_panel
from filterlib.show.explore.parts.choke_panel import choke_panel
from filterlib.show.explore.parts.one_part import budget_panel
from filterlib.show.explore.pi_filter import pi_panel
from filterlib.show.explore.two_converters import causes_panel

PANELS = [
    one_panel, pair_panel, choke_panel, insertion_panel.insertion_panel, pi_panel, causes_panel, budget_panel, common_mode_panel, emission_panel,
]  # fmt: skip


def test_numbers_of_insertion_loss_are_those_of_its_curves():
    """second method: interpolated between the neighbours of the frequency, which is itself on the grid."""
    panel = insertion_panel.insertion_panel()
    curve, f = panel.result.loss.symmetrical["50/50"], panel.result.loss.frequencies
    for frequency in (panel.result.switching, 1e6):
        others = f != frequency
        between = np.interp(np.log(frequency), np.log(f[others]), curve[others])
        assert panel.result.at(frequency)["50/50"] == pytest.approx(between, rel=0.01, abs=0)


@pytest.mark.parametrize("make", PANELS, ids=lambda make: make.__name__)
def test_what_there_is_to_try_can_be_set(make):
    """Each setting moves something, and is no other try's; controls and options are named as they are."""
    panel = make()
    places = []
    for one in panel.display.lesson.tries:
        state = panel.state.copy()
        for name, value in one.at.items():
            state.set(name, value)
        assert state.only(one.at)
        assert not panel.state.only(one.at)
        places.append([state.place(name) for name in state.controls])
    assert len(places) > 2
    assert all(places.count(place) == 1 for place in places)
    assert panel.display.lesson.guess is not None
