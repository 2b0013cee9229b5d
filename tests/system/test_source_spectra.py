"""From what was stated to the electromotive forces inside, and back: the unfiltered terminals read what was stated."""

import re
from operator import attrgetter

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.analysis.ripple.spectra import as_measured
from filterlib.network.shapes import rectangle
from filterlib.network.waveform import Waveform, lowpass_response
from filterlib.system.design import with_values
from filterlib.system.inside.converter import RETURN, Converter
from filterlib.system.inside.input import on_input
from filterlib.system.sources.measuring import measuring_circuit, probe_transfer
from filterlib.system.sources.scales import INSTRUMENTS, beside
from filterlib.system.sources.source_shapes import switching_current
from filterlib.system.sources.source_spectra import ScaleError, harmonic_count, source_spectra
from filterlib.units import quantity
from tests.designs import converter, design

FAST = {"switching_frequency": "1 MHz", "edge_time": "20 ns"}


def made(**more):
    return Converter(**converter(**(FAST | more)))


# ---- the current of the switches ----------------------------------------------------------------------------------


@pytest.mark.parametrize("duty", [0.5, 0.3, 0.85])
@pytest.mark.parametrize("edge", [10e-9, 60e-9])
def test_pulse_is_a_trapezoid(duty, edge):
    """second method: straight lines through the corners of a diode's current, 1 A while the switch is open."""
    one = made(shape="pulse", duty=duty, edge_time=edge)
    k = np.arange(1, 61)
    half, period = edge / 2, 1e-6
    corners = [half, duty * period - half, duty * period + half, period - half]
    lines = Waveform.lines(period, corners, [0, 0, 1, 1]).coefficients(60)[1:]
    assert_allclose(switching_current(one, k), lines, rtol=1e-6, atol=1e-9)  # of 1 A


@pytest.mark.parametrize("duty", [0.5, 0.3, 0.85])
def test_triangle_is_an_inductors_current(duty):
    """second method: straight lines from -1/2 to +1/2 A and back; the shortest edge rounds nothing that matters."""
    one = made(shape="triangle", duty=duty, edge_time=1e-10)
    k = np.arange(1, 61)
    lines = Waveform.lines(1e-6, [0.0, duty * 1e-6], [-0.5, 0.5]).coefficients(60)[1:]
    assert_allclose(switching_current(one, k), lines, rtol=1e-4, atol=1e-9)  # of 1 A


def test_triangle_falls_with_the_square_and_a_square_wave_has_no_even_harmonics():
    """hand: a symmetric triangle of 1 A peak to peak has one-sided coefficients 2/(pi k)^2 for odd k, none for even."""
    one = made(shape="triangle", duty=0.5, edge_time=1e-10)
    k = np.arange(1, 10)
    expected = np.where(k % 2, 2 / (np.pi * k) ** 2, 0)
    assert_allclose(np.abs(switching_current(one, k)), expected, rtol=1e-5, atol=1e-12)
    assert_allclose(np.abs(rectangle(k, 0.5)), np.where(k % 2, 1 / (np.pi * k), 0), rtol=1e-12, atol=1e-12)


def test_a_shape_that_is_not_stated_is_the_triangle():
    k = np.arange(1, 20)
    assert_allclose(switching_current(made(), k), switching_current(made(shape="triangle"), k), rtol=1e-12, atol=0)


def test_harmonics_reach_100_mhz_and_beyond_a_fast_ring():
    """hand: 100 MHz / 1 MHz; four times 60 MHz."""
    assert harmonic_count(made()) == 100
    assert harmonic_count(made(spike={"peak_to_peak": "1 V", "ring_frequency": "60 MHz"})) == 240
    assert harmonic_count(made(spike={"peak_to_peak": "1 V", "ring_frequency": "10 MHz"})) == 100


