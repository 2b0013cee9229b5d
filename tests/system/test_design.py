"""A design as a whole: its arrangements, what is not known of it, and what it refuses."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.errors import FilterlibError, InputError
from filterlib.system.design import with_values
from filterlib.system.line.couplings import loops, possible
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.requirements import RippleRequirement
from filterlib.system.solution import solve
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

WIRE = {"kind": "wire", "part": {"kind": "wire_pair", "length": "2 m", "awg": 20, "spacing": "2 mm"}}
TO_CHASSIS = {"kind": "capacitor_to_chassis", "part": film("4.7 nF")}
F = np.array([20e3, 180e3, 3e6, 25e6, 50e6])


def whole(**more):
    """A design with something of everything that has a range."""
    source = converter(
        ripple={"peak_to_peak": "900 mV", "order": 2}, spike={"peak_to_peak": "1.5 V"}, common_mode={"swing": "28 V"}, bond={},
        shape="pulse", input_voltage="24 V", supply={},
    )  # fmt: skip
    source["common_mode"] |= {"ring": {}, "rise_time": "20 ns ± 5 ns"}
    damping = {"kind": "damping", "resistance": "1 ohm", "part": film("10 µF")}
    stages = [shunt(), common_mode(), TO_CHASSIS, series(line="both"), damping, WIRE, shunt()]
    loads = [resistive(bond={}, lead=WIRE["part"]), {**resistive("90 ohm"), "name": "logger"}]
    return design(*stages, source=source, load=loads, clip={"place": "terminals"}, **more)


def elements(circuit):
    return {element.name for element in circuit.elements}


# ---- arrangements -------------------------------------------------------------------------------------------------


def test_without_the_filter_the_load_hangs_at_the_terminals():
    one = design(shunt(), series(), shunt())
    bare = one.build(one.state(), filtered=False)
    assert not {"C1", "L1"} & elements(bare)
    assert_allclose(
        bare.transfer(F, "ripple", "load_plus"), bare.transfer(F, "ripple", "converter_plus"), rtol=1e-12, atol=0
    )


def test_without_the_converter_its_terminals_see_the_filter_and_the_load():
    """hand: at DC the choke's 10 mohm and the load's 7 ohm."""
    one = design(series(), shunt())
    seen = one.build(one.state(), converter=False).impedance([0.0], "converter_plus", "converter_return")
    assert seen[0] == pytest.approx(7.01, rel=1e-9, abs=0)


def test_an_open_load_leaves_its_lead_but_not_its_input():
    """hand: at DC the converter's and the choke's resistance alone."""
    one = design(
        series(), source=converter(output_resistance="20 mΩ"), load=resistive(input_capacitor={"part": film()})
    )
    open_end = solve(one).with_load_open(one.loads[0])
    assert open_end.impedance([0.0], "load_plus")[0] == pytest.approx(0.03, rel=1e-9, abs=0)


def test_sources_of_the_circuit():
    assert set(design(shunt()).circuit().sources) == {"regulated", "ripple", "modem.current"}
    assert set(whole().circuit().sources) == {
        "regulated", "ripple", "common_mode", "modem.current", "logger.current", "converter.input_current"
    }  # fmt: skip


def test_a_chassis_exists_where_something_reaches_it():
    assert not design(shunt()).chassis
    assert "chassis" not in design(shunt()).circuit().nodes
    for one in (
        design(TO_CHASSIS),
        design(source=converter(bond={})),
        design(source=converter(common_mode={"swing": "28 V"})),
        design(load=resistive(bond={})),
    ):
        assert one.chassis
        assert "insulation" in elements(one.circuit())


def test_points_and_loads_are_found_by_name_or_refused_with_the_nearest():
    one = design(shunt())
    assert one.named_load("modem").name == "modem"
    assert one.point("full load").load == 1.0
    with pytest.raises(FilterlibError, match='did you mean "modem"'):
        one.named_load("modern")
    with pytest.raises(FilterlibError, match='did you mean "full load"'):
        one.circuit("full laod")
    state = one.state()
    assert one.state(state) is state


# ---- couplings ----------------------------------------------------------------------------------------------------


def test_neighbouring_capacitors_couple_by_default_and_as_stated():
    one = design(shunt(), series(), shunt(), series(), shunt())
    assert [(c.first, c.second, c.mutual.stated) for c in one.all_couplings] == [
        ("C1", "C2", False),
        ("C2", "C3", False),
    ]
    stated = one.replace(couplings=[{"first": "C2", "second": "C1", "mutual": "0.5 nH"}])
    assert [(c.first, c.second, c.mutual.stated) for c in stated.all_couplings] == [
        ("C2", "C1", True),
        ("C2", "C3", False),
    ]


def test_a_coupling_carries_ripple_past_the_choke():
    """hand: far above its resonance a pi filter's capacitors are their loops, and M divides as M/L."""
    ends = shunt(mounting_loop="5 nH"), series("1 mH"), shunt(mounting_loop="5 nH")
    tight, none = (
        design(*ends, couplings=[{"first": "C1", "second": "C2", "mutual": m}], load=resistive("1 MΩ"))
        for m in ("1 nH", 0)
    )
    f = [30e6]
    ratio = [one.circuit().transfer(f, "ripple", ["converter_plus", "load_plus"]) for one in (tight, none)]
    gain = [abs(load[0] / terminals[0]) for terminals, load in ratio]
    assert gain[0] == pytest.approx(0.1, rel=0.05, abs=0)  # 1 nH of 5 + 5 nH
    assert gain[1] < 0.01


