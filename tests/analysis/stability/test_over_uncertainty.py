"""Stability over the uncertainty: what turns a circuit, where, how likely; against eigenvalues of state matrices written by hand."""

from itertools import product

import numpy as np
import pytest

from filterlib.analysis.judgement import judge
from filterlib.analysis.stability.over_uncertainty import CLOSE, stability_over, where_stable
from filterlib.analysis.stability.stability import least_damping, stability
from filterlib.system.inside.converter import LOOP_DELAY, LOOP_ZERO
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve, solve_all
from filterlib.words.stability_sentences import over_sentence
from tests.designs import KNOWN, common_mode, converter, design, film, resistive, shunt

STIFF = KNOWN | {
    "output_voltage": "24 V", "output_capacitance": "47 mF", "output_esr": "0.1 mΩ", "output_esl": "0 H",
    "lead_inductance": "0 H", "output_resistance": "0 Ω",
}  # fmt: skip
POWER = {"name": "modem", "kind": "constant_power", "power": "60 W"}


def choke(inductance="47 µH", resistance="50 mΩ", tolerance="20 %"):
    part = {"kind": "differential_choke", "inductance": inductance, "dc_resistance": resistance, "tolerance": tolerance,
            "saturation_current": "1 kA", "rated_current": "60 A", "self_resonance": "20 MHz"}  # fmt: skip
    return {"kind": "differential_choke", "part": part}


def capacitor(capacitance="100 µF", esr=0.0, tolerance=0.0):
    part = film(capacitance, esr=esr, esl=0, loss_angle=0, tolerance=tolerance)
    return {"kind": "capacitor", "part": part, "mounting_loop": 0}


def feeble(*stages, load=POWER, source=None, **more):
    return design(*(stages or (choke(), capacitor())), source=converter(**source or STIFF), load=load, **more)


def test_the_inductance_from_which_a_constant_power_rings_up_is_found():
    """hand: unstable where R C / L < g, C and g with what the load's own loop takes: 48.5 µH."""
    solution = solve(feeble())
    volts = 12 + np.sqrt(144 - 60 * 0.05)
    x = 1 / np.sqrt(48.5e-6 * 100e-6) / (2 * np.pi * 20e3)  # frequency over the load's loop bandwidth
    g = 60 / volts**2
    turned = 0.05 * (100e-6 + g / (2 * np.pi * 20e3)) * (1 + x**2) / g
    assert stability(solution).stable
    over = stability_over(solution)
    (turn,) = over.alone
    assert (turn.key, turn.above, over.together) == ("filter.L1.inductance", True, ())
    assert turn.value == pytest.approx(turned, rel=0.01, abs=0)
    assert turned == pytest.approx(48.5e-6, rel=0.01, abs=0)
    assert over.share == pytest.approx((56.4e-6 - turned) / 18.8e-6, abs=0.03)  # hand: uniform in 47 µH ± 20 %
    assert over.damping < 0
    assert over_sentence(over).startswith("stable at nominal values, unstable for L1 above 48.")
    assert " of the plausible cases. The worst case oscillates at 2." in over_sentence(over)


def test_what_no_value_alone_turns_is_said_as_a_combination():
    solution = solve(feeble(choke("43 µH", tolerance="10 %"), capacitor(tolerance=0.1)))
    over = stability_over(solution)
    assert over.alone == ()
    assert {(turn.key, turn.above) for turn in over.together} == {
        ("filter.L1.inductance", True),
        ("filter.C1.capacitance", False),
    }
    values = {turn.key: turn.value for turn in over.together}
    assert abs(least_damping(solution.varied(values))[0][0]) < 1e-3  # second method: no damping where it turns
    assert " and C1 at " in over_sentence(over)
    assert " together: in " in over_sentence(over)
    assert 0 < over.share < 0.2


def test_a_case_that_the_poles_alone_call_unstable_has_its_reasons_too():
    """Near the border the way without poles may still read a little damping: the worst case is then judged by its poles."""
    boost = converter(
        output_voltage="19 V",
        input_voltage="12 V",
        switching_frequency="150 kHz",
        shape="pulse",
        spike={"peak_to_peak": "0.9 V"},
        output_capacitance={"low": "4.7 µF", "value": "22 µF", "high": "220 µF"},
        output_esr={"low": "5 mΩ", "value": "12 mΩ", "high": "60 mΩ"},
        output_esl={"low": "1 nH", "value": "4 nH", "high": "10 nH"},
        edge_time={"low": "12 ns", "value": "30 ns", "high": "80 ns"},
    )
    boost["ripple"] = {"peak_to_peak": "300 mV", "load_current": "3 A"}
    ring = {"kind": "common_mode_choke", "inductance": "1 mH", "rated_current": "5 A", "dc_resistance": "15 mΩ"}
    film = {"kind": "capacitor", "part": {"kind": "film", "capacitance": "1 µF", "rated_voltage": "63 V"}}
    bulk = {"kind": "aluminium", "capacitance": "470 µF", "rated_voltage": "35 V"}
    load = POWER | {"power": "35 W", "input_capacitor": {"part": bulk}}
    over = stability_over(
        solve(design(film, {"kind": "common_mode_choke", "part": ring}, film, source=boost, load=load))
    )
    assert over.damping < 0 < over.share + 1 / over.cases
    assert not over.stable
    assert {turn.key for turn in over.together} >= {"converter.loop_bandwidth", "converter.output_capacitance"}