@pytest.mark.parametrize(("shape", "sign"), [("triangle", 1), ("pulse", -1)])
def test_the_switching_node_is_a_trapezoid_of_its_swing(shape, sign):
    """second method: straight lines; high while the switch is closed (step-down) or open (step-up)."""
    one = made(shape=shape, duty=0.4, common_mode={"swing": "28 V"})
    found = source_spectra(one, 1.0).common_mode[1:61]
    corners = [0.0, 10e-9, 0.4e-6 - 10e-9, 0.4e-6 + 10e-9, 1e-6 - 10e-9]
    lines = Waveform.lines(1e-6, corners, [14.0, 28, 28, 0, 0]).coefficients(60)[1:]
    assert_allclose(found, sign * lines, rtol=1e-6, atol=28e-9)


def test_the_ring_sits_at_both_edges_with_the_steps_of_the_ripple():
    """A pulse output's current ends at t = 0 and begins at d T: the ring starts downwards, then upwards."""
    one = made(shape="pulse", duty=0.4, edge_time="1 ns", output_esl=0.0, ripple={"peak_to_peak": "0.9 V"},
               spike={"peak_to_peak": "1.2 V", "ring_frequency": "40 MHz", "ring_cycles": 1})  # fmt: skip
    spike = Waveform.from_coefficients(1e-6, source_spectra(one, 1.0).spike)
    quarter = 0.25 / 40e6
    first, second = spike.at([quarter, 0.4e-6 + quarter])
    quiet = spike.at([0.35e-6, 0.95e-6])
    assert first < 0 < second
    assert np.all(np.abs(quiet) < 0.01 * abs(second))


# ---- what was measured is read again ------------------------------------------------------------------------------


def ranged(low, high):
    return st.floats(np.log(low), np.log(high)).map(np.exp)


ARRANGEMENTS = st.fixed_dictionaries(
    {
        "order": st.integers(1, 4),
        "lead_inductance": st.one_of(st.just(0.0), ranged(1e-9, 1e-6)),
        "capacitors": st.lists(
            st.fixed_dictionaries(
                {"capacitance": ranged(1e-9, 1e-5), "esr": ranged(1e-3, 1), "esl": ranged(1e-9, 2e-8)}
            ),
            max_size=2,
        ),
        "load_current": st.sampled_from([0.0, 0.5, 4.0]),
    }
)
INSIDE = st.fixed_dictionaries(
    {
        "shape": st.sampled_from(["triangle", "pulse"]),
        "duty": st.floats(0.1, 0.9),
        "output_capacitance": ranged(1e-6, 1e-3),
        "output_esr": ranged(1e-3, 0.1),
        "output_esl": ranged(1e-9, 2e-8),
        "lead_inductance": ranged(1e-9, 1e-7),
    }
)


def independent(one, seen, forces, current):
    """second method: the extremes of the periodic wave at the probe, refined between samples."""
    transfer = measuring_circuit(one, seen, current).transfer(forces.frequencies, "ripple", ("probe", RETURN))
    transfer = transfer * lowpass_response(forces.frequencies, seen.bandwidth, seen.order)
    return float(Waveform.from_coefficients(one.period, transfer * (forces.ripple + forces.spike)).peak_to_peak)


