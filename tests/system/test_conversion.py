"""Common-mode current in the readings: the loads on the line while one measured, in closed form and as a circuit."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import filterlib
import filterlib.system.sources.source_spectra as source_module
from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import as_measured, spectra
from filterlib.network.extremes import Mixture, Samples, peak_to_peak
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.file.writing import design_toml
from filterlib.system.inside.converter import RETURN
from filterlib.system.inside.recorded import Recorded
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.sources.measuring import Probe, measuring_circuit
from filterlib.system.sources.source_spectra import ScaleError, reading, source_spectra
from tests.designs import converter, design, resistive, shunt

BONDED = resistive("7 ohm", bond={"inductance": "150 nH"}, lead={"length": "40 cm", "awg": 18, "spacing": "3 mm"})
WAYS = {
    "bonded": {"bond": {"inductance": "600 nH"}},
    "battery": {"bond": {}, "supply": {"inductance": "2 µH"}},
    "isolated": {"isolated": True, "bond": {"capacitance": "2.2 nF"}},
    "bridged": {"isolated": True, "bridge": {"capacitance": "1 nF"}, "supply": {"inductance": "3 µH"}},
}
SPIKE = {"peak_to_peak": "500 mV", "ring_frequency": "40 MHz"}


def driven(**more):
    given = {"shape": "pulse", "duty": 0.4, "common_mode": {"swing": "28 V"}, "bond": {}, **more}
    return design(shunt(), source=converter(**{"ripple": {"peak_to_peak": "300 mV"}, **given}), load=BONDED)


@pytest.fixture(scope="module")
def brick():
    return filterlib.load_design(data_folder() / "designs" / "tide-gauge-brick.toml")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("fixture", [{}, {"lead_inductance": "80 nH", "capacitors": [{"capacitance": "1 µF"}]}])
def test_the_reading_through_loads_in_closed_form_is_that_of_the_circuit(way, fixture):
    """second method: nodal analysis of converter, chassis, loads, probe and fixture."""
    one = driven(ripple={"peak_to_peak": "300 mV", **fixture}, **WAYS[way]).converter
    frequencies = one.switching_frequency * np.arange(1, 300)
    probe = Probe(one, one.ripple, frequencies, 3.0)
    circuit = measuring_circuit(one, one.ripple, 3.0)
    ripple, node = circuit.transfer(frequencies, ["ripple", "common_mode"], ("probe", RETURN))
    assert_allclose(probe.divider, ripple, rtol=1e-7, atol=0)
    assert_allclose(probe.conversion / probe.transfer * probe.divider, node, rtol=1e-6, atol=0)


@pytest.mark.parametrize("spike", [None, SPIKE])
def test_all_sources_together_read_what_was_stated(spike):
    """second method: the circuit of the measurement, with all that reaches the chassis."""
    one = driven(spike=spike)
    expected = {"ripple": 0.3} | ({"spike": 0.5} if spike else {})
    assert as_measured(one) == pytest.approx(expected, rel=1e-6, abs=0)


def test_beside_a_recording_the_spike_reads_as_stated_with_what_the_chassis_adds():
    """second method: the sources' sum through the probe; without the chassis' share it would read otherwise."""
    true = driven(common_mode=None, bond=None).converter
    seen = Recorded("terminals.csv", true.switching_frequency, tuple(source_spectra(true, 0.0).ripple[1:100].tolist()))
    spike = SPIKE | {"peak_to_peak": "1.5 V"}
    one = driven(ripple={"peak_to_peak": "300 mV", "recording": seen}, spike=spike).converter
    sources = source_spectra(one, 3.0)
    assert float(reading(one, one.spike, sources, 3.0)) == pytest.approx(1.5, rel=1e-6, abs=0)
    alone = replace(sources, common_mode=0 * sources.common_mode)
    assert abs(float(reading(one, one.spike, alone, 3.0)) / 1.5 - 1) > 1e-4


def test_the_brick_reads_as_stated_also_where_the_design_draws_as_much(brick):
    """hand: 750 mV and 1.6 V stated at 3.6 A; at full load 3.61 A are drawn, as the line drops 0.2 of 28 V."""
    assert as_measured(brick) == pytest.approx({"ripple": 0.75, "spike": 1.6}, rel=1e-6, abs=0)
    bare = spectra(filterlib.solve(brick, "transmitting"), filtered=False)
    found = [float(bare.peak_to_peak("terminals", band)) for band in bands(brick)]
    assert found == pytest.approx([0.75, 1.6], rel=5e-3, abs=0)


def test_many_designs_read_it_within_two_percent(brick):
    """By samples alone; the few in which common-mode current already reads more are out."""
    box, rng = uncertain_parameters(brick), np.random.default_rng(4)
    shares = rng.random((40, len(box)))
    one = with_values(brick, {p.key: p.at(shares[:, [n]]) for n, p in enumerate(box)}).converter
    sources, some = source_spectra(one, 3.6), np.ravel(source_spectra(one, 3.6).feasible)
    assert 5 < some.sum() < 40
    for figure in (one.ripple, one.spike):
        probe = Probe(one, figure, sources.frequencies[1:], 3.6)
        shown = probe.transfer * (sources.ripple + sources.spike)[:, 1:]
        read = peak_to_peak(shown[some] + (probe.conversion * sources.common_mode[:, 1:])[some])
        assert_allclose(read, figure.peak_to_peak, rtol=0.02, atol=0)
    assert np.isnan(sources.ripple[~some, 1:]).all()


def test_no_designs_figures_depend_on_those_beside_it(brick):
    """second method: the same designs in other company. The scale of each is sought until it alone is there."""
    box, rng = uncertain_parameters(brick), np.random.default_rng(4)
    shares = rng.random((40, len(box)))

    def ripple(rows):
        values = {p.key: p.at(shares[rows][:, [n]]) for n, p in enumerate(box)}
        return source_spectra(with_values(brick, values).converter, 3.6).ripple[:, 1]

    assert_allclose(ripple(slice(0, 40, 2)), ripple(slice(None))[::2], rtol=1e-9, atol=0)


def test_converters_of_the_same_values_have_their_sources_made_once(brick, monkeypatch):
    """second method: those of the different ones alone, in an order of their own; nothing is solved twice."""
    box, rng = uncertain_parameters(brick), np.random.default_rng(4)
    shares, counts = rng.random((20, len(box))), []

    def spectra_of(rows):
        values = {p.key: p.at(shares[rows][:, [n]]) for n, p in enumerate(box)}
        return source_spectra(with_values(brick, values).converter, 3.6)

    once, order = spectra_of(np.arange(20)), rng.permutation(np.repeat(np.arange(20), 3))
    kept = source_module.scaled
    monkeypatch.setattr(
        source_module, "scaled", lambda waves, *a, **k: counts.append(len(waves[0][0])) or kept(waves, *a, **k)
    )
    many = spectra_of(order)
    assert counts == [20]
    for name in ("ripple", "spike", "common_mode", "feasible", "current"):
        assert_allclose(getattr(many, name), getattr(once, name)[order], rtol=1e-12, atol=0)
    for one, other in zip(many.needed, once.needed, strict=True):
        assert_allclose(one, other[order], rtol=1e-12, atol=0)


def test_a_load_that_is_changed_later_was_not_on_the_line_while_one_measured(tmp_path):
    """hand: what was measured does not change with the design; nor does it in the file of the changed design."""
    one = driven(spike=SPIKE)
    moved = filterlib.changed(one, {"load.modem.lead.length": "20 cm"})
    assert moved.loads != one.loads
    assert moved.converter == one.converter
    for each in (one, moved):
        (tmp_path / "copy.toml").write_text(design_toml(each), encoding="utf-8")
        assert filterlib.load_design(tmp_path / "copy.toml") == each
    assert "measured_with" not in design_toml(one)
    assert "measured_with" in design_toml(moved)


def test_common_mode_that_alone_reads_more_than_was_stated_is_refused():
    with pytest.raises(ScaleError, match=r"ripple\.peak_to_peak = 1 mV: common-mode current alone already reads"):
        as_measured(driven(ripple={"peak_to_peak": "1 mV"}))


def test_mixtures_near_their_factors_have_the_extremes_of_the_sum():
    """second method: the sum as one wave; samples alone come near it."""
    rng = np.random.default_rng(2)
    falling = 1 / np.arange(1, 61) ** 1.5
    waves = [falling * (rng.standard_normal((7, 60)) + 1j * rng.standard_normal((7, 60))) for _ in range(3)]
    factors = rng.uniform(0.5, 2, (3, 7))
    near = [one * rng.uniform(0.98, 1.02, 7) for one in factors]
    exact = peak_to_peak(sum(f[:, None] * wave for f, wave in zip(factors, waves, strict=True)))[:, 0]
    found = Mixture(*waves, about=near).swings(*factors)
    assert_allclose(sum(f * s for f, s in zip(factors, found, strict=True)), exact, rtol=1e-10, atol=0)
    rough = Samples(*waves).swings(*factors)
    assert_allclose(sum(f * s for f, s in zip(factors, rough, strict=True)), exact, rtol=0.01, atol=0)
