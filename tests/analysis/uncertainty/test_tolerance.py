"""Many designs: the same ripple as each alone, however they are cut, within the parts' tolerances."""

from __future__ import annotations

import numpy as np
import pytest

import filterlib.analysis.uncertainty.tolerance as module
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.tolerance import peak_to_peak, tolerance
from filterlib.errors import FilterlibError
from filterlib.system.design import with_values
from filterlib.system.solution import solve
from tests.designs import common_mode, converter, design, film, shunt


@pytest.fixture
def made():
    return design(shunt(name="C1"), common_mode(name="L1"), shunt(name="C2"))


def test_each_design_is_as_it_is_alone(made, monkeypatch):
    """second method: the ripple of the review, one design at a time; the designs cut in pieces of one to all."""
    state = made.state()
    found = tolerance(solve(made, state), "modem", designs=7)
    for points in (1, 1000, 2000, 10**9):
        monkeypatch.setattr(module, "POINTS", points)
        again = tolerance(solve(made, state), "modem", designs=7)
        np.testing.assert_allclose(again.peak_to_peak, found.peak_to_peak, rtol=1e-9, atol=0)
    for index in (0, 6):
        values = {key: float(drawn[index]) for key, drawn in found.values.items()}
        alone = ripple(solve(with_values(made, values), state), interval=False).figures["modem", "20MHz"].peak_to_peak
        assert found.peak_to_peak[index] == pytest.approx(alone, rel=1e-9, abs=0)


def test_values_lie_within_the_tolerances_and_fill_them(made):
    """hand: 1 uF within 5 %, 1 mH within 25 %, 10 uH of leakage within 25 %; an even draw comes close to both ends."""
    found = tolerance(solve(made), "modem", designs=400)
    expected = {"filter.C1.capacitance": (1e-6, 0.05), "filter.C2.capacitance": (1e-6, 0.05)}
    expected |= {"filter.L1.inductance": (1e-3, 0.25), "filter.L1.leakage": (10e-6, 0.25)}
    assert found.values.keys() == expected.keys()
    for key, (middle, spread) in expected.items():
        ends = np.array([found.values[key].min(), found.values[key].max()]) / middle
        np.testing.assert_allclose(ends, [1 - spread, 1 + spread], rtol=0.02, atol=0)
        assert 1 - spread <= ends[0]
        assert ends[1] <= 1 + spread
    assert abs(np.corrcoef(found.values["filter.C1.capacitance"], found.values["filter.C2.capacitance"])[0, 1]) < 0.2


def test_shares_and_quantiles(made):
    """hand: half of the designs lie at or below the median, none above the greatest, and the seed alone decides the draw."""
    state = made.state()
    found, again, other = (tolerance(solve(made, state), "modem", designs=100, seed=seed) for seed in (1, 1, 2))
    assert found.within(found.quantile(0.5)) == 0.5
    assert found.within(found.peak_to_peak.max()) == 1.0
    assert found.within(found.peak_to_peak.min() * 0.99) == 0.0
    np.testing.assert_array_equal(found.peak_to_peak, again.peak_to_peak)
    assert np.any(found.peak_to_peak != other.peak_to_peak)


def test_a_triangle_in_20_mhz_needs_no_harmonic_above(made):
    """law: what lies above adds less than a thousandth, and with fewer harmonics the figure moves."""
    state = made.state()
    assert len(spectra(solve(made, state), top=20e6).frequencies) == 112  # hand: 111 of 180 kHz end at 19.98 MHz
    whole, cut, coarse = (tolerance(solve(made, state), "modem", designs=20, top=top) for top in (None, 20e6, 200e3))
    np.testing.assert_allclose(cut.peak_to_peak, whole.peak_to_peak, rtol=1e-3, atol=0)
    assert np.all(cut.peak_to_peak != whole.peak_to_peak)
    off, far = (abs(one.peak_to_peak / whole.peak_to_peak - 1) for one in (cut, coarse))
    assert np.all(far > off)
    assert np.median(far) > 1e-3


def test_what_is_not_known_of_the_converter_can_move_as_well(made):
    """second method: the same value stated."""
    values = {"converter.output_esr": np.array([[6e-3], [50e-3]])}
    found = peak_to_peak(solve(made), "modem", values)
    stated = design(*_stages(), source=converter(output_esr="50 mΩ"))
    alone = ripple(solve(stated), interval=False).figures["modem", "20MHz"].peak_to_peak
    assert found[1] == pytest.approx(alone, rel=1e-9, abs=0)
    assert abs(found[0] / found[1] - 1) > 0.02


def _stages():
    return shunt(name="C1"), common_mode(name="L1"), shunt(name="C2")


def test_what_cannot_be_asked_is_refused(made):
    exact = design({"kind": "capacitor", "part": film() | {"tolerance": 0.0}, "mounting_loop": 0.0})
    with pytest.raises(FilterlibError, match="no part of the filter states a tolerance"):
        tolerance(solve(exact), "modem")
    with pytest.raises(FilterlibError, match=r'"filter\.C1\.capacitence".*filter\.C1\.capacitance'):
        peak_to_peak(solve(made), "modem", {"filter.C1.capacitence": np.ones((2, 1))})
    with pytest.raises(FilterlibError, match='no load "moden"'):
        tolerance(solve(made), "moden")
