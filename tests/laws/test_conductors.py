"""Laws of the three conductors: what is balanced converts nothing, a small imbalance converts in proportion, a source that
finds no way back makes nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.analysis.ripple.ripple import ripple
from filterlib.network.circuit import Circuit
from filterlib.parts.wire import WirePair
from filterlib.system.line.stages import add_filter
from filterlib.system.solution import solve
from filterlib.system.state import State
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

F = np.array([150e3, 1.7e6, 12e6, 45e6])
LINES, END = ("p", "n"), ("q", "m")
PAIR = {"kind": "wire_pair", "length": "0.8 m", "awg": 20, "spacing": "3 mm", "height": "20 mm"}


def stages(kind="", share=0.0):
    """A filter of two lines in which one kind of pair is unlike by a share, and all others are alike."""
    choke = common_mode()
    if kind in ("leakage_imbalance", "capacitance_imbalance", "imbalance"):
        choke["part"] |= {kind: share}
    wire = PAIR | ({"imbalance": share} if kind == "leads" else {})
    to_chassis = {"kind": "capacitor_to_chassis", "part": film("2.2 nF"), "bond": {"inductance": "30 nH"}}
    pair = series(line="both", imbalance=share if kind == "chokes" else 0.0)
    return [
        to_chassis | {"imbalance": share if kind == "capacitors" else 0.0},
        choke, shunt(), pair, {"kind": "wire", "part": wire},
    ]  # fmt: skip


def conversion(*raw):
    """Differential over common-mode voltage at the far end, both lines driven alike and loaded alike; complex (f,)."""
    circuit = Circuit().voltage_source("drive", "d", "chassis").resistor("reference", "chassis", "0", 0.0)
    circuit.resistor("r1", "d", "p", 50.0).resistor("r2", "d", "n", 50.0)
    add_filter(circuit, design(*raw).filter, LINES, END, State())
    circuit.resistor("load", "q", "m", 7.0)
    circuit.capacitor("s1", "q", "chassis", 50e-12).capacitor("s2", "m", "chassis", 50e-12)
    plus, minus = circuit.transfer(F, "drive", ["q", "m"])
    return (plus - minus) / ((plus + minus) / 2)


def test_a_balanced_circuit_makes_no_differential_ripple_of_a_common_mode_drive():
    assert_allclose(conversion(*stages()), 0, rtol=0, atol=1e-14)  # against a common mode of 1


KINDS = ["leakage_imbalance", "capacitance_imbalance", "imbalance", "capacitors", "chokes", "leads"]


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=10, deadline=None)
@given(share=st.floats(1e-3, 1e-2))
def test_conversion_grows_in_proportion_to_a_small_imbalance(kind, share):
    small, double, turned = (conversion(*stages(kind, x)) for x in (share, 2 * share, -share))
    most = abs(small).max()
    assert most > 1e-9  # the rounding makes 1e-16
    assert_allclose(double, 2 * small, rtol=0, atol=0.05 * most)  # against the largest
    assert_allclose(turned, -small, rtol=0, atol=0.05 * most)


def test_a_source_that_finds_no_way_back_makes_nothing_and_is_not_missed():
    """The load floats without any stray: what the node drives has nowhere to go; nothing else changes.

    Measured without a load: of one that was there the leads are not those of the design's loads where nothing drives the chassis.
    """
    lone = resistive(stray_capacitance=0.0)
    stages = shunt(), common_mode(), shunt()
    drive = {"swing": "28 V", "coupling": "100 pF"}
    source = converter(shape="triangle", common_mode=drive, ripple={"peak_to_peak": "110 mV", "load_current": 0})
    driven = design(*stages, load=lone, source=source, insulation=1e15)
    quiet = driven.replace(converter=driven.converter.replace(common_mode=None))
    found, without = (ripple(solve(one), interval=False) for one in (driven, quiet))
    for place in ("terminals", "modem", "modem_before"):
        figure = found.figures[place, "full"]
        assert figure.by_source["common_mode"] < 1e-9 * figure.peak_to_peak
        assert abs(figure.reduction["common_mode"]) < 1e-9 * figure.peak_to_peak
        assert figure.peak_to_peak == pytest.approx(without.figures[place, "full"].peak_to_peak, rel=1e-9, abs=0)


def test_the_sources_waveforms_add_up_with_a_clip_on_too():
    """Superposition: to 1e-12 of the largest partial waveform, at every place and in the scope's readings."""
    drive = {"swing": "28 V", "ring": {"overshoot": "30 %"}}
    source = converter(shape="triangle", isolated=True, common_mode=drive, spike={"peak_to_peak": "0.9 V"},
                       ripple={"peak_to_peak": "400 mV", "order": 2})  # fmt: skip
    one = design(*stages("leads", 0.1), source=source, load=resistive(bond={}), clip={"place": "modem"})
    found = ripple(solve(one), interval=False)
    assert {"measured", "tip_on_clip"} <= set(found.places)
    for place in found.places:
        parts = [wave for (at, band, _), wave in found.partial.items() if (at, band) == (place, "full")]
        scale = max(np.abs(part).max() for part in parts)
        assert len(parts) == 3
        assert_allclose(sum(parts), found.waveforms[place, "full"], rtol=0, atol=1e-12 * scale)


@settings(max_examples=200, deadline=None)
@given(
    gauge=st.integers(10, 30), apart=st.floats(1.01, 30), over=st.floats(0.51, 60), length=st.floats(0.2, 20),
    imbalance=st.floats(-0.4, 0.4),
)  # fmt: skip
def test_a_pair_over_a_plane_stores_positive_energy(gauge, apart, over, length, imbalance):
    """Any geometry that is taken: the inductances are those of a passive pair, and the capacitance is positive."""
    diameter = WirePair(length=1.0, awg=gauge, spacing=0.1).diameter
    one = WirePair(
        length=length, awg=gauge, spacing=apart * diameter, height=min(over * diameter, length), imbalance=imbalance
    )
    assert 0 <= one.mutual_inductance < one.self_inductance
    assert one.capacitance_to_chassis > 0
    assert one.loop_inductance > 0
