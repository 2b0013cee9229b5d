"""Readings with which no simple inside agrees: how far that is travels from the draws to terminal, page and results.json."""

import json
from dataclasses import replace

import pytest

from filterlib.analysis.ripple.ripple import ripple
from filterlib.show.review_page.results import results_text
from filterlib.system.solution import solve
from filterlib.words.review.review_sentences import cautions, trust
from filterlib.words.review.summary import warnings
from tests.designs import KNOWN, converter, design, series, shunt
from tests.show import fakes

OPEN = KNOWN | {"output_capacitance": "22 µF ± 20 %", "output_esr": "8 mΩ ± 20 %"}
SAYS = "No simple inside of the converter agrees with all its readings"


def read(rms):
    """Of 100 mV peak to peak and an rms."""
    source = converter(**OPEN, ripple={"peak_to_peak": "100 mV", "load_current": "4 A", "rms": rms})
    return ripple(solve(design(shunt(), series(), shunt(), source=source)))


def test_an_rms_that_no_ripple_has_beside_its_peak_to_peak_is_taken_as_inexact():
    """hand: of a wave without direct part the rms is half the peak to peak at most, and a triangle's its part by sqrt(12)."""
    assert read("29 mV").readings_off == pytest.approx(1.0, abs=0)
    apart = read("5 mV")
    assert apart.readings_off > 1
    assert all(one.plausible.readings_off == apart.readings_off for one in apart.extents.values())


@pytest.mark.parametrize("off", [1.0, 4.0])
def test_screens_and_numbers_say_so(off):
    one = fakes.review()
    points = tuple(replace(point, ripple=replace(point.ripple, readings_off=off)) for point in one.points)
    review = fakes.changed(one, points=points)
    for said in (cautions(review), trust(review), warnings(review)):
        assert any(SAYS in line and "4 times as inexact" in line for line in said) == (off > 1)
    ripple_numbers = json.loads(results_text(review, ["results.json"], "0"))["ripple"]
    assert ripple_numbers["readings_off_ratio"] == pytest.approx(off, abs=0)
