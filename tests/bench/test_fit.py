"""What is inside a converter from two recordings: against known values, against independent circuits, and refused."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from filterlib import load_design
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording, load_recording
from filterlib.bench.fit import FitError, fit_inside
from filterlib.errors import InputError, QuantityError
from filterlib.network.waveform import Waveform
from filterlib.system.inside.converter import RETURN, Arrangement, Converter, FixtureCapacitor
from filterlib.system.sources.measuring import measuring_circuit
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.words.review.measurement_sentences import inside_sentences
from tests import make_recordings as invented

DATA = Path(__file__).parents[2] / "data"
CURRENT = 3.8
TEST = FixtureCapacitor(capacitance=10e-6, esr=5e-3, esl=8e-9)


def converter(**changes):
    fields = {
        "name": "made up",
        "output_voltage": 28,
        "switching_frequency": 180e3,
        "shape": "triangle",
        "duty": 0.45,
        "edge_time": 30e-9,
        "output_capacitance": 22e-6,
        "output_esr": 12e-3,
        "output_esl": 4e-9,
        "lead_inductance": 16e-9,
        "loop_bandwidth": 9e3,
        "ripple": {"peak_to_peak": 0.1},
    }
    return Converter(**fields | changes)


def taken(inside, capacitors=(), *, noise=0.2e-3, start=0.0, seed=1, scale=1.0, periods=80):
    """What a scope records at the terminals of the library's own model; 100 MHz samples, 20 MHz limit."""
    forces = source_spectra(inside, CURRENT)
    seen = Arrangement(capacitors=capacitors)
    transfer = measuring_circuit(inside, seen, CURRENT).transfer(forces.frequencies[1:], "ripple", ("probe", RETURN))
    limited = transfer / (1 + 1j * forces.frequencies[1:] / 20e6)
    wave = Waveform.from_coefficients(inside.period, np.append(0, limited * forces.ripple[1:])[:250])
    times = 10e-9 * np.arange(int(periods * inside.period / 10e-9)) + start
    random = np.random.default_rng(seed)
    return Recording(scale * (wave.at(times) + random.normal(0, noise, times.size)), 10e-9, bandwidth=20e6)


def pair(inside, test=TEST, **options):
    return taken(inside, **options), taken(inside, (test,), start=1.7e-6, seed=2, **options)


def true(inside):
    return {
        "capacitance": inside.output_capacitance.value,
        "esr": inside.output_esr.value,
        "inductance": inside.output_esl.value + inside.lead_inductance.value,
    }


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(
    capacitance=st.floats(5e-6, 100e-6),
    esr=st.floats(4e-3, 80e-3),
    lead=st.floats(5e-9, 40e-9),
    of_own=st.floats(0.5, 2.0),
    seed=st.integers(0, 1000),
)
def test_known_values_come_back(capacitance, esr, lead, of_own, seed):
    """The design is off by a factor of two; the values come back within four standard uncertainties, or are refused."""
    inside = converter(output_capacitance=capacitance, output_esr=esr, lead_inductance=lead)
    test = FixtureCapacitor(capacitance=capacitance * of_own, esr=8e-3, esl=6e-9)
    off = converter(output_capacitance=2 * capacitance, output_esr=esr / 2, lead_inductance=2 * lead)
    readings = taken(inside, seed=seed), taken(inside, (test,), start=2e-6, seed=seed + 1)
    found = fit_inside(*readings, test, off, CURRENT, tolerance=1e-3, drift=1e-3, needed=())
    for name, value in true(inside).items():
        one = getattr(found, name)
        if name not in found.undecided:
            assert abs(np.log(one.value / value)) < 4 * one.relative  # second method: the model's own values
    assert "inductance" not in found.undecided
    assert found.chi_square < found.degrees + 4 * np.sqrt(2 * found.degrees)  # hand
    assert found.misfit < 0.02  # hand: the model is its own


def test_the_usual_case_is_decided():
    inside = converter()
    found = fit_inside(*pair(inside), TEST, inside, CURRENT)
    assert found.undecided == ()
    for name, value in true(inside).items():
        assert getattr(found, name).value == pytest.approx(value, rel=0.06, abs=0)  # second method
        assert getattr(found, name).relative < 0.15
    assert found.misfit < 0.01
    assert found.frequency == pytest.approx(180e3, rel=1e-5, abs=0)  # hand
    assert found.frequencies[-1] <= 20e6
    assert any("ESL and lead together" in line for line in inside_sentences(found))


def test_uncertainty_follows_what_is_known_of_the_capacitor():
    """With hardly any noise, a capacitor known to 5 % gives C to about 5 %, and ten times as well gives ten times as well."""
    inside = converter(output_esl=0, lead_inductance=2e-9, output_esr=5e-3)
    readings = pair(inside, noise=5e-6)
    rough, fine = (
        fit_inside(*readings, TEST, inside, CURRENT, tolerance=share, drift=share / 10, needed=()).capacitance.relative
        for share in (0.05, 0.005)
    )
    assert rough == pytest.approx(10 * fine, rel=0.1, abs=0)  # hand: proportion
    assert 0.045 < rough < 0.12  # hand: Z is proportional to Z_test; ESL and scale add


