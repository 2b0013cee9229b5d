"""results.json: the keys that others rely on, units, no NaN, and a reason beside every null."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from filterlib.analysis.review import review as analysis_review
from filterlib.analysis.stress.stress_check import Basis
from filterlib.analysis.uncertainty.measurement_result import AddedCapacitor, Measurement, MeasurementValues
from filterlib.show.review_page.results import FORMAT, results_text
from filterlib.show.review_page.review_tables import ripple_table
from filterlib.system.ranges.changes import with_clip
from filterlib.words.stability_sentences import stability_sentence
from tests.designs import common_mode, converter, design, shunt


def read(review):
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(results_text(review, ["review.html", "results.json"], "0"), parse_constant=refuse)


def test_the_first_load_stands_under_its_name_and_under_load(review):
    """hand: the made-up figures of the modem, at the worst operating point."""
    found = read(review)
    figure = review.points[1].ripple.figures["modem", "20MHz"]
    assert found["operating_point"] == "full"
    assert found["ripple"]["load_20MHz_pp_V"] == pytest.approx(figure.peak_to_peak, rel=1e-6, abs=0)
    assert found["ripple"]["load_20MHz_pp_high_V"] == pytest.approx(figure.high, rel=1e-6, abs=0)
    ripple = found["operating_points"]["full"]["ripple"]
    assert ripple == found["ripple"]
    for key in ("pp_V", "pp_low_V", "pp_high_V", "rms_V", "spike_alone_pp_V", "ripple_reduction_V"):
        assert ripple[f"modem_20MHz_{key}"] == ripple[f"load_20MHz_{key}"]
    assert ripple["modem_before_full_pp_V"] != ripple["modem_full_pp_V"]


def walk(section, path=""):
    for key, value in section.items():
        if isinstance(value, dict):
            yield from walk(value, f"{path}/{key}")
        else:
            yield section, f"{path}/{key}", key, value


@pytest.mark.parametrize("stable", [True, False])
def test_every_null_has_its_reason_beside_it(fakes, stable):
    found = read(fakes.review(stable=stable))
    nulls = [(section, path, key) for section, path, key, value in walk(found) if value is None]
    assert nulls
    for section, path, key in nulls:
        assert len(section.get(f"{key}_reason", "")) > 5, path


def test_an_unstable_point_has_no_ripple_and_says_why(fakes):
    found = read(fakes.review(stable=False))
    assert found["operating_point"] == "full"
    assert found["ripple"]["load_20MHz_pp_V"] is None
    assert "pole" in found["ripple"]["load_20MHz_pp_V_reason"]
    assert found["operating_points"]["idle"]["ripple"]["load_20MHz_pp_V"] > 0


def test_insertion_loss_is_told_at_three_frequencies(review):
    """hand: the made-up curve of 50 / 50 ohm is that of a corner at 10 kHz, 20 log10 |1 + j f/10 kHz|."""
    section = read(review)["operating_points"]["full"]["insertion"]
    for spot, frequency in (("switching", 180e3), ("1MHz", 1e6), ("10MHz", 10e6)):
        level = 20 * math.log10(abs(1 + 1j * frequency / 10e3))
        assert section[f"symmetrical_50_50_at_{spot}_dB"] == pytest.approx(level, rel=1e-4, abs=0)
        assert section[f"asymmetrical_0p1_100_at_{spot}_dB"] == pytest.approx(level / 4, rel=1e-4, abs=0)
        assert section[f"symmetrical_real_modem_at_{spot}_dB"] == pytest.approx(0.7 * level - 3, rel=1e-4, abs=0)


def test_a_real_effect_that_is_not_there_is_null_with_its_reason(fakes):
    whole = fakes.review()
    bare = tuple(replace(point, insertion=fakes.insertion(driven=False)) for point in whole.points)
    section = read(fakes.review(points=bare))["operating_points"]["full"]["insertion"]
    assert section["asymmetrical_real_modem_at_1MHz_dB"] is None
    assert "common-mode" in section["asymmetrical_real_modem_at_1MHz_dB_reason"]
    assert section["asymmetrical_50_50_at_1MHz_dB"] > 0


UNITS = ("V", "A", "W", "K", "Hz", "s", "ohm", "dB", "ratio", "factor")


def test_every_number_of_an_operating_point_ends_with_its_unit(review):
    for _, path, key, value in walk(read(review)["operating_points"]):
        if isinstance(value, float):
            assert key.rsplit("_", 1)[-1] in UNITS, path


def test_harmonics_and_poles_are_arrays_of_equal_length(review):
    arrays = read(review)["arrays"]["full"]
    harmonics = arrays["harmonics"]
    assert {len(values) for values in harmonics.values()} == {400}
    amplitude = abs(review.points[1].ripple.spectra["modem"][2])
    assert harmonics["modem_peak_V"][2] == pytest.approx(amplitude, rel=1e-6, abs=0)
    assert harmonics["frequency_Hz"][2] == pytest.approx(3 * 180e3, rel=1e-6, abs=0)
    assert arrays["poles_per_s"][1] == [-2e4, 3e5]


def test_two_loads_whose_keys_would_agree_stay_apart(fakes):
    found = read(fakes.review(("modem 2", "modem_2")))
    ripple = found["operating_points"]["full"]["ripple"]
    assert ripple["modem_2_20MHz_pp_V"] != ripple["modem_2_2_20MHz_pp_V"]


def test_format_identifier_and_files_come_first(review):
    found = read(review)
    assert list(found)[:4] == ["format", "run", "generator", "files"]
    assert found["format"] == FORMAT == 4
    assert found["files"] == ["results.json", "review.html"]


def test_requirements_carry_their_numbers_with_units(review):
    first = read(review)["requirements"][0]
    assert first["limit_V"] == 0.015
    assert first["verdict"] == "met"
    assert math.isfinite(first["margin"])


def test_stress_is_told_part_by_part(review):
    """hand: the made-up stresses."""
    section = read(review)["operating_points"]["full"]["stress"]
    part = section["C11"]
    assert part["ripple_current_A"] == 0.5
    assert (part["ripple_current_low_A"], part["ripple_current_high_A"]) == (0.45, 0.6)
    assert part["ripple_current_limit_A"] == 2.0
    assert part["ripple_current_margin_ratio"] == pytest.approx(2 / 0.6 - 1, rel=1e-6, abs=0)
    assert part["ripple_current_verdict"] == "met"
    assert part["temperature_rise_K_reason"] == "the part states no thermal_resistance"
    assert section["L11"]["peak_current_verdict"] == "undecided: depends on converter.output_esr"
    assert section["L11"]["core_heat_W"] == 0.003
    assert part["core_heat_W"] is None


def test_an_unstable_point_has_no_stress_and_says_why(fakes):
    section = read(fakes.review(stable=False))["operating_points"]["full"]["stress"]
    assert section == {"reason": stability_sentence(fakes.UNSTABLE)}


def test_an_accepted_rating_is_told_with_its_reason(fakes):
    volts = fakes.stress_check("voltage", "V", 28.0, 24.0, basis=Basis("peak"))
    accepted = {"part": "C1", "rating": "voltage", "reason": "tested to 60 V"}
    one = fakes.design().replace(accepted=[accepted])
    whole = fakes.review(words=("met",), design=one, exceeded=(("full", replace(volts, name="C1")),))
    told = "C11: voltage 28 V (25.2 V to 33.6 V), at most 24 V (at its peak): beyond its rating, at full"
    found = read(whole)
    assert found["accepted_ratings"] == [accepted | {"exceeded": [told]}]
    assert (found["broken_ratings"], found["exit_code"]) == ([], 0)
    assert found["summary"].endswith("Ratings: 1 exceeded and accepted.")


def test_exceeded_ratings_and_lives_stand_beside_the_exit_code(fakes):
    life = fakes.stress_check("life over all operating points", "s", 3.6e8, 1e8, at_least=True)
    volts = fakes.stress_check("voltage", "V", 28.0, 24.0, basis=Basis("peak"))
    found = read(fakes.review(exceeded=(("full", volts),), lives=(life,)))
    told = "C11: voltage 28 V (25.2 V to 33.6 V), at most 24 V (at its peak): beyond its rating, at full"
    assert found["broken_ratings"] == [told]
    assert found["accepted_ratings"] == []
    assert found["lives"]["C11"]["life_over_all_operating_points_s"] == 3.6e8


def test_a_clipped_scope_has_its_own_figures():
    """What the scope shows and what its tip shows on its own clip, before the filter and behind it, and a page with both."""
    source = converter(shape="triangle", common_mode={"swing": "28 V"}, bond={})
    one = with_clip(design(shunt(), common_mode(), shunt(), source=source), "modem")
    whole = analysis_review(one)
    found = read(whole)["ripple"]
    for place in ("measured", "tip_on_clip"):
        for key in (f"{place}_20MHz_pp_V", f"{place}_before_full_pp_V", f"{place}_full_pp_high_V"):
            assert found[key] > 0, key
    table = ripple_table(whole.points[0])
    assert "What the clipped scope shows, with filter" in [row[0] for row in table.rows]


def test_what_would_close_the_band_is_told_with_units(fakes):
    capacitor = AddedCapacitor(10e-6, (1, 2), 0.11, 0.08, 0.06, 0.1, math.nan, math.nan)
    one = Measurement("inside", ("converter.output_esr",), 0.006, 0.009, 0.4)
    found = read(fakes.review(closing=MeasurementValues("full", "modem", "20MHz", 0.005, 0.0125, (one,), capacitor)))
    section = found["closing"]
    assert (section["point"], section["load"], section["band"]) == ("full", "modem", "20MHz")
    assert (section["pp_low_V"], section["pp_high_V"]) == (0.005, 0.0125)
    assert section["measurements"][0] == {
        "measure": "the ripple once more, with a capacitor across the terminals, best the filter's own first one",
        "uncertain_parameters": ["converter.output_esr"],
        "pp_low_V": 0.006,
        "pp_high_V": 0.009,
        "narrows_ratio": 0.4,
    }
    assert section["capacitor"]["capacitance_F"] == 10e-6
    assert section["capacitor"]["too_small_F"] is None
    assert section["capacitor"]["too_small_F_reason"] == "every value shows what is inside"
    assert "10 µF" in section["words"][0]


def test_without_a_steady_ripple_nothing_is_told_of_its_band(review):
    assert read(review)["closing"] == {"measurements": [], "reason": "there is no steady ripple where it decides"}
