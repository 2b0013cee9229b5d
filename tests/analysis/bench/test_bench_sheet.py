"""The sheet for the bench: what is measured, which values are expected, what comes first."""

from __future__ import annotations

import math

import numpy as np
import pytest

from filterlib.analysis.bench.bench_safety import fuse_rating, highest_voltage, supply_current
from filterlib.analysis.bench.bench_sheet import FILLED, FINEST, bench_sheet, per_division
from filterlib.analysis.review import review
from filterlib.units import format_quantity
from filterlib.words.bench.bench_sentences import bench_remarks, check_note, check_words, station_steps, station_title
from filterlib.words.bench.safety_steps import safety_steps
from tests import designs, reviews


@pytest.fixture(scope="module")
def reviewed():
    return reviews.reviewed("brick").result


@pytest.fixture(scope="module")
def sheet(reviewed):
    return bench_sheet(reviewed)


def small(*stages, **more):
    return bench_sheet(review(designs.design(*stages, **more)))


def checks(sheet, start):
    return [check for check in sheet.checks if check_words(check).startswith(start)]


def test_the_terminals_without_filter_come_first_with_the_figures_of_the_file(sheet):
    first, second = sheet.stations[:2]
    assert "without filter" in station_title(first)
    assert first.checks[0].probe == "P1"
    assert first.checks[0].value == pytest.approx(0.750, rel=1e-6, abs=0)  # hand: the design file
    assert second.checks[0].value == pytest.approx(1.6, rel=1e-6, abs=0)  # hand: the design file
    how = " ".join(station_steps(sheet, first))
    assert "3.6 A" in how
    assert "7.78 Ω for 101 W" in how  # hand: 28 V / 3.6 A and 28 V x 3.6 A
    assert "20 MHz (second order)" in how
    assert "Full bandwidth" in " ".join(station_steps(sheet, second))


def test_the_stated_arrangement_is_the_first_ones(sheet):
    ripple = {
        "peak_to_peak": "80 mV",
        "lead_inductance": "10 nH",
        "capacitors": [{"capacitance": "10 µF"}, {"capacitance": "1 µF"}],
    }
    found = small(source=designs.converter(ripple=ripple))
    how = " ".join(station_steps(found, found.stations[0]))
    assert "10 µF across the probe" in how
    assert "1 µF across the probe" in how
    assert "10 nH to the probe" in how
    assert found.stations[0].checks[0].value == pytest.approx(0.080, rel=1e-6, abs=0)  # hand
    assert "lead" not in station_title(found.stations[-2])


def test_every_place_and_operating_point_has_its_ripple_with_its_band(sheet, reviewed):
    for point in reviewed.points:
        name = point.operating.point
        for place, label in (("terminals", "P1"), ("modem", "P2"), ("logger", "P3")):
            figure = point.ripple.figures[place, "20MHz"]
            found = [
                c
                for c in checks(sheet, "ripple at")
                if (c.probe, c.point) == (label, name) and "20 MHz" in check_words(c)
            ]
            (one,) = found
            assert (one.value, one.low, one.high) == (figure.peak_to_peak, figure.low, figure.high)


def test_every_requirement_has_a_reading_with_its_limit(sheet, reviewed):
    for wanted in reviewed.design.requirements:
        found = [check for check in sheet.checks if check.requirement == wanted.words]
        assert len(found) == 2  # one at each operating point
        assert {check.limit for check in found} == {getattr(wanted, "limit", getattr(wanted, "high", None))}
        assert all(check.probe == {"modem": "P2", "logger": "P3"}[wanted.load] for check in found)
    assert sheet.uncovered == ()


def test_direct_voltages_of_a_resistive_load():
    """hand: 28 V behind 20 mohm (4 to 100) and 2 x 10 mohm of chokes into 7 ohm; the loop's R does not count at DC."""
    found = small(designs.series(line="both"), operating_point=[{"name": "full load"}])
    voltage = checks(found, "voltage at modem")[0]
    assert voltage.value == pytest.approx(28 * 7 / 7.04, rel=1e-3, abs=0)
    assert voltage.low == pytest.approx(28 * 7 / 7.12, rel=1e-3, abs=0)
    assert voltage.high == pytest.approx(28 * 7 / 7.024, rel=1e-3, abs=0)
    assert math.isnan(voltage.scale)  # a voltmeter's


