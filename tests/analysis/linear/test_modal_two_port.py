"""The filter as a two-port of modes: against scikit-rf and a dense solution; what converts, and what does not."""

import numpy as np
import pytest
import skrf
from numpy.testing import assert_allclose

from filterlib import load_design
from filterlib.analysis.linear.modal_two_port import PORTS, mixed, modal_two_port, terminated
from filterlib.errors import QuantityError
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.inside.converter import CHASSIS
from filterlib.system.solution import solve
from tests.dense import dense_transfer
from tests.designs import common_mode, design, film, series, shunt

F = np.geomspace(1e4, 1e8, 41)


def across(imbalance=0.0, line="both"):
    """Capacitors to chassis."""
    part = film("4.7 nF") | {"safety_class": "Y2"}
    return {"kind": "capacitor_to_chassis", "part": part, "line": line, "imbalance": imbalance}


def choke(imbalance=0.0):
    made = common_mode()
    made["part"] |= {"imbalance": imbalance}
    return made


def board(**more):
    return design(shunt(), across(0.2), choke(0.01), series(), shunt(), **more)


def two_port(*stages, **more):
    one = design(*stages)
    return modal_two_port(solve(one), frequencies=F, **more)


@pytest.mark.parametrize("reference", [50.0, 10.0])
def test_modes_against_scikit_rf_on_a_dense_solution(reference):
    """second method: scattering by a dense numpy solution, turned into modes by scikit-rf; to 1e-9 of the largest entry."""
    one = board()
    found = modal_two_port(solve(one), frequencies=F, reference=reference)
    circuit = terminated(solve(one), reference)
    ports = [(port, CHASSIS) for port in PORTS]
    columns = [dense_transfer(circuit, F, f"E{number}", ports) for number in range(1, 5)]
    lines = 2 * np.moveaxis(np.array(columns), (0, 1), (2, 1)) - np.eye(4)
    other = skrf.Network(f=F, f_unit="hz", s=lines, z0=reference)
    other.se2gmm(p=2)
    assert_allclose(other.z0[0].real, [2 * reference] * 2 + [reference / 2] * 2, rtol=1e-12, atol=0)
    assert_allclose(found.modes, other.s, rtol=0, atol=1e-9 * np.abs(other.s).max())


@pytest.mark.parametrize("name", ["tide-gauge-clean", "tide-gauge-brick"])
def test_demo_designs_against_scikit_rf(name):
    """second method: scikit-rf's se2gmm of the same single-ended matrix, to 1e-9 of its largest entry."""
    one = load_design(data_folder() / "designs" / f"{name}.toml")
    found = modal_two_port(solve(one), frequencies=F)
    other = skrf.Network(f=F, f_unit="hz", s=found.lines, z0=50)
    other.se2gmm(p=2)
    assert_allclose(found.modes, other.s, rtol=0, atol=1e-9 * np.abs(other.s).max())
    assert_allclose(found.differential_to_common, other.s[:, 2:, :2], rtol=0, atol=1e-9)


def test_without_a_filter_each_mode_goes_straight_through():
    """hand: nothing lost, nothing turned into the other mode."""
    found = two_port()
    assert_allclose(
        found.modes, np.broadcast_to(np.kron(np.eye(2), [[0, 1], [1, 0]]), found.modes.shape), rtol=0, atol=1e-12
    )


def test_a_capacitor_between_the_lines_is_seen_by_the_differential_mode_alone():
    """hand: shunt C between 100 ohm ends: S21 = 1/(1 + y 50), y = jwC (plain losses left out); common mode untouched."""
    ideal = {"kind": "capacitor", "mounting_loop": 0.0, "part": film("1 nF", esl=0.0, loss_angle=1e-6)}
    found = two_port(ideal)
    expected = 1 / (1 + 2j * np.pi * F * 1e-9 * 50)
    assert_allclose(found.differential[:, 1, 0], expected, rtol=1e-5, atol=0)
    assert_allclose(found.common[:, 1, 0], 1.0, rtol=1e-9, atol=0)


def test_capacitors_to_chassis_act_on_both_modes():
    """hand: C from each line to chassis is C/2 between the lines and 2C for both together: S21 = 1/(1 + jwC 25) in both, for
    50 C/2 at 100 ohm is as 12.5 x 2C at 25 ohm."""
    ideal = {**across(), "mounting_loop": 0.0, "part": film("1 nF", esl=0.0, loss_angle=1e-6)}
    found = two_port(ideal)
    expected = 1 / (1 + 2j * np.pi * F * 1e-9 * 25)
    assert_allclose(found.differential[:, 1, 0], expected, rtol=1e-5, atol=0)
    assert_allclose(found.common[:, 1, 0], expected, rtol=1e-5, atol=0)


def test_a_common_mode_choke_acts_on_the_common_mode():
    """hand: at 100 kHz, 1 mH in common is 628 ohm against 2 x 25 ohm in each end; the loop's 10 µH of leakage 6.3 ohm in 200."""
    f = np.array([1e5])
    part = common_mode()
    part["part"] |= {"winding_capacitance": 0.0, "interwinding_capacitance": 0.0, "relaxation_frequency": "1 GHz"}
    one = design(part)
    found = modal_two_port(solve(one), frequencies=f)
    assert abs(found.common[0, 1, 0]) == pytest.approx(abs(1 / (1 + 2j * np.pi * 1e5 * 1e-3 / 50)), rel=0.01, abs=0)
    assert abs(found.differential[0, 1, 0]) == pytest.approx(
        abs(1 / (1 + (2j * np.pi * 1e5 * 10e-6 + 0.02) / 200)), rel=1e-3, abs=0
    )


