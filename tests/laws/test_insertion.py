"""Laws of insertion loss: reciprocity, nothing from nothing, series and shunt alone, and the circuit that is really there."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib.analysis.linear.insertion_loss import (
    SYSTEMS,
    in_system,
    insertion,
    insertion_loss,
    series_arm,
    shunt_arm,
)
from filterlib.analysis.ripple.spectra import spectra
from filterlib.network.circuit import Circuit, Current
from filterlib.system.line.stages import add_filter
from filterlib.system.solution import solve
from filterlib.system.state import State
from tests.designs import common_mode, converter, design, film, series, shunt

FREQUENCIES = np.geomspace(9e3, 30e6, 25)
W = 2j * np.pi * FREQUENCIES
microfarads = st.floats(0.01, 10).map(lambda c: f"{c:.6g} µF")
microhenries = st.floats(0.1, 100).map(lambda l_: f"{l_:.6g} µH")


def measured(made, system, mode="symmetrical", state=None):
    source, load = SYSTEMS.get(system, system)
    return in_system(made, state or State(), source, load, mode=mode, frequencies=FREQUENCIES)


def agree(found, expected, within=1e-9):
    """Decibels; near 0 dB an absolute difference, as a share of a voltage."""
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=within)


def to_chassis(capacitance, **more):
    return {"kind": "capacitor_to_chassis", "part": film(capacitance), "mounting_loop": "10 nH", **more}


@settings(max_examples=20)
@given(microfarads, microhenries, microfarads)
def test_a_filter_turned_round_is_tested_with_generator_and_receiver_exchanged(first, inductance, second):
    """law: reciprocity; a symmetric filter therefore reads the same in 0.1/100 and in 100/0.1."""
    stages = (shunt(first), common_mode(leakage=inductance), shunt(second))
    for mode in ("symmetrical", "asymmetrical"):
        one = measured(design(*stages), "0.1/100", mode)
        agree(measured(design(*stages[::-1]), "100/0.1", mode), one)
    alike = design(stages[0], stages[1], stages[0])
    agree(measured(alike, "0.1/100"), measured(alike, "100/0.1"))
    assert np.ptp(measured(alike, "50/50") - measured(alike, "0.1/100")) > 0.1


def test_nothing_loses_nothing():
    """law: no stage, and a wire of no impedance, give 0 dB in every system (to rounding)."""
    for mode in ("symmetrical", "asymmetrical"):
        for system in SYSTEMS:
            agree(measured(design(), system, mode), 0.0, within=1e-12)
    found = insertion(solve(design(source=converter(common_mode={"swing": "28 V"})), State()))
    for real in (found.real_symmetrical["modem"], found.real_asymmetrical["modem"]):
        agree(real, 0.0, within=1e-12)


@settings(max_examples=20)
@given(st.floats(0.1, 1e3), st.floats(0.1, 1e3), microfarads, microhenries)
def test_one_arm_alone(source, load, capacitance, inductance):
    """law: a shunt loses |1 + Y Zs Zl/(Zs + Zl)|, a series arm |1 + Z/(Zs + Zl)|, of the part's own impedance."""
    across, along = design(shunt(capacitance)), design(series(inductance))
    shunt_impedance = across.filter[0].part.impedance(FREQUENCIES, mounting_loop=across.filter[0].mounting_loop.value)
    expected = 20 * np.log10(np.abs(1 + source * load / (source + load) / shunt_impedance))
    agree(measured(across, (source, load)), expected)
    expected = 20 * np.log10(np.abs(1 + along.filter[0].part.impedance(FREQUENCIES) / (source + load)))
    agree(measured(along, (source, load)), expected)


def test_asymmetrical_ties_the_lines():
    """law: what lies between tied lines does nothing; equal arms stand in parallel; to the chassis, capacitors add."""
    nothing = measured(design(shunt("10 µF")), "50/50", "asymmetrical")
    agree(nothing, 0.0, within=1e-12)
    each = design(series("20 µH", line="both"))
    half = each.filter[0].part.impedance(FREQUENCIES) / 2
    expected = insertion_loss(series_arm(half), 50.0, 50.0)
    agree(measured(each, "50/50", "asymmetrical"), expected)
    both = design(to_chassis("4.7 nF"))
    one = both.filter[0].part.impedance(FREQUENCIES, mounting_loop=both.filter[0].mounting_loop.value)
    agree(measured(both, "50/50", "asymmetrical"), insertion_loss(shunt_arm(2 / one), 50.0, 50.0))
    between = insertion_loss(shunt_arm(1 / (2 * one)), 50.0, 50.0)  # symmetrical: the two in series, from line to line
    agree(measured(both, "50/50"), between, within=1e-5)  # 10 Mohm hold the chassis


def test_a_capacitor_to_the_chassis_from_one_line_does_nothing_between_floating_lines():
    """law: what hangs at one end carries no current; in the other mode it is a shunt of its own."""
    alone = design(to_chassis("4.7 nF", line="plus"))
    agree(measured(alone, "50/50"), 0.0, within=1e-4)  # dB: the insulation of 10 Mohm
    assert measured(alone, "50/50", "asymmetrical")[-1] > 10


def chain_of(made, state):
    """Chain matrix of a design's filter from its open and its short circuit."""
    matrix = np.empty((len(FREQUENCIES), 2, 2), complex)
    for column, ohms in ((0, 1e12), (1, 0.0)):
        circuit = Circuit().voltage_source("V", "a", "0").resistor("end", "b", "c", ohms)
        add_filter(circuit, made.filter, ("a", "0"), ("b", "c"), state)
        volts, ingoing, outgoing = circuit.transfer(FREQUENCIES, "V", [("b", "c"), Current("V"), Current("end")])
        matrix[:, 0, column] = 1 / (volts if column == 0 else outgoing)
        matrix[:, 1, column] = -ingoing / (volts if column == 0 else outgoing)
    return matrix


@settings(max_examples=10)
@given(microfarads, microhenries, st.floats(1, 100))
def test_the_real_effect_is_insertion_loss_between_the_real_impedances(capacitance, inductance, resistance):
    """law: without a way through the chassis, the filter's effect follows from what stands at its two ends."""
    made = design(
        shunt(capacitance), series(inductance), load=[{"name": "modem", "kind": "resistive", "resistance": resistance}]
    )
    state = made.state()
    found = insertion(solve(made, state), frequencies=FREQUENCIES)
    expected = insertion_loss(chain_of(made, state), found.converter_impedance, found.load_impedance)
    agree(found.real_symmetrical["modem"], expected, within=1e-6)


def test_the_real_effect_is_what_the_harmonics_say():
    """law: at a harmonic, the ripple without the filter over that with it."""
    made = design(shunt(), common_mode(), shunt(), source=converter(common_mode={"swing": "28 V"}))
    state = made.state()
    before, after = (spectra(solve(made, state), filtered=one) for one in (False, True))
    found = insertion(solve(made, state), frequencies=after.frequencies[:50])
    ratio = before.by_source["modem", "ripple"][:50] / after.by_source["modem", "ripple"][:50]
    agree(found.real_symmetrical["modem"], 20 * np.log10(np.abs(ratio)))
