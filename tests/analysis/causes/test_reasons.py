"""Reasons: what each source, parasitic, band and change makes of what is left, by hand and by second methods."""

from types import SimpleNamespace

import numpy as np
import pytest

from filterlib.analysis.causes.candidates import candidates
from filterlib.analysis.causes.mitigations import LEAKAGE_LIMIT
from filterlib.analysis.causes.parasitics import ENDS, all_ideal, ideals
from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.causes.resonances import resonance_at
from filterlib.analysis.ripple.at_load import GRID
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit
from filterlib.network.waveform import Waveform
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.system.solution import solve
from filterlib.words.review.reason_sentences import reason_sentences, refusal_text
from filterlib.words.review.review_sentences import _left_out
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

COMMON = {"swing": "28 V", "coupling": "100 pF"}
DRIVEN = converter(common_mode=COMMON, bond={"inductance": "100 nH"}, shape="triangle")
LEAD = {"length": "0.4 m", "cross_section": "0.75 mm2", "spacing": "6 mm"}
BONDED = resistive(bond={"inductance": "150 nH"}, lead=LEAD)
Y_LARGE = Capacitor(
    name="y-100n",
    kind="film",
    capacitance="100 nF",
    rated_voltage="1 kV",
    loss_angle=0.002,
    esl="10 nH",
    safety_class="Y2",
)
WEAK = DifferentialChoke(
    name="weak", inductance="47 µH", saturation_current="2 A", rated_current="6 A", dc_resistance="20 mΩ",
    winding_capacitance="10 pF",
)  # fmt: skip


def pi(source=None, load=None, **more):
    return design(shunt(name="C1"), series(name="L1"), shunt("2.2 µF", name="C2"), source=source, load=load, **more)


def mitigation(result, words):
    (one,) = [one for one in result.mitigations if words in one.words]
    return one


def test_figures_are_those_of_the_ripple_analysis():
    one = pi()
    found, full = reasons(solve(one), "modem", parts={}, pairs=0), ripple(solve(one), interval=False)
    for place, label, value in (
        ("modem", "20MHz", found.ripple), ("modem", "full", found.spike),
        ("modem_before", "20MHz", found.ripple_before), ("modem_before", "full", found.spike_before),
    ):  # fmt: skip
        assert value == pytest.approx(full.figures[place, label].peak_to_peak, rel=1e-12, abs=0)  # second method


def test_the_ripple_splits_into_the_three_voltages_of_the_converters_capacitor():
    # hand: of C, ESR and ESL in series each takes its share of the impedance; ESR zero takes nothing
    source = converter(output_capacitance="22 µF", output_esr=0.0, output_esl="3 nH", shape="triangle")
    found = {one.name: one for one in reasons(solve(pi(source)), "modem", parts={}, pairs=0).sources}
    assert found["ripple_esr"].spike_alone == 0
    w = 2 * np.pi * found["ripple_c"].frequencies
    ratio = found["ripple_esl"].coefficients / found["ripple_c"].coefficients
    np.testing.assert_allclose(ratio, -(w**2) * 3e-9 * 22e-6, rtol=1e-9, atol=0)  # hand


def test_what_falls_without_a_source_is_the_whole_less_the_rest():
    found = reasons(solve(pi()), "modem", parts={}, pairs=0)
    for one in found.sources:
        whole, rest = (
            float(Waveform.sampled(1.0, wave).peak_to_peak) for wave in (found.waveform, found.waveform - one.waveform)
        )
        assert one.spike_falls == pytest.approx(
            whole - rest, rel=1e-6, abs=0
        )  # second method: refined from the samples


def test_a_parasitic_made_ideal_is_a_design_without_it():
    one = design(shunt(name="C1"), series(name="L1"), shunt(name="C2", mounting_loop="8 nH"))
    by_hand = design(shunt(name="C1"), series(name="L1"), shunt(name="C2", mounting_loop=0.0))
    found = [i for i in reasons(solve(one), "modem", parts={}, pairs=0).parasitics if i.words == "mounting loop of C2"]
    whole = reasons(solve(by_hand), "modem", parts={}, pairs=0)
    assert found[0].ripple == pytest.approx(whole.ripple, rel=1e-12, abs=0)  # second method
    assert found[0].spike == pytest.approx(whole.spike, rel=1e-12, abs=0)


