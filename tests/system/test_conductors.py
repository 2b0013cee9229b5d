"""Three conductors: the drive of the chassis, the ways back, what may reach it, and what an earthed scope's clip changes."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.analysis.review import review
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.stability.operating_point import operating
from filterlib.errors import FilterlibError, InputError
from filterlib.network.circuit import Circuit, Current
from filterlib.network.shapes import trapezoid
from filterlib.network.waveform import Waveform
from filterlib.system.inside.chassis import CommonMode, NodeRing
from filterlib.system.inside.ways import Supply
from filterlib.system.line.clip import MEASURED, OWN_CLIP, Clip
from filterlib.system.ranges.changes import with_clip
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from filterlib.system.sources.source_spectra import harmonic_count, source_spectra
from filterlib.words.review.assumptions import assumptions
from filterlib.words.review.review_sentences import cautions
from filterlib.words.stability_sentences import part_note
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

CURRENT = {"name": "modem", "kind": "constant_current", "current": "4 A"}
SAFE = {"kind": "capacitor_to_chassis", "part": film("4.7 nF", safety_class="Y2")}
UNSAFE = {"kind": "capacitor_to_chassis", "part": film("4.7 nF")}
DRIVE = {"swing": "28 V", "coupling": "100 pF"}


def source(**more):
    return converter(**{"shape": "triangle", "duty": 0.4, "edge_time": "30 ns", "common_mode": DRIVE} | more)


def refused(*stages, **more):
    with pytest.raises(InputError) as caught:
        design(*stages, **more)
    return {problem.key: problem.why for problem in caught.value.problems}


# ---- the switching node -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("high_first", [True, False])
def test_the_node_is_a_trapezoid_with_edges_of_its_own(high_first):
    """second method: straight lines between corners; a pulse output's node falls where the switch closes."""
    period, duty, rise, fall = 5e-6, 0.4, 200e-9, 50e-9
    one = CommonMode(swing="28 V", rise_time=rise, fall_time=fall)
    found = one.node(40, period, duty, 1e-9, high_first=high_first)
    first, second = (rise, fall) if high_first else (fall, rise)
    corners = np.array([-first / 2, first / 2, duty * period - second / 2, duty * period + second / 2]) % period
    levels = np.array([0.0, 28, 28, 0]) if high_first else np.array([28.0, 0, 0, 28])
    order = np.argsort(corners)
    wave = Waveform.lines(period, corners[order], levels[order])
    assert_allclose(found, wave.coefficients(40)[1:], rtol=1e-9, atol=1e-9 * 28)


def test_equal_edges_are_the_trapezoid_of_the_textbook():
    """published C. R. Paul, Introduction to Electromagnetic Compatibility, ch. 3 (corners and slopes): 1 V, 10 MHz, 50 %,
    20 ns: 0.59555 V and 0.10707 V at the first and third harmonic."""
    found = CommonMode(swing="1 V").node(3, 100e-9, 0.5, 20e-9, high_first=True)
    assert_allclose(2 * abs(found)[[0, 2]], [0.59555, 0.10707], rtol=2e-5, atol=0)
    wave = trapezoid(100e-9, 1.0, 0.5, 20e-9, 20e-9).coefficients(3)[1:]
    assert_allclose(abs(found), abs(wave), rtol=1e-9, atol=1e-12)  # second method


def test_a_ring_stands_on_both_edges_in_their_direction():
    """hand: behind the rising edge the node overshoots by 20 % less what the ring loses, behind the falling one below zero;
    the mean stays."""
    period, ring = 5e-6, NodeRing(frequency="20 MHz", cycles=4, overshoot="20 %")
    one = CommonMode(swing="28 V", ring=ring)
    c = one.node(2000, period, 0.4, 1e-9, high_first=True)
    wave = np.fft.irfft(np.concatenate([[0.4 * 28], c]) * 8000, 8000)
    late = (np.arange(8000) / 8000 * period)[:800]  # the first 500 ns
    peak = late[np.argmax(wave[:800])]
    assert peak == pytest.approx(1 / 20e6 / 4, rel=0.3, abs=0)
    assert wave[:800].max() == pytest.approx(28 * (1 + 0.2 * 0.9 * np.exp(-1 / 16)), rel=0.02, abs=0)
    assert wave[3200:4000].min() == pytest.approx(-28 * 0.2 * 0.9 * np.exp(-1 / 16), rel=0.1, abs=0)


