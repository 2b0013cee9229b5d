"""Laws of the reasons on small designs of any values: waveforms and powers of the sources, the power of the modes, the order of
what is bought."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.linear.two_lines import modal_currents, modal_voltages
from filterlib.analysis.ripple.spectra import spectra
from filterlib.network.circuit import Current
from filterlib.parts.tables import standard_tables
from filterlib.system.solution import solve
from filterlib.words.review.reason_sentences import reason_sentences
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

LEAD = {"kind": "wire_pair", "length": "0.4 m", "cross_section": "0.75 mm2", "spacing": "6 mm", "height": "20 mm"}
SMALL = settings(
    max_examples=10, deadline=None, phases=(Phase.generate,)
)  # an example of this size is not made smaller
SPLIT = ("ripple_c", "ripple_esr", "ripple_esl")


@st.composite
def driven_designs(draw):
    """Any small board between a converter with ripple, spikes and a drive of the chassis, and a load on wires."""
    to_chassis = {"kind": "capacitor_to_chassis", "part": film("2.2 nF", safety_class="Y2"), "imbalance": 0.1}
    kinds = [
        shunt(draw(st.sampled_from(["470 nF", "1 µF", "4.7 µF"]))),
        common_mode(),
        series(line="return"),
        to_chassis,
    ]
    stages = draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=4))
    source = converter(
        shape=draw(st.sampled_from(["triangle", "pulse"])), duty=draw(st.floats(0.2, 0.8)), isolated=draw(st.booleans()),
        ripple={"peak_to_peak": "400 mV", "order": 2}, spike={"peak_to_peak": "0.9 V"},
        common_mode={"swing": "28 V", "coupling": draw(st.floats(20e-12, 200e-12)), "ring": {}}, bond={"inductance": "80 nH"},
    )  # fmt: skip
    load = resistive(lead=LEAD | {"imbalance": draw(st.floats(-0.2, 0.2))}, bond={"inductance": "150 nH"})
    return design(*stages, source=source, load=load)


def told(one):
    return reasons(solve(one), "modem", parts={}, pairs=0)


@SMALL
@given(driven_designs())
def test_waveforms_of_the_sources_add_up_to_the_whole(one):
    """law: superposition, to 1e-12 of the largest partial waveform; and the whole is that of the ripple's own spectra."""
    found = told(one)
    assert {source.name for source in found.sources} == {*SPLIT, "spike", "common_mode"}
    largest = max(np.abs(source.waveform).max() for source in found.sources)
    rest = found.waveform - sum(source.waveform for source in found.sources)
    assert np.abs(rest).max() <= 1e-12 * largest


@SMALL
@given(driven_designs())
def test_c_esr_and_esl_add_up_to_the_ripple(one):
    """second method: the harmonics of the ripple's electromotive force as a whole."""
    found = {source.name: source for source in told(one).sources}
    state = one.state()
    whole = spectra(solve(one, state), outputs={"modem": one.named_load("modem").port}).by_source["modem", "ripple"]
    parts = sum(found[name].coefficients for name in SPLIT)
    assert_allclose(parts, whole, rtol=0, atol=1e-12 * np.abs(whole).max())


@SMALL
@given(driven_designs())
def test_powers_are_those_of_the_waveforms(one):
    """law: each harmonic's powers add up to the whole's, and all together are the mean square of the waveform (Parseval)."""
    found = told(one)
    whole = sum(source.coefficients for source in found.sources)
    power = sum(source.power for source in found.sources)
    scale = np.max([source.power_alone for source in found.sources], axis=0)
    assert np.all(np.abs(power - 2 * np.abs(whole) ** 2) <= 1e-11 * scale)
    assert np.mean(found.waveform**2) == pytest.approx(power.sum(), rel=1e-9, abs=0)
    for source in found.sources:
        assert source.rms == pytest.approx(np.sqrt(np.mean(source.waveform**2)), rel=1e-9, abs=0)


def _conductance(element, frequencies):
    """Of a resistor, of a conductance, or of what is known by its impedance [S]."""
    if callable(element.value):
        return np.real(1 / element.value(frequencies))
    return element.value if element.name.endswith("conductance") else 1 / element.value


