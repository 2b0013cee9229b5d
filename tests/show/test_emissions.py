"""The figure of conducted emission and its numbers: nothing cut off, margins plain, the estimate's sentence always there."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from filterlib.analysis.emission.estimate import EmissionTest, emissions
from filterlib.errors import FilterlibError
from filterlib.show.emission_numbers import emission_arrays, emission_keys
from filterlib.show.emissions import emissions_figure
from filterlib.show.plots import svg
from filterlib.words.emission_sentences import ESTIMATE
from tests.designs import common_mode, converter, design, resistive, series, shunt

DRIVEN = converter(input_voltage="24 V", shape="pulse", common_mode={"swing": "28 V", "coupling": "100 pF"})
LIMITS = ("mains-class-a", "mains-class-b", "wired-class-b", "wired-current-class-b")


@pytest.fixture(scope="module")
def result():
    return emissions(
        design(shunt(), common_mode(), shunt(), source=DRIVEN, load=resistive(bond={})), EmissionTest(limits=LIMITS)
    )


@pytest.fixture(scope="module")
def unstable():
    load = {"name": "modem", "kind": "constant_power", "power": "400 W", "loop_bandwidth": "500 kHz"}
    return emissions(design(series("100 µH"), shunt("1 µF"), source=DRIVEN, load=load))


@pytest.fixture(scope="module")
def figure(result):
    made = emissions_figure(result)
    FigureCanvasAgg(made).draw()
    return made


def words(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_nothing_is_cut_off(figure):
    box = figure.get_tightbbox(figure.canvas.get_renderer())
    width, height = figure.get_size_inches()
    assert box.x0 >= 0
    assert box.y0 >= 0
    assert box.x1 <= width
    assert box.y1 <= height


def test_every_axis_has_a_unit_and_the_sentence_stands_below(figure, result):
    for axes in figure.axes:
        assert re.search(r"\[dBµ[VA]\]", axes.get_ylabel())
    assert all(label.get_text().endswith("Hz") for label in figure.axes[-1].get_xticklabels() if label.get_text())
    assert ESTIMATE in figure.axes[-1].get_xlabel()
    assert "not a test" in svg(figure)


def test_a_row_of_current_only_where_a_limit_is_one(result, figure):
    assert len(figure.axes) == 3
    plain = emissions(design(shunt(), source=DRIVEN), EmissionTest(limits=()), band=False)
    made = emissions_figure(plain)
    assert len(made.axes) == 2
    assert set(words(made)) == {" model not trusted"}


def test_places_differ_in_more_than_colour(figure):
    for axes in figure.axes[:2]:
        lines = [line for line in axes.get_lines() if not line.get_label().startswith("_")]
        looks = {(str(line.get_linestyle()), line.get_marker(), line.get_markersize()) for line in lines}
        assert len(lines) == 3
        assert len(looks) == 3


def test_peak_is_drawn_where_the_detectors_differ():
    """Several harmonics in the filter: of each bin the highest peak reading."""
    slow = emissions(design(source=converter(switching_frequency="8 kHz")), band=False)
    drawn = emissions_figure(slow).axes[0].get_lines()[0].get_ydata()
    assert np.all(np.isin(drawn, slow.levels["plus", "peak"]))
    assert not np.any(np.isin(drawn, slow.levels["plus", "average"]))


def test_limits_are_named_and_drawn_where_they_are(figure):
    """hand: class B quasi-peak from 66 dBµV at 150 kHz to 56 at 500 kHz, 60 to 30 MHz."""
    named = words(figure)
    for name in ("AC mains port, class B, quasi-peak", "AC mains port, class A, average"):
        assert name in named
    assert any(text.endswith("(from memory)") for text in named)
    drawn = [line.get_xydata().tolist() for line in figure.axes[0].get_lines()]
    expected = [[150e3, 66], [500e3, 56], [500e3, 56], [5e6, 56], [5e6, 60], [30e6, 60]]
    assert any([p for p in line if p[0] == p[0]] == expected for line in drawn)


def test_the_worst_line_is_marked_with_its_distance(figure, result):
    worst = min((m for m in result.margins if m.place in ("plus", "return")), key=lambda m: m.margin)
    (text,) = [text for text in figure.axes[0].texts if "the limit at" in text.get_text()]
    assert text.get_text().startswith(f"{abs(worst.margin):.1f} dB ABOVE the limit")
    assert text.get_fontweight() == "bold"
    assert worst.margin < 0
    assert any(line.get_xydata().tolist() == [[worst.frequency, worst.level]] for line in figure.axes[0].get_lines())


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
    arrays = json.loads(json.dumps(emission_arrays(result), allow_nan=False))
    count = len(result.frequencies)
    assert {len(values) for values in arrays.values()} == {count}
    assert arrays["plus_quasi_peak_dBuV"][0] == pytest.approx(
        float(result.levels["plus", "quasi_peak"][0]), rel=1e-6, abs=0
    )
    assert "common_current_peak_high_dBuA" in arrays
    assert np.isclose(arrays["frequency_Hz"][0], 180e3, rtol=1e-9, atol=0)


def test_what_could_not_be_computed_is_null_with_its_reason(unstable):
    section = emission_keys(unstable)
    assert section["output_mains_class_b_average_margin_dB"] is None
    assert "unstable" in section["output_mains_class_b_average_margin_dB_reason"]
    assert emission_arrays(unstable) == {"frequency_Hz": []}
    with pytest.raises(FilterlibError, match="unstable"):
        emissions_figure(unstable)