def test_loops_that_couple_are_in_the_two_port():
    """hand: beyond a large choke the mutual inductance of the two capacitors' loops is all that is left: S21 = 2 jwM/100."""
    first, second = ({**shunt(part=film(esl=0.0)), "mounting_loop": "1 nH", "name": name} for name in ("C1", "C2"))
    one = design(first, series("1 mH"), second, coupling=[{"first": "C1", "second": "C2", "mutual": "0.3 nH"}])
    f = np.array([30e6])
    found = abs(modal_two_port(solve(one), frequencies=f).differential[0, 1, 0])
    assert found == pytest.approx(2 * 2 * np.pi * 30e6 * 0.3e-9 / 100, rel=0.02, abs=0)


BALANCED = {
    "capacitor": (shunt(),),
    "to chassis": (across(),),
    "choke": (choke(),),
    "chokes in both lines": (series(line="both"),),
    "all": (shunt(), across(), choke(), series(line="both"), shunt()),
}


@pytest.mark.parametrize("name", BALANCED)
def test_a_balanced_filter_converts_nothing(name):
    """law: equal lines exchange nothing between the modes, to 1e-12 of the largest entry."""
    found = two_port(*BALANCED[name])
    scale = np.abs(found.modes).max()
    assert np.abs(found.common_to_differential).max() < 1e-12 * scale
    assert np.abs(found.differential_to_common).max() < 1e-12 * scale


UNEQUAL = {
    "to chassis": lambda amount: (across(amount), choke()),
    "choke": lambda amount: (across(), choke(amount), shunt()),
}


@pytest.mark.parametrize("name", UNEQUAL)
def test_conversion_grows_in_proportion_to_a_small_imbalance(name):
    """law: twice and ten times the imbalance, twice and ten times the conversion, within the square of the imbalance."""
    small, double, ten = (two_port(*UNEQUAL[name](amount)).differential_to_common for amount in (1e-5, 2e-5, 1e-4))
    scale = np.abs(small).max()
    assert scale > 1e-9
    assert_allclose(double, 2 * small, rtol=0, atol=1e-3 * scale)
    assert_allclose(ten, 10 * small, rtol=0, atol=1e-2 * scale)


@pytest.mark.parametrize("stages", [(across(line="plus"),), (series(),), (choke(0.1),)])
def test_unequal_lines_convert(stages):
    found = two_port(*stages)
    assert np.abs(found.common_to_differential).max() > 1e-3


def test_conversion_both_ways_is_reciprocal():
    """law: a passive filter's scattering matrix is symmetric, in lines and in modes."""
    found = two_port(*board().filter)
    for matrix in (found.lines, found.modes):
        assert_allclose(matrix, np.swapaxes(matrix, -1, -2), rtol=0, atol=1e-10)


def test_power_of_the_modes_is_that_of_the_lines_and_no_more_comes_out_than_goes_in():
    """law: with any waves in, |a|² and |b|² agree in lines and modes; I - S^H S has no negative eigenvalue."""
    found = two_port(*board().filter)
    rng = np.random.default_rng(2)
    waves = rng.standard_normal((4, 20)) + 1j * rng.standard_normal((4, 20))
    modes = np.array([waves[0] - waves[1], waves[2] - waves[3], waves[0] + waves[1], waves[2] + waves[3]]) / np.sqrt(2)
    out, out_modes = found.lines @ waves, found.modes @ modes
    assert_allclose(np.sum(np.abs(out_modes) ** 2, axis=1), np.sum(np.abs(out) ** 2, axis=1), rtol=1e-10, atol=0)
    kept = np.eye(4) - np.conj(np.swapaxes(found.modes, -1, -2)) @ found.modes
    assert np.linalg.eigvalsh(kept).min() > -1e-10


def test_losses_are_those_of_the_blocks():
    """hand: -20 log10 of the entry from end 1 to end 2."""
    found = two_port(*board().filter)
    assert_allclose(
        found.losses["common_to_differential"], -20 * np.log10(np.abs(found.modes[:, 1, 2])), rtol=1e-12, atol=0
    )
    assert_allclose(
        found.losses["differential_to_common"], -20 * np.log10(np.abs(found.modes[:, 3, 0])), rtol=1e-12, atol=0
    )
    assert_allclose(found.losses["common"], -20 * np.log10(np.abs(found.modes[:, 3, 2])), rtol=1e-12, atol=0)


def test_many_designs_at_once():
    one = board()
    values = {f"filter.{one.filter[0].name}.capacitance": np.array([[0.5e-6], [1e-6], [2e-6]])}
    together = modal_two_port(solve(with_values(one, values), one.state()), frequencies=F)
    assert together.modes.shape == (3, len(F), 4, 4)
    alone = modal_two_port(solve(one), frequencies=F)
    assert_allclose(together.modes[1], alone.modes, rtol=0, atol=1e-12)
    assert np.abs(together.modes[0] - alone.modes).max() > 1e-3


def test_the_order_of_the_lines_only_turns_the_differential_mode_round():
    """law: exchanging plus and return at both ends changes the sign of what converts, and nothing else."""
    found = two_port(*board().filter)
    turned = mixed(found.lines[..., [1, 0, 3, 2], :][..., [1, 0, 3, 2]])
    signs = np.array([-1, -1, 1, 1])
    assert_allclose(turned, found.modes * np.outer(signs, signs), rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("arguments", "name"), [({"reference": 0.0}, "reference"), ({"reference": np.nan}, "reference")]
)
def test_bad_arguments_are_named(arguments, name):
    with pytest.raises(QuantityError) as caught:
        two_port(**arguments)
    assert caught.value.name == name


def test_a_frequency_of_zero_is_refused():
    one = design()
    with pytest.raises(QuantityError, match="frequencies"):
        modal_two_port(solve(one), frequencies=np.array([0.0, 1e3]))
