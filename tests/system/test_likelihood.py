"""How well a converter agrees with rms, fundamental and load current."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib.errors import InputError
from filterlib.system.file.writing import stated
from filterlib.system.inside.arrangement import WithCapacitor
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.recorded import Recorded
from filterlib.system.sources.likelihood import SPREAD, _sizes, log_likelihood, says_more
from filterlib.system.sources.source_spectra import reading, source_spectra
from tests.designs import KNOWN, converter, design


def made(ripple=None, **more):
    return Converter(**converter(**{**KNOWN, "ripple": {"peak_to_peak": 0.1, **(ripple or {})}, **more}))


def with_esr(one, *values):
    return one.model_copy(update={"output_esr": one.output_esr.at(np.array(values)[:, None])})


def test_nothing_is_said_where_nothing_is_stated():
    assert np.all(log_likelihood(with_esr(made(), 1e-3, 2e-3), 2.0) == 0)
    assert log_likelihood(with_esr(made(), 1e-3, 2e-3), 2.0).shape == (2,)


@pytest.mark.parametrize("name", ["rms", "fundamental"])
def test_a_reading_is_normal_in_its_logarithm(name):
    """hand: at what the model reads 0; twice the spread off, -2. rms and line of the wave itself at bare terminals."""
    bare = made({"bandwidth": "full"})
    sources = source_spectra(bare, 0.0)
    terminals = sources.ripple[1:]  # nothing is drawn, and the probe's megohm takes next to nothing
    size = {"rms": np.sqrt(2 * np.sum(abs(terminals) ** 2)), "fundamental": 2 * abs(terminals[0])}[name]
    for off, expected in ((0, 0), (2, -2)):
        one = made({"bandwidth": "full", name: float(size) * np.exp(off * SPREAD)})
        assert log_likelihood(one, 0.0)[0] == pytest.approx(expected, rel=1e-3, abs=1e-5)  # of order one


def test_a_pulse_carries_the_direct_current_of_its_load():
    """hand: 2 A at a duty of 0.6 are a pulse of 5 A; the capacitor that makes such a pulse is the most likely one."""
    esr = np.geomspace(2e-3, 0.2, 400)
    source = {"shape": "pulse", "duty": 0.6, "output_capacitance": "100 µF", "output_esl": "0.1 nH"}
    one = with_esr(made({"load_current": "2 A", "peak_to_peak": 0.3}, **source), *esr)
    best = int(np.argmax(log_likelihood(one, 2.0)))
    assert float(source_spectra(one, 2.0).current[best, 0]) == pytest.approx(5.0, rel=0.02, abs=0)
    loose = one.model_copy(update={"tied_to_load": False})
    assert np.all(log_likelihood(loose, 2.0) == 0)


def test_a_second_filter_hides_current_and_nothing_adds_to_it():
    """law: of pulses ten times off what the load draws the lower are likelier, by far: a diode carries no more (conservation of charge)."""
    source = {
        "shape": "pulse",
        "duty": 0.6,
        "output_capacitance": "100 mF",
        "output_esl": "0.01 nH",
        "output_resistance": "50 ohm",
    }
    one = with_esr(made({"load_current": "2 A", "peak_to_peak": 0.3}, **source), 0.6, 6e-3)
    hidden, more = log_likelihood(one, 2.0)
    found = source_spectra(one, 2.0).current[:, 0]
    assert found == pytest.approx([0.5, 50.0], rel=0.1, abs=0)  # hand: 5 A is what the load draws
    assert hidden - more > 5


@pytest.mark.parametrize(("frequency", "volts"), [("20 MHz", 0.31), ("50 MHz", 0.4), ("90 MHz", 0.3)])
def test_sizes_that_move_two_readings_little_are_many(frequency, volts):
    """second method: the density of ripple and ring over that of their readings, in logarithms, from readings with either a little larger."""
    spike = {"peak_to_peak": volts, "ring_frequency": frequency, "ring_cycles": 2}
    one = made({"peak_to_peak": 0.25}, spike=spike)
    sources, moved = source_spectra(one, 0.0), []
    for name in ("ripple", "spike"):
        ends = [replace(sources, **{name: getattr(sources, name) * np.exp(step)}) for step in (1e-4, -1e-4)]
        both = [[float(reading(one, each, some, 0.0)) for each in (one.ripple, one.spike)] for some in ends]
        moved.append(np.log(np.divide(*both)) / 2e-4)
    expected = -np.log(np.abs(np.linalg.det(moved)))
    assert expected > 0.01  # each of both reads some of the other
    assert log_likelihood(one, 0.0)[0] == pytest.approx(expected, rel=0.02, abs=2e-3)  # of order one, by samples


def test_a_ring_of_next_to_nothing_is_none():
    """hand: in usual converters a ring is a tenth of the ripple and more; what is below counts by its size, what is above by its square."""
    ripple, none, whole = np.array([1.0]), np.array([0.0]), np.array([1.0])
    usual = _sizes([[ripple, none], [none, whole]])
    assert usual[0] == 0
    assert _sizes([[ripple, none], [none, 40 * whole]])[0] == pytest.approx(-2 * np.log(4), rel=1e-12, abs=0)
    small = _sizes(
        [[ripple, none], [0.98 * whole, 0.02 * whole]]
    )  # 0.02 of it, which readings to 5 % do not tell from none
    assert small[0] == pytest.approx(np.log(0.2 / 0.05), rel=1e-12, abs=0)


def test_an_inductors_swing_is_a_share_of_the_load_or_as_stated():
    """hand: no share of 10 to 120 % is more likely than another, and those outside by nine in ten less; stated: that one."""
    esr = np.geomspace(1e-4, 1.0, 400)
    one = with_esr(made({"load_current": "2 A"}), *esr)
    swing, likely = source_spectra(one, 2.0).current[:, 0] / 2, log_likelihood(one, 2.0)
    within = (swing > 0.1) & (swing < 1.2)
    assert 0 < within.sum() < 400
    assert np.ptp(likely[within]) < 1e-12
    assert likely[within][0] - likely[~within][0] > 2
    known = with_esr(made({"load_current": "2 A", "current_swing": "30 %"}), *esr)
    assert swing[np.argmax(log_likelihood(known, 2.0))] == pytest.approx(0.3, rel=0.03, abs=0)


@pytest.mark.parametrize(("name", "value", "most"), [("rms", "51 mV", "50 mV"), ("fundamental", "65 mV", "63.7 mV")])
def test_more_than_a_square_wave_has_is_refused(name, value, most):
    """hand: a square wave of 100 mV has 50 mV rms, and 2/pi of 100 mV at its first harmonic."""
    with pytest.raises(InputError, match=rf"{name}.*no wave of that peak_to_peak has more than {most}"):
        made({name: value})


def test_the_keys_are_written():
    ripple = {"peak_to_peak": "100 mV", "rms": "30 mV", "fundamental": "40 mV", "current_swing": "30 %"}
    found = stated(design(source=converter(ripple=ripple, tied_to_load=False)))["converter"]
    assert [found["ripple"][key] for key in ("rms", "fundamental")] == ['"30 mV"', '"40 mV"']
    assert "current_swing" in found["ripple"]
    assert found["tied_to_load"] == "false"


def recorded(true, load_current="2 A", **more):
    """What a recording of such a converter gives to one of which nothing is known."""
    sources = source_spectra(true, 0.0)
    seen = Recorded("a.csv", true.switching_frequency, tuple(sources.ripple[1:100].tolist()))
    ripple = {"peak_to_peak": 0.1, "recording": seen, "bandwidth": "20 MHz", "load_current": load_current}
    return made(ripple, **more)


@pytest.mark.parametrize(("farads", "ohms"), [(2e-6, 1e-3), (470e-6, 80e-3)])
def test_a_recording_tells_what_the_current_passes_through(farads, ohms):
    """second method: harmonics of a triangle behind a capacitor fall as 1/k^3, behind a resistor as 1/k^2 (Fourier's series)."""
    alone = {"output_esl": 0, "lead_inductance": 0}
    one = recorded(made({"bandwidth": "full"}, output_capacitance=farads, output_esr=ohms, **alone), None, **alone)
    pairs = np.array([(farads, ohms), (2e-6, 1e-3), (470e-6, 80e-3)])
    inside = {
        "output_capacitance": one.output_capacitance.at(pairs[:, :1]),
        "output_esr": one.output_esr.at(pairs[:, 1:]),
    }
    likely = log_likelihood(one.model_copy(update=inside), 2.0)
    assert likely[0] == likely.max()
    assert likely[0] - likely.min() > 1


def test_a_recording_and_the_load_say_how_large_the_impedance_inside_is():
    """hand: a pulse of 5 A, 2 A at a duty of 0.6, through an impedance: that which makes the recorded fundamental."""
    source = {"shape": "pulse", "duty": 0.6, "output_capacitance": "1 mF", "output_esl": 0, "lead_inductance": 0}
    one = made({"bandwidth": "full"}, output_esr="30 mΩ", **source)
    volts = 0.1 * 5.0 / float(np.ravel(source_spectra(one, 0.0).current)[0])
    true = made({"bandwidth": "full", "peak_to_peak": volts}, output_esr="30 mΩ", **source)
    esr = np.geomspace(3e-3, 0.3, 81)
    likely = log_likelihood(with_esr(recorded(true, **source), *esr), 2.0)
    assert esr[np.argmax(likely)] == pytest.approx(30e-3, rel=0.06, abs=0)
    assert likely.max() - likely[0] > 3


def test_a_second_recording_or_another_period_leaves_it_to_others():
    true = made({"bandwidth": "full"})
    one = recorded(true)
    assert says_more(one)
    half = replace(one.ripple.recording, stated=2 * true.switching_frequency)
    assert not says_more(one.model_copy(update={"ripple": one.ripple.model_copy(update={"recording": half})}))
    second = {"recording": one.ripple.recording, "capacitance": "1 µF"}
    both = one.ripple.model_copy(update={"with_capacitor": WithCapacitor(**second)})
    assert not says_more(one.model_copy(update={"ripple": both}))


def test_an_octave_that_holds_something_else_costs_what_odd_ones_do():
    """hand: an octave as the shape makes it has ln(0.8 / (s sqrt(2 pi)) + 0.2 / 6), one twelve of its spreads s off ln(0.2 / 6)."""
    true = made({"bandwidth": "full"})
    one = recorded(true, None)
    plain = replace(one.ripple.recording, harmonics=one.ripple.recording.harmonics[:3])
    spread = 0.25 * (1 + 2 * 0.18)  # of the second and third harmonic of 180 kHz
    odd = tuple(c * (1 if k == 0 else np.exp(12 * spread)) for k, c in enumerate(plain.harmonics))
    seen = [one.ripple.model_copy(update={"recording": r}) for r in (plain, replace(plain, harmonics=odd))]
    fits, off = (float(log_likelihood(one.model_copy(update={"ripple": r}), 0.0)[0]) for r in seen)
    assert fits == pytest.approx(np.log(0.8 / (spread * np.sqrt(2 * np.pi)) + 0.2 / 6), rel=0, abs=1e-3)
    assert off == pytest.approx(np.log(0.2 / 6), rel=0, abs=1e-3)


INSIDES = {  # what alone makes the ripple: capacitance, ESR, inductance
    "C": {"output_capacitance": "2 µF", "output_esr": "0.1 mΩ", "output_esl": "10 pH", "lead_inductance": 0},
    "ESR": {"output_capacitance": "1 mF", "output_esr": "50 mΩ", "output_esl": "10 pH", "lead_inductance": 0},
    "ESL": {"output_capacitance": "1 mF", "output_esr": "0.1 mΩ", "output_esl": "100 nH", "lead_inductance": 0},
}


@pytest.mark.parametrize(
    ("shape", "inside", "look"),
    [
        ("triangle", "C", "rounded"),  # hand: the integral of a triangle is made of arcs
        ("triangle", "ESR", "triangle"),  # hand: its multiple
        ("triangle", "ESL", "square"),  # hand: its derivative
        ("pulse", "C", "triangle"),  # hand: the integral of a flat pulse
        ("pulse", "ESR", "square"),  # hand: its multiple
    ],
)
def test_what_alone_makes_the_ripple_has_its_look(shape, inside, look):
    """hand: the one look fits, and those that it is furthest from are some standard deviations off."""
    fits = {
        one: float(log_likelihood(made({"waveform": one}, **INSIDES[inside], shape=shape), 4.0)[0])
        for one in ("triangle", "square", "rounded")
    }
    assert max(fits, key=lambda one: fits[one]) == look
    assert fits[look] > -1.5
    assert min(fits.values()) < -7


def test_a_sawtooth_with_steps_has_both():
    """hand: a pulse of 1 A for 3.05 µs through 22 µF ramps by 139 mV, and steps 60 mV in 60 mΩ; with 0.1 mΩ none."""
    one = made({"waveform": "sawtooth with steps"}, shape="pulse", output_capacitance="22 µF", output_esl="10 pH")
    steps, none = log_likelihood(with_esr(one, 60e-3, 1e-4), 4.0)
    assert steps == pytest.approx(0, rel=0, abs=0.05)
    assert none < -1


def test_a_look_says_more_and_belongs_to_no_recording():
    assert says_more(made({"waveform": "square"}))
    assert not says_more(made())
    with pytest.raises(InputError, match="waveform"):
        made({"waveform": "sine"})
