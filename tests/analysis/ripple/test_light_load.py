"""Light load in a review: said at every such point, estimated where it is only suspected, exact where it is stated."""

from __future__ import annotations

import json

import pytest

from filterlib import judge, review, solve, solve_all
from filterlib.analysis.ripple.ripple import ripple
from filterlib.show.review_page.results import results_text
from filterlib.words.review.review_sentences import cautions, review_notes
from filterlib.words.review.verdict_sentences import verdict_sentence
from filterlib.words.supply.light_load_sentences import light_load_sentence
from tests import designs

POINTS = [{"name": "full"}, {"name": "light", "load": "5 %"}]
LOAD = {"name": "modem", "kind": "constant_current", "current": "4 A"}


def light(limit="150 mV", points=POINTS, **changes):
    wanted = [{"kind": "ripple", "load": "modem", "limit": limit}]
    source = designs.converter(**designs.KNOWN, **changes)
    return designs.design(designs.shunt(), source=source, load=LOAD, operating_point=points, requirement=wanted)


@pytest.fixture(scope="module")
def suspected():
    return review(light())


def test_a_burst_that_is_only_suspected_is_estimated_and_leaves_the_verdict_open(suspected):
    (verdict,) = suspected.judgement.verdicts
    assert (verdict.verdict, verdict.depends_on, verdict.point) == ("undecided", "converter.burst_below", "light")
    burst = suspected.points[1].ripple
    figure = burst.figures["modem", "20MHz"]
    assert figure.peak_to_peak < 150e-3 < figure.high
    assert figure.high == burst.estimated["modem", "20MHz"]
    assert "whether it bursts" in verdict_sentence(verdict)
    assert "measure the terminals at this light load" in verdict_sentence(verdict)


def test_the_estimate_is_the_ripple_of_that_burst_when_it_is_stated(suspected):
    """second method: the burst that was assumed, written into the file."""
    train = solve(light(), "light").light_load.train
    stated = light(burst={"pulses": train.pulses, "period": train.period, "peak": float(train.peak)})
    figure = ripple(solve(stated, "light"), interval=False).figures["modem", "20MHz"]
    assert figure.peak_to_peak == pytest.approx(suspected.points[1].ripple.estimated["modem", "20MHz"], rel=1e-9, abs=0)


def test_every_point_at_light_load_says_so_and_no_other(suspected):
    said = [text for text in cautions(suspected) if "light load" in text]
    assert len(said) == 1
    assert said[0].startswith("light: light load, 200 mA, below 400 mA, a tenth of full load (assumed")
    assert "may burst or skip pulses. Estimated: " in said[0]
    assert said[0].rstrip(".") in "".join(review_notes(suspected))
    assert light_load_sentence(suspected.points[0]) == ""


def test_the_numbers_for_other_programs_have_it(suspected):
    points = json.loads(results_text(suspected, ["results.json"], "0"))["operating_points"]
    assert "light_load" not in points["full"]
    found = points["light"]["light_load"]
    assert (found["stated"], found["burst_stated"], found["drawn_A"], found["below_A"]) == (False, False, 0.2, 0.4)
    assert found["modem_20MHz_estimated_pp_V"] == suspected.points[1].ripple.estimated["modem", "20MHz"]


def test_who_says_that_it_never_bursts_is_believed():
    (verdict,) = judge(solve_all(light(burst_below="0 %"))).verdicts
    assert verdict.verdict == "met"


def test_a_stated_burst_is_taken_and_one_that_misses_its_load_says_so():
    """hand: 3 pulses of 1 A x 5.56 us / 2 each 100 us are 83 mA, and 200 mA are drawn."""
    result = judge(solve_all(light(burst_below="10 %", burst={"pulses": 3, "period": "100 us", "peak": "1 A"})))
    point = result.points[1]
    assert point.ripple.switching_frequency == pytest.approx(10e3, rel=1e-12, abs=0)
    assert not point.ripple.estimated
    text = light_load_sentence(point)
    assert "The converter bursts: 3 pulses each 100 µs, up to 1 A" in text
    assert "carry 83.3 mA and the loads draw 200 mA" in text
    (verdict,) = result.verdicts
    assert verdict.depends_on != "converter.burst_below"


def test_loads_that_draw_nothing_have_no_estimate():
    point = judge(solve_all(light(points=[{"name": "idle", "load": 0.0}]))).points[0]
    assert "How much ripple that makes is not known" in light_load_sentence(point)
    assert not point.ripple.estimated
