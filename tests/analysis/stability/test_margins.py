"""How far from ringing: against the poles of the design at that power, random circuits, and the parts' values; what is refused."""

import numpy as np
import pytest

from filterlib.analysis.stability.margins import critical_here, margins
from filterlib.analysis.stability.part_limits import conditions, critical_values
from filterlib.analysis.stability.stability import stability
from filterlib.errors import FilterlibError
from filterlib.system.ranges.changes import changed
from filterlib.system.solution import Solution, solve
from tests.analysis.stability.test_over_uncertainty import POWER, capacitor, choke, feeble
from tests.designs import resistive
from tests.pencils import disagreements


@pytest.fixture(scope="module")
def solution():
    return solve(feeble())


@pytest.fixture(scope="module")
def margin(solution):
    return margins(solution)[0]


def _drawing(power):
    return solve(feeble(load=POWER | {"power": f"{power} W"}))


def test_the_poles_cross_the_axis_at_the_critical_power(margin):
    """second method: poles of the design solved at a power a little below and above; there it rings where it is said to."""
    below, above = (stability(_drawing(margin.critical_power * share)) for share in (0.997, 1.003))
    assert (below.stable, above.stable) == (True, False)
    assert above.frequency == pytest.approx(margin.critical_frequency, rel=0.01, abs=0)
    assert margin.more == pytest.approx(margin.critical_power / 60 - 1, rel=1e-9, abs=0)


def test_the_least_damped_pair_is_a_pole(solution, margin):
    poles = solution.poles
    near = poles[np.argmin(np.abs(np.abs(poles) - 2 * np.pi * margin.frequency))]
    assert np.abs(near) == pytest.approx(2 * np.pi * margin.frequency, rel=1e-9, abs=0)
    assert -near.real / np.abs(near) == pytest.approx(margin.damping, rel=1e-9, abs=0)
    assert 0 < margin.damping < 0.01


def test_the_loop_is_that_of_the_power_drawn(solution, margin):
    """hand: a constant power of 60 W is -V^2 / 60 W at low frequencies; the gain that the loop bears is critical over drawn."""
    (load,) = solution.design.loads
    volts = float(solution.state.voltage(load.name))
    assert margin.load_impedance[0].real == pytest.approx(-(volts**2) / 60, rel=1e-6, abs=0)
    np.testing.assert_allclose(margin.loop, margin.source_impedance / margin.load_impedance, rtol=1e-12, atol=0)
    expected = 20 * np.log10(critical_here(solution, load)[0] / 60)
    assert margin.gain_margin == pytest.approx(expected, rel=1e-6, abs=0)


def test_an_unstable_circuit_has_a_negative_margin(margin):
    (found,) = margins(_drawing(1.1 * margin.critical_power))
    assert not found.stable
    assert found.more == pytest.approx(1 / 1.1 - 1, abs=0.01)
    assert found.gain_margin < 0 > found.damping
    assert np.isnan(found.phase_margin)
    assert not any(rule.kept for rule in found.rules)


def test_magnitude_rules_throw_away_half(margin):
    shares = {rule.name: rule.share for rule in margin.rules}
    assert shares["6 dB"] == pytest.approx(shares["0 dB"] / 2, rel=1e-9, abs=0)  # hand
    assert all(0.4 < share < 1.0 for share in shares.values())


def test_critical_values_of_the_parts_are_where_the_poles_cross(solution):
    """second method: the design with each critical value a little nearer and a little further, by its poles."""
    found = critical_values(solution, "modem")
    assert {"filter.L1.inductance", "filter.L1.dc_resistance"} <= {one.key for one in found}
    assert [one.part for one in found[:1]] == ["L1"]
    for one in found[:2]:
        inner, outer = (1 - 2e-3, 1 + 2e-3) if one.above else (1 + 2e-3, 1 - 2e-3)
        held = [stability(Solution(changed(solution.design, {one.key: one.critical * by}), solution.state)).stable
                for by in (inner, outer)]  # fmt: skip
        assert held == [True, False]


def test_an_electrolytic_that_damps_is_judged_cold_and_worn():
    """law: its ESR grows with cold and with age; across a filter that too much of it leaves undamped the critical power falls with it."""
    part = {
        "kind": "aluminium", "capacitance": "470 µF", "rated_voltage": "63 V", "esr": "0.4 Ω", "esl": 0, "rated_life": "5000 h",
        "maximum_temperature": "105 °C", "life_end_esr": 3.0, "esr_temperature_curve": [["-40 °C", 9.0], ["25 °C", 1.0], ["105 °C", 0.5]],
    }  # fmt: skip
    solution = solve(feeble(choke(), capacitor(), {"kind": "capacitor", "part": part}))
    found = {one.words: one for one in conditions(solution, "modem")}
    powers = [found[words].critical_power for words in ("warm", "room temperature", "cold", "cold and worn")]
    assert powers == sorted(powers, reverse=True)
    assert powers[0] > 2 * powers[2] > 2 * powers[3]
    (same,) = margins(solution)
    assert found["room temperature"].critical_power == pytest.approx(same.critical_power, rel=5e-3, abs=0)
    assert found["warm"].power == pytest.approx(60.0, rel=1e-9, abs=0)


@pytest.mark.parametrize("tens", range(20))
def test_eigenvalues_nyquist_count_and_critical_power_of_200_random_circuits_agree(tens):
    """second methods: eigenvalues of a matrix written by hand; turns of 1 + T about the origin over a dense axis."""
    assert [one for seed in range(10 * tens, 10 * tens + 10) for one in disagreements(seed)] == []


def test_what_has_no_margin_is_said():
    passive = solve(feeble(load=resistive()))
    assert margins(passive) == ()
    with pytest.raises(FilterlibError, match="modem draws no constant power"):
        critical_values(passive, "modem")
    with pytest.raises(FilterlibError, match="margin to instability is not defined"):
        critical_values(_drawing(90), "modem")


def test_the_voltage_that_falls_with_the_power_is_followed():
    """second method: behind 0.3 ohm the load's voltage falls by a quarter on the way; the poles cross at the power that is named."""
    stages = choke("47 µH", "0.3 Ω"), capacitor()
    there = solve(feeble(*stages))
    (found,), (quick,) = margins(there), margins(there, exactly=False)
    assert found.critical_power < 0.9 * quick.critical_power
    for share, holds in ((0.997, True), (1.003, False)):
        load = POWER | {"power": f"{found.critical_power * share} W"}
        assert stability(solve(feeble(*stages, load=load))).stable == holds


def test_a_core_beyond_the_law_of_its_saturation_adds_no_power():
    """law: a choke that saturates at 4 A allows hardly more than one that never does, although at the critical power next to nothing would be left of it."""
    wet = {"kind": "aluminium", "capacitance": "470 µF", "rated_voltage": "63 V", "esr": "0.4 Ω", "esl": 0}
    whole, powers = choke("38 µH"), []
    for amps in ("4 A", "60 A"):
        soft = {**whole, "part": whole["part"] | {"saturation_current": amps}}
        (found,) = margins(solve(feeble(soft, capacitor("10 µF"), {"kind": "capacitor", "part": wet})))
        powers.append(found.critical_power)
    assert powers[0] == pytest.approx(powers[1], rel=0.03, abs=0)
