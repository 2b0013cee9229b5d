"""Bursts at light load: three pulses into a known bank by hand, what is not stated, and what cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib import review, solve
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import FilterlibError, InputError
from filterlib.system.inside.burst import LoadThresholdField, PulseTrain
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.light_load import full_load, light_load
from filterlib.system.sources.burst_spectra import burst_spectra, pulse_current
from filterlib.system.sources.source_shapes import samples
from filterlib.words.review.review_sentences import cautions
from tests import designs

BURST = {"pulses": 3, "period": "100 us", "peak": "1 A"}
PERIOD, WIDTH = 1 / 300e3, 0.5 / 300e3  # of switching; of a pulse [s]
C, ESR, DRAWN = 22e-6, 20e-3, 25e-3  # hand: three pulses of 1 A x 1.667 us / 2 each 100 us are 25 mA
BANK = {
    "shape": "pulse", "duty": 0.5, "edge_time": "50 ns", "switching_frequency": "300 kHz", "output_capacitance": C,
    "output_esr": ESR, "output_esl": 0.0, "lead_inductance": 0.0, "output_resistance": "20 mΩ", "loop_bandwidth": "9 kHz",
    "burst_below": "10 %", "burst": BURST,
}  # fmt: skip
LOAD = {"name": "modem", "kind": "constant_current", "current": "1 A"}
POINTS = [{"name": "full"}, {"name": "light", "load": "2.5 %"}]


def bursting(load=LOAD, **changes):
    return designs.design(source=designs.converter(**BANK | changes), load=load, operating_point=POINTS)


def by_hand():
    """hand: from before the first jump (nothing but the capacitor, at its lowest) to the top of the third pulse.

    Two pulses' charge less what was drawn meanwhile, then i(t) = 1 A (1 - t/w): ESR i + (t - t^2 / 2 w - 25 mA t) / C is
    highest where (1 - t/w) / C = ESR / w + 25 mA / C.
    """
    left = (ESR / WIDTH + DRAWN / C) * C
    t = (1 - left) * WIDTH
    before = (2 * WIDTH / 2 - DRAWN * 2 * PERIOD) / C
    return before + ESR * left + (t - t**2 / (2 * WIDTH) - DRAWN * t) / C


def test_three_pulses_of_300_khz_each_100_us_into_a_known_bank():
    design = bursting()
    result = ripple(solve(design, "light"), interval=False)
    assert result.switching_frequency == pytest.approx(10e3, rel=1e-12, abs=0)
    assert by_hand() == pytest.approx(107e-3, rel=5e-3, abs=0)
    figure = result.figures["terminals", "full"]
    assert figure.peak_to_peak == pytest.approx(by_hand(), rel=2e-3, abs=0)
    assert result.times[-1] == pytest.approx(100e-6, rel=1e-3, abs=0)


def test_each_pulse_of_the_burst_steps_by_the_esr():
    """hand: 1 A through 20 mohm at each jump; a second between two of them."""
    wave = ripple(solve(bursting(), "light"), interval=False).waveforms["terminals", "full"]
    late = int(np.ceil(50e-9 / 100e-6 * len(wave)))
    steps = wave[late:] - wave[:-late]
    jumps = np.flatnonzero(steps > 0.9 * steps.max())
    starts = jumps[np.diff(jumps, prepend=-len(wave)) > len(wave) // 100]
    assert steps.max() == pytest.approx(ESR + 50e-9 / C, rel=0.1, abs=0)
    assert np.diff(starts) / len(wave) * 100e-6 == pytest.approx([PERIOD, PERIOD], rel=2e-2, abs=0)


def test_at_full_load_it_switches_all_the_time():
    design = bursting()
    full = ripple(solve(design, "full"), interval=False)
    assert full.switching_frequency == pytest.approx(300e3, rel=1e-12, abs=0)
    plain = designs.design(
        source=designs.converter(**{k: v for k, v in BANK.items() if "burst" not in k}),
        load=LOAD,
        operating_point=POINTS,
    )
    same = ripple(solve(plain, "full"), interval=False)
    assert full.figures["terminals", "20MHz"] == same.figures["terminals", "20MHz"]


def test_a_period_that_is_not_stated_follows_from_the_charge_that_the_loads_draw():
    """hand: at half the load the bursts come half as often."""
    design = bursting(burst={"pulses": 3, "peak": "1 A"})
    assert solve(design, "light").burst.period == pytest.approx(100e-6, rel=1e-3, abs=0)
    half = design.replace(operating_points=[{"name": "light", "load": "1.25 %"}])
    assert solve(half, "light").burst.period == pytest.approx(200e-6, rel=1e-3, abs=0)


def test_a_peak_that_is_not_stated_follows_too():
    train = solve(bursting(burst={"pulses": 3, "period": "100 us"}), "light").burst
    assert float(np.ravel(train.peak)[0]) == pytest.approx(1.0, rel=1e-3, abs=0)  # hand: the same 25 mA


def test_pulses_of_an_output_inductor_are_triangles():
    """hand: 1 A x 3.333 us / 2 each, up to the peak at the duty cycle; second method: the curve drawn by np.interp."""
    one = Converter(name="Tarn", output_voltage=28, switching_frequency=3e5, shape="triangle", duty=0.3, edge_time="1 ns",
                    ripple={"peak_to_peak": 0.1})  # fmt: skip
    wave = samples(pulse_current(one, PulseTrain(3, 1e-4, 1.0, 0.0), 6000))
    times = np.arange(len(wave)) / len(wave) * 1e-4
    drawn = np.interp(times % PERIOD, [0, 0.3 * PERIOD, PERIOD], [0, 1, 0]) * (times < 3 * PERIOD)
    assert np.max(np.abs(wave - (drawn - 3 * PERIOD / 2 / 1e-4))) < 5e-3


def test_a_bursts_spikes_are_those_of_full_load():
    spike = {"peak_to_peak": "600 mV", "ring_frequency": "60 MHz", "ring_cycles": 2.0}
    design = bursting(
        spike=spike,
        ripple={"peak_to_peak": "200 mV", "order": 3},
        duty=0.4,
        burst={"pulses": 3, "period": "40 us", "peak": "1 A"},
    )
    full, light = (spectra(solve(design, point)) for point in ("full", "light"))
    band = bands(design)[1]
    alone = [float(np.ravel(one.alone("terminals", "spike", band))[0]) for one in (full, light)]
    assert alone[1] == pytest.approx(alone[0], rel=1e-2, abs=0)


def test_many_designs_at_once_are_each_as_alone():
    one = Converter(**designs.converter(**BANK))
    many = one.model_copy(update={"duty": one.duty.at(np.array([[0.3], [0.5]])), "output_esr": one.output_esr.at(ESR)})
    train = PulseTrain(3, 1e-4, np.array([[1.0], [2.0]]), 0.0)
    both = burst_spectra(many, train, solve(bursting(), "full").steady_spectra)
    for row, (duty, peak) in enumerate([(0.3, 1.0), (0.5, 2.0)]):
        alone = burst_spectra(
            one.model_copy(update={"duty": one.duty.at(duty)}), PulseTrain(3, 1e-4, peak, 0.0),
            solve(bursting(), "full").steady_spectra,
        )  # fmt: skip
        np.testing.assert_allclose(both.ripple[row], alone.ripple, rtol=1e-9, atol=1e-15)


# ---- where the load is light --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "drawn", "light"),
    [
        ({"burst_below": "10 %"}, 0.39, True),
        ({"burst_below": "10 %"}, 0.41, False),
        ({"burst_below": "0.2 A"}, 0.19, True),
        ({"burst_below": "0.2 A"}, 0.21, False),
        ({}, 0.39, True),  # common practice, no source: a tenth
        ({}, 0.41, False),
        ({"burst_below": "0 %"}, 0.0, False),  # never
    ],
)
def test_where_a_load_is_light(changes, drawn, light):
    found = light_load(Converter(**designs.converter(**changes)), drawn, 4.0)
    assert (found is not None) is light
    if found is not None:
        assert found.stated is bool(changes)
        assert not found.certain


def test_full_load_is_what_the_converter_is_rated_for():
    rated = Converter(**designs.converter(rating={"output_current": "8 A", "output_power": "112 W"}))
    assert full_load(rated, 3.0) == pytest.approx(4.0, rel=1e-12, abs=0)  # hand: 112 W / 28 V, below 8 A
    measured = Converter(**designs.converter(ripple={"peak_to_peak": "0.1 V", "load_current": "5 A"}))
    assert full_load(measured, 3.0) == 5.0


def test_an_estimated_burst_carries_the_load_and_lifts_the_capacitor_by_a_hundredth():
    """hand: pulses of half of full load; 1 % of 28 V on 22 uF are 6.16 uC."""
    one = Converter(**designs.converter(**{k: v for k, v in BANK.items() if "burst" not in k}))
    train = light_load(one, 0.05, 4.0).train
    each = 2.0 * WIDTH / 2
    assert train.pulses == round(6.16e-6 / (each - 0.05 * PERIOD))
    assert train.pulses * each / train.period == pytest.approx(0.05, rel=1e-9, abs=0)
    assert light_load(one, 0.0, 4.0).train is None  # nothing is drawn, so nothing can be said of how often


def test_an_estimated_burst_carries_whatever_is_below_a_stated_threshold():
    """hand: pulses of 2 A give 0.5 A when they follow without a pause, so that 1.5 A ask for 6 A; a hair below it the burst hardly ends."""
    stated = {k: v for k, v in BANK.items() if k != "burst"} | {"burst_below": "1.5 A"}
    one = Converter(**designs.converter(**stated))
    for drawn in (0.6, 1.4999):
        train = light_load(one, drawn, 4.0).train
        assert train.peak == pytest.approx(6.0, rel=1e-9, abs=0)
        assert train.pulses * PERIOD < train.period
        assert 1 <= train.pulses <= 1000


# ---- what cannot be -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"burst": {"pulses": 3}}, "converter.burst.period: missing"),
        ({"burst": {"pulses": 40, "period": "100 us"}}, "burst.period.*40 pulses take 133 µs"),
        ({"burst": {"pulses": 0, "period": "100 us"}}, "burst.pulses"),
        ({"burst_below": 0.1}, "write a share of full load"),
        ({"burst_below": "3 V"}, "burst_below"),
        ({"burst_below": "120 %"}, "burst_below"),
    ],
)
def test_what_cannot_be_is_refused_by_its_key(changes, words):
    with pytest.raises(InputError, match=words):
        bursting(**changes)


def test_pulses_that_cannot_carry_the_load_are_refused():
    with pytest.raises(FilterlibError, match="state a higher peak"):
        solve(bursting(burst={"pulses": 3, "peak": "50 mA"}, burst_below="0.5 A"), "light").burst  # noqa: B018


def test_thresholds_are_read_and_written_as_they_were():
    assert LoadThresholdField.read("7.5 %").of(2.0) == pytest.approx(0.15, rel=1e-12, abs=0)
    assert LoadThresholdField.read("300 mA").of(2.0) == 0.3


# ---- a current that falls to zero in each period ------------------------------------------------------------------

BUCK = {
    "shape": "triangle", "duty": 0.4, "edge_time": "1 ns", "switching_frequency": "300 kHz", "output_capacitance": C,
    "output_esr": 0.0, "output_esl": 0.0, "lead_inductance": 0.0, "output_resistance": "20 mΩ", "loop_bandwidth": "1 kHz",
    "burst_below": "0 %", "ripple": {"peak_to_peak": "110 mV", "current_swing": 0.4},
}  # fmt: skip
FOUR = {"name": "modem", "kind": "constant_current", "current": "4 A"}


def falling(share, **changes):
    points = [{"name": "full"}, {"name": "light", "load": share}]
    return designs.design(source=designs.converter(**BUCK | changes), load=FOUR, operating_point=points)


@pytest.mark.parametrize(
    ("share", "ratio"),
    [
        # hand: swing 1.6 A, half 0.8 A; a full triangle's charge is 1.6 A T / 8. 0.2 A flow in half of the period up to 0.8 A: above
        # 0.2 A there are 0.6 A x 0.375 T / 2
        (0.05, 0.6 * 0.375 / 2 / 0.2),
        (
            0.1,
            (0.8 * 2**0.5 - 0.4) ** 2 / (0.8 * 2**0.5) * 0.5**0.5 / 2 / 0.2,
        ),  # hand: the same at 0.4 A: share 0.707, peak 1.131 A
        (0.2, 1.0),  # hand: at half the swing and above it is the triangle of full load
        (0.6, 1.0),
    ],
)
def test_an_inductors_current_that_falls_to_zero_by_hand(share, ratio):
    full, light = (ripple(solve(falling(share), point), interval=False) for point in ("full", "light"))
    both = [one.figures["terminals", "full"].peak_to_peak for one in (full, light)]
    assert both[1] / both[0] == pytest.approx(ratio, rel=5e-3, abs=0)
    assert light.switching_frequency == pytest.approx(300e3, rel=1e-12, abs=0)


def test_the_pulse_carries_the_loads_current():
    """hand: half the period, half the swing: 0.8 A x 0.5 / 2 = 0.2 A."""
    found = solve(falling(0.05), "light").discontinuous
    assert (found.half, found.share, found.known) == (
        pytest.approx(0.8, rel=1e-9, abs=0),
        pytest.approx(0.5, rel=1e-4, abs=0),
        True,
    )


@pytest.mark.parametrize(
    "changes",
    [{"synchronous": True}, {"shape": "pulse"}, {"ripple": {"peak_to_peak": "110 mV", "current_swing": 0.05}}],
)
def test_where_the_current_does_not_stay_at_zero(changes):
    assert solve(falling(0.05, **changes), "light").discontinuous is None


def test_a_swing_that_is_not_stated_is_said_and_leaves_the_ripple_alone():
    given = BUCK | {"ripple": {"peak_to_peak": "110 mV"}}
    points = [{"name": "full"}, {"name": "light", "load": 0.1}]
    design = designs.design(source=designs.converter(**given), load=FOUR, operating_point=points)
    solution = solve(design, "light")
    assert solution.discontinuous is not None
    assert not solution.discontinuous.known
    assert solution.source_spectra is solution.steady_spectra
    said = [text for text in cautions(review(design)) if "an output inductor's current" in text]
    assert len(said) == 1
    assert said[0].startswith(
        "light: 400 mA are less than half the swing of an output inductor's current (600 mA, assumed"
    )
    stated = "".join(cautions(review(falling(0.05))))
    assert "it falls to zero after 50 % of each period" in stated
