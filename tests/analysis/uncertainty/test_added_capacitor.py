"""The capacitor to put across the terminals: its size against the inside, and what the reading becomes."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib import load_design
from filterlib.analysis.uncertainty.added_capacitor import MOSTLY, USUAL, added_capacitor
from filterlib.analysis.uncertainty.measurement_result import LEAST_MOVE, TELLS
from filterlib.bench.fit import FitError, fit_inside
from filterlib.network.extremes import peak_to_peak
from filterlib.preferred import preferred_values
from filterlib.system.inside.converter import Converter
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.words.review.measurement_sentences import capacitor_sentence
from tests import designs
from tests.bench.test_fit import CURRENT, pair
from tests.bench.test_fit import converter as bench_converter

DATA = Path(__file__).parents[3] / "data" / "designs"


def converter(**more):
    return Converter(**designs.converter(**designs.KNOWN | more))


def inside(made, frequency):
    """hand: capacitor beside the regulating branch, lead in series."""
    s = 2j * np.pi * frequency
    return complex(made.inner_impedance(np.array([frequency]))[0] + s * made.lead_inductance.value)


def added(capacitance, frequency):
    s = 2j * np.pi * frequency
    return USUAL.esr + s * USUAL.esl + 1 / (s * capacitance)


@settings(max_examples=15, deadline=None)
@given(capacitance=st.floats(2e-6, 300e-6), esr=st.floats(2e-3, 60e-3), lead=st.floats(2e-9, 60e-9))
def test_its_impedance_suits_the_inside_at_the_harmonics_that_are_named(capacitance, esr, lead):
    made = converter(output_capacitance=capacitance, output_esr=esr, lead_inductance=lead)
    found = added_capacitor(made, 4.0)
    for order in range(1, 11):
        ratio = abs(added(found.capacitance, order * 180e3) / inside(made, order * 180e3))  # hand
        assert (order in found.orders) == (TELLS[0] < ratio < TELLS[1])
    assert round(found.capacitance / 10 ** np.floor(np.log10(found.capacitance) + 1e-9), 6) in preferred_values("E6")
    assert found.capacitance <= capacitance


def test_a_microfarad_across_17_milliohm_moves_the_reading_by_two_percent():
    """hand: 0.017 ohm over 1 / (2 pi 180 kHz 1 µF) = 0.884 ohm."""
    made = converter(output_capacitance="1 mF", output_esr="17.1 mΩ", output_esl=0.0, lead_inductance="4.5 nH")
    assert abs(inside(made, 180e3)) == pytest.approx(17e-3, rel=0.03, abs=0)  # hand
    found = added_capacitor(made, 4.0)
    assert found.too_small == 2.2e-6  # hand: 4 %, and 3.3 µF would be 6 %
    assert found.too_small_moves == pytest.approx(2.2 * 0.017 / 0.884, rel=0.05, abs=0)  # hand
    assert found.too_small_moves < LEAST_MOVE
    assert "2.2 µF would move the first harmonic by 4." in capacitor_sentence(found)


def test_the_reading_with_it_is_that_of_the_same_converter():
    """second method: a converter that was measured with that capacitor and that reading has the same emf."""
    made = converter()
    found = added_capacitor(made, 4.0)
    across = USUAL.model_copy(update={"capacitance": found.capacitance})
    other = converter(ripple={"peak_to_peak": found.loaded, "capacitors": (across,)})
    one, two = (peak_to_peak(source_spectra(each, 4.0).ripple[1:]) for each in (made, other))
    assert one == pytest.approx(two, rel=1e-9, abs=0)
    assert found.bare == pytest.approx(0.11, rel=1e-9, abs=0)  # hand: as stated


def test_the_range_of_the_reading_holds_every_inside():
    """second method: one converter at a time."""
    made = converter(output_capacitance={"low": "15 µF", "value": "22 µF", "high": "30 µF"})
    found = added_capacitor(made, 4.0)
    assert found.low < found.loaded < found.high
    for value in ("15 µF", "30 µF"):
        across = USUAL.model_copy(update={"capacitance": found.capacitance})
        single = converter(output_capacitance=value)
        with_it = single.replace(ripple={"peak_to_peak": 0.11, "capacitors": (across,)})
        alone, loaded = (peak_to_peak(source_spectra(one, 4.0).ripple[1:]) for one in (single, with_it))
        share = alone / loaded
        assert found.low * (1 - 1e-9) <= 0.11 * share <= found.high * (1 + 1e-9)


def test_what_it_calls_too_small_the_fit_refuses():
    """second method: two recordings, with a capacitor of that size."""
    made = bench_converter()
    found = added_capacitor(made, CURRENT)
    small = USUAL.model_copy(update={"capacitance": found.too_small})
    with pytest.raises(FitError, match="moves the strongest harmonic"):
        fit_inside(*pair(made, small), small, made, CURRENT)
    good = USUAL.model_copy(update={"capacitance": found.capacitance})
    assert fit_inside(*pair(made, good), good, made, CURRENT).undecided == ()


@pytest.mark.parametrize("name", ["clean", "brick"])
def test_of_the_demo(name):
    made = load_design(DATA / f"tide-gauge-{name}.toml").converter
    found = added_capacitor(made, 4.0)
    assert 1 in found.orders
    assert 4.7e-6 <= found.capacitance <= made.output_capacitance.high
    assert found.low < found.loaded < found.high
    assert 0.5 < MOSTLY < 1