@SMALL
@given(driven_designs())
def test_power_of_the_modes_is_that_of_the_lines_and_of_what_lies_beyond(one):
    """law: at the load's end Re(v_dm i_dm*) + Re(v_cm i_cm*) is the power of both lines; second method: it is what lead, load and
    bond turn into heat."""
    circuit, f = one.circuit(), one.converter.switching_frequency * np.array([1, 2, 7, 40, 160])
    beyond = ["modem.lead.r1", "modem.lead.r2", "modem.conductance", "modem.bond.resistance"]
    held = {element.name: element for element in circuit.elements}
    outputs = [("load_plus", "chassis"), ("0", "chassis"), Current("modem.lead.r1"), Current("modem.lead.r2")]
    outputs += [held[name].nodes for name in beyond]
    for source in ("ripple", "common_mode"):
        found = circuit.transfer(f, source, outputs)
        plus, minus, i_plus, i_minus = found[:4]
        modes = zip(modal_voltages(plus, minus), modal_currents(i_plus, i_minus), strict=True)
        by_mode = [np.real(v * np.conj(i)) for v, i in modes]
        lines = np.real(plus * np.conj(i_plus) + minus * np.conj(i_minus))
        scale = np.abs(plus * i_plus) + np.abs(minus * i_minus)
        assert np.all(np.abs(sum(by_mode) - lines) <= 1e-12 * scale)
        siemens = [_conductance(held[name], f) for name in beyond]
        heat = sum(g * np.abs(v) ** 2 for g, v in zip(siemens, found[4:], strict=True))
        through = (
            np.abs(found[4:]).max(axis=0) ** 2 / one.insulation
        )  # of the chassis' insulation, which hangs here as well
        assert np.all(np.abs(lines - heat) <= 1e-9 * scale + 2 * through)


@settings(max_examples=3, deadline=None, phases=(Phase.generate,))
@given(st.integers(0, 2**32 - 1))
def test_the_order_of_all_that_can_be_bought_does_not_matter(seed):
    """law: with chokes, Y capacitors, bonds and leads among the changes too, and in pairs."""
    kinds = ("film", "polymer", "common_mode_choke", "differential_choke")
    parts = {name: part for table in standard_tables() for name, part in table.items() if part.kind in kinds}
    mixed = list(parts)
    np.random.default_rng(seed).shuffle(mixed)
    source = converter(shape="triangle", common_mode={"swing": "28 V"}, bond={})
    one = design(
        shunt(), common_mode(), shunt(), source=source, load=resistive(bond={"inductance": "150 nH"}, lead=LEAD)
    )
    first, second = (
        reasons(solve(one), "modem", parts=held, pairs=3) for held in (parts, {n: parts[n] for n in mixed})
    )
    assert {"Y capacitors", "another choke", "bond"} <= {
        kind for mitigation in first.mitigations for kind in mitigation.kinds
    }
    for kind in ("mitigations", "pairs"):
        one, other = (
            [(r.words, r.ripple, r.spike, r.refused) for r in getattr(held, kind)] for held in (first, second)
        )
        assert [row[0] for row in one] == [row[0] for row in other]
        assert repr(one) == repr(other)  # to the last digit, and what is not a number too
    assert [one.text for one in reason_sentences(first)] == [one.text for one in reason_sentences(second)]


@SMALL
@given(driven_designs())
def test_at_the_ripples_frequency_it_is_the_first_harmonic(one):
    """second method: of the waveform, by a Fourier sum; an parasitic made ideal moves that alone, and the whole at that frequency."""
    found = told(one)
    turns = np.exp(-2j * np.pi * np.arange(len(found.waveform)) / len(found.waveform))
    assert found.fundamental == pytest.approx(2 * np.abs(np.mean(found.waveform * turns)), rel=1e-9, abs=0)
    for gone in found.parasitics:
        assert gone.fundamental > 0
        assert gone.fundamental <= gone.spike  # no harmonic's amplitude exceeds a wave's peak to peak
