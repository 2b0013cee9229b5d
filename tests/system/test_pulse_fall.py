"""The current of a pulse output falls: against its samples, and where that is open."""

import numpy as np
import pytest

from filterlib.network.shapes import falling_pulse
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from tests.designs import KNOWN, converter, design, shunt

POINTS = 200_000


@pytest.mark.parametrize("fall", [0.0, 0.4, 1.0])
def test_harmonics_are_those_of_samples(fall):
    """second method: the discrete transform of one period; from 1/(1 - fall/2) down to (1 - fall) of that."""
    duty, t = 0.3, (np.arange(POINTS) + 0.5) / POINTS
    wave = np.where(t > duty, (1 - fall * (t - duty) / (1 - duty)) / (1 - fall / 2), 0.0)
    k = np.arange(1, 12)
    sampled = np.fft.rfft(wave)[k] / POINTS * np.exp(-1j * np.pi * k / POINTS)
    assert np.abs(falling_pulse(k, duty, fall) - sampled).max() < 1e-6
    assert np.mean(wave) == pytest.approx(1 - duty, rel=1e-4, abs=0)  # hand: 1 on average while it lasts


def test_it_is_open_at_a_pulse_output_whose_duty_nothing_states():
    def keys(**source):
        return [one.key for one in uncertain_parameters(design(shunt(), source=converter(**source)))]

    stated = {key: value for key, value in KNOWN.items() if key not in ("duty", "shape")}
    assert "converter.pulse_fall" in keys(**stated, shape="pulse")
    assert "converter.pulse_fall" not in keys(**stated, shape="triangle")
    assert "converter.pulse_fall" not in keys(**stated, shape="pulse", duty=0.4)
    assert "converter.pulse_fall" not in keys(**stated, shape="pulse", pulse_fall=0.2)
