"""Stress: currents, voltages, heat and life of every part against what it is rated for."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.judgement import missions
from filterlib.analysis.review import review
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stress.stress import _alone, core_voltage, integral, loadings, peak, root_sum, stress
from filterlib.analysis.stress.stress_check import worst
from filterlib.errors import InputError
from filterlib.network.circuit import Current
from filterlib.network.netlist import Element
from filterlib.parts.ageing import SEAL_LIFE
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.curves.measured import measured_part
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve
from filterlib.system.sources.source_shapes import samples
from filterlib.words.review.rating_sentences import basis_text, stress_sentence
from filterlib.words.review.review_sentences import broken_ratings, cautions, summary
from filterlib.words.review.verdict_sentences import rating_lines
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

QUIET = converter(shape="triangle", ripple={"peak_to_peak": "1 µV"})
WARM = {"thermal_resistance": "50 K/W", "maximum_temperature": "105 °C"}
CAN = {
    "kind": "aluminium", "capacitance": "470 µF", "rated_voltage": "50 V", "loss_angle": 0.05, "esr": "38 mΩ", "esl": "16 nH",
    "reference_frequency": "120 Hz", "rated_life": "8000 h", "ripple_current": "1.9 A", "leakage_factor": 0.01,
}  # fmt: skip
HOUR = 3600.0


def found(one, point=None):
    return stress(solve(one, point))


def check(result, name, what):
    (one,) = [check for check in result.checks if (check.name, check.what) == (name, what)]
    return one


def heat(result, name):
    return next(one for one in result.heats if one.name == name)


def pump(frequency="100 kHz", amps="1 A", **part):
    """A load that draws a triangle of current, with a capacitor of its own that takes nearly all of it."""
    held = {"part": CAN | WARM | part}
    ripple = {"peak_to_peak": amps, "frequency": frequency}
    return design(series("1 mH"), source=QUIET, load=resistive("14 ohm", input_capacitor=held, ripple=ripple))


# ---- capacitors ---------------------------------------------------------------------------------------------------


def test_a_loads_own_triangle_flows_through_its_input_capacitor():
    result = found(pump())
    ripple = check(result, "modem.capacitor", "ripple current")
    assert ripple.value == pytest.approx(
        1 / np.sqrt(12), rel=4e-3, abs=0
    )  # hand: 1 A peak to peak; 14 ohm takes a little
    assert ripple.limit == 1.9
    assert ripple.margin == pytest.approx(1.9 / ripple.high - 1, rel=1e-12, abs=0)
    assert (ripple.verdict, ripple.part) == ("met", "input of modem")


def test_the_rating_is_weighed_with_frequency_and_temperature():
    curve = [["1 kHz", 0.5], ["30 kHz", 0.5], ["100 kHz", 1.0]]
    plain, weighed = (found(pump("2 kHz", ripple_frequency_curve=c)) for c in (None, curve))
    names = ("modem.capacitor", "ripple current")
    # hand: up to the 15th harmonic, which holds all but 1e-5 of the square, the rating is half
    assert check(weighed, *names).value == pytest.approx(2 * check(plain, *names).value, rel=1e-3, abs=0)
    warm = found(pump(ripple_temperature_curve=[["20 °C", 1.5], ["105 °C", 1.0]]))
    assert check(warm, *names).limit == pytest.approx(2.85, rel=1e-12, abs=0)  # hand
    assert "frequency" in basis_text(check(weighed, *names).basis)


def test_heat_and_rise_are_those_of_the_current_and_the_resistance():
    one = pump()
    part = one.loads[0].input_capacitor.part
    result = found(one)
    amps, made = check(result, "modem.capacitor", "ripple current").value, heat(result, "modem.capacitor")
    # hand: a triangle's square is 97.5 % in its first harmonic, and the ESR falls a little above it
    assert made.ripple == pytest.approx(amps**2 * part.esr_at(100e3), rel=2e-3, abs=0)
    assert made.rise == pytest.approx(50 * made.ripple, rel=1e-12, abs=0)  # hand
    assert made.direct == 0


def test_equal_ones_in_parallel_share_the_current_and_each_has_its_own_heat():
    held = {"part": CAN | WARM, "count": 4}
    drawn = {"peak_to_peak": "1 A", "frequency": "100 kHz"}
    four = found(design(series("1 mH"), source=QUIET, load=resistive("14 ohm", input_capacitor=held, ripple=drawn)))
    single = found(pump())
    names = ("modem.capacitor", "ripple current")
    assert check(four, *names).value == pytest.approx(check(single, *names).value / 4, rel=5e-3, abs=0)  # hand
    assert heat(four, names[0]).ripple == pytest.approx(heat(single, names[0]).ripple / 16, rel=1e-2, abs=0)  # hand
    assert heat(four, names[0]).count == 4


@pytest.mark.parametrize(
    ("rated", "derating", "limit", "verdict"),
    [("50 V", None, 40.0, "met"), ("30 V", None, 24.0, "not met"), ("30 V", 1.0, 30.0, "met")],
)
def test_the_voltage_is_held_against_the_derated_rating(rated, derating, limit, verdict):
    part = film(rated_voltage=rated, voltage_derating=derating)
    result = found(design({"kind": "capacitor", "part": part}, source=QUIET))
    volts = check(result, "C1", "voltage")
    assert volts.limit == pytest.approx(limit, rel=1e-12, abs=0)  # hand: 80 % unless stated
    assert volts.verdict == verdict
    assert volts.value == pytest.approx(28.0, rel=5e-3, abs=0)  # hand, less the drop inside
    assert ("rule of its kind" in basis_text(volts.basis)) == (derating is None)


def test_ripple_adds_to_the_voltage():
    quiet = found(design(shunt(), source=QUIET))
    loud = found(
        design(shunt(), source=converter(shape="triangle", ripple={"peak_to_peak": "2 V"}, output_esr="50 mΩ"))
    )
    difference = check(loud, "C1", "voltage").value - check(quiet, "C1", "voltage").value
    assert 0.5 < difference < 1.6  # hand: half of 2 V peak to peak, which the capacitor moves a little


def test_life_is_that_of_the_temperature_inside():
    one = pump()
    result = found(one)
    rise, life = heat(result, "modem.capacitor").rise, check(result, "modem.capacitor", "life")
    hours = 8000 * 2 ** ((105 - 20 - rise) / 10)  # hand
    assert life.value == pytest.approx(hours * HOUR, rel=1e-9, abs=0)
    assert life.verdict == "no limit"
    assert "service_life" in basis_text(life.basis)


@pytest.mark.parametrize(("years", "verdict"), [(1, "met"), (10, "not met")])
def test_life_is_judged_by_the_service_life_of_the_design(years, verdict):
    asked = years * 8766 * HOUR
    one = pump().replace(service_life=asked, operating_points=[{"temperature": "85 °C"}])  # hand: some 3.6 years there
    life = check(found(one), "modem.capacitor", "life")
    assert (life.verdict, life.limit, life.at_least) == (verdict, asked, True)
    assert life.margin == pytest.approx(life.low / asked - 1, rel=1e-12, abs=0)
    assert (life.margin > 0) == (verdict == "met")


def test_lives_over_all_operating_points():
    points = [
        {"name": "summer", "temperature": "65 °C", "share_of_time": 0.25},
        {"name": "winter", "temperature": "5 °C", "share_of_time": 0.75},
    ]
    one = pump().replace(operating_points=points)
    results = [found(one, name) for name in ("summer", "winter")]
    (whole,) = missions(one, results)
    lives = [check(result, "modem.capacitor", "life").value for result in results]
    assert whole.value == pytest.approx(1 / (0.25 / lives[0] + 0.75 / lives[1]), rel=1e-12, abs=0)  # hand
    assert whole.what == "life over all operating points"
    assert whole.basis.beyond_seal == (whole.high > SEAL_LIFE)  # winter alone is beyond it, summer is not
    assert whole.basis.beyond_seal
    assert "the seal decides" in stress_sentence(whole)
    assert not missions(pump(), [found(pump())])  # no share of time is stated


def test_leakage_current_is_told_and_nothing_limits_it():
    leak = check(found(pump()), "modem.capacitor", "leakage current")
    assert leak.value == pytest.approx(0.01 * 470e-6 * 50, rel=1e-12, abs=0)  # hand: 235 µA
    assert (leak.verdict, np.isnan(leak.limit)) == ("no limit", True)


def test_what_states_no_rating_is_said_to_state_none():
    result = found(design(shunt(), source=QUIET))
    ripple, rise = check(result, "C1", "ripple current"), check(result, "C1", "temperature rise")
    assert (ripple.verdict, basis_text(ripple.basis)) == ("no limit", "the part states no ripple_current")
    assert np.isnan(ripple.margin)
    assert (rise.verdict, basis_text(rise.basis)) == ("not known", "the part states no thermal_resistance")
    assert np.isnan(rise.value)


def test_a_ceramic_may_be_heated_by_20_kelvin_and_anything_to_its_highest_temperature():
    part = Capacitor(
        name="x", kind="ceramic_class_1", capacitance="1 µF", rated_voltage="50 V", loss_angle=0, esl=0, **WARM
    )
    one = design({"kind": "capacitor", "part": part}, source=QUIET)
    assert check(found(one), "C1", "temperature rise").limit == 20.0  # published: see CERAMIC_RISE
    hot = one.replace(operating_points=[{"temperature": "95 °C"}])
    assert check(found(hot), "C1", "temperature rise").limit == pytest.approx(10.0, rel=1e-9, abs=0)  # hand
    over = one.replace(operating_points=[{"temperature": "110 °C"}])
    assert check(found(over), "C1", "temperature rise").verdict == "not met"


# ---- chokes -------------------------------------------------------------------------------------------------------


def choke(**part):
    return {"kind": "differential_choke", "part": series("10 µH", "20 mΩ")["part"] | part}


@pytest.mark.parametrize(("rated", "verdict"), [("6 A", "met"), ("3.5 A", "not met")])
def test_a_chokes_current_is_held_against_its_heating(rated, verdict):
    one = design(choke(rated_current=rated, **WARM), source=QUIET)
    result, amps = found(one), one.state().load_currents["modem"]
    assert check(result, "L1", "current").value == pytest.approx(amps, rel=1e-6, abs=0)  # hand: next to no ripple
    assert check(result, "L1", "current").verdict == verdict
    copper = amps**2 * 20e-3
    assert heat(result, "L1").direct == pytest.approx(copper, rel=1e-9, abs=0)  # hand
    assert heat(result, "L1").rise == pytest.approx(50 * copper / (1 - 50 * copper * 0.00393), rel=1e-6, abs=0)  # hand
    assert check(result, "L1", "temperature rise").limit == pytest.approx(85.0, rel=1e-9, abs=0)  # hand


def test_ripple_adds_to_a_chokes_peak():
    """hand: a square voltage of half a volt for half a period changes the current of 10 µH by V T/(4 L), at its peak."""
    loud = converter(shape="triangle", ripple={"peak_to_peak": "1 V"}, output_esr="50 mΩ", duty=0.5, spike_share=0)
    stiff = {"kind": "capacitor", "part": film("10 µF")}
    nearly = {"saturation_current": "4 A", "parallel_resistance": None, "winding_capacitance": "1e-14 F"}
    one = design(choke(**nearly), stiff, source=loud)
    state = one.state()
    (held,) = [held for held in loadings(solve(one, state)) if held.component.name == "L1"]
    seen = check(found(one), "L1", "peak current")
    wave = samples(held.currents[0][0][1])[0] + float(state.current("L1"))
    assert seen.value == pytest.approx(np.max(np.abs(wave)), rel=1e-3, abs=0)  # second method: its terminals' current
    assert seen.value > 1.01 * float(state.current("L1"))
    assert (seen.limit, seen.verdict) == (4.0, "not met")


def test_current_in_return_line_and_in_both_lines():
    one = design(series(line="return"), series(line="both"), source=QUIET)
    result, amps = found(one), one.state().load_currents["modem"]
    for name in ("L1", "L2.plus", "L2.return"):
        assert check(result, name, "current").value == pytest.approx(amps, rel=1e-6, abs=0)  # hand
    assert check(result, "L2.return", "current").part == "L2, return line"


def test_current_that_returns_through_the_chassis_is_held_against_saturation():
    bonded = converter(shape="triangle", ripple={"peak_to_peak": "1 µV"}, bond={})
    one = design(common_mode(), source=bonded, load=resistive(bond={"resistance": "20 mΩ"}))
    state, result = one.state(), found(one)
    astray = abs(state.unbalance("L1"))
    assert astray > 0.2
    unbalance = check(result, "L1", "unbalanced current")
    assert unbalance.value == pytest.approx(astray, rel=1e-4, abs=0)  # second method: the DC state
    assert (unbalance.verdict, unbalance.limit) == ("not met", 0.2)
    assert "beyond its rating" in stress_sentence(unbalance)
    closed = found(design(common_mode(), source=QUIET))
    assert check(closed, "L1", "unbalanced current").value < 1e-3
    made = heat(result, "L1").direct
    first, second = state.current("L1") + state.unbalance("L1") / 2, state.current("L1") - state.unbalance("L1") / 2
    assert made == pytest.approx(10e-3 * (first**2 + second**2), rel=1e-9, abs=0)  # hand


def test_balanced_current_is_held_against_the_leakages_saturation():
    seen = check(found(design(common_mode(), source=QUIET)), "L1", "balanced current")
    assert (seen.limit, seen.verdict) == (60.0, "met")
    part = common_mode()["part"]
    without = {
        "kind": "common_mode_choke",
        "part": {k: v for k, v in part.items() if k != "leakage_saturation_current"},
    }
    seen = check(found(design(without, source=QUIET)), "L1", "balanced current")
    assert (seen.verdict, basis_text(seen.basis)) == ("no limit", "the part states no leakage_saturation_current")


CORE = {
    "core_volume": "1150 mm3", "core_area": "23 mm2", "turns": 17, "core_loss": "150 kW/m3", "core_loss_frequency": "100 kHz",
    "core_loss_flux": "50 mT", "core_frequency_exponent": 1.45, "core_flux_exponent": 2.1,
}  # fmt: skip


def test_core_loss_from_the_voltage_across_the_winding():
    loud = converter(shape="triangle", ripple={"peak_to_peak": "2 V"}, output_esr="50 mΩ", duty=0.5)
    one = design(choke(**CORE, **WARM), {"kind": "capacitor", "part": film("10 µF")}, source=loud)
    result, state = found(one), one.state()
    circuit_current = spectra(solve(one, state), outputs={"i": Current("L1")}).whole("i")
    inductance, f = (
        one.filter[0].part.inductance_at(state.current("L1")),
        loadings(solve(one, state))[0].currents[0][0][0],
    )
    # second method: flux from L i / (N A), with the current through the winding capacitance and loss left out, which is
    # little here; the loss by the definition, its constants integrated by hand
    flux = samples(inductance * circuit_current / (17 * 23e-6))
    slope = np.gradient(flux, 1 / (180e3 * len(flux)))
    theta = 2 * np.pi * (np.arange(100_000) + 0.5) / 100_000
    k = 150e3 / (100e3**1.45 * 50e-3**2.1)
    ki = k / ((2 * np.pi) ** 0.45 * np.mean(np.abs(np.cos(theta)) ** 1.45) * 2 * np.pi * 2 ** (2.1 - 1.45))
    density = np.mean(ki * np.abs(slope) ** 1.45 * np.ptp(flux) ** (2.1 - 1.45))
    assert heat(result, "L1").core == pytest.approx(1150e-9 * density, rel=0.03, abs=0)
    assert f[0] == 180e3


def test_the_larger_of_both_core_losses_warms_the_choke():
    loud = converter(shape="triangle", ripple={"peak_to_peak": "2 V"}, output_esr="50 mΩ", duty=0.5)
    stiff = {"kind": "capacitor", "part": film("10 µF")}
    lossy, core = (design(choke(**WARM, **more), stiff, source=loud) for more in ({"parallel_resistance": "30 ohm"},
                   CORE | {"parallel_resistance": None}))  # fmt: skip
    first, second = heat(found(lossy), "L1"), heat(found(core), "L1")
    assert np.isnan(first.core)
    assert first.ripple > 1e-3
    assert second.core > 5 * second.ripple
    for made, rest in ((first, first.ripple), (second, second.core + second.ripple)):  # of copper alone there
        # hand: rise = R (P_cu (1 + a rise) + P_rest), solved for P_rest
        assert made.rise * (1 / 50 - made.direct * 0.00393) - made.direct == pytest.approx(rest, rel=0.02, abs=0)


@pytest.mark.parametrize("core", [{}, CORE])
def test_ripple_heats_a_chokes_copper_once_and_the_core_apart_from_it(core):
    """Without resistance across the core all of the ripple's heat is the copper's, which grows with the rise."""
    loud = converter(shape="triangle", ripple={"peak_to_peak": "2 V"}, output_esr="50 mΩ", duty=0.5)
    nearly = {
        "inductance": "1 µH",
        "dc_resistance": "0.3 ohm",
        "parallel_resistance": None,
        "winding_capacitance": "1e-14 F",
    }
    stage = choke(**nearly, **core, thermal_resistance="10 K/W")
    one = design(stage, {"kind": "capacitor", "part": film("10 µF")}, source=loud, load=resistive("28 ohm"))
    made = heat(found(one), "L1")
    amps = loadings(solve(one))[0].rms[0, 0]
    assert made.ripple == pytest.approx(0.3 * amps**2, rel=1e-6, abs=0)  # hand
    assert made.ripple > 0.05 * made.direct
    copper, rest = made.direct + 0.3 * amps**2, made.core if core else 0.0
    # hand: rise = R (P_cu (1 + a rise) + P_rest), solved for the rise
    assert made.rise == pytest.approx(10 * (copper + rest) / (1 - 10 * 0.00393 * copper), rel=1e-6, abs=0)
    assert not core or 0 < made.core < made.ripple


def test_the_cores_voltage_is_without_that_of_the_copper():
    resistive_one = choke(dc_resistance="2 ohm", parallel_resistance=None, winding_capacitance="1e-14 F")
    one = design(resistive_one, {"kind": "capacitor", "part": film("10 µF")}, source=converter(shape="triangle"))
    state = one.state()
    held = loadings(solve(one, state))[0]
    ((f, volts),) = core_voltage(held, state)
    inductance = one.filter[0].part.inductance_at(state.current("L1"))
    expected = 2j * np.pi * f[:10] * inductance * held.currents[0][0][1][0, :10]  # hand: j w L I
    np.testing.assert_allclose(volts[0, :10], expected, rtol=1e-3, atol=0)


def test_peak_and_root_mean_square_of_a_sum_of_harmonics():
    k = np.arange(1, 400)
    triangle = [
        (k * 1e5, np.where(k % 2, 4 / (np.pi * k) ** 2, 0)[None] + 0j)
    ]  # hand: 1 A either way, 2 A peak to peak
    assert peak(triangle)[0, 0] == pytest.approx(1.0, rel=2e-3, abs=0)
    assert peak(triangle, -3.0)[0, 0] == pytest.approx(4.0, rel=1e-3, abs=0)
    assert root_sum(triangle)[0, 0] == pytest.approx(1 / np.sqrt(3), rel=1e-6, abs=0)
    assert peak([*triangle, *triangle], 2.0)[0, 0] == pytest.approx(4.0, rel=1e-3, abs=0)  # hand: 3 A and 1 A more
    assert root_sum([*triangle, *triangle])[0, 0] == pytest.approx(np.sqrt(2 / 3), rel=1e-6, abs=0)


def test_both_lines_of_a_skew_ripple_have_the_same_peak():
    skew = converter(shape="triangle", duty=0.1, ripple={"peak_to_peak": "2 V"}, output_esr="50 mΩ")
    pair = choke(parallel_resistance=None, winding_capacitance="1e-14 F") | {"line": "both", "imbalance": "20 %"}
    result = found(design(pair, {"kind": "capacitor", "part": film("10 µF")}, source=skew))
    there, back = (check(result, f"L1.{line}", "peak current").value for line in ("plus", "return"))
    assert back == pytest.approx(there, rel=1e-6, abs=0)  # hand: what goes out comes back, whatever the inductances


def test_windings_that_differ_magnetise_the_core_with_the_load_current():
    unlike = {"kind": "common_mode_choke", "part": common_mode()["part"] | {"imbalance": "2 %"}}
    one = design(unlike, source=QUIET)
    amps, result = one.state().load_currents["modem"], found(one)
    assert check(result, "L1", "unbalanced current").value == pytest.approx(
        0.01 * amps, rel=1e-3, abs=0
    )  # hand: half of 2 %
    assert check(result, "L1", "balanced current").value == pytest.approx(amps, rel=1e-3, abs=0)  # hand


def test_the_core_of_a_common_mode_choke_is_driven_by_what_does_not_return():
    part = common_mode()["part"] | CORE | WARM
    noisy = converter(shape="triangle", common_mode={"swing": "28 V"}, bond={})
    stage = {"kind": "common_mode_choke", "part": part}
    one = design(shunt(), stage, source=noisy, load=resistive(bond={}))
    still = design(shunt(), stage, source=converter(shape="triangle"))
    assert heat(found(one), "L1").core > 1e3 * heat(found(still), "L1").core
    state = one.state()
    held = next(held for held in loadings(solve(one, state)) if held.component.name == "L1")
    ((f, volts),) = core_voltage(held, state)
    # second method: the mean of the windings' voltages, less that of resistance and leakage
    current = (held.currents[0][0][1] + held.currents[1][0][1]) / 2
    stray = 1 / (1 / (2j * np.pi * f * one.filter[1].part.leakage_at(state.current("L1"))) + 1 / 10e3)
    outside = (held.voltages[0][0][1] + held.voltages[1][0][1]) / 2 - (10e-3 + stray) * current
    np.testing.assert_allclose(volts[0, :20], outside[0, :20], rtol=1e-9, atol=0)
    ((_, flux),) = integral([(f, volts)])
    np.testing.assert_allclose(flux * 2j * np.pi * f, volts, rtol=1e-12, atol=0)


# ---- bands, ages, what has no steady state ------------------------------------------------------------------------------


def test_a_verdict_that_hangs_on_an_unknown_names_it():
    open_ended = converter(shape="triangle", output_capacitance={"low": "2 µF", "value": "20 µF", "high": "40 µF"},
                           output_esr="2 mΩ", ripple={"peak_to_peak": "1 V"})  # fmt: skip
    stage = {"kind": "capacitor", "part": film("10 µF", ripple_current="1 A")}
    base = check(found(design(stage, source=open_ended)), "C1", "ripple current")
    assert base.low < base.value < base.high
    between = {"kind": "capacitor", "part": film("10 µF", ripple_current=(base.value + base.high) / 2)}
    seen = check(found(design(between, source=open_ended)), "C1", "ripple current")
    assert seen.verdict == "undecided"
    assert seen.depends_on.startswith(("converter.", "filter."))
    assert seen.margin < 0
    worst = {"kind": "capacitor", "part": film("10 µF", ripple_current=base.low / 2)}
    assert check(found(design(worst, source=open_ended)), "C1", "ripple current").verdict == "not met"


def test_a_shape_that_is_not_stated_widens_the_band():
    """Where C inside is known: over all of its range a triangle's current goes as far as a pulse's."""
    known_inside = {"output_capacitance": "22 µF"}
    either, triangle = (
        found(design(shunt("10 µF"), source=converter(**known_inside, **more))) for more in ({}, {"shape": "triangle"})
    )
    open_one, known = check(either, "C1", "ripple current"), check(triangle, "C1", "ripple current")
    assert open_one.value == pytest.approx(known.value, rel=1e-9, abs=0)
    assert open_one.high > known.high or open_one.low < known.low


def test_parts_that_are_old_stand_in_the_circuit_as_they_have_become():
    old = pump().replace(operating_points=[{"name": "old", "temperature": "85 °C", "age": "32000 h"}])
    new = pump().replace(operating_points=[{"name": "new", "temperature": "85 °C"}])
    assert old.state().age == 32000 * HOUR
    before, after = heat(found(new), "modem.capacitor"), heat(found(old), "modem.capacitor")
    # hand: 8000 h at 105 °C are 32,000 h at 85 °C: the ESR has doubled
    assert after.ripple == pytest.approx(2 * before.ripple, rel=1e-2, abs=0)
    ceramic = {"kind": "ceramic_class_2", "capacitance": "10 µF", "rated_voltage": "50 V", "loss_angle": 0.0, "esl": 0,
               "ageing_rate": "3 %", "bias_curve": [[0, 1], [50, 1]]}  # fmt: skip
    aged = design({"kind": "capacitor", "part": ceramic}, operating_points=[{"age": "100000 h"}])
    (body,) = [e for e in aged.circuit().elements if e.name == "C1"]
    assert -1 / (2 * np.pi * 1e3 * body.value(np.array([1e3]))[0].imag) == pytest.approx(
        9.4e-6, rel=1e-9, abs=0
    )  # hand


def test_a_damping_resistor_and_a_wire_have_heat_and_no_check():
    wire = {"kind": "wire", "part": {"kind": "wire_pair", "length": "1 m", "cross_section": "1 mm2", "spacing": "4 mm"}}
    damping = {"kind": "damping", "part": film("10 µF"), "resistance": "1 ohm"}
    one = design(damping, wire, source=converter(shape="triangle"))
    result = found(one)
    amps = check(result, "D1", "ripple current").value
    assert heat(result, "D1.resistor").ripple == pytest.approx(amps**2 * 1.0, rel=1e-9, abs=0)  # hand
    assert heat(result, "W1").direct == pytest.approx(
        2 * 17.24e-3 * one.state().load_currents["modem"] ** 2, rel=1e-3, abs=0
    )
    assert {one.name for one in result.checks} == {"D1"}


def test_exceeded_ratings_are_not_met_at_their_worst_point_unless_the_design_accepts_them_by_name():
    points = [{"name": "idle", "load": "10 %"}, {"name": "full"}]
    low = {"kind": "capacitor", "part": film(rated_voltage="30 V")}
    known = converter(shape="triangle", ripple={"peak_to_peak": "10 mV"})
    limit = {"kind": "ripple", "load": "modem", "limit": "1 V"}
    one = design(low, choke(rated_current="3.5 A"), source=known, operating_points=points, requirements=[limit])
    result = review(one)
    assert result.exit_code == 1
    assert summary(result).endswith("at every operating point. Ratings: 2 not met.")
    told = broken_ratings(result)
    assert len(told) == 2
    volts, amps = sorted(told)
    assert volts.startswith("C1: voltage 28 V")
    assert volts.endswith("beyond its rating, at idle")  # hand: less is lost inside the converter
    assert amps.startswith("L1: current 3.9")
    assert amps.endswith("beyond its rating, at full")
    assert f"A rating is exceeded, or may be: {told[0]}" in list(cautions(result))
    quiet = review(design(shunt(), source=known, requirements=[limit]))
    assert (quiet.exceeded, quiet.exit_code) == ((), 0)
    half = judged(one, result, {"part": "C1", "rating": "voltage", "reason": "for a trial\nof an hour"})
    assert not half.good  # the choke's current is still exceeded
    first, second = rating_lines(half)
    assert first == f"✗ Rating not met: {amps}."
    assert second == f"⚠ Rating accepted: {volts}. Reason: for a trial of an hour."
    both = judged(
        one, result, *({"part": part, "rating": rating, "reason": "seen"} for part, rating in
                       (("C1", "voltage"), ("L1", "current"), ("L1", "peak current")))
    )  # fmt: skip
    assert both.good
    assert list(rating_lines(both))[-1] == (
        "⚠ Accepted, but not exceeded: peak current of L1. The file can leave this out."
    )


def judged(one, result, *accepted):
    """The same judgement of a design that accepts ratings."""
    return replace(result.judgement, design=one.replace(accepted=accepted))


def test_a_life_over_all_operating_points_counts_instead_of_the_lives_at_each():
    points = [{"name": "hot", "temperature": "95 °C", "share_of_time": 0.01}, {"name": "cool", "share_of_time": 0.99}]
    held = {"part": CAN | WARM}
    one = design(series("1 mH"), source=QUIET, load=resistive("14 ohm", input_capacitor=held),
                 operating_points=points, service_life="50000 h")  # fmt: skip
    result = review(one)
    assert check(result.points[0].stress, "modem.capacitor", "life").verdict == "not met"
    assert [life.verdict for life in result.lives] == ["met"]
    assert (result.exceeded, result.exit_code) == ((), 0)


def test_a_point_without_a_steady_state_has_no_stress():
    hungry = {"name": "modem", "kind": "constant_power", "power": "110 W", "loop_bandwidth": "1 MHz"}
    (point,) = review(design(series("47 µH"), source=converter(shape="triangle"), load=hungry)).points
    assert not point.operating.stable
    assert (point.stress.checks, point.stress.heats, point.stress.reason) == ((), (), point.operating.reason)


def test_the_worst_point_of_a_life_is_that_of_the_shortest():
    points = [{"name": "cold", "temperature": "0 °C"}, {"name": "hot", "temperature": "70 °C"}]
    one = pump().replace(operating_points=points)
    at = {check.what: point for point, check in worst([found(one, name) for name in ("cold", "hot")])}
    assert at["life"] == "hot"
    assert at["temperature rise"] == "hot"  # hand: its limit is nearer there


def test_measured_parts_are_held_against_what_is_stated_beside_their_file():
    folder = data_folder() / "parts" / "measured"
    stated = {"ripple_current": "2 A", "thermal_resistance": "60 K/W", "maximum_temperature": "105 °C"}
    stated |= {"insulation_time": "5000 s"}
    part = measured_part(folder / "film-470n.csv", kind="measured_capacitor", rated_voltage="63 V").replace(**stated)
    coil = measured_part(folder / "choke-22u.csv", kind="measured_choke", rated_current="3 A", dc_resistance="20 mΩ")
    one = design(
        {"kind": "capacitor", "part": part},
        {"kind": "differential_choke", "part": coil},
        source=converter(shape="triangle"),
    )
    result = found(one)
    assert check(result, "C1", "ripple current").limit == 2.0
    assert check(result, "C1", "leakage current").value == pytest.approx(28 * part.capacitance / 5000, rel=1e-2, abs=0)
    assert check(result, "L1", "current").verdict == "not met"  # hand: 4 A
    assert basis_text(check(result, "L1", "peak current").basis) == "the part states no saturation_current"


# ---- the converter's own rating -----------------------------------------------------------------------------------

RATING = {"output_current": "3 A", "output_power": "150 W", "derating": [["50 °C", 1.0], ["70 °C", 0.5]]}


def rated(temperature="20 °C", resistance="14 ohm", **changes):
    source = converter(output_resistance=0.0, rating=RATING | changes)
    return design(source=source, load=resistive(resistance), operating_point=[{"temperature": temperature}])


@pytest.mark.parametrize(
    ("temperature", "resistance", "limit", "verdict"),
    [
        ("20 °C", "14 ohm", 3.0, "met"),  # hand: 28 V / 14 ohm = 2 A
        ("60 °C", "14 ohm", 2.25, "met"),  # hand: half-way between 100 % and 50 %
        ("70 °C", "14 ohm", 1.5, "not met"),
        ("80 °C", "14 ohm", 1.5, "not met"),  # the last share holds
        ("20 °C", "7 ohm", 3.0, "not met"),  # hand: 4 A
    ],
)
def test_the_converters_rating_is_judged_at_the_points_temperature(temperature, resistance, limit, verdict):
    result = found(rated(temperature, resistance))
    current = check(result, "converter", "output current")
    assert current.value == pytest.approx(28 / float(resistance.split()[0]), rel=1e-4, abs=0)
    assert current.limit == pytest.approx(limit, rel=1e-9, abs=0)
    assert current.verdict == verdict


def test_the_converters_power_is_judged_too_and_what_is_not_stated_is_not():
    """hand: 28 V squared over 7 ohm are 112 W; a rating of 100 W is exceeded at room temperature."""
    power = check(found(rated(resistance="7 ohm", output_power="100 W")), "converter", "output power")
    assert power.value == pytest.approx(112, rel=1e-4, abs=0)
    assert (power.verdict, power.margin) == ("not met", pytest.approx(100 / 112 - 1, rel=1e-3, abs=0))
    alone = found(design(source=converter(rating={"output_power": "100 W"})))
    assert [one.what for one in alone.checks if one.name == "converter"] == ["output power"]
    assert not [one for one in found(design(source=converter())).checks if one.name == "converter"]


def test_a_load_beyond_the_converters_rating_is_said_with_its_derating():
    said = "".join(broken_ratings(review(rated("80 °C"))))
    assert "converter: output current 2 A, at most 1.5 A" in said
    assert "50 % of its rating at this temperature; its derating ends below this temperature" in said
    assert "beyond its rating" in said


def test_a_rating_without_a_figure_is_refused():
    with pytest.raises(InputError, match="output_current: missing"):
        rated(output_current=None, output_power=None)


@pytest.mark.parametrize(
    ("kind", "alone"), [("resistor", True), ("immittance", True), ("inductor", False), ("coupled", False)]
)
def test_a_voltage_follows_from_the_current_where_nothing_couples_in(kind, alone):
    """hand: other inductors may couple into an inductor, and a winding into the other."""
    assert _alone(Element(kind, "X", ("a", "b"))) is alone
