"""Conducted emission while a converter bursts: its lines by hand, and what a receiver reads of all of them."""

import numpy as np
import pytest

from filterlib.analysis.emission.emission_result import EmissionTest
from filterlib.analysis.emission.estimate import emissions
from filterlib.analysis.emission.levels import above, amplitudes, levels
from filterlib.analysis.emission.line_spectra import line_spectra
from filterlib.analysis.emission.receiver import tunings
from filterlib.system.solution import solve
from filterlib.words.emission_sentences import emission_notes
from tests.designs import KNOWN, converter, design, series, shunt

TEST = EmissionTest()
POINTS = [{"name": "full"}, {"name": "light", "load": "10 %"}]


def bursting(pulses, period="100 µs", peak="2 A"):
    burst = {"pulses": pulses, "period": period, "peak": peak}
    source = converter(**KNOWN | {"switching_frequency": "300 kHz"}, burst_below="50 %", burst=burst)
    stages = shunt(name="C1"), series(name="L1"), shunt(name="C2")
    return solve(design(*stages, source=source, operating_point=POINTS), "light")


def line(solution, frequency):
    spectra = line_spectra(solution, TEST, bursts=True)
    return np.abs(amplitudes(spectra)["plus"][np.argmin(np.abs(spectra.frequencies - frequency))])


def test_three_of_thirty_pulses_make_a_tenth_of_each_switching_line():
    """hand: pulses that are whole periods apart add at multiples of 300 kHz: 3 each 100 µs are a tenth of 30."""
    few, all_ = bursting(3), bursting(30)
    for frequency in (300e3, 600e3, 3e6):
        assert line(few, frequency) == pytest.approx(line(all_, frequency) / 10, rel=1e-9, abs=0)


def test_the_lines_between_follow_the_group_of_pulses():
    """hand: at 310 kHz the second pulse is 2 pi / 30 late, the third twice that: |1 + e^(-ja) + e^(-2ja)| = 1 + 2 cos a."""
    three, one = bursting(3), bursting(1)
    turn = 2 * np.pi * 310e3 / 300e3
    assert line(three, 310e3) == pytest.approx(line(one, 310e3) * abs(1 + 2 * np.cos(turn)), rel=1e-9, abs=0)


@pytest.mark.parametrize("period", ["100 µs", "1 ms"])
def test_the_receiver_finds_the_loudest_of_all_lines(period):
    """second method: the receiver tuned to every line and between, not to the loudest alone."""
    solution = bursting(3, period)
    result = emissions(solution, TEST)
    spectra = line_spectra(solution, TEST, bursts=True)
    low = spectra.frequencies[
        (spectra.frequencies >= 150e3) & (spectra.frequencies < 1e6)
    ]  # where the highest are here
    tuned = tunings(low, spectra.frequencies[0], TEST.ends)
    over = above(levels(amplitudes(spectra), spectra.frequencies[0], tuned), tuned, TEST)
    for margin in result.margins:
        assert -margin.margin == pytest.approx(np.max(over[margin.limit, margin.detector]), rel=0, abs=0.1)
    assert result.bursts
    assert len(result.frequencies) < 200


def test_the_range_is_as_wide_as_that_of_steady_switching():
    """hand: what is uncertain moves every line of the bursts as it moves those of steady switching, in ratio."""
    solution = bursting(3)
    steady = solve(solution.design, "full")
    for ours, theirs in zip(emissions(solution, TEST).margins, emissions(steady, TEST).margins, strict=True):
        assert ours.high - ours.low == pytest.approx(theirs.high - theirs.low, rel=0.1, abs=0)
        assert ours.low < ours.margin < ours.high


def test_the_page_says_that_it_is_of_bursts():
    solution = bursting(3)
    words = " ".join(emission_notes(solution.design, emissions(solution, TEST, interval=False)))
    assert "light: the converter bursts, so harmonics are 10 kHz apart" in words
    assert not emissions(solve(solution.design, "full"), TEST, interval=False).bursts


INPUT = EmissionTest(side="input")


def drawn(pulses, **keys):
    burst = {"pulses": pulses, "period": "100 µs", "peak": "2 A"}
    source = converter(
        **KNOWN | {"switching_frequency": "300 kHz", "input_voltage": "24 V"} | keys, burst_below="50 %", burst=burst
    )
    return solve(design(series(name="L1"), shunt(name="C1"), source=source, operating_point=POINTS), "light")


def input_line(solution, frequency):
    spectra = line_spectra(solution, INPUT, bursts=True)
    at = np.argmin(np.abs(spectra.frequencies - frequency))
    return np.abs(spectra.voltages["plus", "input_current"][at])


def test_the_input_draws_the_same_charge_in_few_pulses_as_in_many():
    """hand: at multiples of 300 kHz all pulses add, and their charge together is what the load's power needs, in few or in many."""
    for frequency in (300e3, 600e3):
        assert input_line(drawn(3), frequency) == pytest.approx(input_line(drawn(30), frequency), rel=1e-9, abs=0)


def test_the_input_has_the_lines_of_the_burst():
    """hand: as at the output, 1 + 2 cos a times one pulse's line at 310 kHz, and one pulse carries three times the charge."""
    turn = 2 * np.pi * 310e3 / 300e3
    assert input_line(drawn(3), 310e3) == pytest.approx(
        input_line(drawn(1), 310e3) / 3 * abs(1 + 2 * np.cos(turn)), rel=1e-9, abs=0
    )


def test_the_input_is_judged_in_bursts_too():
    result = emissions(drawn(3), INPUT, interval=False)
    assert result.bursts
    assert result.spacing == pytest.approx(10e3, rel=1e-9, abs=0)
