"""Laws of conducted emission: proportion, superposition, the power of lines and modes, symmetry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.analysis.emission.emission_result import EmissionTest
from filterlib.analysis.emission.estimate import emissions
from filterlib.analysis.emission.line_spectra import line_spectra
from filterlib.analysis.linear.two_lines import modal_currents, modal_voltages
from filterlib.parts.artificial_network import NETWORKS
from filterlib.system.inside.input_side import InputSide
from filterlib.system.solution import solve
from tests.designs import common_mode, converter, design, resistive, shunt

DRIVEN = converter(
    input_voltage="24 V",
    shape="pulse",
    duty=0.3,
    common_mode={"swing": "20 V", "coupling": "100 pF"},
    spike={"peak_to_peak": "200 mV"},
)


def board(**more):
    return design(shunt(), common_mode(), shunt(), source={**DRIVEN, **more}, load=resistive(bond={}))


@pytest.mark.parametrize("side", ["output", "input"])
def test_twice_the_drive_is_6_02_dB_more(side):
    """law: 20 log10(2) = 6.0206 dB, of every line and every detector."""
    single = board(spike=None)
    double = board(spike=None, ripple={"peak_to_peak": "220 mV"}, common_mode={"swing": "40 V", "coupling": "100 pF"})
    drawn = (InputSide(ripple_current=a) if side == "input" else None for a in (1.0, 2.0))
    tests = (EmissionTest(side, input_side=held) for held in drawn)
    one, two = (
        emissions(solve(each), test, interval=False) for each, test in zip((single, double), tests, strict=True)
    )
    for key, level in one.levels.items():
        present = level > level.max() - 150
        assert_allclose(two.levels[key][present] - level[present], 6.0206, rtol=1e-5, atol=0)


@pytest.mark.parametrize("side", ["output", "input"])
def test_sources_add_up_to_the_whole(side):
    """law: superposition, to 1e-12 of the largest partial amplitude."""
    found = emissions(solve(board()), EmissionTest(side), interval=False)
    for place, whole in found.amplitudes.items():
        parts = [values for (at, _), values in found.by_source.items() if at == place]
        assert_allclose(sum(parts), whole, rtol=0, atol=1e-12 * np.abs(parts).max())


@pytest.mark.parametrize("network", NETWORKS)
@pytest.mark.parametrize("side", ["output", "input"])
def test_power_of_the_lines_is_that_of_the_modes(side, network):
    """law: Re(v+ i+* + v- i-*) = Re(v_dm i_dm* + v_cm i_cm*), at every harmonic."""
    one = board()
    found = line_spectra(solve(one), EmissionTest(side, network))
    amps = found.current("plus"), found.current("return")
    impedance = NETWORKS[network].impedance(found.frequencies)
    volts = tuple(current * impedance for current in amps)  # at the device's terminals
    lines = sum((v * i.conj()).real for v, i in zip(volts, amps, strict=True))
    modes = sum((v * i.conj()).real for v, i in zip(modal_voltages(*volts), modal_currents(*amps), strict=True))
    assert np.all(lines >= 0)
    assert_allclose(modes, lines, rtol=1e-12, atol=1e-15 * lines.max())


@pytest.mark.parametrize("network", NETWORKS)
def test_what_the_receiver_reads_is_the_current_through_its_network(network):
    """law: the voltage at the port is the line's current times the network's impedance, less the coupling capacitor's share."""
    one = board()
    found = line_spectra(solve(one), EmissionTest(network=network))
    held = NETWORKS[network]
    load = 1 / (1 / held.receiver + 1 / held.bleeder)
    share = load / (load + (1 / (2j * np.pi * found.frequencies * held.coupling) if np.isfinite(held.coupling) else 0))
    for line in ("plus", "return"):
        assert_allclose(
            found.voltage(line), found.current(line) * held.impedance(found.frequencies) * share, rtol=1e-9,
            atol=1e-12 * np.abs(found.voltage(line)).max(),
        )  # fmt: skip


@pytest.mark.parametrize("side", ["output", "input"])
def test_common_mode_current_is_twice_the_common_mode_voltage_over_one_network(side):
    """law: both networks stand side by side for the common mode, so v_cm = i_cm Z/2."""
    found = emissions(solve(board()), EmissionTest(side, "50uH"), interval=False)
    expected = found.amplitudes["common_current"] * NETWORKS["50uH"].impedance(found.frequencies) / 2
    scale = np.abs(expected).max()
    assert_allclose(found.amplitudes["common"], expected, rtol=1e-9, atol=1e-12 * scale)


def test_equal_lines_share_nothing_of_a_differential_source():
    """law: with the input floating and both lines equal the input current makes no common mode."""
    one = design(source={**DRIVEN, "isolated": True, "common_mode": None, "spike": None})
    found = emissions(solve(one), EmissionTest("input"), interval=False)
    whole = found.by_source["differential", "input_current"]
    assert np.abs(found.by_source["common", "input_current"]).max() < 1e-5 * np.abs(whole).max()


@settings(max_examples=30, deadline=None)
@given(*(st.complex_numbers(min_magnitude=1e-3, max_magnitude=1e3) for _ in range(4)))
def test_modal_power_of_any_voltages_and_currents(v1, v2, i1, i2):
    """law: the convention keeps the complex power."""
    lines = v1 * np.conj(i1) + v2 * np.conj(i2)
    modes = sum(v * np.conj(i) for v, i in zip(modal_voltages(v1, v2), modal_currents(i1, i2), strict=True))
    scale = abs(v1 * i1) + abs(v2 * i2) + abs(v1 * i2) + abs(v2 * i1)
    assert abs(lines - modes) < 1e-14 * scale
