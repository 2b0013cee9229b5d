"""The receiver: detectors against an integrated circuit, closed forms and limits of slow and fast repetition."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from filterlib.analysis.emission.receiver import (
    BANDS,
    DETECTORS,
    by_band,
    envelope,
    filter_response,
    main_line,
    quasi_peak,
    read,
    tunings,
)
from filterlib.errors import QuantityError

BAND_A, BAND_B, BAND_C = BANDS


def current(amplitude, held):
    """hand: mean of max(a cos x - v, 0) over a cycle, by its integral."""
    if held >= amplitude:
        return 0.0
    angle = np.arccos(held / amplitude)
    return (amplitude * np.sin(angle) - held * angle) / np.pi


def charging_rate(band):
    """Rate at which a sine that is switched on brings the detector to 63 % in the charge time, by integrating it."""

    def after(rate):
        final = brentq(lambda v: rate * current(1.0, v) - v / band.discharge, 0, 1)
        run = solve_ivp(
            lambda _, v: rate * current(1.0, v[0]) - v / band.discharge, (0, band.charge), [0.0], rtol=1e-10, atol=1e-13
        )
        return run.y[0, -1] / final - (1 - np.exp(-1)), final

    rate = brentq(lambda rate: after(rate)[0], 1 / band.charge, 20 / band.charge)
    return rate, after(rate)[1]


def integrated(wave, period, band):
    """second method: the detector integrated by scipy over one period, its start found by a root search."""
    rate, final = charging_rate(band)

    def run(start, times=None):
        return solve_ivp(
            lambda t, v: rate * current(wave(t), v[0]) - v / band.discharge, (0, period), [start],
            t_eval=times, rtol=1e-9, atol=1e-12, max_step=period / 500,
        )  # fmt: skip

    start = brentq(lambda v: run(v).y[0, -1] - v, 1e-6, 1.0, xtol=1e-12)
    held = run(start, np.arange(4096) * (period / 4096)).y[0]
    spectrum = np.fft.rfft(held) / 4096
    turns = 2j * np.pi * np.arange(len(spectrum)) / period
    meter = np.fft.irfft(spectrum / (1 + turns * band.meter) ** 2, 4096) * 4096
    return meter.max() / final


@pytest.mark.parametrize(("band", "period"), [(BAND_A, 0.1), (BAND_B, 2e-3), (BAND_B, 20e-3), (BAND_C, 10e-3)])
def test_quasi_peak_against_an_integrated_detector(band, period):
    """second method: scipy's solve_ivp, on bursts of a smooth envelope, within 0.01 dB."""

    def wave(t):
        return np.exp(-(((t / period - 0.3) / 0.05) ** 2))

    found = float(quasi_peak(wave(np.arange(4096) * (period / 4096)), period, band))
    assert found == pytest.approx(integrated(wave, period, band), rel=1e-3, abs=0)


@pytest.mark.parametrize("duty", [0.01, 0.2, 0.9])
def test_fast_bursts_settle_where_charge_and_discharge_balance(duty):
    """hand: at 20 kHz the charge stands still, and duty x charging current = discharge current, in closed form."""
    rate, final = charging_rate(BAND_B)
    balance = brentq(lambda v: duty * rate * current(1.0, v) - v / BAND_B.discharge, 0, 1)
    wave = np.where(np.arange(1000) < 1000 * duty, 1.0, 0.0)
    assert float(quasi_peak(wave, 50e-6, BAND_B)) == pytest.approx(balance / final, rel=1e-4, abs=0)


@pytest.mark.parametrize("band", BANDS, ids=lambda band: band.name)
def test_a_steady_envelope_reads_as_it_is(band):
    """hand: the detector is calibrated with a sine."""
    assert float(quasi_peak(np.full(512, 3.0), 1e-3, band)) == pytest.approx(3.0, rel=1e-5, abs=0)


def test_the_filter_falls_6_dB_at_half_its_bandwidth():
    """hand: the definition of the bandwidth."""
    assert filter_response([-100.0, 0.0, 100.0], 200.0).tolist() == [0.5, 1.0, 0.5]