@settings(max_examples=40, deadline=None)
@given(inside=st.lists(INSIDE, min_size=2, max_size=2), seen=ARRANGEMENTS)
def test_the_probe_in_closed_form_is_that_of_the_circuit(inside, seen):
    """second method: nodal analysis of converter, load, leads and fixture; two converters at once."""
    one, other = (made(ripple={"peak_to_peak": 0.1, **seen}, **more) for more in inside)
    names = ("output_capacitance", "output_esr", "output_esl", "lead_inductance")
    pairs = {name: np.array([[getattr(each, name).value] for each in (one, other)]) for name in names}
    both = one.model_copy(update={name: getattr(one, name).at(pair) for name, pair in pairs.items()})
    frequencies = 1e6 * np.arange(1, 101)
    circuit = measuring_circuit(both, both.ripple, seen["load_current"])
    expected = circuit.transfer(frequencies, "ripple", ("probe", RETURN))
    found = probe_transfer(both, both.ripple, frequencies, seen["load_current"])
    assert found.shape == (2, 100)
    assert_allclose(found, expected, rtol=1e-11, atol=0)


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(inside=INSIDE, seen=ARRANGEMENTS, level=ranged(1e-3, 1), bandwidth=st.sampled_from(["5 MHz", "20 MHz", "full"]))
def test_ripple_alone_reads_what_was_stated_in_any_arrangement(inside, seen, level, bandwidth):
    stated = {"peak_to_peak": level, "bandwidth": bandwidth, **seen}
    one = design(source=converter(ripple=stated, **(FAST | inside)))
    assert as_measured(one)["ripple"] == pytest.approx(level, rel=1e-9, abs=0)
    forces = source_spectra(one.converter, seen["load_current"])
    found = independent(one.converter, one.converter.ripple, forces, seen["load_current"])
    assert found == pytest.approx(level, rel=1e-4, abs=0)  # what a waveform promises


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    inside=INSIDE, seen=ARRANGEMENTS, wide=ARRANGEMENTS, ring=ranged(25e6, 60e6), cycles=st.floats(0.5, 4),
    mixture=st.floats(0.02, 0.98),
)  # fmt: skip
def test_ripple_and_spike_read_both_figures(inside, seen, wide, ring, cycles, mixture):
    """Figures that a mixture can have: between those of the ripple alone and of the spike alone."""
    spike = {"ring_frequency": ring, "ring_cycles": cycles, **wide}

    def stated(ratio):
        ripple = {"peak_to_peak": 0.1, **seen}
        return design(source=converter(ripple=ripple, spike={"peak_to_peak": 0.1 * ratio, **spike}, **(FAST | inside)))

    least, most = refused_at(stated(1e-6)), refused_at(stated(1e4))
    assume(most > 1.5 * least)  # a fiftieth of that is more than the rounding of the figures in the message
    ratio = least * (most / least) ** mixture
    one = stated(ratio)
    assert as_measured(one) == pytest.approx({"ripple": 0.1, "spike": 0.1 * ratio}, rel=1e-9, abs=0)
    sources = source_spectra(one.converter, 4.0)
    for figure in (one.converter.ripple, one.converter.spike):
        found = independent(one.converter, figure, sources, figure.load_current)
        assert found == pytest.approx(figure.peak_to_peak, rel=1e-4, abs=0)  # what a waveform promises


def refused_at(one):
    """The ratio of both figures at which the pair would be taken, read from the message of the refusal."""
    with pytest.raises(ScaleError) as caught:
        as_measured(one)
    text = str(caught.value)
    wide, narrow = one.converter.spike.peak_to_peak, one.converter.ripple.peak_to_peak
    reads = quantity(re.search("reads ([0-9.]+ .?V)", text)[1], "V")
    return reads / narrow if text.startswith("converter.spike") else wide / reads


def test_a_plain_pair_is_feasible_and_reads_to_nine_digits():
    """So that the test above cannot pass by refusing everything."""
    one = design(source=converter(ripple={"peak_to_peak": 0.3, "order": 2}, spike={"peak_to_peak": 0.6}, **FAST))
    assert as_measured(one) == pytest.approx({"ripple": 0.3, "spike": 0.6}, rel=1e-9, abs=0)


def test_a_reading_may_hold_spikes_that_were_not_read_on_their_own():
    """second method: both waves through the circuit of the arrangement, sampled; their swings are as the share has it."""
    one = design(source=converter(ripple={"peak_to_peak": 0.1}, spike_share=0.6, **FAST))
    assert as_measured(one)["ripple"] == pytest.approx(0.1, rel=1e-9, abs=0)
    forces = source_spectra(one.converter, 2.0)
    transfer = measuring_circuit(one.converter, one.converter.ripple, 2.0).transfer(
        forces.frequencies[1:], "ripple", ("probe", RETURN)
    )
    limit = lowpass_response(forces.frequencies[1:], 20e6, 1)
    waves = [np.fft.irfft(np.append(0, limit * transfer * emf[1:]), 4096) for emf in (forces.ripple, forces.spike)]
    ripple, spikes = map(np.ptp, waves)
    assert spikes / (spikes + ripple) == pytest.approx(0.6, rel=0.03, abs=0)  # what a rough peak to peak promises


def test_where_nothing_is_said_the_nominal_reading_is_ripple_alone():
    one = made()
    assert one.spike_share.high > 0
    assert not np.any(source_spectra(one, 2.0).spike)