def test_where_it_turns_is_where_the_poles_turn_behind_a_lossy_capacitor():
    """second method: the poles just before and just behind it; without them it was an eighth off, as ladders are by 2 %."""
    part = {"kind": "aluminium", "capacitance": "470 µF", "rated_voltage": "35 V"}
    load = {"name": "modem", "kind": "constant_power", "power": "35 W", "input_capacitor": {"part": part}}
    source = converter(output_voltage="19 V", input_voltage="12 V", shape="pulse", switching_frequency="150 kHz")
    solution = solve(design(shunt(), common_mode(), shunt(), source=source, load=load))
    (turn,) = stability_over(solution).alone
    assert (turn.key, turn.above) == ("converter.output_capacitance", False)
    measured = solution.with_measured_output
    sides = [stability(measured.varied({turn.key: share * turn.value})).stable for share in (0.97, 1.03)]
    assert sides == [False, True]


def test_a_passive_circuit_and_one_without_ranges_are_not_searched():
    assert stability_over(solve(feeble(load=resistive()))) is None
    assert stability_over(solve(feeble(choke(tolerance=0), capacitor()))) is None
    assert over_sentence(None) == ""


def test_the_damping_without_poles_is_that_of_the_poles():
    """second method: eigenvalues of the circuit's ladders."""
    for inductance, near in (("5 µH", 0.03), ("15 µH", 0.02), ("40 µH", 0.02)):
        solution = solve(feeble(choke(inductance), capacitor()))
        damping, frequency = least_damping(solution)
        exact = stability(solution)
        assert 1 / (2 * damping[0]) == pytest.approx(exact.quality, rel=near, abs=0)
        assert frequency[0] == pytest.approx(exact.frequency, rel=0.05, abs=0)


def test_a_line_of_great_inductance_still_carries_direct_current():
    """hand: 11 mH and 4 mΩ are 0.7 Ω at 10 Hz, nearly all of it reactive, and 4 mΩ for direct current; 1 mF behind 3 Ω damps it."""
    damped = {"kind": "damping", "part": film("1 mF", esr=0, esl=0, loss_angle=0, tolerance=0), "resistance": "3 ohm"}
    solution = solve(feeble(choke("11 mH", "4 mΩ"), capacitor("370 µF"), damped))
    assert stability(solution).stable
    assert least_damping(solution)[0][0] > 0


def test_a_well_damped_circuit_is_stable_over_the_whole_range():
    over = stability_over(solve(feeble(choke("2 µH"), capacitor())))
    assert (over.stable, over.share, over.alone) == (True, 0.0, ())
    assert over.damping > CLOSE
    assert over_sentence(over).startswith("stable over the whole range; the least damped case rings at 9.")


def test_figures_of_unstable_cases_are_no_figures():
    many = solve(feeble()).varied({"filter.L1.inductance": np.array([[40e-6], [56e-6]])})
    found = where_stable(many, {"ripple": np.array([1.0, 2.0]), "other": 3.0})
    assert found["ripple"].tolist()[0] == [1.0]
    assert [bool(np.isnan(found[key][1, 0])) for key in found] == [True, True]


def test_a_circuit_that_turns_is_not_good_and_has_no_ripple_where_it_is_unstable():
    loose = {"kind": "ripple", "load": "modem", "limit": "10 V"}
    points = [{"name": "idle", "load": "10 %"}, {"name": "full"}]
    judgement = judge(solve_all(feeble(requirements=[loose], operating_points=points)))
    assert [point.turned for point in judgement.points] == [False, True]
    assert not judgement.unstable
    assert not judgement.good
    (verdict,) = judgement.verdicts
    assert (verdict.verdict, verdict.depends_on) == ("undecided", "filter.L1.inductance")
    full = judgement.points[1].ripple.extents["modem", "20MHz"]
    for end in (full.at_low, full.at_high):  # second method: the poles of the circuit there
        values = {key: value for key, value in end.items() if key != "converter.shape"}
        assert stability(judgement.points[1].solution.varied(values)).stable
    tame = judge(solve_all(feeble(choke("20 µH"), capacitor(), requirements=[loose], operating_points=points)))
    assert tame.good