def test_the_drive_has_harmonics_for_the_ring_and_the_converters_edges_where_none_are_stated():
    one = design(source=source(common_mode={**DRIVE, "ring": {"frequency": "90 MHz"}})).converter
    assert harmonic_count(one) == 2000  # hand: 4 x 90 MHz / 180 kHz
    plain = design(source=source()).converter
    stated = design(source=source(common_mode={**DRIVE, "rise_time": "30 ns", "fall_time": "30 ns"})).converter
    assert_allclose(source_spectra(plain, 1.0).common_mode, source_spectra(stated, 1.0).common_mode, rtol=1e-12, atol=0)
    slow = design(source=source(common_mode={**DRIVE, "fall_time": "300 ns"})).converter
    assert np.any(abs(source_spectra(slow, 1.0).common_mode - source_spectra(plain, 1.0).common_mode) > 1e-3)


def test_an_edge_longer_than_the_period_is_refused():
    for key in ("rise_time", "fall_time"):
        found = refused(source=source(common_mode={**DRIVE, key: "6 µs"}))
        assert "period" in found[f"converter.common_mode.{key}"]


# ---- ways back ----------------------------------------------------------------------------------------------------


def chassis_current(one, frequency, element):
    circuit = one.circuit()
    return circuit.transfer([frequency], "common_mode", Current(element))[0]


def test_isolated_the_current_closes_through_cable_and_battery():
    """hand: coupling, losses, bonds and cable in one loop, once the load is bonded; without it the load's stray too."""
    supply = {"inductance": "2 µH", "resistance": "1 ohm", "bond": {"inductance": "100 nH", "resistance": "2 ohm"}}
    common = {"swing": "28 V", "coupling": "100 pF", "resistance": "15 ohm"}
    bond = {"inductance": "30 nH", "resistance": "3 ohm"}
    f, w = 5e6, 2j * np.pi * 5e6
    for load, extra in (
        (resistive(bond=bond), 3 + w * 30e-9),
        (resistive(stray_capacitance="40 pF"), 15 + 1 / (w * 40e-12)),
        (resistive(), 15 + 1 / (w * 50e-12)),
    ):
        one = design(source=source(isolated=True, common_mode=common, supply=supply), load=load)
        loop = 15 + 1 / (w * 100e-12) + w * 2.1e-6 + 3 + extra
        found = chassis_current(one, f, "converter.supply.inductance")
        assert abs(found) == pytest.approx(abs(1 / loop), rel=1e-3, abs=0)


def test_an_isolated_converters_own_capacitor_takes_the_current_back():
    """hand: at 20 MHz 2.2 nF with 10 nH stand beside cable, both bonds and their resistances; the current divides."""
    w = 2j * np.pi * 20e6
    supply, bridge = {"inductance": "1 µH", "resistance": 0}, {"capacitance": "2.2 nF", "inductance": "10 nH"}
    one = design(source=source(isolated=True, supply=supply, bridge=bridge), load=resistive(bond={}))
    short, long = 1 / (w * 2.2e-9) + w * 10e-9 + 5e-3, w * 1.04e-6 + 10e-3
    loop = 15 + 1 / (w * 100e-12) + short * long / (short + long)
    found = chassis_current(one, 20e6, "converter.supply.inductance")
    assert abs(found) == pytest.approx(abs(short / (short + long) / loop), rel=1e-3, abs=0)
    plain = design(source=source(isolated=True, supply=supply), load=resistive(bond={}))
    assert abs(found) < 0.1 * abs(chassis_current(plain, 20e6, "converter.supply.inductance"))


def test_a_battery_that_floats_has_its_own_insulation():
    """hand: at DC nothing hangs on capacitors alone: 10.1 nF over 10 Mohm."""
    supply = {"bond": {"capacitance": "10 nF"}}
    one = design(source=source(isolated=True, supply=supply), load=resistive(bond={}))
    assert one.state().load_voltages["modem"] == pytest.approx(28.0, rel=0.01, abs=0)
    slowest = one.circuit().poles()[0]
    assert slowest.real == pytest.approx(-1 / (10e6 * 10.1e-9), rel=0.01, abs=0)


def test_not_isolated_the_battery_is_one_more_way_back():
    """hand: the coupling's current divides between the converter's bond and cable with battery bond, by their admittance."""
    supply = {"inductance": "1 µH", "resistance": 0, "bond": {"inductance": 0, "resistance": 0}}
    one = design(source=source(supply=supply, bond={"inductance": "250 nH", "resistance": 0}), load=resistive())
    ways = [abs(chassis_current(one, 1e6, f"converter.{way}.inductance")) for way in ("bond", "supply")]
    assert ways[0] / ways[1] == pytest.approx(4.0, rel=1e-6, abs=0)