# ---- figures that contradict each other ---------------------------------------------------------------------------


def test_a_spike_too_large_for_the_ripples_bandwidth_is_refused_with_what_it_would_read():
    one = made(ripple={"peak_to_peak": "10 mV"}, spike={"peak_to_peak": "1.2 V", "ring_frequency": "50 MHz"})
    with pytest.raises(
        ScaleError, match=r"converter\.ripple\.peak_to_peak = 10 mV: a spike of 1\.2 V alone still reads"
    ) as caught:
        source_spectra(one, 1.0)
    reads = float(str(caught.value).split("still reads ")[1].split(" mV")[0]) * 1e-3
    # hand: a first-order limit passes |1/(1 + j 50/20)| = 0.37 of a long ring, and more of a short one
    assert 0.37 * 1.2 * 0.9 < reads < 0.37 * 1.2 * 1.5
    source_spectra(one.replace(ripple={"peak_to_peak": reads * 1.02}), 1.0)  # what the message asks for is taken


def test_a_spike_smaller_than_the_ripple_is_refused_with_what_the_ripple_reads():
    one = made(ripple={"peak_to_peak": "100 mV"}, spike={"peak_to_peak": "60 mV"})
    with pytest.raises(
        ScaleError, match=r"converter\.spike\.peak_to_peak = 60 mV: the ripple alone already reads"
    ) as caught:
        source_spectra(one, 1.0)
    reads = float(str(caught.value).split("already reads ")[1].split(" mV")[0]) * 1e-3
    assert reads >= 0.099
    source_spectra(one.replace(spike={"peak_to_peak": reads * 1.02}), 1.0)  # what the message asks for is taken


def test_a_higher_order_lets_the_pair_in():
    given = {"peak_to_peak": "500 mV"}
    spike = {"peak_to_peak": "1.2 V", "ring_frequency": "50 MHz"}
    with pytest.raises(ScaleError):
        source_spectra(made(ripple=given, spike=spike), 1.0)
    source_spectra(made(ripple={**given, "order": 2}, spike=spike), 1.0)


def test_sources_of_the_same_converter_are_kept():
    """A review asks for them again and again; another current, or another converter, has its own."""
    one = made(ripple={"peak_to_peak": 0.1})
    assert source_spectra(one, 1.0) is source_spectra(one.model_copy(), 1.0)
    assert source_spectra(one, 2.0) is not source_spectra(one, 1.0)
    assert source_spectra(one.replace(duty=0.2), 1.0) is not source_spectra(one, 1.0)


# ---- many designs at once -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "spike", [None, {"peak_to_peak": "0.45 V", "ring_frequency": {"low": "30 MHz", "high": "70 MHz"}}]
)
def test_many_designs_give_the_same_as_one_at_a_time(spike):
    one = made(ripple={"peak_to_peak": "300 mV", "order": 2}, spike=spike, common_mode={"swing": "28 V"})
    shares = np.array([[0.0], [0.3], [1.0]])
    names = ["duty", "edge_time", "output_capacitance", "output_esr", "output_esl", "lead_inductance", "loop_bandwidth"]
    names += [] if spike is None else ["spike.ring_frequency", "spike.ring_cycles"]
    many = design(source=one)
    values = {f"converter.{name}": r.low + (r.high - r.low) * shares for name in names for r in [attrgetter(name)(one)]}
    together = source_spectra(with_values(many, values).converter, 1.0)
    for place in range(3):
        alone = with_values(many, {key: float(value[place, 0]) for key, value in values.items()})
        single = source_spectra(alone.converter, 1.0)
        assert_allclose(single.frequencies, together.frequencies, rtol=1e-15, atol=0)
        for name in ("ripple", "spike", "common_mode"):
            many_of_it = np.broadcast_to(getattr(together, name), (3, len(single.frequencies)))[place]
            scale = np.abs(getattr(single, name)).max()
            assert_allclose(many_of_it, getattr(single, name), rtol=1e-9, atol=1e-9 * scale)