def test_lines_far_apart_are_read_one_by_one():
    """hand: amplitude over the root of two, on all detectors, whatever the phases."""
    lines = np.array([1.0, -0.2j, 0.03 + 0.04j])
    for reading in read(lines, 200e3).values():
        assert_allclose(reading, np.abs(lines) / np.sqrt(2), rtol=1e-15, atol=0)


def test_two_lines_in_the_filter_beat():
    """hand: of two equal lines half a bandwidth apart the neighbour passes at half: 1.5 at most, and never below 0.5; the
    mean of |1 + exp(jx)/2| is 2/pi x 1.5 x E(8/9)."""
    from scipy.special import ellipe

    lines = np.zeros(100, complex)
    lines[60:62] = 1.0
    found = {name: float(reading[60]) * np.sqrt(2) for name, reading in read(lines, 4500.0).items()}
    assert found["peak"] == pytest.approx(1.5, rel=1e-9, abs=0)
    assert found["average"] == pytest.approx(2 / np.pi * 1.5 * ellipe(8 / 9), rel=1e-3, abs=0)
    assert found["average"] < found["quasi_peak"] < found["peak"]


def test_the_envelope_is_that_of_the_filtered_signal():
    """second method: the filtered lines summed as a signal in time, its envelope from the Hilbert transform."""
    from scipy.signal import hilbert

    rng = np.random.default_rng(3)
    lines = rng.standard_normal(120) + 1j * rng.standard_normal(120)
    spacing, tuned = 3e3, 60
    orders = np.arange(1, 121)
    kept = np.where(abs(orders - 1 - tuned) <= 6, filter_response((orders - 1 - tuned) * spacing, 9e3), 0)
    time = np.arange(4096) / 4096 / spacing
    signal = (kept * lines * np.exp(2j * np.pi * spacing * np.outer(time, orders))).sum(axis=1).real
    found = envelope(lines, np.array([tuned]), spacing, 9e3)[0]
    assert_allclose(found, np.abs(hilbert(signal))[:: 4096 // len(found)], rtol=1e-9, atol=0)


def test_neighbours_above_the_last_and_below_the_first_line_are_nothing():
    lines = np.array([1.0, 1.0, 1.0])
    assert np.all(np.isfinite(read(lines, 10e3)["peak"]))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([4e3, 7e3, 30e3]), st.floats(1e-3, 1e3))
def test_average_below_quasi_peak_below_peak_and_in_proportion(seed, spacing, gain):
    """law: no detector reads more than peak or less than average; each reads in proportion."""
    rng = np.random.default_rng(seed)
    lines = rng.standard_normal((2, 60)) + 1j * rng.standard_normal((2, 60))
    one, more = read(lines, spacing), read(gain * lines, spacing)
    inside = np.isfinite(one["peak"])
    peak, quasi, average = (one[name][inside] for name in DETECTORS)
    assert np.all(average <= quasi * (1 + 1e-6))
    assert np.all(quasi <= peak * (1 + 1e-6))
    for name in DETECTORS:
        assert_allclose(more[name][inside], gain * one[name][inside], rtol=1e-9, atol=0)


def test_many_designs_at_once_are_each_alone():
    rng = np.random.default_rng(5)
    lines = rng.standard_normal((3, 40)) + 1j * rng.standard_normal((3, 40))
    together = read(lines, 6e3)
    for row in range(3):
        alone = read(lines[row], 6e3)
        for name in DETECTORS:
            assert_allclose(together[name][row], alone[name], rtol=1e-12, atol=0)


def test_edges_of_the_bands():
    """published CISPR 16-1-1 (from memory): 9 to 150 kHz, 0.15 to 30 MHz; an end that rounding moved stays in its band."""
    found = by_band([8.9e3, 9e3, 149e3, 150e3 * (1 - 1e-12), 30e6 * (1 + 1e-12), 30.2e6])
    assert {band.name: places.tolist() for band, places in found.items()} == {"A": [1, 2], "B": [3, 4], "C and D": [5]}


def test_bandwidths_and_time_constants():
    """published CISPR 16-1-1, table of the quasi-peak receiver (from memory): bandwidth, charge, discharge, meter."""
    found = {band.name: (band.bandwidth, band.charge, band.discharge, band.meter) for band in BANDS}
    assert found == {
        "A": (200.0, 45e-3, 500e-3, 160e-3), "B": (9e3, 1e-3, 160e-3, 160e-3), "C and D": (120e3, 1e-3, 550e-3, 100e-3),
    }  # fmt: skip


def test_outside_every_band_nothing_is_read():
    assert np.isnan(read([1.0, 1.0], 4e3)["peak"]).tolist() == [True, True]


@pytest.mark.parametrize(
    ("lines", "spacing", "name"), [([1.0], 0.0, "spacing"), ([1.0], np.nan, "spacing"), ([], 1e5, "lines")]
)
def test_bad_arguments_are_named(lines, spacing, name):
    with pytest.raises(QuantityError) as caught:
        read(lines, spacing)
    assert caught.value.name == name


def test_a_line_beside_the_tuning_is_heard_through_the_filter():
    """hand: 5 kHz from the centre of 9 kHz a Gaussian is at 2^-(10/9)^2, 7.43 dB down; 200 Hz wide it is at nothing."""
    for reading in read([1.0, 1e-3], 145e3, [150e3, 149.9e3]).values():
        assert 20 * np.log10(reading[0] * np.sqrt(2)) == pytest.approx(-7.433, rel=0, abs=1e-3)
        assert reading[1] < 1e-100


@pytest.mark.parametrize("away", [0.0, 700.0, 1500.0, -1400.0])
def test_the_envelope_beside_a_line_is_that_of_the_filtered_signal(away):
    """second method: the filtered lines summed as a signal in time, its envelope from the Hilbert transform."""
    from scipy.signal import hilbert

    rng = np.random.default_rng(4)
    lines = rng.standard_normal(120) + 1j * rng.standard_normal(120)
    spacing, orders = 3e3, np.arange(1, 121)
    centre = 61 * spacing + away
    kept = filter_response(orders * spacing - centre, 9e3)
    time = np.arange(2**15) / 2**15 / spacing
    signal = (kept * lines * np.exp(2j * np.pi * spacing * np.outer(time, orders))).sum(axis=1).real
    wave = np.abs(hilbert(signal))
    found = {name: float(values[0]) * np.sqrt(2) for name, values in read(lines, spacing, [centre]).items()}
    assert found["peak"] == pytest.approx(wave.max(), rel=3e-3, abs=0)
    assert found["average"] == pytest.approx(wave.mean(), rel=1e-3, abs=0)


def test_without_tunings_it_is_tuned_to_each_line():
    lines = np.array([[1.0, 0.3j, 0.2], [0.5, 0.4, -0.1]])
    for spacing in (8e3, 60e3):
        plain, tuned = read(lines, spacing), read(lines, spacing, spacing * np.arange(1, 4))
        for name in DETECTORS:
            assert_allclose(tuned[name], plain[name], rtol=1e-12, atol=0)


def test_where_a_receiver_is_tuned_that_looks_for_the_highest():
    """hand: of ends those in reach of a line, 18 kHz in band B, and not on one; midway where lines are less than that apart."""
    lines = 145e3 * np.arange(1, 5)
    assert tunings(lines, 145e3, [150e3, 290e3, 500e3]).tolist() == [*lines, 150e3]
    assert tunings([160e3, 170e3, 180e3], 10e3).tolist() == [160e3, 170e3, 180e3, 165e3, 175e3]


def test_two_equal_lines_are_read_highest_midway():
    """hand: 4.5 kHz apart each passes midway at 2^-(1/4): 1.682 together, against 1.5 on one of them."""
    lines = np.zeros(100, complex)
    lines[60:62] = 1.0
    tuned = tunings([61 * 4.5e3, 62 * 4.5e3], 4.5e3)
    found = read(lines, 4.5e3, tuned)["peak"] * np.sqrt(2)
    assert_allclose(found, [1.5, 1.5, 2 * 2**-0.25], rtol=1e-9, atol=0)


def test_the_line_that_is_heard_most():
    """hand: at 150 kHz a line at 145 kHz passes at 0.42, one at 160 kHz at 0.03."""
    assert main_line([0.0] * 28 + [1.0, 0.0, 0.0, 10.0], 5e3, 150e3) == 145e3
    assert main_line([0.0] * 28 + [1.0, 0.0, 0.0, 20.0], 5e3, 150e3) == 160e3
