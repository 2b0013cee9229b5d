"""Ripple: what the sources make, what the filter leaves, and the band."""

import numpy as np
import pytest

from filterlib.analysis.ripple.drawn import Drawn
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import bands, trusted_to
from filterlib.analysis.ripple.spectra import as_measured, spectra
from filterlib.analysis.uncertainty import interval as search
from filterlib.bench.design_file import load_design
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve
from filterlib.system.state import State
from tests.designs import converter, design, film, resistive, series, shunt

TRIANGLE = {
    "shape": "triangle",
    "duty": 0.5,
    "output_capacitance": "22 µF",
    "output_esr": "3 mΩ",
    "lead_inductance": 0.0,
}


def pp(found, place, band="20MHz"):
    return found.figures[place, band].peak_to_peak


def bare(one, **options):
    return ripple(solve(one), interval=False, **options)


def test_ideal_pi_filter_at_one_harmonic():
    """hand: with a load that draws nothing, |H| = 1 / |1 - w^2 L C| behind a stiff first capacitor, at each harmonic."""
    source = converter(shape="triangle", output_capacitance="1 mF", output_esr=0.0, output_esl=0.0, lead_inductance=0.0,
                       output_resistance="1 mΩ", loop_bandwidth="2 kHz")  # fmt: skip
    lossless = {"kind": "capacitor", "part": film(loss_angle=0.0, esl=0.0), "mounting_loop": 0.0}
    one = design(lossless, series(resistance="1 µΩ"), lossless, source=source, load=resistive("10 kohm"))
    found = spectra(solve(one))
    k = 4  # the fifth harmonic, 900 kHz, below the choke's own resonance
    w = 2 * np.pi * found.frequencies[k]
    gain = abs(found.by_source["modem", "ripple"][k] / found.by_source["terminals", "ripple"][k])
    ideal = 1 / abs(1 - w**2 * 10e-6 * 1e-6)
    assert gain == pytest.approx(ideal, rel=0.01, abs=0)  # the choke's 10 pF and 3 kohm beside its 10 uH


def test_filter_takes_a_tenth():
    """The familiar order: 110 mV at 180 kHz behind 1 uF, 10 uH, 1 uF leaves about a tenth, whatever is inside."""
    found = bare(design(shunt(), series(), shunt(), source=converter(shape="triangle")))
    assert 4e-3 < pp(found, "modem") < 15e-3
    assert pp(found, "modem_before") == pytest.approx(110e-3, rel=1e-3, abs=0)


def test_first_capacitor_can_raise_the_terminals():
    """80 nH inside and 1 uF added resonate near the third harmonic: the terminals' ripple grows more than twofold."""
    one = design(shunt(), source=converter(**TRIANGLE, output_esl="80 nH"))
    found = bare(one)
    assert pp(found, "terminals_before") == pytest.approx(110e-3, rel=2e-3, abs=0)
    assert pp(found, "terminals") > 2 * pp(found, "terminals_before")


def test_band_finds_a_resonance_between_the_corners():
    """The internal inductance at both ends of its range is harmless; in between it resonates with C1 on a harmonic."""
    one = design(shunt(), source=converter(**TRIANGLE, output_esl={"low": "20 nH", "value": "40 nH", "high": "200 nH"}))
    found = ripple(solve(one))
    ends = [bare(design(shunt(), source=converter(**TRIANGLE, output_esl=esl))) for esl in ("20 nH", "200 nH")]
    assert found.figures["modem", "20MHz"].high > 1.5 * max(pp(end, "modem") for end in ends)


@pytest.mark.parametrize("shape", ["triangle", "pulse"])
def test_sources_add_up(shape):
    """Exact: the waveforms of ripple, spike and common mode add to the whole, to rounding."""
    source = converter(shape=shape, spike={"peak_to_peak": "0.9 V", "ring_frequency": "40 MHz"},
                       ripple={"peak_to_peak": "650 mV"},
                       common_mode={"swing": "28 V"}, bond={}, output_capacitance="100 µF")  # fmt: skip
    one = design(shunt(), series(), shunt(), source=source, load=resistive(bond={"inductance": "150 nH"}))
    found = bare(one)
    for place in found.places:
        for band in ("20MHz", "full"):
            parts = [found.partial[place, band, name] for name in ("ripple", "spike", "common_mode")]
            scale = max(np.max(np.abs(part)) for part in parts)
            np.testing.assert_allclose(sum(parts), found.waveforms[place, band], rtol=0, atol=1e-12 * scale)