def test_drop_and_step_requirements_have_readings_of_their_own():
    wanted = [
        {"kind": "drop", "load": "modem", "limit": "0.5 V"},
        {"kind": "step", "load": "modem", "limit": "2 V", "current": "1 A"},
    ]
    found = small(designs.shunt(), designs.series(), designs.shunt(), requirement=wanted)
    drop = checks(found, "drop to modem")[0]
    assert drop.value == pytest.approx(28 - 28 * 7 / 7.03, rel=1e-3, abs=0)  # hand: 20 mohm and the choke's 10
    assert (drop.limit, drop.low < drop.value < drop.high) == (0.5, True)
    step = checks(found, "largest deviation")[0]
    assert step.limit == 2.0
    assert step.low <= step.value <= step.high
    assert found.uncovered == ()


def test_an_unstable_point_has_direct_voltages_alone():
    power = {"name": "modem", "kind": "constant_power", "power": "150 W", "loop_bandwidth": "1 MHz"}
    quiet = designs.converter(loop_bandwidth="9 kHz", output_resistance="1 mΩ")
    result = review(designs.design(designs.series("100 µH"), designs.shunt("1 µF"), source=quiet, load=power))
    assert not result.points[0].operating.stable
    found = bench_sheet(result)
    assert not checks(found, "ripple at")
    assert not checks(found, "tip on its own clip")
    assert checks(found, "voltage at modem")
    assert "no steady ripple" in " ".join(bench_remarks(found))


def test_the_measurement_that_narrows_most_comes_first(sheet, reviewed):
    shares = [one.share for one in sheet.narrowing]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0, rel=0.02, abs=0)  # hand: shares add to one
    unknown = max(reviewed.points[0].ripple.uncertain_parameters, key=lambda one: one.share)
    assert unknown.label in {label for one in sheet.narrowing[:3] for label in one.labels}


def test_the_tip_on_its_own_clip_is_to_stay_below_a_tenth(sheet, reviewed):
    ripple = reviewed.points[0].ripple
    without = checks(small(designs.shunt()), "tip on its own clip")
    assert all(
        math.isnan(check.value) and not check_note(check) for check in without
    )  # no chassis, no current in the clip
    for check, place in zip(checks(sheet, "tip on its own clip"), ("terminals", "modem", "logger"), strict=True):
        true = ripple.figures[place, "full"].peak_to_peak
        assert check.value > check.high  # with bonds at both ends an earthed clip cannot be used in this design
        assert f"instead of {format_quantity(true, 'V')}" in check_note(check)
        assert check.high == pytest.approx(ripple.figures[place, "full"].peak_to_peak / 10, rel=1e-9, abs=0)


@pytest.mark.parametrize("largest", [1e-6, 4.6e-3, 6e-3, 0.0121, 1.6, 30.0, 299.0])
def test_the_scale_holds_the_reading_and_is_the_finest_that_does(largest):
    scale = per_division(largest)
    mantissa = scale / 10 ** np.floor(np.log10(scale) + 1e-9)
    assert min(abs(mantissa - step) for step in (1, 2, 5)) < 1e-6
    assert largest <= FILLED * scale * 1.0001
    assert largest > FILLED * scale / 2.6 or scale == FINEST  # no ordinary oscilloscope has a finer one