# ---- DC through the bonds -----------------------------------------------------------------------------------------


def test_the_battery_and_the_load_bonded_take_current_past_the_second_winding():
    """hand: the input's current drops along the cable too. Loop of winding (10 mohm), cable (20 mohm) and bonds (2 x 15):
    x (10 + 20 + 30) = 10 x 4 A + 20 x 28 x 4/(0.9 x 24) A."""
    supply = {"resistance": "20 mΩ", "bond": {"resistance": "15 mΩ"}}
    load = {**CURRENT, "bond": {"resistance": "15 mΩ"}}
    one = design(common_mode(), source=converter(output_resistance=0.0, supply=supply, input_voltage="24 V"), load=load)
    drawn = 4 * 28 / (0.9 * 24)
    assert one.state().unbalances["L1"] == pytest.approx((10 * 4 + 20 * drawn) / 60, rel=1e-5, abs=0)
    unknown = design(common_mode(), source=converter(output_resistance=0.0, supply=supply), load=load)
    assert unknown.state().unbalances["L1"] == pytest.approx(40 / 60, rel=1e-5, abs=0)  # hand: without the input's
    point = {"name": "low", "input_voltage": "12 V"}
    low = one.replace(operating_points=[point])
    assert low.state("low").unbalances["L1"] == pytest.approx((40 + 40 * drawn) / 60, rel=1e-5, abs=0)
    stated = one.replace(converter=one.converter.replace(efficiency="75 %"))
    assert stated.state().unbalances["L1"] == pytest.approx((40 + 20 * drawn * 0.9 / 0.75) / 60, rel=1e-5, abs=0)


def test_isolated_the_battery_takes_no_output_current():
    supply = {"resistance": "20 mΩ", "bond": {"resistance": "15 mΩ"}}
    one = design(
        common_mode(), source=source(isolated=True, supply=supply, input_voltage="24 V"), load={**CURRENT, "bond": {}}
    )
    assert abs(one.state().unbalances["L1"]) < 1e-4 * 4  # the insulation alone


def test_the_operating_point_says_what_is_left_of_the_choke():
    """hand: 1 A past the second winding of a choke that saturates at 0.2 A; the inductance is the part's own at 1 A."""
    load = {**CURRENT, "bond": {"resistance": "15 mΩ"}}
    one = design(common_mode(), source=converter(output_resistance=0.0, bond={"resistance": "15 mΩ"}), load=load)
    note, beyond = map(part_note, operating(solve(one)).notes)
    assert "L1: 1 A returns through bonds to the chassis" in note
    left = one.filter[0].part.magnetising_at(1.0) * 1e6
    assert f"{left:.3g} µH of 995 µH remains" in note
    assert "1 A of direct current, 5 times its saturation current" in beyond  # and the model is good to twice


def test_a_choke_is_said_to_be_beyond_its_model_only_above_twice_its_saturation_current():
    for saturation, said in (("1.1 A", False), ("0.9 A", True)):  # hand: 28 V at 14 ohm are 2 A
        stage = series()
        stage["part"]["saturation_current"] = saturation
        notes = operating(solve(design(stage, load=resistive("14 ohm")))).notes
        assert ("beyond saturation" in [note.kind for note in notes]) is said


def test_return_current_is_said_from_a_fifth_of_the_saturation_current_on():
    """hand: 1 A past the second winding: a fifth of 4.9 A is less, of 5.1 A more."""
    for saturation, said in (("4.9 A", True), ("5.1 A", False)):
        choke = common_mode()
        choke["part"]["saturation_current"] = saturation
        load = {**CURRENT, "bond": {"resistance": "15 mΩ"}}
        one = design(choke, source=converter(output_resistance=0.0, bond={"resistance": "15 mΩ"}), load=load)
        assert ("unbalance" in [note.kind for note in operating(solve(one)).notes]) is said


# ---- the filter's pairs -------------------------------------------------------------------------------------------


def test_capacitors_that_share_their_way_to_the_chassis():
    """hand: both lines tied see 2 C in series with one bond; the difference of the lines sees no bond at all."""
    part = film("4.7 nF", loss_angle=1e-6)
    one = design({**SAFE, "part": part, "mounting_loop": 0, "bond": {"inductance": "40 nH", "resistance": "10 mΩ"}})
    circuit = Circuit()
    one.filter[0].add(circuit, _Nodes(), 1, one.state())
    circuit.resistor("tie", "p", "n", 0.0).resistor("reference", "chassis", "0", 0.0)
    f, w = 1e7, 2j * np.pi * 1e7
    seen = circuit.impedance([f], "p", "0")[0]
    assert seen.imag == pytest.approx((1 / (w * 9.4e-9) + w * 42.5e-9).imag, rel=1e-3, abs=0)


