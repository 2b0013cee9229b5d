"""How far lines reach over the uncertainty: closed forms, lines that the worst one hides, and simple corners of whole designs."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.emission.emission_result import EmissionTest, emission_tests
from filterlib.analysis.emission.estimate import estimates
from filterlib.analysis.emission.extents import extents
from filterlib.analysis.emission.line_spectra import line_spectra
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve
from tests.designs import DRIVEN, common_mode, design, resistive, series, shunt


def box(*names):
    return [UncertainParameter(name, name, "", 0.5, 0.0, 1.0, True, "") for name in names]


def level(ratio):
    return 20 * np.log10(ratio)


def test_a_line_that_the_worst_one_hides_is_found_at_its_own_corner():
    """hand: nominal 10 and 4 dB; at its own corner, a = 1 and b = c = 0, the lower line is at 30, the other at 6 at most 16."""

    def measure(at):
        a, b, c = at["a"], at["b"], at["c"]
        return {
            "level": np.hstack(
                [10 - 8 * (a - 0.5) + 4 * (b - 0.5), 4 + 24 * (a - 0.5) - 16 * (b - 0.5) - 12 * (c - 0.5)]
            )
        }

    found = extents(measure, box("a", "b", "c"))["level"]
    assert level(found.nominal) == pytest.approx(10, rel=1e-9, abs=0)
    assert level(found.high) == pytest.approx(30, rel=1e-9, abs=0)
    assert (found.high_at, found.at_high) == (1, {"a": 1.0, "b": 0.0, "c": 0.0})
    assert 6.8 <= level(found.low) <= 8  # hand: both lines at 6.8 for a = c = 1, b = 0.7; of the corners 8 is lowest
    assert {key: [round(float(level(end)), 1) for end in ends] for key, ends in found.effects.items()}["c"] == [10, 10]


def test_what_single_moves_do_not_foresee_is_learnt_from_the_best_point():
    """hand: a resonance that only two parameters together reach: 6 dB each alone, 40 dB both."""

    def measure(at):
        return {"level": 6 * at["a"] + 6 * at["b"] + 28 * at["a"] * at["b"] - 20 * at["c"] * at["a"] * at["b"]}

    found = extents(measure, box("a", "b", "c"))["level"]
    assert level(found.high) == pytest.approx(40, rel=1e-9, abs=0)
    assert found.at_high == {"a": 1.0, "b": 1.0, "c": 0.0}


def test_what_contradicts_the_readings_is_left_out():
    """hand: where a is above 0.8 there is no figure; the highest is at 0.8 at most, and no end is from beyond."""
    found = extents(lambda at: {"level": np.where(at["a"] > 0.8, np.nan, 10 * at["a"])}, box("a"))["level"]
    assert 5 <= level(found.high) <= 8
    assert found.at_high["a"] <= 0.8


def test_nothing_uncertain_has_no_extent():
    assert extents(lambda at: {"level": np.zeros((1, 1))}, []) == {}


def demo(name):
    one = load_design(data_folder() / "designs" / f"{name}.toml")
    (test,) = emission_tests(one)
    return one, test, [point.name for point in one.operating_points]


def board(side, **more):
    one = design(
        shunt(), series(), common_mode(), shunt(), source={**DRIVEN, **more}, load=resistive(bond={}),
        operating_points=[{"name": "idle", "load": "20 %"}, {"name": "full"}],
    )  # fmt: skip
    return one, EmissionTest(side, limits=("mains-class-b",)), ["idle", "full"]


CASES = {
    "clean": lambda: demo("tide-gauge-clean"),
    "brick": lambda: demo("tide-gauge-brick"),
    "output": lambda: board("output"),
    "input": lambda: board("input", spike={"peak_to_peak": "190 mV"}),
}


def margins(one, state, test, shares, parameters):
    """second method: line by line |v|/sqrt(2) against the limit, for lines further apart than the filter is wide."""
    values = {parameter.key: parameter.at(shares[:, [index]]) for index, parameter in enumerate(parameters)}
    held = test.held.at(values) if test.side == "input" else None
    spectra = line_spectra(Solution(with_values(one, values), state), replace(test, input_side=held))
    volts = np.maximum(*(np.abs(spectra.voltage(line)) for line in ("plus", "return")))
    (limit,) = test.judged
    below = {
        name: limit.limit.at(spectra.frequencies, name) - level(volts / np.sqrt(2) / 1e-6)
        for name in limit.limit.detectors
    }
    return {name: np.atleast_2d(gap).min(axis=-1) for name, gap in below.items()}


@pytest.mark.parametrize("name", CASES)
def test_no_simple_corner_lies_outside(name):
    """second method: every parameter at either end, alone and in 100 random corners, at every operating point.

    0.1 dB: the search stops where it foresees the highest line within 0.2 dB; a receiver's own uncertainty is above 2 dB.
    """
    one, test, points = CASES[name]()
    parameters = (*uncertain_parameters(one), *test.inputs(one.converter))
    nominal = np.array([parameter.share(parameter.nominal) for parameter in parameters])
    alone = np.repeat(nominal[None], 2 * len(nominal), axis=0)
    alone[np.arange(len(alone)), np.repeat(np.arange(len(nominal)), 2)] = np.tile([0.0, 1.0], len(nominal))
    corners = np.random.default_rng(20).integers(0, 2, (100, len(nominal)))
    shares = np.concatenate([alone, corners])
    solutions = [solve(one, point) for point in points]
    for solution, found in zip(solutions, estimates(solutions, test, interval=True), strict=True):
        tried = margins(one, solution.state, test, shares, parameters)
        for margin in found.margins:
            kept = tried[margin.detector][np.isfinite(tried[margin.detector])]
            assert kept.size > 50
            assert margin.low <= kept.min() + 0.1
            assert margin.high >= kept.max() - 0.1


@pytest.mark.parametrize("name", ["brick", "input"])
def test_each_end_names_its_frequency_and_is_what_is_read_there(name):
    """second method: the design with the values that make an end, line by line."""
    one, test, points = CASES[name]()
    parameters = (*uncertain_parameters(one), *test.inputs(one.converter))
    solution = solve(one, points[0])
    (found,) = estimates([solution], test, interval=True)
    for margin in found.margins:
        extent = found.extents[margin.limit, margin.detector]
        for at, end, frequency in (
            (extent.at_high, margin.low, margin.low_at),
            (extent.at_low, margin.high, margin.high_at),
        ):
            values = {key: np.array([[value]]) for key, value in at.items()}
            held = test.held.at(values) if test.side == "input" else None
            spectra = line_spectra(Solution(with_values(one, values), solution.state), replace(test, input_side=held))
            volts = np.maximum(*(np.abs(spectra.voltage(line)).ravel() for line in ("plus", "return")))
            below = test.judged[0].limit.at(spectra.frequencies, margin.detector) - level(volts / np.sqrt(2) / 1e-6)
            assert below.min() == pytest.approx(end, rel=0, abs=1e-4)
            assert spectra.frequencies[below.argmin()] == pytest.approx(frequency, rel=1e-9, abs=0)
    assert len(parameters) > 10


def test_no_end_is_from_an_unstable_circuit():
    """law: where a mask says that circuits above nominal inductance are unstable, no end and no line's range comes from there."""
    one, test, points = CASES["clean"]()
    key, solution = "filter.L1.leakage", solve(one, points[0])
    nominal = next(parameter.nominal for parameter in uncertain_parameters(one) if parameter.key == key)

    def mask(solved, figures):
        leakage = np.reshape(solved.design.filter[1].part.leakage, (-1, 1))
        return {name: np.where(leakage > nominal, np.nan, np.reshape(each, (-1, 1))) for name, each in figures.items()}

    (free,) = estimates([solution], test, interval=True)
    (masked,) = estimates([solution], test, interval=True, masks={points[0]: mask})
    for margin in masked.margins:
        extent = masked.extents[margin.limit, margin.detector]
        assert max(extent.at_low[key], extent.at_high[key]) <= nominal * (1 + 1e-12)
        assert margin.low <= margin.margin <= margin.high
    assert any(extent.at_low[key] > nominal or extent.at_high[key] > nominal for extent in free.extents.values())
    assert np.all(np.isfinite(masked.high["plus"]))