def test_current_from_the_supply_and_its_fuse(sheet):
    """hand: 28 V (84 W / 28 V + 0.6 A) = 100.8 W, at 90 % from 24 V: 4.67 A; the next fuse above 5.83 A is 7.5 A."""
    assert supply_current(sheet.design) == pytest.approx(100.8 / 0.9 / 24, rel=1e-6, abs=0)
    assert fuse_rating(supply_current(sheet.design)) == 7.5
    low = [{"name": "flat battery", "input_voltage": "20 V"}, {"name": "half", "load": "50 %"}]
    flat = designs.design(source=designs.converter(input_voltage="24 V"), operating_point=low)
    assert supply_current(flat) == pytest.approx(
        28**2 / 7 / 0.9 / 20, rel=1e-6, abs=0
    )  # hand: 112 W at the lowest input
    text = step_named(sheet, "Battery")
    assert "4.67 A" in text
    assert "efficiency 90 %, assumed" in text
    assert "7.5 A" in text
    assert "fuse" in step_named(small(), "Battery")  # no input voltage is stated: no number is made up
    assert " A flow" not in step_named(small(), "Battery")


def test_a_stated_efficiency_is_the_one_that_is_taken():
    """hand: 28 V squared over 7 ohm are 112 W, at 80 % from 24 V."""
    one = designs.design(source=designs.converter(input_voltage="24 V", efficiency="80 %"))
    assert supply_current(one) == pytest.approx(112 / 0.8 / 24, rel=1e-6, abs=0)
    assert "efficiency 80 %, as stated" in step_named(bench_sheet(review(one)), "Battery")


@pytest.mark.parametrize(
    ("pole", "words"),
    [
        (None, "the pole that is not earthed"),
        ("negative", "its positive terminal"),
        ("positive", "its negative terminal"),
        ("neither", "fuse both poles"),
    ],
)
def test_the_fuse_is_in_the_pole_that_is_not_earthed(pole, words):
    supply = {} if pole is None else {"supply": {"earthed_pole": pole}}
    one = designs.design(source=designs.converter(input_voltage="24 V", **supply))
    assert words in step_named(bench_sheet(review(one)), "Battery")


def step_named(sheet, start):
    return next(step.text for step in safety_steps(sheet) if step.title.startswith(start))


def test_the_discharge_is_told_with_its_numbers(sheet):
    """hand: 150 + 2.42 + 2.42 + 56.4 µF at 28 V; 6.8 kohm x 211.24 µF x ln 28 = 4.79 s, 115 mW at first."""
    text = step_named(sheet, "Discharge")
    for words in ("82.8 mJ", "211 µF", "28 V", "6.8 kΩ", "250 mW", "56 V", "below 1 V after 4.8 s", "120 mW"):
        assert words in text, words
    assert sheet.bleeder.time == pytest.approx(6800 * 211.24e-6 * math.log(28), rel=1e-4, abs=0)


def test_safety_follows_the_design(sheet):
    assert "not isolated" in step_named(sheet, "The oscilloscope")
    assert "another circuit" in step_named(sheet, "Something reaches the chassis")
    isolated = small(source=designs.converter(isolated=True))
    assert "is isolated: one clip" in step_named(isolated, "The oscilloscope")
    assert not any(step.title.startswith("Something reaches") for step in safety_steps(isolated))
    assert "not above 60 V" in step_named(isolated, "Who")
    assert all("licensed" in step_named(one, "Who") for one in (sheet, isolated))


def test_above_sixty_volts_the_sheet_says_so():
    """published: IEC 61140, extra-low voltage ends at 120 V DC, and 60 V where it is to be touched (from memory)."""
    high = small(source=designs.converter(input_voltage="72 V"))
    assert highest_voltage(high.design) == 72.0
    assert "above 60 V: a touch can kill" in step_named(high, "Who")
    assert "rated above 72 V" in step_named(high, "The oscilloscope")
    points = [{"name": "low"}, {"name": "high", "input_voltage": "110 V"}]
    high = small(source=designs.converter(input_voltage="24 V"), operating_point=points)
    assert highest_voltage(high.design) == 110.0


def test_capacitors_to_the_chassis_are_named():
    part = designs.film("4.7 nF", safety_class="Y2")
    found = small({"kind": "capacitor_to_chassis", "part": part}, designs.shunt())
    assert "connect the earth first" in step_named(found, "Capacitors to the chassis")