# ---- random designs -----------------------------------------------------------------------------------------------


def matrices(one, solution, values, count):
    """State matrices (draws, n, n), written by hand: converter, one or two sections of choke and capacitor, a constant power."""
    source, (load,) = one.converter, one.loads
    stages = {stage.name: stage for stage in one.filter}

    def of(key, nominal):
        return values[key][:, 0] if key in values else np.full(count, float(nominal))

    inner, crossover = of("converter.output_capacitance", source.output_capacitance.value), 2 * np.pi * 9e3
    damping = 1 / (crossover * inner)
    integral, delay = damping / (LOOP_ZERO * crossover), damping / (LOOP_DELAY * crossover)
    sections = [
        (
            of(f"filter.L{n}.inductance", stages[f"L{n}"].part.inductance),
            float(stages[f"L{n}"].part.dc_resistance),
            of(f"filter.C{n}.capacitance", stages[f"C{n}"].part.capacitance),
            float(stages[f"C{n}"].part.esr),
        )
        for n in range(1, len(stages) // 2 + 1)
    ]
    slope = float(load.power) / float(solution.state.load_voltages[load.name]) ** 2
    ohms, farads = (1 - 1e-3) / slope, slope / (2 * np.pi * float(load.loop_bandwidth))

    def change(state):
        """Derivatives of [loop's current, its integral's, inner voltage, (choke's current, capacitor's voltage)..., load's own]."""
        loop, kept, volts, *rest, own = state
        rates = [None, damping * (loop - kept) / integral, None]
        before = volts + source.output_esr.value * (loop - rest[0])
        rates[0] = (-source.output_resistance.value * loop - damping * (loop - kept) - before) / delay
        rates[2] = (loop - rest[0]) / inner
        for n, (henries, winding, capacitance, esr) in enumerate(sections):
            current, held = rest[2 * n], rest[2 * n + 1]
            if n + 1 < len(sections):
                out = rest[2 * n + 2]
                after = held + esr * (current - out)
            else:
                after = (held + esr * (current + own / ohms)) / (1 + esr * (1 / ohms - slope))
                out = (1 / ohms - slope) * after - own / ohms
            lead = source.lead_inductance.value if n == 0 else 0.0
            rates += [(before - winding * current - after) / (henries + lead), (current - out) / capacitance]
            before = after
        return np.array([*rates, (before - own) / (ohms * farads)])

    size = 4 + 2 * len(sections)
    return np.moveaxis(
        np.array([change([np.full(count, float(k == j)) for k in range(size)]) for j in range(size)]), -1, 0
    )


def unstable(one, solution, values, count):
    poles = np.linalg.eigvals(matrices(one, solution, values, count))
    return (poles.real > 1e-7 * np.abs(poles)).any(axis=1)


def drawn(rng):
    def spread(low, high):
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    stages = []
    for _ in range(rng.integers(1, 3)):
        stages.append(choke(spread(5e-6, 100e-6), spread(10e-3, 60e-3), tolerance=0.2))
        stages.append(capacitor(spread(20e-6, 300e-6), esr=spread(1e-3, 30e-3), tolerance=0.2))
    load = POWER | {"power": spread(15, 120), "loop_bandwidth": spread(10e3, 100e3)}
    source = KNOWN | {"output_esl": 0, "output_capacitance": "220 µF ± 30 %", "output_resistance": "5 mΩ"}
    return feeble(*stages, load=load, source=source)


def test_no_design_is_called_stable_of_which_a_draw_is_not_nor_unstable_without_one():
    """second method: 20 designs of constant power, 1,000 draws each."""
    rng, verdicts = np.random.default_rng(11), set()
    for _ in range(20):
        one = drawn(rng)
        solution, box = solve(one), uncertain_parameters(one)
        over = stability_over(solution)
        shares = np.concatenate([rng.random((1000, len(box))), list(product((0.0, 1.0), repeat=len(box)))])
        values = {each.key: each.at(shares[:, [place]]) for place, each in enumerate(box)}
        bad = unstable(one, solution, values, len(shares))
        assert over.stable == (not bad.any()), (over, bad.mean())
        assert over.share == pytest.approx(bad[:1000].mean(), abs=0.06)
        verdicts.add("all" if bad.all() else "some" if bad.any() else "none")
    assert verdicts == {"none", "some", "all"}


def test_a_capacitor_alone_before_a_constant_power_rings_with_the_converter_and_is_followed():
    one = design(shunt("10 µF"), source=converter(**KNOWN), load=POWER)
    assert stability_over(solve(one)).stable
