"""The probable interval: weighted shares of drawn figures, against what is known in closed form."""

import numpy as np
import pytest

from filterlib.analysis.emission.estimate import estimates
from filterlib.analysis.emission.line_spectra import EmissionTest
from filterlib.analysis.ripple.ripple import ripple, ripple_of_change
from filterlib.analysis.uncertainty import plausible
from filterlib.analysis.uncertainty.interval import search
from filterlib.analysis.uncertainty.plausible import BEYOND, LEAST, Interval, Plausible
from filterlib.system.ranges.uncertain_parameter import SHAPE
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from filterlib.system.sources.scales import INSTRUMENTS
from tests.analysis.uncertainty.test_interval import box
from tests.designs import DRIVEN, converter, design, resistive, series, shunt


def test_nine_in_ten_of_an_even_spread_are_between_its_twentieths():
    """hand: evenly from 0 to 1 the ends are 0.05 and 0.95, and 0.3 of them are below 0.3."""
    even = Plausible((np.arange(1000) + 0.5) / 1000, np.ones(1000))
    assert even.ends() == pytest.approx((0.05, 0.95), rel=0.01, abs=0)
    assert even.share(-np.inf, 0.3) == pytest.approx(0.3, rel=1e-9, abs=0)
    assert even.share(0.2, 0.3) == pytest.approx(0.1, rel=1e-9, abs=0)


def test_weights_count_as_often_as_they_say_and_contradictions_not_at_all():
    """second method: each figure repeated as often as its weight says."""
    figures, weights = (
        np.array([5.0, 1.0, 3.0, np.nan] * 500) + np.repeat(np.arange(500) / 25, 4),
        np.tile([1, 3, 2, 9], 500),
    )
    weighed = Plausible(figures, weights.astype(float))
    known = np.isfinite(figures)
    repeated = np.repeat(figures[known], weights[known])
    assert weighed.share(-np.inf, 9.0) == pytest.approx(np.mean(repeated <= 9.0), rel=1e-12, abs=0)
    assert weighed.ends() == pytest.approx(tuple(np.quantile(repeated, [0.05, 0.95])), rel=0.05, abs=0)
    assert weighed.effective == pytest.approx(500 * 6**2 / (1 + 9 + 4), rel=1e-12, abs=0)  # hand


def test_nothing_is_said_of_too_few():
    few = Plausible(np.arange(9.0), np.ones(9))
    assert few.effective < LEAST
    assert np.isnan(few.ends()).all()
    assert np.isnan(few.share(0.0, 1.0))
    assert np.isnan(Plausible(np.full(99, np.nan), np.ones(99)).share(0.0, 1.0))


def test_a_search_draws_them_evenly_over_the_ranges_and_they_are_inside_the_possible_interval():
    """hand: the sum of two even spreads from 0 to 1 is below 1 in half of the cases, and below 0.316 in 5 %."""
    found = search(lambda values: {"sum": values["x0"][:, 0] + values["x1"][:, 0]}, box(2), draws=256)["sum"]
    low, high = found.plausible.ends()
    assert (low, high) == pytest.approx((0.1**0.5, 2 - 0.1**0.5), rel=0.1, abs=0)
    assert found.plausible.share(-np.inf, 1.0) == pytest.approx(0.5, rel=0.1, abs=0)
    assert found.low <= low < high <= found.high


def test_real_converters_lie_further_from_the_middle_and_within_what_is_possible():
    """hand: spread evenly in the logarithm from 1 to 100, nine in ten are within 10**0.9 of 10."""
    drawn = Plausible(np.geomspace(1, 100, 2001), np.ones(2001))
    one = Interval(10.0, 2.0, 1e3, {}, {}, {}, plausible=drawn)
    low, high = one.of_real_converters().plausible.ends()
    assert low == 2.0  # as far as is possible
    assert high == pytest.approx(10 * 10 ** (0.9 * BEYOND), rel=1e-2, abs=0)
    few = Plausible(np.arange(1.0, 6.0), np.ones(5))
    assert few.of_real_converters() is few


def as_modelled(patch):
    patch.setattr(plausible, "BEYOND", 1.0)
    patch.setattr(plausible, "INSTRUMENTS", 0.0)


def spread(low, high):
    """hand: of the logarithm between the ends of a normal distribution that is `BEYOND` times as wide, and has the instruments' spread beside it."""
    return 2 * 1.645 * np.hypot(BEYOND * np.log(high / low) / (2 * 1.645), INSTRUMENTS)


