"""The panels of the notebooks on capacitors and chokes: every control drives something; numbers by hand."""

import numpy as np
import pytest

from filterlib.show.explore import capacitor_panel, choke_panel, insertion_panel


@pytest.mark.parametrize("make", [capacitor_panel.one_panel, capacitor_panel.pair_panel, choke_panel.choke_panel])
def test_every_control_drives_result_and_picture(make):
    make().check()


def test_numbers_of_insertion_loss_are_those_of_its_curves():
    """second method: interpolated between the neighbours of the frequency, which is itself on the grid."""
    panel = insertion_panel.insertion_panel()
    curve, f = panel.result.loss.symmetrical["50/50"], panel.result.loss.frequencies
    for frequency in (panel.result.switching, 1e6):
        others = f != frequency
        between = np.interp(np.log(frequency), np.log(f[others]), curve[others])
        assert panel.result.at(frequency)["50/50"] == pytest.approx(between, rel=0.01, abs=0)
    panel.check()
