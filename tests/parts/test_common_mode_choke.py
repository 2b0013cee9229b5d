"""The common-mode choke: measured on the model as on the bench, it reads what was stated."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.ranges.uncertain_parameter import toleranced

BENCH = 10e3  # Hz, well below the relaxation
FIRST, SECOND = ("a1", "b1"), ("a2", "b2")


def choke(**changes):
    stated = {
        "inductance": "1 mH",
        "leakage": "12 µH",
        "leakage_measured": "loop",
        "rated_current": "5 A",
        "saturation_current": "100 mA",
        "dc_resistance": 0,
        "relaxation_frequency": "500 MHz",
        "winding_capacitance": 0,
    }
    return CommonModeChoke(**stated | changes)


def inductance(circuit, a, b="0"):
    return circuit.impedance([BENCH], a, b)[0].imag / (2 * np.pi * BENCH)


def measured(part, how):
    """As an inductance meter does it, with the circuit as the second method."""
    far = {"per_winding": "0", "shorted": "0", "loop": "0"}[how]
    circuit = part.add(Circuit(), "K", ("a1", far), ("a2", far))
    if how == "shorted":
        return inductance(circuit.resistor("short", "a2", "0", 0.0), "a1")
    if how == "loop":
        return inductance(circuit.resistor("leak", "a2", "0", 1e9), "a1", "a2")
    z = part.impedance([BENCH])[0].imag / (2 * np.pi * BENCH)
    return z[0, 0] - z[0, 1]


@pytest.mark.parametrize("how", ["per_winding", "loop", "shorted"])
def test_measured_as_stated_it_reads_the_stated_leakage_and_inductance(how):
    part = choke(leakage_measured=how)
    assert measured(part, how) == pytest.approx(12e-6, rel=1e-6, abs=0)
    open_winding = part.add(Circuit(), "K", ("a1", "0"), ("a2", "0")).resistor("leak", "a2", "0", 1e9)
    assert inductance(open_winding, "a1") == pytest.approx(1e-3, rel=1e-6, abs=0)


def test_current_that_goes_out_and_comes_back_meets_the_leakage_only():
    z = choke(dc_resistance="10 mΩ").impedance([0.0, BENCH])
    loop = np.array([1, -1]) @ z @ np.array([1, -1])
    assert_allclose(loop, [0.02, 0.02 + 2j * np.pi * BENCH * 12e-6], rtol=1e-9, atol=0)  # hand
    common = np.array([0.5, 0.5]) @ z @ np.array([0.5, 0.5])  # half of the current in each winding
    assert common[1].imag == pytest.approx(2 * np.pi * BENCH * (1e-3 - 3e-6), rel=1e-4, abs=0)  # hand: (L + M)/2


def test_balanced_current_leaves_the_core_alone_and_unbalanced_current_does_not():
    part = choke()
    assert part.magnetising_at(0.0, current=5.0) == pytest.approx(0.994e-3, rel=1e-12, abs=0)  # hand
    assert part.magnetising_at(-0.1) == pytest.approx(0.7 * 0.994e-3, rel=1e-12, abs=0)  # hand
    assert part.leakage_at(50.0) == pytest.approx(6e-6, rel=1e-12, abs=0)  # no limit stated
    limited = choke(leakage_saturation_current="40 A")
    assert limited.leakage_at(5.0) == pytest.approx(6e-6 / (1 + 3 / 7 / 64), rel=1e-9, abs=0)  # hand
    assert limited.leakage_at(40.0) == pytest.approx(0.7 * 6e-6, rel=1e-12, abs=0)  # hand


def test_windings_that_differ_magnetise_the_core_with_the_load_current():
    part = choke(imbalance="1 %")
    # hand: turns differ by 0.5 %, so 5 A balanced is as 25 mA unbalanced
    assert part.magnetising_at(0.0, current=5.0) == pytest.approx(part.magnetising_at(0.025), rel=1e-12, abs=0)
    z = part.impedance([BENCH])[0]
    assert z[0, 0].imag / z[1, 1].imag == pytest.approx(1.005 / 0.995, rel=1e-6, abs=0)  # hand


def test_only_what_is_unequal_converts_common_to_differential():
    common = np.array([0.5, 0.5])
    drop = choke().impedance([BENCH])[0] @ common
    assert abs(drop[0] - drop[1]) <= 1e-12 * abs(drop[0])
    drop = choke(imbalance="2 %").impedance([BENCH])[0] @ common
    # hand: windings 1.01 L and 0.99 L, the same M: the drops differ by half of 0.02 L, and drop[1] is close to L
    assert abs(drop[0] - drop[1]) / abs(drop[1]) == pytest.approx(0.01, rel=0.02, abs=0)


def test_the_core_relaxes():
    part = choke(relaxation_frequency="1 MHz")
    # hand: at the relaxation frequency s L/(1 + j) has equal parts, half of w L each
    z = part.magnetising_impedance([1e6])[0] / (2 * np.pi * 1e6 * 0.994e-3)
    assert z == pytest.approx(0.5 + 0.5j, rel=1e-9, abs=0)
    slow = choke(relaxation_frequency="1 MHz", relaxation_exponent=0.8).magnetising_impedance([1e8, 1e9])
    assert np.log10(abs(slow[1] / slow[0])) == pytest.approx(0.2, rel=0.1, abs=0)  # hand: f**(1 - 0.8) far above


def test_it_adds_its_capacitances_half_at_each_end():
    part = choke(winding_capacitance="10 pF", interwinding_capacitance="8 pF")
    circuit = part.add(Circuit(), "K", FIRST, SECOND)
    assert [(e.name, e.nodes, e.value) for e in circuit.elements if e.kind == "capacitor"] == [
        ("K.cw1", FIRST, 10e-12),
        ("K.cw2", SECOND, 10e-12),
        ("K.ci1", ("a1", "a2"), 4e-12),
        ("K.ci2", ("b1", "b2"), 4e-12),
    ]
    assert [e.name for e in choke().add(Circuit(), "K", FIRST, SECOND).elements] == ["K"]


def test_leakage_is_less_than_the_inductance():
    with pytest.raises(InputError, match=r"leakage = .*below the inductance"):
        choke(leakage="1 mH")


@pytest.mark.parametrize(("tolerance", "leakage"), [(0.99, "20 µH"), (0.3, "0.7 mH"), (0.3, "0.9 mH")])
def test_tolerances_that_reach_each_other_leave_windings_coupled(tolerance, leakage):
    """hand: 1 mH less 99 % is 10 µH, below a leakage of 20 µH; 0.7 mH and 30 % more are 0.91 mH, 1 mH less 30 % is 0.7 mH."""
    part = choke(leakage=leakage, leakage_measured="per_winding", tolerance=tolerance)
    ends = {one.key: (one.low, one.nominal, one.high) for one in toleranced("L1", part, owner="L1")}
    (low, nominal, high), (least, leaks, most) = ends["L1.inductance"], ends["L1.leakage"]
    assert part.replace(inductance=low, leakage=most).coupling > 0
    assert (low <= nominal < high, least < leaks <= most) == (True, True)
    assert most == pytest.approx(min(1.3 * leaks, 1e-3), rel=2e-3, abs=0)


def test_a_parts_list_says_leakage_per_winding():
    assert choke().describe()["leakage per winding"] == "6 µH ± 30 %"


def test_unequal_leakages_and_winding_capacitances():
    """hand: 20 % imbalance is 1.1 and 0.9 of the mean, in both faces; the core stays one core."""
    part = choke(leakage_imbalance="20 %", capacitance_imbalance="20 %", winding_capacitance="10 pF")
    z = part.impedance([BENCH])[0].imag / (2 * np.pi * BENCH)
    equal = choke().impedance([BENCH])[0].imag / (2 * np.pi * BENCH)
    assert z[0, 1] == pytest.approx(equal[0, 1], rel=1e-12, abs=0)
    assert z[0, 0] - z[0, 1] == pytest.approx(1.1 * 6e-6, rel=1e-5, abs=0)
    assert z[1, 1] - z[0, 1] == pytest.approx(0.9 * 6e-6, rel=1e-5, abs=0)
    circuit = part.add(Circuit(), "K", FIRST, SECOND)
    held = {element.name: element.value for element in circuit.elements}
    assert (held["K.cw1"], held["K.cw2"]) == pytest.approx((11e-12, 9e-12), rel=1e-12, abs=0)
    stray = {element.name: element.value for element in part.ladder().elements}
    assert (stray["Ll1"], stray["Ll2"]) == pytest.approx((6.6e-6, 5.4e-6), rel=1e-12, abs=0)
