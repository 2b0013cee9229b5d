"""Insertion loss against printed examples of pads, and reactive filters in the standard's test systems by two methods."""

from __future__ import annotations

from functools import reduce

import numpy as np
import pytest
import skrf

from filterlib.analysis.linear.insertion_loss import SYSTEMS, in_system, insertion_loss, series_arm, shunt_arm
from filterlib.system.state import State
from tests.designs import design

# J. O. Bird, Electrical Circuit Theory and Technology, ch. 41 (attenuators): printed figures, two decimals.
PADS = {
    "T-pad 300, 450, 300 ohm": (series_arm(300) @ shunt_arm(1 / 450) @ series_arm(300), 600.0, 600.0, 9.54),
    "pi-pad 500, 1000, 500 ohm": (shunt_arm(1 / 500) @ series_arm(1000) @ shunt_arm(1 / 500), 353.55, 353.55, 15.31),
    "L-pad 447.21, 111.8 ohm": (series_arm(447.21) @ shunt_arm(1 / 111.8), 500.0, 100.0, 9.98),
    "potentiometer of 3 kohm, tap 2 kohm": (series_arm(1000) @ shunt_arm(1 / 2000), 500.0, 2000.0, 6.02),
    "potentiometer of 3 kohm, tap 1 kohm": (series_arm(2000) @ shunt_arm(1 / 1000), 500.0, 2000.0, 11.59),
}


@pytest.mark.parametrize("name", PADS)
def test_resistive_pads(name):
    """published J. O. Bird, Electrical Circuit Theory and Technology, ch. 41, to the last digit, rounded or cut off."""
    pad, source, load, printed = PADS[name]
    hundredths = 100 * float(insertion_loss(pad, source, load))
    assert round(100 * printed) in (round(hundredths), int(hundredths))


def test_attenuation_of_the_l_pad():
    """published J. O. Bird, ch. 41: 12.54 dB between powers; insertion loss and the mismatch of 500 and 100 ohm together."""
    pad, source, load, _ = PADS["L-pad 447.21, 111.8 ohm"]
    mismatch = 10 * np.log10((source + load) ** 2 / (4 * source * load))
    assert round(float(insertion_loss(pad, source, load)) + mismatch, 2) == 12.54


# Ideal parts; second method: evaluated apart from this library from the formula of a two-port between resistances,
# the test systems of CISPR 17 (their resistances from memory). Frequency [Hz], system, then one column a filter [dB].
FILTERS = ("C 1u", "L 10u", "L 100u", "L 10u, C 1u", "C 1u, L 10u, C 1u")
REACTIVE = (
    (150e3, "50/50", 27.45, 0.04, 2.76, 27.57, 44.20),
    (150e3, "0.1/100", 0.04, 0.04, 2.76, 17.93, 17.95),
    (1e6, "50/50", 43.92, 1.45, 16.07, 48.02, 95.81),
    (1e6, "0.1/100", 1.44, 1.44, 16.06, 51.90, 53.34),
    (1e6, "100/0.1", 1.44, 1.44, 16.06, 2.88, 53.34),
    (10e6, "50/50", 63.92, 16.07, 35.96, 85.93, 155.85),
    (10e6, "0.1/100", 16.06, 16.06, 35.96, 91.92, 107.99),
)
ROWS = [(f, system, name, db) for f, system, *row in REACTIVE for name, db in zip(FILTERS, row, strict=True)]


def parts(name):
    """Kind and value of each part of a filter of the table, from the generator on."""
    return [(word[0], float(word[2:-1]) * 1e-6) for word in name.split(", ")]


def ideal_stage(kind, value):
    """The same as a stage of a design, without any loss or parasitic."""
    if kind == "C":
        return {"kind": "capacitor", "mounting_loop": 0.0, "part": IDEAL_FILM | {"capacitance": value}}
    return {"kind": "differential_choke", "part": IDEAL_CHOKE | {"inductance": value}}


IDEAL_FILM = {"kind": "film", "rated_voltage": 100.0, "loss_angle": 0.0, "esl": 0.0}
IDEAL_CHOKE = {
    "kind": "differential_choke", "dc_resistance": 0.0, "saturation_current": 1e3, "rated_current": 10.0,
    "winding_capacitance": 0.0,
}  # fmt: skip


@pytest.mark.parametrize(("frequency", "system", "name", "decibels"), ROWS)
def test_reactive_filters(frequency, system, name, decibels):
    """second method: the table above; by chain matrices, and by the design's own stages."""
    w = 2j * np.pi * frequency
    arms = {"C": shunt_arm, "L": series_arm}
    chain = reduce(np.matmul, (arms[kind](w * value) for kind, value in parts(name)))
    assert round(float(insertion_loss(chain, *SYSTEMS[system])), 2) == decibels
    made = design(*(ideal_stage(kind, value) for kind, value in parts(name)))
    found = in_system(made, State(), *SYSTEMS[system], mode="symmetrical", frequencies=np.array([frequency]))
    assert round(float(found[0]), 2) == decibels


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("name", FILTERS)
def test_scattering_parameters_agree(system, name):
    """second method: scikit-rf's scattering parameters, carried from 50 ohm to generator and receiver."""
    frequencies = np.geomspace(9e3, 30e6, 40)
    source, load = SYSTEMS[system]
    media = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(frequencies, unit="Hz"), z0_port=50)
    build = {"C": media.shunt_capacitor, "L": media.inductor}
    network = media.thru()
    for kind, value in parts(name):
        network = network ** build[kind](value)
    scattering = skrf.network.a2s(network.a, z0=np.array([source, load]))  # `renormalize` nudges what has no Z matrix
    transducer = 20 * np.log10(np.abs(scattering[:, 1, 0]))
    expected = 10 * np.log10(4 * source * load / (source + load) ** 2) - transducer
    made = design(*(ideal_stage(kind, value) for kind, value in parts(name)))
    found = in_system(made, State(), source, load, mode="symmetrical", frequencies=frequencies)
    np.testing.assert_allclose(
        found, expected, rtol=1e-9, atol=1e-9
    )  # dB: one part in ten thousand million of a voltage