def test_a_choke_in_one_line_alone_is_an_imbalance_where_the_chassis_is_driven():
    """second method: half of it in each line, written by hand; between the lines alone it changes nothing."""
    half = series("5 µH", "5 mΩ", name="L1", line="both", imbalance=0.0)
    half["part"] |= {"winding_capacitance": "20 pF", "parallel_resistance": "1.5 kΩ"}
    by_hand = design(shunt(name="C1"), half, shunt("2.2 µF", name="C2"), source=DRIVEN, load=BONDED)
    found = reasons(solve(pi(DRIVEN, BONDED)), "modem", parts={}, pairs=0)
    (alone,) = [one for one in found.parasitics if one.what == "standing in one line alone"]
    whole = reasons(solve(by_hand), "modem", parts={}, pairs=0)
    assert (alone.ripple, alone.spike) == pytest.approx((whole.ripple, whole.spike), rel=1e-9, abs=0)
    assert alone.spike != pytest.approx(found.spike, rel=0.01, abs=0)
    assert not [one for one in ideals(pi()) if one.what == "standing in one line alone"]
    assert not [one for one in ideals(all_ideal(pi(DRIVEN, BONDED))) if one.what == "standing in one line alone"]


def test_with_everything_ideal_the_response_is_the_formula():
    one = all_ideal(pi(converter(output_capacitance="22 µF", lead_inductance="50 nH"), load=resistive("7 ohm")))
    state = one.state()
    found = one.build(state).transfer([2e6], "ripple", ("load_plus", "0"))[0]
    s = 2j * np.pi * 2e6
    inside = one.converter.inner_impedance(np.array([2e6]))[0] + s * 50e-9
    # hand: a ladder of the source's impedance, 1 uF, 10 uH beside its core loss and 2.2 uF; the copper stays
    winding = 10e-3 + 1 / (1 / (s * 10e-6) + 1 / 3e3)
    after = 1 / (s * 2.2e-6 + 1 / 7)
    shunted = 1 / (s * 1e-6 + 1 / (winding + after))
    assert found == pytest.approx(shunted / (inside + shunted) * after / (winding + after), rel=3e-3, abs=0)
    assert not [i for i in ideals(one) if i.what in ("ESR", "ESL", "mounting loop", "winding capacitance")]


def test_a_resonance_is_made_by_the_two_parts_that_hold_its_energy():
    circuit = Circuit().voltage_source("V", "a", "0").resistor("R", "a", "b", 0.1).inductor("L", "b", "c", 10e-6)
    circuit.capacitor("C", "c", "0", 1e-6).capacitor("small", "c", "0", 1e-9).inductor("short", "a", "d", 1e-9)
    circuit.resistor("rest", "d", "0", 1e6)
    f = 1 / (2 * np.pi * np.sqrt(10e-6 * 1.001e-6))
    found = resonance_at(circuit, "V", f, 0.0)
    assert (found.inductive, found.capacitive) == ("L", "C")
    assert found.capacitive_share == pytest.approx(1 / 1.001, rel=1e-6, abs=0)  # hand: energy as capacitance
    # second method: d ln f / d ln C = - share / 2
    moved = 1 / (2 * np.pi * np.sqrt(10e-6 * (1.001e-6 + 1e-9)))
    assert (moved - f) / f / 1e-3 == pytest.approx(-found.capacitive_share / 2, rel=2e-3, abs=0)


def test_the_resonance_of_a_pi_filter_is_named():
    source = converter(output_capacitance="220 µF", lead_inductance="1 nH")
    one = design(series("47 µH", name="L1"), shunt("4.7 µF", name="C1"), source=source, load=resistive("50 ohm"))
    found = reasons(solve(one), "modem", parts={}, pairs=0).resonances
    near = min(found, key=lambda r: abs(np.log(r.frequency / 10.7e3)))
    assert (near.inductive, near.capacitive) == ("L1", "C1")
    # hand: 1/(2 pi sqrt(47 uH x 4.7 uF in series with 220 uF)) = 10.8 kHz; the loop and the load move it a little
    assert near.frequency == pytest.approx(10.8e3, rel=0.05, abs=0)


def test_bands_hold_all_of_the_power_and_say_which_mode():
    found = reasons(solve(pi(DRIVEN, BONDED)), "modem", parts={}, pairs=0)
    power = sum(float(one.power[one.frequencies <= 100e6].sum()) for one in found.sources)
    assert sum(band.rms**2 for band in found.bands) == pytest.approx(power, rel=1e-9, abs=0)  # second method
    assert found.bands[0].mode == ""
    assert found.bands[0].rms == 0
    assert found.bands[1].mode == "differential"