def drawn(count, **values):
    """Combinations that weigh alike, evenly spread over 0 .. 1 of each parameter in another order."""
    spread = {
        name: np.random.default_rng(n).permutation((np.arange(count) + 0.5) / count) for n, name in enumerate("abc")
    }
    return Plausible(np.zeros(count), np.ones(count), spread | values)


def test_the_probable_interval_is_that_of_the_drawn_combinations():
    """hand: a line at 20 dB times the share, twenty evenly spread: nine in ten are from 1 to 19 dB, and 5 to 95 % of it."""
    found = extents(lambda at: {"level": 20 * at["a"]}, box("a"), drawn=drawn(200))["level"]
    assert [level(end) for end in found.plausible.ends()] == pytest.approx([1.0, 19.0], rel=0.05, abs=0)
    assert found.plausible.share(0.0, 10**0.5) == pytest.approx(0.5, rel=1e-9, abs=0)  # hand: half are below 10 dB


def test_readings_weigh_what_is_plausible():
    """hand: all of the weight is on the lower half, 0 to 10 dB: nine in ten are from 0.5 to 9.5 dB."""
    even = drawn(200)
    readings = replace(even, weights=np.where(even.values["a"] < 0.5, 1.0, 0.0))
    found = extents(lambda at: {"level": 20 * at["a"]}, box("a"), drawn=readings)["level"]
    assert [level(end) for end in found.plausible.ends()] == pytest.approx([0.5, 9.5], rel=0.1, abs=0)
    assert level(found.high) == pytest.approx(20, rel=1e-9, abs=0)  # what is possible is not narrowed


def test_what_single_moves_do_not_foresee_is_in_the_probable_interval():
    """second method: every drawn combination measured; two parameters together make far more than each alone."""

    def measure(at):
        return {"level": 3 * at["a"] + 3 * at["b"] + 14 * at["a"] * at["b"]}

    many = drawn(400)
    found = extents(measure, box("a", "b"), drawn=many)["level"].plausible
    true = many.of(10 ** (measure(many.values)["level"] / 20))
    ends = [level(end) for end in found.ends()]
    assert ends == pytest.approx([level(end) for end in true.ends()], rel=0.15, abs=0.7)