def test_default_couplings_stay_possible_whatever_the_loops_are():
    banks = [
        shunt(count=200, mounting_loop=0.0),
        series(),
        shunt(count=1000),
        shunt(count=900, mounting_loop="1 nH"),
        shunt(),
    ]
    for stated in ([], [{"first": "C2", "second": "C3", "mutual": "7.4 pH"}]):
        one = design(*banks, couplings=stated)
        assert len(one.all_couplings) == 3
        assert possible(one.all_couplings, loops(one.filter))


def test_couplings_that_cannot_be_together_are_refused():
    """hand: three loops of 10 nH, pairs of 9, 9 and 0 nH: the smallest eigenvalue is 1 - 0.9 sqrt(2) < 0."""
    stages = [shunt(mounting_loop="5 nH")] * 3
    pairs = [("C1", "C2", "9 nH"), ("C2", "C3", "9 nH"), ("C1", "C3", 0)]
    given = [{"first": a, "second": b, "mutual": m} for a, b, m in pairs]
    with pytest.raises(InputError, match=r"coupling: .* negative energy"):
        design(*stages, couplings=given)
    given[2]["mutual"] = "8 nH"  # hand: the determinant 1 + 2 abc - a^2 - b^2 - c^2 is then above zero
    assert len(design(*stages, couplings=given).couplings) == 3


# ---- what is not known --------------------------------------------------------------------------------------------


def test_every_unknown_moves_the_circuit_or_the_sources():
    from filterlib.system.sources.source_spectra import source_spectra

    one = whole()
    state = one.state()

    def seen(which):
        forces = source_spectra(which.converter, 4.0)
        circuit = which.circuit(state)
        answers = circuit.transfer(F, ["ripple", "common_mode", "regulated"], ["load_plus", "converter_plus"])
        return np.concatenate(
            [np.ravel(answers), *(c[:500] for c in (forces.ripple, forces.spike, forces.common_mode))]
        )

    start = seen(one)
    keys = [unknown.key for unknown in uncertain_parameters(one)]
    assert len(keys) == len(set(keys))
    for unknown in uncertain_parameters(one):
        moved = seen(with_values(one, {unknown.key: unknown.high if unknown.high != unknown.nominal else unknown.low}))
        assert not np.allclose(moved, start, rtol=1e-6, atol=0), unknown.key


def test_the_unknowns_are_those_that_have_a_range():
    keys = {unknown.key for unknown in uncertain_parameters(whole())}
    assert {
        "converter.duty",
        "converter.output_esl",
        "converter.spike.ring_cycles",
        "converter.common_mode.swing",
    } - keys == {
        "converter.common_mode.swing"  # stated without a spread
    }
    assert {
        "coupling.C1-D1",
        "coupling.D1-C2",
        "filter.C1.capacitance",
        "filter.L1.leakage",
        "filter.L2.inductance",
    } <= keys
    left = {u.key: u for u in uncertain_parameters(whole(), tolerances=False) if u.key.startswith(("filter.", "load."))}
    assert set(left) == {"filter.L1.leakage_imbalance", "filter.L1.capacitance_imbalance", "filter.Y1.imbalance",
                         "filter.L2.imbalance", "filter.W1.imbalance", "load.modem.lead.imbalance",
                         "load.modem.lead.height",
                         "load.logger.stray_capacitance", "filter.D1.mounting_loop", "filter.Y1.mounting_loop"}  # fmt: skip
    assert all(not one.stated and "no source" in one.why for one in left.values())
    assert all(one.nominal == 0 for key, one in left.items() if key.endswith("imbalance"))
    assert {"converter.common_mode.ring.overshoot", "converter.common_mode.rise_time", "converter.supply.inductance",
            "clip.lead_inductance"} <= keys  # fmt: skip


def test_strays_and_imbalances_are_unknown_only_where_the_chassis_is_driven():
    """Old designs keep their boxes: without a drive nothing is added; what is stated has its range all the same."""
    one = whole()
    quiet = one.replace(converter=one.converter.replace(common_mode=None), clip=None)
    added = (
        "filter.L1.leakage_imbalance",
        "filter.Y1.imbalance",
        "filter.L2.imbalance",
        "load.logger.stray_capacitance",
    )
    assert not {u.key for u in uncertain_parameters(quiet)} & set(added)
    assert "logger.stray" not in elements(quiet.circuit())
    assert "logger.stray" in elements(one.circuit())
    stated = quiet.replace(loads=[*quiet.loads[:1], quiet.loads[1].replace(stray_capacitance="40 pF ± 10 %")])
    assert "load.logger.stray_capacitance" in {u.key for u in uncertain_parameters(stated)}
    assert "logger.stray" in elements(stated.circuit())