def test_of_many_designs_those_that_contradict_are_marked_and_the_rest_is_solved():
    one = made(ripple={"peak_to_peak": "400 mV"}, spike={"peak_to_peak": "0.9 V", "ring_frequency": "50 MHz ± 60 %"})
    held = one.spike.model_copy(update={"ring_frequency": one.spike.ring_frequency.at(np.array([[20e6], [80e6]]))})
    found = source_spectra(one.model_copy(update={"spike": held}), 1.0)
    assert found.feasible.ravel().tolist() == [False, True]
    assert np.isnan(found.ripple[0, 1:]).all()
    assert np.isfinite(found.ripple[1]).all()


# ---- another input voltage ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "voltage", "duty", "larger", "swing"),
    [
        ({"shape": "triangle", "input_voltage": 56, "duty": 0.5}, 112, 0.25, 1.5, 56),  # hand: (1 - 1/4) / (1 - 1/2)
        ({"shape": "triangle", "input_voltage": 56, "duty": 0.5}, 40, 0.7, 0.6, 20),  # hand: 28/40, 0.3/0.5
        (
            {"shape": "pulse", "input_voltage": 14, "duty": 0.5},
            7,
            0.75,
            2.0,
            28,
        ),  # hand: step-up, 1 - 7/28; the swing is Vout
        (
            {"shape": "pulse", "input_voltage": 14, "duty": 0.5, "isolated": True},
            7,
            2 / 3,
            1.5,
            21,
        ),  # hand: d/(1-d) = 2
        ({"shape": "pulse", "input_voltage": 56, "duty": 0.5}, 28, 2 / 3, 1.5, 21),  # hand: an inverting stage alike
    ],
)
def test_the_duty_cycle_and_the_current_follow_the_input_voltage(more, voltage, duty, larger, swing):
    moved, ratio = on_input(made(**more, common_mode={"swing": 28}), voltage)
    assert (moved.duty.value, ratio) == pytest.approx((duty, larger), rel=1e-12, abs=0)
    assert moved.common_mode.swing.value == pytest.approx(swing, rel=1e-12, abs=0)


def test_at_its_own_input_voltage_nothing_changes_and_at_another_the_ripple_does():
    one = made(shape="triangle", input_voltage=56, duty=0.5, spike={"peak_to_peak": 1, "ring_frequency": 60e6},
               ripple={"peak_to_peak": 0.6, "order": 2}, common_mode={"swing": 56})  # fmt: skip
    start, same, other = (
        source_spectra(one, 1.0),
        source_spectra(one, 1.0, input_voltage=56),
        source_spectra(one, 1.0, input_voltage=112),
    )
    for name in ("ripple", "spike", "common_mode"):
        assert_allclose(getattr(same, name), getattr(start, name), rtol=1e-12, atol=0)
        assert not np.allclose(getattr(other, name), getattr(start, name), rtol=0.01, atol=0)
    triangle = [abs(one.ripple[1]) for one in (start, other)]
    # hand: the fundamental of a triangle goes as sin(pi d) / (d (1 - d)), and its size as 1 - d
    expected = (np.sin(np.pi / 4) / (0.25 * 0.75) * 0.75) / (1 / 0.25 * 0.5)
    assert triangle[1] / triangle[0] == pytest.approx(expected, rel=1e-9, abs=0)


def test_a_recording_that_reads_a_little_more_than_another_scopes_figure_has_no_spike():
    """hand: cosines of 2 V peak to peak; 1.95 V stated are within what two scopes differ by, 1.85 V are not."""
    fixed, wave = np.zeros((3, 20), complex), np.zeros((3, 20), complex)
    fixed[:, 0], wave[:, 10] = 0.5, 0.5
    stated = np.array([1.95, 1.85, 3.0])
    factor, feasible, alone = beside(fixed, wave, stated, slack=INSTRUMENTS)
    assert feasible.tolist() == [True, False, True]
    assert factor[0] == pytest.approx(0.0, rel=0, abs=1e-9)  # against 1
    assert factor[2] == pytest.approx(0.5, rel=0.02, abs=0)  # 2 V and half of 2 V
    assert alone == pytest.approx([2.0] * 3, rel=1e-9, abs=0)
    assert beside(fixed, wave, stated)[1].tolist() == [False, False, True]