def test_a_candidate_is_the_design_that_it_says():
    one = pi()
    found = mitigation(
        reasons(solve(one), "modem", parts={"film-2u2": Capacitor(name="film-2u2", **film("2.2 µF"))}, pairs=0),
        "one more of the same beside C2",
    )
    by_hand = design(shunt(name="C1"), series(name="L1"), shunt("2.2 µF", name="C2", count=2))
    assert found.ripple == pytest.approx(reasons(solve(by_hand), "modem", parts={}, pairs=0).ripple, rel=1e-12, abs=0)
    assert found.costs.parts == 1
    assert found.costs.charge == pytest.approx(28 * 2.2e-6, rel=1e-9, abs=0)  # hand


def test_what_a_choke_costs_in_drop_and_heat():
    load = resistive("28 ohm")
    strong = WEAK.replace(name="strong", saturation_current="9 A")
    one = mitigation(reasons(solve(pi(load=load)), "modem", parts={"strong": strong}, pairs=0), "fit strong")
    # hand: 20 mohm more at about 1 A into 28 ohm, of which the load falls by 28/(28 + R) of the drop
    assert one.costs.drop == pytest.approx(0.02 * 28 / 28.05, rel=5e-3, abs=0)
    assert one.costs.heat == pytest.approx(0.02, rel=6e-3, abs=0)


def test_pairs_apply_both_changes():
    one = pi()
    result = reasons(solve(one), "modem", parts={}, pairs=4)
    found = [p for p in result.pairs if {"C1", "C2"} <= set(" ".join(p.names).split()) and p.kinds == ("one more",) * 2]
    by_hand = design(shunt(name="C1", count=2), series(name="L1"), shunt("2.2 µF", name="C2", count=2))
    assert found[0].ripple == pytest.approx(
        reasons(solve(by_hand), "modem", parts={}, pairs=0).ripple, rel=1e-12, abs=0
    )


# ---- rules -----------------------------------------------------------------------------------------------------------


def test_a_saturated_choke_is_refused_with_the_rule():
    found = mitigation(reasons(solve(pi()), "modem", parts={"weak": WEAK}, pairs=0), "fit weak")
    assert "weak saturated" in refusal_text(found.refused)
    assert "of 2 A" in refusal_text(found.refused)
    assert found.words not in [one.words for one in reasons(solve(pi()), "modem", parts={"weak": WEAK}, pairs=3).pairs]


def test_too_much_earth_leakage_is_refused():
    # hand: two 100 nF at 60 V and 60 Hz: 4.52 mA, more than 3.5 mA
    source = converter(output_voltage="60 V", common_mode=COMMON, bond={"inductance": "100 nH"})
    found = mitigation(
        reasons(solve(pi(source, BONDED)), "modem", parts={"y-100n": Y_LARGE}, pairs=0), "at the load's end"
    )
    assert found.costs.leakage == pytest.approx(2 * np.pi * 60 * 200e-9 * 60, rel=1e-9, abs=0)
    assert found.costs.leakage > LEAKAGE_LIMIT
    assert "earth leakage" in refusal_text(found.refused)


def test_a_part_of_too_low_voltage_is_refused():
    low = Capacitor(name="low", kind="polymer", capacitance="100 µF", rated_voltage="16 V", loss_angle=0.02, esl="3 nH")
    found = mitigation(reasons(solve(pi()), "modem", parts={"low": low}, pairs=0), "fit low")
    assert "usable voltage" in refusal_text(found.refused)


def test_without_a_chassis_y_capacitors_are_refused_and_with_one_they_are_tried():
    boxed = reasons(solve(pi(chassis=False)), "modem", parts={"y-100n": Y_LARGE}, pairs=0)
    assert "no chassis" in refusal_text(mitigation(boxed, "Y capacitors").refused)
    held = reasons(solve(pi(DRIVEN, BONDED)), "modem", parts={"y-100n": Y_LARGE}, pairs=0)
    assert not mitigation(held, "y-100n from each line to the chassis at the load's end").refused


def test_without_a_safety_class_nothing_goes_to_the_chassis():
    plain = Y_LARGE.replace(name="plain", safety_class=None)
    assert not [c for c in candidates(pi(DRIVEN, BONDED), "modem", {"plain": plain}) if c.kind == "Y capacitors"]


def test_leads_and_bonds_are_candidates():
    kinds = [(one.kind, one.name) for one in candidates(pi(DRIVEN, BONDED), "modem", {})]
    assert ("lead", "twist modem's lead") in kinds
    assert ("lead", "shorten modem's lead to 200 mm") in kinds
    assert [name for kind, name in kinds if kind == "bond"] == [
        "move modem's bond to where a strap of 20 nH reaches the chassis", "remove modem's bond to the chassis",
    ]  # fmt: skip