def test_values_are_put_back_at_their_key_alone():
    """A part's own imbalance is then stated, and no unknown any more."""
    one = whole()
    for unknown in uncertain_parameters(one):
        found = {u.key: u.nominal for u in uncertain_parameters(with_values(one, {unknown.key: unknown.low}))}
        back = found.pop(unknown.key, None)
        if back is None:
            assert unknown.key.endswith("_imbalance") or unknown.key in (
                "filter.W1.imbalance",
                "load.modem.lead.imbalance",
                "load.modem.lead.height",
            )
        else:
            assert back == pytest.approx(unknown.low, rel=1e-12, abs=0)
        assert found == {u.key: u.nominal for u in uncertain_parameters(one) if u.key != unknown.key}


def test_all_unknowns_as_arrays_give_the_same_as_one_design_at_a_time():
    one = whole()
    shares = np.array([[0.1], [0.6], [0.9]])
    values = {unknown.key: unknown.at(shares) for unknown in uncertain_parameters(one)}
    state = one.state()
    many = with_values(one, values).circuit(state).transfer(F, "common_mode", "load_plus")
    assert many.shape == (3, len(F))
    for place in range(3):
        alone = with_values(one, {key: float(value[place, 0]) for key, value in values.items()})
        assert_allclose(many[place], alone.circuit(state).transfer(F, "common_mode", "load_plus"), rtol=1e-6, atol=0)


def test_an_unknown_is_walked_in_ratios_where_its_range_is_wide():
    by_key = {unknown.key: unknown for unknown in uncertain_parameters(whole())}
    edge = by_key["converter.edge_time"]
    assert edge.at(0.5) == pytest.approx(np.sqrt(8e-9 * 90e-9), rel=1e-12, abs=0)  # hand
    capacitance, narrow = by_key["converter.output_capacitance"], by_key["filter.L2.inductance"]
    assert capacitance.at(0.5) == pytest.approx(np.sqrt(0.4e-6 * 470e-6), rel=1e-12, abs=0)  # hand: geometric mean
    assert narrow.at(0.5) == pytest.approx((narrow.low + narrow.high) / 2, rel=1e-12, abs=0)
    for unknown in by_key.values():
        assert (unknown.at(0.0), unknown.at(1.0)) == pytest.approx((unknown.low, unknown.high), rel=1e-12, abs=1e-30)


# ---- what it refuses ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["terminals", "ripple", "spike", "chassis", "stage1", "modem_before"])
def test_names_that_the_program_uses_itself_are_refused(name):
    with pytest.raises(InputError, match=r"load\[1\]\.name.*taken"):
        design(load={**resistive(), "name": name})


def test_everything_between_entries_is_said_together_with_what_is_wrong_in_them():
    with pytest.raises(InputError) as caught:
        design(
            shunt(name="C1"), shunt(name="C1"), shunt(count=0),
            source=converter(colour="red"),
            load=[resistive(), resistive("7 V")],
            requirement=[{"kind": "ripple", "load": "modern", "limit": "1 A"}],
            operating_point=[{"name": "a", "loads": {"moden": 1}}, {"name": "a"}],
            coupling=[{"first": "C1", "second": "C7", "mutual": "1 V"}],
        )  # fmt: skip
    assert {problem.key for problem in caught.value.problems} == {
        "filter[1].name", "filter[2].name", "filter[3].count", "converter.colour", "load[1].name", "load[2].name",
        "load[2].resistance", "requirement[1].load", "requirement[1].limit", "operating_point[1].loads.moden",
        "operating_point[1].name", "operating_point[2].name", "coupling[1].second", "coupling[1].mutual",
    }  # fmt: skip


def test_a_load_without_a_name_makes_no_follow_up_of_what_names_it():
    with pytest.raises(InputError) as caught:
        design(
            load={"kind": "resistive", "resistance": 7},
            requirement=[{"kind": "ripple", "load": "modem", "limit": "1 V"}],
        )
    assert [problem.key for problem in caught.value.problems] == ["load[1].name"]


def test_bands_of_requirements_have_their_label_and_their_limits():
    def wanted(**more):
        return RippleRequirement(kind="ripple", load="modem", limit="15 mV", **more)

    assert wanted().label == "20MHz"
    assert wanted(bandwidth="full").label == "full"
    assert wanted(above="150 kHz", bandwidth="30 MHz", order=2).label == "150kHz_to_30MHz_order2"
    assert wanted().words == "ripple at modem to 20 MHz, at most 15 mV peak to peak"
    with pytest.raises(InputError, match=r"above.*below the bandwidth, 20 MHz"):
        wanted(above="20 MHz")


@pytest.mark.parametrize("key", ["bandwidth", "order", "above", "label"])
def test_a_spike_is_required_in_full_bandwidth_and_takes_no_band(key):
    with pytest.raises(InputError, match=f"{key}.*unknown key"):
        design(requirement=[{"kind": "spike", "load": "modem", "limit": "1 V", key: 1}])