class _Nodes:
    plus, minus = "p", "n"


def test_two_chokes_of_one_kind_may_differ():
    one = design(series(line="both", imbalance="10 %", resistance="1 mΩ"), source=source())
    held = {element.name: element for element in one.circuit().elements}
    f = np.array([1e5])
    ratio = held["L1.plus"].value(f).imag / held["L1.return"].value(f).imag
    assert ratio == pytest.approx(1.05 / 0.95, rel=1e-3, abs=0)  # hand


# ---- no chassis, no safety class ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stages", "more", "key"),
    [
        ([SAFE], {}, "filter[1].kind"),
        ([], {"load": resistive(bond={})}, "load[1].bond"),
        ([], {"load": resistive(stray_capacitance="40 pF")}, "load[1].stray_capacitance"),
        ([], {"source": converter(bond={})}, "converter.bond"),
        ([], {"source": source()}, "converter.common_mode"),
        ([], {"source": converter(supply={})}, "converter.supply"),
        ([], {"clip": {"place": "modem"}}, "clip"),
        ([], {"load": resistive(lead={"kind": "wire_pair", "length": "1 m", "awg": 20, "spacing": "2 mm",
                                      "height": "10 mm"})}, "load[1].lead.height"),
    ],
)  # fmt: skip
def test_without_a_chassis_nothing_may_reach_it(stages, more, key):
    found = refused(*stages, chassis=False, **more)
    assert list(found) == [key]
    assert "no chassis (chassis = false)" in found[key]


def test_a_plastic_box_says_so_in_its_results():
    found = review(design(shunt(), chassis=False))
    (line,) = [one for one in assumptions(found) if one.key == "chassis"]
    assert "no place for Y capacitors" in line.why
    assert not design(shunt(), chassis=False).chassis


@pytest.mark.parametrize("wrong", ["yes", 1, 0, None])
def test_the_chassis_is_true_or_false(wrong):
    assert "chassis" in refused(shunt(), chassis=wrong)


BONDED = {"capacitance": "4.7 nF"}
HIGH = {"output_voltage": "72 V"}


@pytest.mark.parametrize(
    ("stages", "converter_more", "load_more", "key"),
    [
        ([UNSAFE], HIGH, {}, "filter[1].part"),
        ([{**UNSAFE, "part": film("4.7 nF", safety_class="X2")}], HIGH, {}, "filter[1].part"),
        ([UNSAFE], {"input_voltage": "72 V"}, {}, "filter[1].part"),
        ([], HIGH | {"bond": BONDED}, {}, "converter.bond.safety_class"),
        ([], HIGH, {"bond": BONDED}, "load[1].bond.safety_class"),
        ([], {"input_voltage": "72 V", "isolated": True, "bridge": BONDED}, {}, "converter.bridge.safety_class"),
        ([], {"input_voltage": "72 V", "supply": {"bond": BONDED}}, {}, "converter.supply.bond.safety_class"),
    ],
)
def test_on_a_hazardous_voltage_a_safety_class_is_asked_for(stages, converter_more, load_more, key):
    found = refused(*stages, source=converter(**converter_more), load=resistive(**load_more))
    assert list(found) == [key]
    assert "IEC 60384-14" in found[key]
    assert "local codes" in found[key]


def test_what_is_safe_is_taken():
    design(SAFE, source=converter(**HIGH))
    design(UNSAFE, source=converter())
    design(UNSAFE, source=converter(input_voltage="72 V", isolated=True))  # the output is its own, touchable circuit
    design(source=converter(**HIGH, bond={**BONDED, "safety_class": "Y1"}))


def test_another_input_voltage_counts_too():
    points = [{"name": "high", "input_voltage": "75 V"}]
    found = refused(UNSAFE, source=converter(input_voltage="48 V"), operating_points=points)
    assert list(found) == ["filter[1].part"]


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"bridge": BONDED}, "bridge"),
        ({"bridge": {"inductance": "10 nH"}, "isolated": True}, "bridge.capacitance"),
        ({"bond": {"safety_class": "Y2"}}, "bond.safety_class"),
        ({"supply": {"inductance": "1 V"}}, "supply.inductance"),
        ({"common_mode": {**DRIVE, "ring": {"overshoot": -1}}}, "common_mode.ring.overshoot"),
    ],
)
def test_what_cannot_be_of_the_converter_is_named(more, key):
    assert list(refused(source=converter(**more))) == [f"converter.{key}"]