def test_a_choke_that_leaks_more_takes_the_place_of_one():
    held = common_mode("1 mH", "20 µH")["part"] | {"name": "leaky"}
    from filterlib.parts.common_mode_choke import CommonModeChoke

    one = design(shunt(name="C1"), common_mode(name="L1"), shunt(name="C2"))
    found = reasons(solve(one), "modem", parts={"leaky": CommonModeChoke(**held)}, pairs=0)
    assert mitigation(found, "take leaky for L1").ripple < found.ripple


# ---- bad input ---------------------------------------------------------------------------------------------------------


def test_bad_input_is_named():
    with pytest.raises(FilterlibError, match='no load "moden"'):
        reasons(solve(pi()), "moden")
    with pytest.raises(FilterlibError, match="no operating point"):
        reasons(solve(pi(), "nowhere"), "modem")
    with pytest.raises(FilterlibError, match="pairs"):
        reasons(solve(pi()), "modem", pairs=-1)


@pytest.mark.parametrize(
    ("limit", "begun", "enough"),
    [("10 V", "The nominal figure needs no change", True), ("1 nV", "Worth a try", False)],
)
def test_a_limit_decides_what_is_said_next(limit, begun, enough):
    """hand: 10 V is kept as it is, 1 nV by nothing; a pair of changes is told only where one is not enough."""
    asked = design(shunt(), series(), shunt(), requirement=[{"kind": "ripple", "load": "modem", "limit": limit}])
    found = reasons(solve(asked), "modem", parts={"weak": WEAK.replace(saturation_current="20 A")})
    texts = [one.text for one in reason_sentences(found)]
    assert found.limit == pytest.approx(10.0 if enough else 1e-9, rel=1e-12, abs=0)
    assert f"(limit {limit})" in texts[0]
    assert any(text.startswith(begun) for text in texts)
    assert enough or any(text.startswith("If that is not enough") for text in texts)
    assert not (enough and any(text.startswith("If that is not enough") for text in texts))


def test_an_unstable_circuit_has_no_reasons_and_says_so():
    load = {"name": "modem", "kind": "constant_power", "power": "100 W", "loop_bandwidth": "50 kHz"}
    one = design(series("470 µH", "1 mΩ", name="L1"), shunt("1 µF", name="C1"), load=load)
    found = reasons(solve(one), "modem")
    assert not found.stable
    assert np.isnan(found.ripple)
    assert not reason_sentences(found)


def test_a_loads_own_ripple_is_a_source_of_its_own():
    load = resistive(ripple={"peak_to_peak": "1 A", "frequency": "100 kHz"})
    one = pi(load=load)
    found = reasons(solve(one), "modem", parts={}, pairs=0)
    own = next(s for s in found.sources if s.name == "modem")
    assert own.waveform is None
    assert own.ripple_falls == pytest.approx(own.ripple_alone, rel=1e-9, abs=0)  # hand: it adds
    assert found.ripple == pytest.approx(
        float(spectra(solve(one)).peak_to_peak("modem", narrow(one))), rel=1e-12, abs=0
    )


def narrow(one):
    from filterlib.analysis.ripple.ripple_result import narrow_and_wide

    return narrow_and_wide(one)[0]


def test_the_grid_rises():
    assert np.all(np.diff(GRID) > 0)


def test_of_a_very_long_filter_the_stages_at_its_ends_alone_are_looked_at():
    """Each costs a solution of the whole filter; up to 16 stages all are, and the review says where not."""

    def of(stages):
        return design(*(shunt(name=f"C{n}") if n % 2 else series(name=f"L{n}") for n in range(stages)))

    def names(one):
        tried = [ideal.name for ideal in ideals(one)]
        return {name for name in tried if name in {stage.name for stage in one.filter}}

    def words(one):
        return list(_left_out(one, SimpleNamespace(uncertain_parameters=())))

    whole, short, long = of(16), of(40), of(60)
    assert names(whole) == {stage.name for stage in whole.filter}
    assert names(long) == {stage.name for stage in (*long.filter[:ENDS], *long.filter[-ENDS:])}
    assert len(ideals(short)) == len(ideals(long))
    assert len(candidates(short, "modem", {})) == len(candidates(long, "modem", {}))
    assert not words(whole)
    assert "60 stages: parasitics and changes are looked at for the first 8 and the last 8" in words(long)[-1]