@pytest.mark.parametrize(
    ("measured", "ring", "hertz"),
    [
        ("5 MHz", None, 5e6),
        ("5 MHz", "12 MHz", 12e6),
        ("5 MHz", "200 MHz", 30e6),
        (None, None, 30e6),
        (None, "12 MHz", 30e6),
    ],
)
def test_figures_are_trusted_as_far_as_the_wider_reading_and_never_above_30_MHz(measured, ring, hertz):
    """hand: the wider of the two readings' bandwidths (none stated: full), at most 30 MHz."""
    one = design(source=converter(ripple={"peak_to_peak": "110 mV", "bandwidth": measured},
                                  spike=ring and {"peak_to_peak": "0.3 V", "bandwidth": ring}))  # fmt: skip
    assert trusted_to(one) == hertz


def test_reading_in_the_stated_arrangement():
    """The model, without filter and with lead, fixture and limit as stated, reads both figures as stated."""
    fixture = {
        "capacitors": [{"capacitance": "10 µF"}, {"capacitance": "1 µF", "esl": "2 nH"}],
        "lead_inductance": "100 nH",
    }
    source = converter(
        shape="triangle", ripple={"peak_to_peak": "200 mV", "order": 2, **fixture},
        spike={"peak_to_peak": "1.1 V", "ring_frequency": "45 MHz"}, output_capacitance="47 µF",
    )  # fmt: skip
    read = as_measured(design(shunt(), source=source))
    assert read["ripple"] == pytest.approx(0.2, rel=1e-6, abs=0)
    assert read["spike"] == pytest.approx(1.1, rel=1e-6, abs=0)


def test_pulse_follows_the_load_and_triangle_does_not():
    """hand: at 30 % of the load, a diode's pulse and its ripple are 30 %; an inductor's triangle stays."""
    points = [{"name": "full"}, {"name": "idle", "load": "30 %"}]
    for shape, share in (("pulse", 0.3), ("triangle", 1.0)):
        one = design(source=converter(shape=shape), load=resistive("280 ohm"), operating_point=points)
        full, idle = (ripple(solve(one, name), interval=False) for name in ("full", "idle"))
        assert pp(idle, "modem") / pp(full, "modem") == pytest.approx(share, rel=0.02, abs=0)


def test_load_ripple_adds_at_its_own_frequency():
    """hand: the load's own 50 mA triangle at 300 kHz across its 1 uF; two frequencies add peak to peak."""
    own = {"peak_to_peak": "50 mA", "frequency": "300 kHz"}
    load = resistive(ripple=own)
    found = bare(design(shunt(), series(), shunt(), source=converter(shape="triangle"), load=load))
    figure = found.figures["modem", "20MHz"]
    assert figure.peak_to_peak == pytest.approx(figure.by_source["ripple"] + figure.by_source["modem"], rel=1e-9, abs=0)
    assert figure.by_source["modem"] == pytest.approx(50e-3 / (8 * 300e3 * 1e-6), rel=0.25, abs=0)
    idle = design(
        shunt(), source=converter(shape="triangle"), load=load, operating_point=[{"name": "off", "load": 0.0}]
    )
    assert "modem" not in bare(idle).figures["modem", "20MHz"].by_source


def test_band_holds_the_nominal_and_shrinks_when_more_is_known():
    loose = design(shunt(), series(), shunt(), source=converter(shape="triangle"))
    tight = design(shunt(), series(), shunt(), source=converter(**TRIANGLE, output_esl="4 nH"))
    wide, narrow = (ripple(solve(one)).figures["modem", "20MHz"] for one in (loose, tight))
    for figure in (wide, narrow):
        assert figure.low <= figure.peak_to_peak <= figure.high
    assert narrow.high / narrow.low < 0.7 * wide.high / wide.low


