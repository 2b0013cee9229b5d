"""Laws that every part of the tables keeps: two faces that agree, passivity, reciprocity."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib.network.circuit import Circuit
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.constant_phase import LADDER_BAND, LADDER_ERROR, branches
from filterlib.parts.tables import standard_tables

PARTS = {name: part for table in standard_tables() for name, part in table.items()}
CAPACITORS = [name for name, part in PARTS.items() if isinstance(part, Capacitor)]
CHOKES = [name for name, part in PARTS.items() if isinstance(part, DifferentialChoke)]
COMMON = [name for name, part in PARTS.items() if isinstance(part, CommonModeChoke)]
BAND = np.geomspace(*LADDER_BAND, 401)
WIDE = np.geomspace(1.0, 1e11, 221)  # Hz, far beyond the band on both sides
COLD, HOT = 248.15, 358.15  # K


def capacitor_points(part):
    return [(0.0, 293.15, 1), (0.4 * part.rated_voltage, COLD, 1), (part.rated_voltage, HOT, 3)]


def choke_points(part):
    return [(0.0, 293.15), (part.rated_current, COLD), (1.5 * part.saturation_current, HOT)]


def common_points(part):
    return [(0.0, 0.0, 293.15), (part.rated_current, 0.0, HOT), (part.rated_current, part.saturation_current, COLD)]


def two_faces(part, point):
    """The part added to a circuit, exact, and the same circuit with its ladder."""
    exact = Circuit().resistor("far", "b", "0", 0.0)
    part.add(exact, "C", "a", "b", **point)
    return exact, exact.laddered()


@pytest.mark.parametrize("name", CAPACITORS)
def test_the_ladder_of_a_capacitor_agrees_with_its_impedance_over_the_band(name):
    part = PARTS[name]
    for bias, temperature, count in capacitor_points(part):
        point = {"bias": bias, "temperature": temperature, "count": count, "mounting_loop": 1e-9}
        exact = part.impedance(BAND, **point)
        circuit, ladder = two_faces(part, point)
        assert_allclose(circuit.impedance(BAND, "a"), exact, rtol=1e-9, atol=0)  # second method: the circuit
        assert np.max(np.abs(ladder.impedance(BAND, "a") / exact - 1)) < LADDER_ERROR


@pytest.mark.parametrize("loss_angle", [1e-4, 0.01, 0.1, 1.0])
def test_the_ladder_of_any_dielectric_alone_agrees_with_its_impedance_over_the_band(loss_angle):
    stated = {"capacitance": "1 µF", "rated_voltage": "50 V", "esl": 0, "esr": 0}
    part = Capacitor(kind="film", loss_angle=loss_angle, **stated)
    ladder = two_faces(part, {})[1].impedance(BAND, "a")
    assert np.max(np.abs(ladder / part.impedance(BAND) - 1)) < LADDER_ERROR


@pytest.mark.parametrize("name", CAPACITORS)
def test_both_faces_of_a_capacitor_are_passive_far_beyond_the_band(name):
    part = PARTS[name]
    for bias, temperature, count in capacitor_points(part):
        point = {"bias": bias, "temperature": temperature, "count": count}
        circuit, ladder = two_faces(part, point)
        for face in (circuit, ladder):
            z = face.impedance(WIDE, "a")
            assert np.all(z.real > 0)
        assert all(e.value >= 0 for e in ladder.elements)  # passive by construction: no negative element


@pytest.mark.parametrize("name", CHOKES)
def test_the_ladder_of_a_choke_is_exact_and_passive(name):
    part = PARTS[name]
    for current, temperature in choke_points(part):
        circuit, ladder = two_faces(part, {"current": current, "temperature": temperature})
        exact = part.impedance(WIDE, current=current, temperature=temperature)
        assert_allclose(circuit.impedance(WIDE, "a"), exact, rtol=1e-9, atol=0)
        assert_allclose(ladder.impedance(WIDE, "a"), exact, rtol=1e-7, atol=0)
        assert np.all(exact.real > 0)


def matrix_of(circuit, frequencies):
    """Impedance matrix of the two windings from the voltages across both when one carries 1 A."""
    circuit = circuit.copy().current_source("I1", "a1", "0").current_source("I2", "a2", "0")
    columns = circuit.transfer(frequencies, ["I1", "I2"], ["a1", "a2"])
    return np.moveaxis(np.array(columns), (0, 1), (-1, -2))


def windings(part, **point):
    """The choke without its capacitances, far ends on the reference: exact, and with its ladder."""
    bare = part.replace(winding_capacitance=0.0, interwinding_capacitance=0.0)
    circuit = bare.add(Circuit(), "K", ("a1", "0"), ("a2", "0"), **point)
    return circuit, circuit.laddered()


@pytest.mark.parametrize("name", COMMON)
def test_the_ladder_of_a_common_mode_choke_agrees_entry_by_entry_and_mode_by_mode(name):
    part = PARTS[name]
    for current, unbalance, temperature in common_points(part):
        point = {"current": current, "unbalance": unbalance, "temperature": temperature}
        circuit, ladder = windings(part, **point)
        exact = part.impedance(BAND, **point)
        assert_allclose(matrix_of(circuit, BAND), exact, rtol=1e-7, atol=0)
        model = matrix_of(ladder, BAND)
        assert np.max(np.abs(model / exact - 1)) < LADDER_ERROR
        out_and_back = np.array([1.0, -1.0])
        leakage = out_and_back @ exact @ out_and_back
        assert np.max(np.abs(out_and_back @ model @ out_and_back / leakage - 1)) < LADDER_ERROR
        if part.relaxation_exponent == 1:
            assert_allclose(model, exact, rtol=1e-7, atol=0)


@pytest.mark.parametrize("name", COMMON)
def test_both_faces_of_a_common_mode_choke_are_reciprocal_and_passive(name):
    part = PARTS[name]
    for current, unbalance, temperature in common_points(part):
        point = {"current": current, "unbalance": unbalance, "temperature": temperature}
        for matrix in (part.impedance(WIDE, **point), matrix_of(windings(part, **point)[1], WIDE)):
            scale = np.abs(matrix).max(axis=(-1, -2), keepdims=True)
            assert np.all(np.abs(matrix - np.swapaxes(matrix, -1, -2)) <= 1e-9 * scale)
            losses = np.linalg.eigvalsh((matrix + np.conj(np.swapaxes(matrix, -1, -2))) / 2)
            assert np.all(losses > -1e-9 * scale[..., 0])


@pytest.mark.parametrize("order", [0.0, 0.01, 0.2, 0.5, 0.8, 0.97, 0.999, 1.0])
def test_branches_stand_for_any_power_of_frequency(order):
    s = 2j * np.pi * BAND
    slow, weights, rates, fast = branches(order)
    model = slow / s + sum(w / (s + x) for w, x in zip(weights, rates, strict=True)) + fast
    assert np.max(np.abs(model / s**-order - 1)) < LADDER_ERROR
    assert slow > 0 or order == 0
    assert min(weights) >= 0
    if order in (0.0, 1.0):  # hand: a resistance, a capacitance
        assert_allclose(model, s**-order, rtol=1e-12, atol=0)


def test_an_array_of_designs_is_the_same_as_one_design_after_the_other():
    one = PARTS["class2-1u0-50V-0805"]
    spread = np.array([[0.8], [1.0], [1.2]])
    many = one.replace(capacitance=one.capacitance * spread, loss_angle=one.loss_angle * spread, esl=one.esl * spread)
    bias = np.array([[0.0], [28.0], [80.0]])
    circuit, ladder = two_faces(many, {"bias": bias})
    z, zl = circuit.impedance(BAND, "a"), ladder.impedance(BAND, "a")
    for row, factor in enumerate(spread[:, 0]):
        single = one.replace(
            capacitance=one.capacitance * factor, loss_angle=one.loss_angle * factor, esl=one.esl * factor
        )
        alone, alone_ladder = two_faces(single, {"bias": float(bias[row, 0])})
        assert_allclose(z[row], alone.impedance(BAND, "a"), rtol=1e-9, atol=0)
        assert_allclose(zl[row], alone_ladder.impedance(BAND, "a"), rtol=1e-9, atol=0)


def test_an_array_of_common_mode_chokes_is_the_same_as_one_after_the_other():
    one = PARTS["cm-nano-3m0-8A"]
    spread = np.array([[0.7], [1.3]])
    exponent = np.array([[0.7], [1.0]])
    many = one.replace(inductance=one.inductance * spread, leakage=one.leakage * spread, relaxation_exponent=exponent)
    unbalance = np.array([[0.0], [0.05]])
    z, zl = many.impedance(BAND, unbalance=unbalance), matrix_of(windings(many, unbalance=unbalance)[1], BAND)
    for row, factor in enumerate(spread[:, 0]):
        single = one.replace(
            inductance=one.inductance * factor,
            leakage=one.leakage * factor,
            relaxation_exponent=float(exponent[row, 0]),
        )
        alone = {"unbalance": float(unbalance[row, 0])}
        assert_allclose(z[row], single.impedance(BAND, **alone), rtol=1e-9, atol=0)
        assert_allclose(zl[row], matrix_of(windings(single, **alone)[1], BAND), rtol=1e-6, atol=0)