def test_the_ripple_is_that_of_real_converters(monkeypatch):
    """law: both ends of its probable interval are further from the middle, by the stated share of the logarithm (to what lies between two cases)."""
    solution = solve(design(shunt(), series(), source=converter(), load=resistive()))
    real = ripple(solution)
    as_modelled(monkeypatch)
    model = ripple(solution)
    for place in ("terminals", "modem"):
        one, other = real.figures[place, "20MHz"], model.figures[place, "20MHz"]
        assert (one.low, one.high) == (other.low, other.high)
        assert one.low < one.probable_low < other.probable_low
        assert other.probable_high < one.probable_high < one.high
        assert np.log(one.probable_high / one.probable_low) == pytest.approx(
            spread(other.probable_low, other.probable_high), rel=1e-3, abs=0
        )


def further(monkeypatch, judged):
    """What is ``judged``, and the same with cases as the model has them."""
    real = judged()
    with monkeypatch.context() as patch:
        as_modelled(patch)
        return real, judged()


def test_the_ripple_of_a_change_is_that_of_real_converters(monkeypatch):
    """law: as of the design itself; sought from its ends."""
    wanted = {"kind": "ripple", "load": "modem", "limit": "15 mV"}
    before, after = (
        solve(design(shunt(size), series(), source=converter(), load=resistive(), requirement=[wanted]))
        for size in ("1 µF", "2 µF")
    )
    like, at = ripple(before).extents, ("modem", "20MHz")
    one, other = further(monkeypatch, lambda: ripple_of_change(after, like, depth="whole").figures[at])
    assert (one.low, one.high) == (other.low, other.high)
    assert np.log(one.probable_high / one.probable_low) == pytest.approx(
        spread(other.probable_low, other.probable_high), rel=1e-3, abs=0
    )


def test_emission_is_that_of_real_converters(monkeypatch):
    """law: what leaves by the lines is made by the same sources behind the same inside; no further than is possible."""
    solution, rng = (
        solve(design(shunt(), series(), source={**DRIVEN, "shape": "triangle"}, load=resistive(bond={}))),
        np.random.default_rng(1),
    )
    values = {one.key: one.at(rng.random(200)) for one in uncertain_parameters(solution.design)}
    drawn = Plausible(np.ones(200), np.ones(200), values | {SHAPE: np.full(200, "triangle")})
    test = EmissionTest(network="50uH")

    def judged():
        return estimates([solution], test, interval=True, drawn={solution.point: drawn})[0].extents

    real, model = further(monkeypatch, judged)
    for key, one in real.items():
        (low, high), (near, nearer) = one.plausible.ends(), model[key].plausible.ends()
        assert one.low <= low < near < nearer < high <= one.high
        wide = np.log(high / low)
        assert (
            (1 + BEYOND) / 2 * np.log(nearer / near) < wide < 1.001 * spread(near, nearer)
        )  # less where it would be impossible


def test_draws_follow_how_likely_the_readings_are():
    """hand: evenly from 0 to 1 and read as 0.3 with a spread of 0.05, nine in ten are within 1.645 spreads of 0.3."""

    def likely(values):
        return {"": -0.5 * ((values["x0"][:, 0] - 0.3) / 0.05) ** 2}

    found = search(lambda values: {"figure": values["x0"][:, 0]}, box(1), draws=1024, likely=likely)["figure"]
    assert found.plausible.ends() == pytest.approx((0.3 - 1.645 * 0.05, 0.3 + 1.645 * 0.05), rel=0.03, abs=0)
    assert (found.low, found.high) == (0.0, 1.0)  # what may be is not narrowed by what is likely


def test_readings_that_say_more_narrow_what_is_plausible_and_not_what_is_possible():
    """A rms of a triangle is 1/sqrt(12) of its peak to peak: spikes are refuted by it, and the 20 MHz figure is less sure without."""

    def found(**more):
        source = converter(shape="triangle", output_esr={"value": "30 mΩ", "low": "1 mΩ", "high": "200 mΩ"},
                           output_capacitance={"value": "22 µF", "low": "2 µF", "high": "400 µF"},
                           ripple={"peak_to_peak": "100 mV", **more})  # fmt: skip
        one = design(shunt("2.2 µF"), series(), shunt("2.2 µF"), source=source, load=resistive("14 ohm"))
        return ripple(solve(one)).figures["modem", "20MHz"]

    plain, known = found(), found(rms="28.9 mV", fundamental="40.5 mV")
    assert known.probable_high / known.probable_low < plain.probable_high / plain.probable_low
    # of the logarithm: whether a search finds where two paths cancel, or where the filter rings with what is inside, is luck, and moves an end by a factor
    assert np.log(known.high / known.low) > 0.6 * np.log(plain.high / plain.low)
