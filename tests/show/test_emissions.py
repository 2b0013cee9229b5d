"""The figure of conducted emission and its numbers: nothing cut off, margins plain, the estimate's sentence always there."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from filterlib.analysis.emission.estimate import EmissionTest, emissions
from filterlib.errors import FilterlibError
from filterlib.show.emission.emission_numbers import emission_keys
from filterlib.show.emission.emissions import emissions_figure
from filterlib.show.figures.figure import Curve, Note, Span
from filterlib.show.figures.plots import svg
from filterlib.show.numbers import arrays
from filterlib.system.solution import solve
from filterlib.words.emission_sentences import ESTIMATE
from tests.designs import common_mode, converter, design, resistive, series, shunt
from tests.show.words_drawn import faults, texts

DRIVEN = converter(input_voltage="24 V", shape="pulse", common_mode={"swing": "28 V", "coupling": "100 pF"})
LIMITS = ("mains-class-a", "mains-class-b", "wired-class-b", "wired-current-class-b")


@pytest.fixture(scope="module")
def result():
    return emissions(
        solve(design(shunt(), common_mode(), shunt(), source=DRIVEN, load=resistive(bond={}))),
        EmissionTest(limits=LIMITS),
    )


@pytest.fixture(scope="module")
def unstable():
    load = {"name": "modem", "kind": "constant_power", "power": "400 W", "loop_bandwidth": "500 kHz"}
    return emissions(solve(design(series("100 µH"), shunt("1 µF"), source=DRIVEN, load=load)))


@pytest.fixture(scope="module")
def figure(result):
    return emissions_figure(result)


def words(figure):
    return [mark.words for plot in figure.plots for mark in plot.marks if isinstance(mark, Note | Span)]


def curves(plot):
    return [mark for mark in plot.marks if isinstance(mark, Curve)]


def points(curve):
    return np.column_stack((curve.x, curve.y)).tolist()


def test_no_words_are_cut_off_or_lie_on_others(figure):
    assert faults(svg(figure)) == []


def test_every_axis_has_a_unit_and_the_sentence_stands_below(figure, result):
    shown = texts(svg(figure))
    assert [bool(re.search(r"\[dBµ[VA]\]$", words)) for words in shown].count(True) == 3
    assert [re.fullmatch(r"\d+ [kM]Hz", words) is not None for words in shown].count(True) >= 2
    assert ESTIMATE in shown
    assert "not a test" in ESTIMATE


def test_a_row_of_current_only_where_a_limit_is_one(result, figure):
    assert len(figure.plots) == 3
    plain = emissions(solve(design(shunt(), source=DRIVEN)), EmissionTest(limits=()), interval=False)
    made = emissions_figure(plain)
    assert len(made.plots) == 2
    assert set(words(made)) == {"model not trusted"}


def test_places_differ_in_more_than_colour(figure):
    for plot in figure.plots[:2]:
        lines = [curve for curve in curves(plot) if curve.label]
        looks = {(curve.look.dash, curve.look.marker, curve.look.size) for curve in lines}
        assert len(lines) == 3
        assert len(looks) == 3


def test_peak_is_drawn_where_the_detectors_differ():
    """Several harmonics in the filter: of each bin the highest peak reading."""
    slow = emissions(solve(design(source=converter(switching_frequency="8 kHz"))), interval=False)
    drawn = curves(emissions_figure(slow).plots[0])[0].y
    assert np.all(np.isin(drawn, slow.levels["plus", "peak"]))
    assert not np.any(np.isin(drawn, slow.levels["plus", "average"]))


def test_limits_are_named_and_drawn_where_they_are(figure):
    """hand: class B quasi-peak from 66 dBµV at 150 kHz to 56 at 500 kHz, 60 to 30 MHz."""
    named = words(figure)
    for name in ("AC mains port, class B, quasi-peak", "AC mains port, class A, average"):
        assert name in named
    assert any(text.endswith("(from memory)") for text in named)
    drawn = [points(curve) for curve in curves(figure.plots[0])]
    expected = [[150e3, 66], [500e3, 56], [500e3, 56], [5e6, 56], [5e6, 60], [30e6, 60]]
    assert any([p for p in line if p[0] == p[0]] == expected for line in drawn)


def test_the_worst_line_is_marked_with_its_distance(figure, result):
    worst = min((m for m in result.margins if m.place in ("plus", "return")), key=lambda m: m.margin)
    (note,) = [mark for mark in figure.plots[0].marks if isinstance(mark, Note) and "the limit at" in mark.words]
    assert note.words.startswith(f"{abs(worst.margin):.1f} dB ABOVE the limit")
    assert note.bold
    assert (note.x, note.y) == (worst.frequency, worst.level)
    assert worst.margin < 0
    assert any(points(curve) == [[worst.frequency, worst.level]] for curve in curves(figure.plots[0]))


def test_the_same_figure_gives_the_same_bytes(result):
    assert svg(emissions_figure(result)) == svg(emissions_figure(result))


def test_keys_are_numbers_with_units(result):
    section = json.loads(json.dumps(emission_keys(result), allow_nan=False))
    margin = next(m for m in result.margins if (m.limit, m.detector) == ("mains-class-b", "average"))
    key = "output_mains_class_b_average"
    assert section[f"{key}_margin_dB"] == pytest.approx(margin.margin, rel=1e-6, abs=0)
    assert section[f"{key}_level_dBuV"] - section[f"{key}_limit_dBuV"] == pytest.approx(-margin.margin, rel=1e-5, abs=0)
    assert section[f"{key}_margin_low_dB"] < section[f"{key}_margin_dB"] < section[f"{key}_margin_high_dB"]
    assert section[f"{key}_verdict"] == margin.verdict
    assert "output_wired_current_class_b_quasi_peak_level_dBuA" in section
    assert "not a test" in section["output_statement"]


def test_arrays_hold_every_harmonic(result):
    held = json.loads(json.dumps(arrays(result), allow_nan=False))
    count = len(result.frequencies)
    assert {len(values) for values in held.values()} == {count}
    assert held["plus_quasi_peak_dBuV"][0] == pytest.approx(
        float(result.levels["plus", "quasi_peak"][0]), rel=1e-6, abs=0
    )
    assert "common_current_peak_high_dBuA" in held
    assert np.isclose(held["frequency_Hz"][0], 180e3, rtol=1e-9, atol=0)


def test_what_could_not_be_computed_is_null_with_its_reason(unstable):
    section = emission_keys(unstable)
    assert section["output_mains_class_b_average_margin_dB"] is None
    assert "unstable" in section["output_mains_class_b_average_margin_dB_reason"]
    assert arrays(unstable) == {"frequency_Hz": []}
    with pytest.raises(FilterlibError, match="unstable"):
        emissions_figure(unstable)
