"""What would close the band: against what is left when a value is really known, and in what it says."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.interval import in_chunks, search
from filterlib.analysis.uncertainty.measurement_result import INSIDE
from filterlib.analysis.uncertainty.measurement_value import _MOVED, MOST, SHAPE, _leading, _Search, measurement_values
from filterlib.analysis.uncertainty.plausible import width
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from filterlib.words.review.measurement_sentences import measurement_sentences, useless_sentence, what_to_measure
from tests.designs import KNOWN, converter, design, film, resistive, series, shunt

DATA = Path(__file__).parents[3] / "data" / "designs"
SURE = {"kind": "capacitor", "part": film(tolerance=0), "mounting_loop": 0.0}


def told(one, load="modem", label="20MHz"):
    state = one.state()
    band = next(band for band in bands(one) if band.label == label)
    solution = solve(one, state)
    return measurement_values(solution, load, band, ripple(solution).extents.get((load, label)))


def of(found, name):
    return next(one for one in found.measurements if one.name == name)


def choke_alone():
    """Everything is known but the choke's inductance, 10 µH within 10 %."""
    return design(SURE, series(), source=converter(**KNOWN), load=resistive())


def test_the_only_unknown_takes_the_whole_band():
    """hand: known at its nominal, nothing is left; now it goes with the divider of 9 to 11 µH and 7 ohm at 180 kHz; sought in single precision."""
    found = told(choke_alone())
    (only,) = found.measurements
    assert only.keys == ("filter.L1.inductance",)
    assert what_to_measure(only) == "L1 itself on an impedance bridge"
    assert only.narrows == pytest.approx(1.0, rel=1e-6, abs=0)
    assert only.ratio == pytest.approx(1.0, rel=1e-6, abs=0)
    less, more = np.hypot(7, 2 * np.pi * 180e3 * np.array([9e-6, 11e-6]))
    assert found.high / found.low == pytest.approx(more / less, rel=0.02, abs=0)  # hand
    assert found.capacitor is None  # nothing inside is open


def test_nothing_unknown_says_so():
    one = design(SURE, source=converter(**KNOWN), load=resistive())
    found = told(one)
    assert found.measurements == ()
    assert tuple(measurement_sentences(found)) == ("Nothing that moves the figure is unknown.",)


def test_unknowns_that_do_nothing_are_named_as_such():
    """A load that holds the ripple whatever the loop does: two groups, one of them useless."""
    source = converter(**KNOWN | {"loop_bandwidth": {"low": "8 kHz", "high": "10 kHz"}})
    found = told(design(SURE, series(), source=source, load=resistive()))
    assert [one.name for one in found.measurements] == ["part L1", "output"]
    assert of(found, "output").narrows < 0.01
    assert useless_sentence(found).startswith(
        "Measuring these would hardly narrow this interval: the terminals' voltage idle"
    )


@pytest.fixture(scope="module")
def clean():
    return load_design(DATA / "tide-gauge-clean.toml")


@pytest.fixture(scope="module", params=["modem", "logger"])
def both(request, clean):
    """What is told of a load of the demo, and the full search with each group really known."""
    found, state, band = told(clean, request.param), clean.state(), bands(clean)[0]

    def known(keys):
        box = tuple(one for one in uncertain_parameters(clean) if one.key not in keys)
        metric = in_chunks(clean, lambda moved, _: {0: spectra(solve(moved, state)).peak_to_peak(request.param, band)})
        return search(metric, box)[0]

    return found, {one.name: known(one.keys) for one in found.measurements}


def test_as_the_full_search_finds_with_the_values_known(both):
    """second method: a search of 250 points over what remains; both are lower bounds, so they agree to 15 % of the band."""
    found, searched = both
    whole = width((found.low, found.high))
    for one in found.measurements:
        end = searched[one.name]
        assert abs(one.narrows - (1 - width((end.low, end.high)) / whole)) < 0.15, one.name
    best = min(searched, key=lambda name: width((searched[name].low, searched[name].high)))
    assert found.measurements[0].name == best  # second method


def test_what_is_left_lies_inside_and_the_best_comes_first(both):
    found, _ = both
    assert [one.narrows for one in found.measurements] == sorted((m.narrows for m in found.measurements), reverse=True)
    for one in found.measurements:
        assert found.low <= one.low <= one.high <= found.high
        assert 0 <= one.narrows <= 1
    told_of = [key for one in found.measurements for key in one.keys]
    assert len(told_of) == len(set(told_of))  # every unknown once


def test_every_unknown_belongs_to_a_measurement(clean):
    found = told(clean)
    assert {key for one in found.measurements for key in one.keys} == {one.key for one in uncertain_parameters(clean)}
    assert all(what_to_measure(one) for one in found.measurements)


