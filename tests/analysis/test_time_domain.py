"""The spike at a load, against an integration in time of the same circuit, written out by hand and solved by scipy."""

import numpy as np
import pytest

from filterlib.analysis.ripple.ripple import ripple
from filterlib.system.solution import solve
from tests.analysis.board_in_time import DUTY, OVERSHOOT, SAMPLES, SWING, E, T, board, periodic, scales
from tests.designs import design

NARROW, WIDE = 0.7, 1.0  # [V] at the bare terminals


def capacitor(name, farads, esr, esl):
    part = {"kind": "film", "capacitance": farads, "rated_voltage": "100 V", "loss_angle": 0.0, "esr": esr, "esl": esl}
    return {"kind": "capacitor", "name": name, "part": part, "mounting_loop": "4 nH"}


def library():
    choke = {
        "kind": "common_mode_choke", "inductance": "1 mH", "leakage": "10 µH", "leakage_measured": "loop",
        "saturation_current": "1000 A", "rated_current": "8 A", "dc_resistance": "10 mΩ", "winding_capacitance": "12 pF",
        "relaxation_frequency": "1 MHz",
    }  # fmt: skip
    source = {
        "name": "Tarn (invented)", "output_voltage": "28 V", "switching_frequency": "180 kHz", "shape": "triangle", "duty": DUTY,
        "edge_time": "40 ns", "output_capacitance": "22 µF", "output_esr": "12 mΩ", "output_esl": "4 nH",
        "lead_inductance": "15 nH", "output_resistance": "20 mΩ", "loop_bandwidth": "9 kHz",
        "ripple": {"peak_to_peak": NARROW, "load_current": "4 A"},
        "spike": {"peak_to_peak": WIDE, "ring_frequency": "40 MHz", "ring_cycles": 2, "load_current": "4 A"},
        "common_mode": {
            "swing": SWING, "coupling": "100 pF", "resistance": "15 ohm", "rise_time": "25 ns", "fall_time": "60 ns",
            "ring": {"frequency": "40 MHz", "cycles": 2, "overshoot": OVERSHOOT},
        },
        "bond": {"inductance": "100 nH"}, "measured_with": [{"name": "bench", "kind": "resistive", "resistance": 7.0}],
    }  # fmt: skip
    pair = {"kind": "wire_pair", "length": "0.5 m", "cross_section": "0.75 mm2", "spacing": "3 mm"}
    load = {"name": "modem", "kind": "resistive", "resistance": 7.0, "lead": pair, "bond": {"inductance": "200 nH"}}
    return design(
        capacitor("C1", "1 µF", "8 mΩ", "5 nH"), {"kind": "common_mode_choke", "name": "L1", "part": choke},
        capacitor("C2", "2.2 µF", "6 mΩ", "7 nH"), source=source, load=load,
        coupling=[{"first": "C1", "second": "C2", "mutual": "0.3 nH"}],
    )  # fmt: skip


@pytest.fixture(scope="module")
def both():
    one = library()
    parts = E.load * periodic(board, 16)[:, 5] * scales(NARROW, WIDE)[:, None]
    return ripple(solve(one), interval=False), parts


SOURCES = ("ripple", "spike", "common_mode")


def test_the_spike_at_the_load_is_that_of_an_integration_in_time(both):
    """second method: peak to peak in full bandwidth within 1 %, and the waveform at every time within 1 % of it."""
    found, parts = both
    whole = parts.sum(axis=0)
    spike = found.figures["modem", "full"].peak_to_peak
    assert spike == pytest.approx(np.ptp(whole), rel=0.01, abs=0)
    wave = np.interp(SAMPLES, found.times, found.waveforms["modem", "full"], period=T)
    assert np.abs(wave - (whole - whole.mean())).max() < 0.01 * spike


@pytest.mark.parametrize("number", range(3))
def test_each_source_alone_too(both, number):
    """second method: what ripple, spike and the node make alone, within 1 % each."""
    found, parts = both
    alone = found.figures["modem", "full"].by_source[SOURCES[number]]
    assert alone == pytest.approx(np.ptp(parts[number]), rel=0.01, abs=0)