def test_start_and_scale_of_the_recordings_do_not_matter():
    inside = converter()
    one = fit_inside(*pair(inside), TEST, inside, CURRENT)
    bare, loaded = pair(inside)
    later = Recording(10 * loaded.volts[123:], loaded.sample_interval, bandwidth=20e6)
    other = fit_inside(Recording(10 * bare.volts, 10e-9, bandwidth=20e6), later, TEST, inside, CURRENT)
    for name in true(inside):
        assert getattr(other, name).value == pytest.approx(getattr(one, name).value, rel=0.02, abs=0)  # hand: a law


def test_measurements_serve_as_well_as_recordings():
    inside = converter()
    readings = pair(inside)
    one = fit_inside(*readings, TEST, inside, CURRENT)
    other = fit_inside(*map(measure, readings), TEST, inside, CURRENT)
    assert one.capacitance == other.capacitance


def test_what_stood_there_both_times_is_taken_away():
    """10 µF and 1 µF at the probe's end of a lead in both recordings."""
    inside = converter()
    stood = (FixtureCapacitor(capacitance=1e-6), FixtureCapacitor(capacitance=2.2e-6))
    readings = taken(inside, stood), taken(inside, (*stood, TEST), start=1e-6, seed=2)
    found = fit_inside(*readings, TEST, inside, CURRENT, arrangement=Arrangement(capacitors=stood))
    assert found.capacitance.value == pytest.approx(22e-6, rel=0.06, abs=0)  # second method
    refused("farthest off", *readings)  # hand: two capacitors that are not alike are not one inside


# ---- independent circuits ----


def own_impedance(plant, frequencies, *, load):
    """Seen into the terminals of a circuit of tests/make_recordings.py, harmonic by harmonic."""
    net = invented.Network()
    plant.build(net, 1.0)
    if load:
        net.l("plus", "load", 0.4e-6, 7.4)
        net.l("load", "minus", 0.4e-6, 10e-3)
    inverse, left, _ = net._matrices()
    look = np.concatenate([net.row("plus", "minus"), np.zeros(len(net.inductors))])
    storage = np.linalg.inv(inverse)
    return np.array([look @ np.linalg.solve(2j * np.pi * f * storage - left, look) for f in frequencies])


@pytest.fixture(scope="module", params=["clean", "brick"])
def told(request):
    name = request.param
    plant = invented.PLANTS[name]
    values = dict(zip(("capacitance", "esr", "esl"), plant.test_capacitor, strict=True))
    files = (f"{name}-terminals.csv", f"{name}-terminals-with-capacitor.csv")
    readings = [measure(load_recording(DATA / "recordings" / file)) for file in files]
    design = load_design(DATA / "designs" / f"tide-gauge-{name}.toml")
    return plant, design, readings, fit_inside(*readings, FixtureCapacitor(**values), design.converter, CURRENT)


def test_ratio_of_the_independent_circuit(told):
    """V_bare / V_loaded = 1 + Z / Z_test with the circuit's own driving-point impedance, at its strong harmonics."""
    plant, _, _, found = told
    farads, ohms, henries = plant.test_capacitor
    s = 2j * np.pi * found.frequencies[:3]
    own = 1 + own_impedance(plant, found.frequencies[:3], load=True) / (ohms + s * henries + 1 / (s * farads))
    assert np.max(np.abs(found.fitted[:3] / own - 1)) < 0.08  # second method: one capacitor for three
    assert np.abs(found.ratio[0]) == pytest.approx(abs(own[0]), rel=0.003, abs=0)  # second method


def test_values_against_the_independent_circuit(told):
    """C, L and R that make the first two harmonics' impedance lie within twice the uncertainty."""
    plant, _, _, found = told
    first, second = own_impedance(plant, found.frequencies[:2], load=False)
    w = 2 * np.pi * found.frequencies[0]
    henries = (second.imag - first.imag / 2) / (1.5 * w)  # hand: Im Z = w L - 1 / (w C) at w and 2 w
    farads = 1 / (w * (w * henries - first.imag))
    assert found.capacitance.low < farads < found.capacitance.high  # second method
    assert found.inductance.low < henries < found.inductance.high  # second method
    assert found.esr.low < (first.real + second.real) / 2 < found.esr.high  # second method
    assert 0.01 < found.misfit < 0.1  # three unequal branches are not one


def test_the_converter_with_what_was_found(told):
    """Its impedance is the independent circuit's at every harmonic that was used up to 2 MHz, to a tenth and a bit."""
    plant, design, _, found = told
    inside = found.inside(design.converter)
    assert inside.output_capacitance.low == found.capacitance.low
    assert inside.lead_inductance.high + inside.output_esl.value == pytest.approx(
        found.inductance.high, rel=1e-9, abs=0
    )
    f = found.frequencies[found.frequencies < 2e6]
    modelled = inside.inner_impedance(f) + 2j * np.pi * f * inside.lead_inductance.value
    assert np.max(np.abs(modelled / own_impedance(plant, f, load=False) - 1)) < 0.13  # second method
    assert design.replace(converter=inside).converter == inside
    assert "two recordings" in inside.output_esr.why