def test_unstated_shape_is_an_unknown():
    one = design(shunt(), series(), shunt())
    found = ripple(solve(one))
    shape = next(effect for effect in found.uncertain_parameters if effect.key == "converter.shape")
    assert shape.pp_at_low < shape.pp_at_high
    assert sum(effect.share for effect in found.uncertain_parameters) == pytest.approx(1, rel=1e-9, abs=0)
    assert list(found.uncertain_parameters) == sorted(found.uncertain_parameters, key=lambda effect: -effect.share)


def test_full_bandwidth_without_a_stated_spike_says_so():
    found = bare(design(shunt(), source=converter(shape="triangle")))
    assert ("modem", "full") in found.without_spike
    assert ("modem", "20MHz") not in found.without_spike


def test_extra_band_of_a_requirement():
    """hand: a first-order high-pass at 150 kHz passes a share f / sqrt(f^2 + 150 kHz^2) of each harmonic."""
    wanted = {"kind": "ripple", "load": "modem", "limit": "15 mV", "bandwidth": "30 MHz", "above": "150 kHz"}
    one = design(shunt(), requirement=[wanted], source=converter(shape="triangle"))
    band = next(b for b in bands(one) if b.label == "150kHz_to_30MHz")
    share = abs(band.response(np.array([150e3, 30e6])))
    np.testing.assert_allclose(share, [0.5**0.5, 0.5**0.5], rtol=1e-4, atol=0)
    assert ("modem", "150kHz_to_30MHz") in bare(one).figures


def test_periodic_response_of_the_same_circuit():
    """second method: Circuit.periodic_response of the emf's waveform gives the same waveform as the harmonics."""
    from filterlib.network.waveform import Waveform

    one = design(shunt(), series(), shunt(), source=converter(shape="triangle"))
    state: State = one.state()
    found = spectra(solve(one, state))
    emf = Waveform.from_coefficients(one.converter.period, found.source_spectra.ripple)
    wave = one.build(state).periodic_response(emf, "ripple", one.loads[0].port)
    whole = found.waveform("modem", bands(one)[1])
    times = np.arange(len(whole)) * one.converter.period / len(whole)
    np.testing.assert_allclose(wave.at(times), whole, rtol=0, atol=1e-9 * np.max(np.abs(whole)))


def test_another_input_voltage_moves_the_ripple():
    """hand: a step-down triangle's swing is V (1 - D) / (L f): from 56 V (D = 1/2) to 112 V (D = 1/4) it grows by half.

    The current alone grows so; the voltage it makes follows its fundamental, sin(pi D) / (D (1 - D)) times the swing.
    """
    points = [{"name": "low", "input_voltage": "56 V"}, {"name": "high", "input_voltage": "112 V"}]
    source = converter(shape="triangle", input_voltage="56 V")
    one = design(source=source, load=resistive("280 ohm"), operating_point=points)
    low, high = (spectra(solve(one, name)).by_source["modem", "ripple"][0] for name in ("low", "high"))
    expected = 1.5 * (np.sin(np.pi / 4) / (0.25 * 0.75)) / (np.sin(np.pi / 2) / (0.5 * 0.5))
    assert abs(high / low) == pytest.approx(expected, rel=1e-3, abs=0)


def test_the_ends_of_an_interval_are_the_exact_figures_of_the_values_that_make_them(monkeypatch):
    """second method: the design with those values by itself."""
    monkeypatch.setattr(search, "ROUNDS", 2)
    solution = solve(load_design(data_folder() / "designs" / "tide-gauge-brick.toml"), "listening")
    drawn = Drawn()
    first, again = (ripple(solution, drawn=drawn) for _ in range(2))
    extent = first.extents["logger", "20MHz"]
    for value, at in ((extent.low, extent.at_low), (extent.high, extent.at_high)):
        there = ripple(solution.varied(at), interval=False).figures["logger", "20MHz"]
        assert value == pytest.approx(there.peak_to_peak, rel=1e-9, abs=0)
    kept = again.extents["logger", "20MHz"]
    # what was kept changes nothing; the last digits depend on what is solved beside it
    assert (kept.low, kept.high) == pytest.approx((extent.low, extent.high), rel=1e-12, abs=0)
    assert kept.at_low == pytest.approx(extent.at_low, rel=1e-12, abs=0)
    probable = first.figures["logger", "20MHz"]
    assert extent.low < probable.probable_low < probable.probable_high < extent.high