def test_a_shared_way_that_is_a_capacitor_is_refused():
    assert "filter[1].bond.capacitance" in refused({**SAFE, "bond": BONDED})


# ---- measuring closes the loop ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def board():
    return design(
        shunt(), common_mode(), shunt(), load=resistive(),
        source=source(bond={}, common_mode=DRIVE | {"resistance": "15 ohm"}),
    )  # fmt: skip


def test_the_clip_is_a_bond_with_its_leads_inductance(board):
    """hand: what the scope shows is what is there plus the voltage along the clip's lead."""
    seen = with_clip(board, "modem", Clip(place="modem", lead_inductance="120 nH"))
    circuit, f = seen.circuit(), np.array([1e6, 3e7])
    ports = seen.clip.readings(seen.loads)
    there, shown, own, current = circuit.transfer(
        f, "common_mode", [("load_plus", "0"), ports[MEASURED], ports[OWN_CLIP], Current("clip.lead")]
    )
    assert_allclose(shown, there + own, rtol=1e-9, atol=0)
    assert_allclose(own, 2j * np.pi * f * 120e-9 * current, rtol=1e-9, atol=0)
    assert np.all(abs(own) > 0)


def test_an_earthed_clip_shows_more_than_the_load_sees(board):
    found = ripple(solve(with_clip(board, "modem"), board.state()), interval=False).figures
    alone = ripple(solve(board), interval=False).figures
    there = alone["modem", "full"].by_source["common_mode"]
    assert found[MEASURED, "full"].by_source["common_mode"] > 2 * there
    assert found[OWN_CLIP, "full"].by_source["common_mode"] > 0.5 * found[MEASURED, "full"].peak_to_peak
    assert (MEASURED, "full") not in alone


def test_a_clip_without_lead_and_earth_current_reads_the_truth(board):
    """hand: a scope on a battery, far from earth, adds nothing."""
    one = Clip(place="modem", lead_inductance="150 nH", earth_resistance="1 MΩ")
    found = ripple(solve(with_clip(board, "modem", one), board.state()), interval=False).figures
    alone = ripple(solve(board), interval=False).figures["modem", "full"].peak_to_peak
    assert found[MEASURED, "full"].peak_to_peak == pytest.approx(alone, rel=1e-2, abs=0)


def test_no_such_place_is_named(board):
    with pytest.raises(FilterlibError, match=r'no place "modern"; .*modem'):
        with_clip(board, "modern")
    assert "no such place" in refused(clip={"place": "modern"})["clip.place"]


def test_clipping_on_has_its_caution(board):
    told = [tuple(cautions(review(one))) for one in (board, with_clip(board, "modem"))]
    assert [any("earthed oscilloscope" in text for text in found) for found in told] == [False, True]


def test_supply_has_defaults_that_are_listed():
    found = review(design(shunt(), source=source(isolated=True, bond={})))
    keys = {one.key for one in assumptions(found)}
    assert {"converter.supply.inductance", "converter.supply.bond", "load.modem.stray_capacitance"} <= keys
    assert not Supply().inductance.stated


def test_edges_of_a_node_may_be_unlike_where_nothing_is_stated_of_them():
    """hand: the longer one takes sqrt(4) times their mean, the shorter a half of it; a stated edge time holds for both."""
    period, duty, k = 1e-6, 0.5, np.arange(1, 41)
    unlike = CommonMode(swing="1 V", edge_ratio=4).node(40, period, duty, 20e-9, high_first=True)
    known = CommonMode(swing="1 V", rise_time="40 ns", fall_time="10 ns")
    np.testing.assert_allclose(unlike, known.node(40, period, duty, 90e-9, high_first=True), rtol=1e-12, atol=0)
    rise, fall = (np.sinc(k * edge / period) for edge in (40e-9, 10e-9))
    np.testing.assert_allclose(
        unlike, (rise - np.exp(-1j * np.pi * k) * fall) / (2j * np.pi * k), rtol=1e-9, atol=1e-12
    )
    key = "converter.common_mode.edge_ratio"

    def keys(**more):
        one = design(shunt(), source=converter(common_mode={"swing": "1 V"} | more.pop("drive", {}), **more))
        return {each.key for each in uncertain_parameters(one)}

    assert key in keys()
    assert key not in keys(edge_time="20 ns")
    assert key not in keys(drive={"rise_time": "20 ns"})
    assert key in keys(edge_time="20 ns", drive={"edge_ratio": {"low": 0.5, "value": 1, "high": 2}})