def test_swapped_recordings_are_refused(told):
    plant, design, readings, _ = told
    test = FixtureCapacitor(**dict(zip(("capacitance", "esr", "esl"), plant.test_capacitor, strict=True)))
    with pytest.raises(FitError, match="swapped"):
        fit_inside(*readings[::-1], test, design.converter, CURRENT)


# ---- refusals ----


@pytest.fixture(scope="module")
def usual():
    return pair(converter())


def refused(match, bare, loaded, test=TEST, design=None, **options):
    with pytest.raises(FitError, match=match):
        fit_inside(bare, loaded, test, design or converter(), CURRENT, **options)


def test_a_small_capacitor_tells_nothing():
    """1 µF across about 20 mΩ moves the first harmonics by a few percent."""
    inside = converter(output_esr=5e-3)
    small = FixtureCapacitor(capacitance=1e-6, esr=8e-3, esl=6e-9)
    refused("moves the strongest harmonic, 1, by 2.* instead of 1 µF take a capacitor", *pair(inside, small), small)


def test_two_recordings_of_the_same_are_refused(usual):
    refused("moves any harmonic by 0.0%", usual[0], usual[0])
    refused("moves any harmonic by 0.0%", usual[0], taken(converter(), start=3e-6, seed=9))


def test_different_converters_are_refused(usual):
    other = converter(output_capacitance=120e-6, output_esr=60e-3, lead_inductance=60e-9, duty=0.3)
    refused("farthest off.*same converter", usual[0], taken(other, (TEST,)))
    faster = converter(switching_frequency=190e3)
    refused("switch at 180 kHz and 190 kHz", usual[0], taken(faster, (TEST,)))
    refused("converter.switching_frequency = 250 kHz", *usual, design=converter(switching_frequency=250e3))


def test_another_capacitor_than_stated_is_refused(usual):
    refused("farthest off", *usual, FixtureCapacitor(capacitance=1e-6))


def test_too_little_above_the_noise(usual):
    """Only the first two harmonics of a symmetrical triangle are left."""
    weak = [taken(converter(duty=0.5), capacitors, noise=40e-3, seed=4) for capacitors in ((), (TEST,))]
    refused("harmonics of the bare terminals are above the noise, and 3 are needed", *weak)


def test_no_single_period_is_refused(usual):
    noise = Recording(np.random.default_rng(3).normal(0, 1, 20_000), 10e-9)
    refused("bare: the recording: nothing repeats.*single one is needed", noise, usual[1])
    refused("loaded: the recording: nothing repeats", usual[0], noise)


def test_different_bandwidths_are_refused(usual):
    wide = Recording(usual[1].volts, 10e-9, bandwidth=40e6)
    refused("bandwidths differ, 20 MHz and 40 MHz", usual[0], wide)
    narrow = [Recording(one.volts, 10e-9, bandwidth=50e3) for one in usual]
    refused("bare: not one harmonic", *narrow)


def test_arguments_are_checked(usual):
    for options in ({"tolerance": 0}, {"drift": -0.1}, {"tolerance": 1.5}, {"needed": ("esl",)}):
        with pytest.raises(QuantityError, match=next(iter(options))):
            fit_inside(*usual, TEST, converter(), CURRENT, **options)
    with pytest.raises(QuantityError, match="load_current"):
        fit_inside(*usual, TEST, converter(), -1.0)


def test_what_is_left_open_stays_as_it_was():
    """Of a converter whose ESR is far below the reactances the ESR may be left open, if the caller allows it."""
    inside = converter(output_esr=0.3e-3, output_capacitance=8e-6)
    readings = pair(inside, noise=0.5e-3)
    refused("do not determine esr", *readings)
    found = fit_inside(*readings, TEST, converter(), CURRENT, needed=("capacitance", "inductance"))
    assert found.undecided == ("esr",)
    assert found.inside(converter()).output_esr == converter().output_esr
    assert found.inside(converter()).output_capacitance.value == found.capacitance.value
    assert "the data do not determine the ESR inside" in inside_sentences(found)


def test_the_esl_keeps_its_range_where_asked(usual):
    design = converter(output_esl={"low": "1 nH", "value": "4 nH", "high": "10 nH"})
    found = fit_inside(*usual, TEST, design, CURRENT)
    held, free = found.inside(design), found.inside(design, hold_esl=False)
    assert held.output_esl.known
    assert (free.output_esl.low, free.output_esl.high) == (1e-9, 10e-9)  # hand
    assert held.lead_inductance == free.lead_inductance


def test_a_value_beyond_a_converter_is_refused(usual):
    found = fit_inside(*usual, TEST, converter(), CURRENT)
    broken = converter(loop_bandwidth={"low": 10, "value": 9e3, "high": 80e3})
    with pytest.raises(InputError, match="loop_bandwidth"):
        found.inside(broken).replace(switching_frequency=100e3)