def test_the_capacitor_stands_beside_the_second_reading_of_the_ripple(clean):
    found = told(clean)
    line = next(
        line
        for line in measurement_sentences(found)
        if "a capacitor across the terminals, best the filter's own" in line
    )
    assert "With 10 µF, as it is at this voltage, across the terminals, harmonics 1 and 2 show what is inside" in line
    assert "it is too small" in line
    assert of(found, INSIDE).keys[0] == "converter.output_capacitance"


def test_common_mode_needs_another_reading_than_a_differential_one():
    source = converter(**KNOWN, common_mode={"swing": {"low": "20 V", "high": "40 V"}}, bond={})
    one = design(shunt(), series(), source=source, load=resistive(bond={"inductance": "150 nH"}))
    found = told(one)
    assert "converter.common_mode.swing" in of(found, "common mode").keys
    assert "a differential reading does not show" in what_to_measure(of(found, "common mode"))


def test_a_shape_that_is_not_stated_is_settled_by_knowing_it():
    """second method: what is left is the band of the design that states the triangle."""
    source = {name: value for name, value in KNOWN.items() if name != "shape"} | {"output_esr": "8 mΩ ± 50 %"}
    found = told(design(SURE, source=converter(**source), load=resistive()))
    stated = told(design(SURE, source=converter(**source, shape="triangle"), load=resistive()))
    left = of(found, SHAPE)
    assert left.low == pytest.approx(stated.low, rel=0.05, abs=0)
    assert left.high == pytest.approx(stated.high, rel=0.05, abs=0)
    assert found.high / found.low > 1.05 * stated.high / stated.low


def test_asking_twice_gives_the_same(clean):
    one, other = told(clean), told(clean)
    assert np.array_equal([m.narrows for m in one.measurements], [m.narrows for m in other.measurements])


def test_the_ends_are_sought_again_where_a_resonance_moves():
    """second method: with C1 known another inductance inside resonates; the full search finds its peak, and so do few points."""
    wide = {"kind": "capacitor", "part": film(tolerance="20 %", loss_angle=1e-3), "mounting_loop": 0.0}
    source = converter(
        **KNOWN | {"output_esl": {"low": "20 nH", "value": "40 nH", "high": "200 nH"}, "output_esr": "3 mΩ"}
    )
    one = design(wide, source=source, load=resistive())
    found, state, band = told(one), one.state(), bands(one)[0]
    box = tuple(each for each in uncertain_parameters(one) if each.key != "filter.C1.capacitance")
    end = search(in_chunks(one, lambda moved, _: {0: spectra(solve(moved, state)).peak_to_peak("modem", band)}), box)[0]
    assert of(found, "part C1").high == pytest.approx(end.high, rel=0.03, abs=0)


def test_a_point_near_the_best_moves_few_of_the_uncertain_parameters():
    """hand: one of those that are free always, each other with the given probability; a held one never."""
    one = load_design(DATA / "tide-gauge-clean.toml")
    solution = solve(one, "listening")
    band = next(band for band in bands(one) if band.label == "20MHz")
    seeker = _Search(one, solution.state, "modem", band, ripple(solution).extents["modem", "20MHz"])
    name, held = next(iter(seeker.fixed.items()))
    middle, random = np.full((1, len(held)), 0.5), np.random.default_rng(3)
    middle[:, held] = seeker.nominal[held]
    points = [seeker.around(name, middle, np.ones((1, 1)), 0.1, random) for _ in range(100)]
    moved = np.concatenate(points) != middle
    assert not moved[:, held].any()
    free = np.count_nonzero(~held)
    assert moved[:, ~held].mean() == pytest.approx(1 / free + (1 - 1 / free) * _MOVED, abs=0.02)
    along = seeker.around(
        name, middle, np.ones((1, 1)), 0.0, random
    )  # without a spread: the strongest alone, all through its range
    (strongest,) = np.flatnonzero((along != middle).any(axis=0))
    once = along[: len(along) // 2, strongest]
    assert once == pytest.approx((np.arange(len(once)) + 0.5) / len(once), rel=1e-12, abs=0)


def test_of_very_many_measurements_those_are_looked_at_whose_parameters_move_the_figure_most():
    """hand: of 40 the 24 widest, in their order; each is as wide as its widest parameter."""
    groups = {f"part C{n}": (f"filter.C{n}.esr", f"filter.C{n}.esl") for n in range(40)}
    effects = {
        key: (1.0, 1.0 + 0.01 * ((7 * n) % 40) * (key.endswith("esl")))
        for n, pair in enumerate(groups.values())
        for key in pair
    }
    kept = _leading(groups, SimpleNamespace(effects=effects))
    assert list(kept) == [f"part C{n}" for n in range(40) if (7 * n) % 40 >= 40 - MOST]
    few = dict(list(groups.items())[:MOST])
    assert _leading(few, SimpleNamespace(effects=effects)) == few
