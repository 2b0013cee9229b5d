"""Figures: units on every axis, nothing cut off or told by colour alone, names as text, the same bytes each time."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from filterlib.show.figures import plots
from filterlib.show.figures.figure import Curve, Level, Span
from filterlib.show.style import slug
from tests.show.words_drawn import boxes, faults, texts

HOSTILE = "$x_1$ <script>&"


def every_figure(fakes, load="modem"):
    ripple = fakes.ripple((load, "logger"))
    return {
        "bode": plots.bode_figure(fakes.bode(load), switching_frequency=180e3),
        "impedance": plots.impedance_figure(fakes.impedance(load), switching_frequency=180e3),
        "insertion": plots.insertion_figure(fakes.insertion((load,)), load, switching_frequency=180e3),
        "ripple": plots.ripple_figure(ripple, load, limits={"20MHz": 0.015}),
        "spectrum": plots.spectrum_figure(ripple, load),
        "sources": plots.sources_figure(ripple, load),
        "band": plots.band_figure(ripple, load, limit=0.015),
        "steps": plots.steps_figure(fakes.steps(load)),
    }


@pytest.fixture(scope="module")
def figures(fakes):
    return every_figure(fakes)


def curves(plot):
    return [mark for mark in plot.marks if isinstance(mark, Curve)]


NAMES = ("bode", "impedance", "insertion", "ripple", "spectrum", "sources", "band", "steps")


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_has_a_unit(figures, name):
    """A number on an axis stands with a unit, or its axis names one in brackets: on the paper, column by column."""
    with_unit = re.compile(r"(Hz|V|Ω|s)$")
    svg = plots.svg(figures[name])
    named = [words for words in texts(svg) if re.search(r"\[.+\]$", words)]
    for plot in figures[name].plots:
        for axis in (plot.x, plot.y):
            assert axis.names or axis.unit
            assert not axis.unit or axis.prefixed or axis.words in named, axis
    bare = [words for words in texts(svg) if re.fullmatch(r"[\N{MINUS SIGN}-]?[\d.,]+", words)]
    assert not bare or named
    assert sum(bool(with_unit.search(words)) for words in texts(svg)) >= 2


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("load", ["modem", "a load with a name that is long " * 6, "潮位計"])
def test_no_words_are_cut_off_or_lie_on_others(fakes, name, load):
    assert faults(plots.svg(every_figure(fakes, load)[name])) == []


@pytest.mark.parametrize("name", ["bode", "impedance", "insertion", "spectrum"])
def test_curves_differ_in_more_than_colour(figures, name):
    lines = [curve for curve in curves(figures[name].plots[0]) if curve.label]
    looks = {(curve.look.dash, curve.look.marker) for curve in lines}
    assert len(lines) >= 2
    assert len(looks) == len(lines)


@pytest.mark.parametrize("name", ["bode", "impedance", "insertion", "spectrum", "sources"])
def test_the_legend_lies_on_no_curve(figures, name):
    plot = next(plot for plot in figures[name].plots if plot.legend)
    svg = plots.svg(figures[name])
    top = float(re.search(r'<clipPath id="[^"]*"><rect x="\S+" y="([\d.]+)"', svg)[1])
    for mark in plot.named():
        assert next(box for box in boxes(svg) if box.words == mark.label).bottom <= top


def test_the_limit_is_drawn_about_the_middle_of_the_wave(fakes):
    """hand: half of 15 mV above and below the middle of the waveform, in both plots of the band that it limits."""
    ripple = fakes.ripple()
    figure = plots.ripple_figure(ripple, "modem", limits={"20MHz": 0.015})
    wave = ripple.waveforms["modem", "20MHz"]
    middle = (wave.max() + wave.min()) / 2
    heights = [mark.at for mark in figure.plots[1].marks if isinstance(mark, Level)]
    assert any(np.isclose(height, middle + 0.0075, rtol=1e-9, atol=0) for height in heights)
    assert any(np.isclose(height, middle - 0.0075, rtol=1e-9, atol=0) for height in heights)
    told = [[mark.words for mark in plot.marks if isinstance(mark, Level) and mark.words] for plot in figure.plots]
    words = "±7.5 mV: limit of 15 mV peak to peak"  # hand: half of it above the middle, where the line is
    assert told == [[words], [words], [], []]
    assert texts(plots.svg(figure)).count(words) == 2


def test_the_range_of_the_extremes_is_shaded_where_there_is_one(fakes):
    """hand: the made-up range is 0.6 to 1.5 of the size, half of it on either side; only with the filter is there one."""
    ripple = fakes.ripple()
    before, after = plots.ripple_figure(ripple, "modem").plots[:2]
    wave, size = ripple.waveforms["modem", "20MHz"], ripple.figures["modem", "20MHz"].peak_to_peak
    middle = (wave.max() + wave.min()) / 2
    spans = [mark for mark in (*before.marks, *after.marks) if isinstance(mark, Span)]
    found = sorted([sorted((span.low - middle, span.high - middle)) for span in spans])
    np.testing.assert_allclose(found, [[-0.75 * size, -0.3 * size], [0.3 * size, 0.75 * size]], rtol=1e-9, atol=0)


def test_the_real_effect_is_drawn_only_where_there_is_one(fakes):
    def labels(insertion, panel):
        return [curve.label for curve in curves(plots.insertion_figure(insertion, "modem").plots[panel])]

    assert "in this circuit" in labels(fakes.insertion(), 1)
    assert "in this circuit" in labels(fakes.insertion(driven=False), 0)
    assert "in this circuit" not in labels(fakes.insertion(driven=False), 1)


def test_curves_of_test_systems_that_coincide_are_drawn_once(fakes):
    """hand: a series impedance alone between 100 Ω, 100.1 Ω and 100.1 Ω in all loses the same to 0.01 dB."""
    found, levels = fakes.insertion(driven=False), np.linspace(0, 60, 400)
    alike = {"50/50": levels, "0.1/100": levels + 0.009, "100/0.1": levels + 0.009}
    figure = plots.insertion_figure(replace(found, asymmetrical=alike), "modem")
    assert [curve.label for curve in curves(figure.plots[1])] == ["50 / 50, 0.1 / 100 and 100 / 0.1 Ω"]
    assert [curve.label for curve in curves(figure.plots[0])] == [
        "50 / 50 Ω",
        "0.1 / 100 Ω",
        "100 / 0.1 Ω",
        "in this circuit",
    ]
    assert [plot.legend for plot in figure.plots] == [True, True]
    assert [plot.legend for plot in plots.insertion_figure(found, "modem").plots] == [True, False]


def test_two_periods_are_drawn(fakes):
    """hand: two periods of 180 kHz are 11.11 µs."""
    figure = plots.ripple_figure(fakes.ripple(), "modem")
    assert figure.limits(figure.plots[0], "x")[1] == pytest.approx(2 / 180e3, rel=1e-12, abs=0)


def test_the_band_figure_names_unknown_range_and_both_ends(fakes):
    svg = plots.svg(plots.band_figure(fakes.ripple(), "modem", limit=0.015))
    shown = texts(svg)
    for words in ("capacitance inside the converter", "4.7 µF to 220 µF", "6.1 mV", "10.5 mV", "limit 15 mV"):
        assert words in shown
    assert "shape of the switching current" in shown
    assert "all uncertain parameters together" in shown
    assert not any("_" in words for words in shown)


def test_a_range_has_each_end_in_words_at_that_end(fakes):
    """hand: the made-up ESR makes 7.2 mV at its low end; the smaller value stands left, also where it is the high end's."""
    shown = {box.words: box for box in boxes(plots.svg(plots.band_figure(fakes.ripple(), "modem", limit=0.015)))}
    assert shown["7.2 mV"].right < shown["7.9 mV"].left
    assert shown["6.1 mV"].right < shown["7.2 mV"].right


def test_a_harmonic_reads_as_rms_above_a_microvolt():
    """hand: 10 mV peak is 7.07 mV rms, 20 log10(7071) = 76.99 dB."""
    assert float(plots.dbuv(np.array([0.01]))[0]) == pytest.approx(76.9897, rel=1e-5, abs=0)


def test_the_same_figure_gives_the_same_bytes(fakes):
    one, two = (plots.svg(plots.bode_figure(fakes.bode())) for _ in range(2))
    assert one == two


def test_identifiers_of_two_figures_never_meet(figures):
    found = [re.findall(r' id="([^"]+)"', plots.svg(figure)) for figure in figures.values()]
    together = [identifier for one in found for identifier in one]
    assert len(together) == len(set(together)) > 0


def test_references_inside_a_figure_lead_somewhere(figures):
    for figure in figures.values():
        svg = plots.svg(figure)
        assert set(re.findall(r"url\(#([^)]+)\)", svg)) == set(re.findall(r' id="([^"]+)"', svg)) != set()


def test_a_figure_brings_no_style_for_the_whole_page(figures):
    assert all("<style" not in plots.svg(figure) for figure in figures.values())


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_text_and_never_markup(fakes, name):
    svg = plots.svg(every_figure(fakes, HOSTILE)[name])
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    if name == "band":
        assert any(HOSTILE in text for text in texts(svg))


def test_a_name_in_other_letters_is_drawn(fakes):
    svg = plots.svg(plots.band_figure(fakes.ripple(("潮位計",)), "潮位計"))
    assert any("潮位計" in text for text in texts(svg))


def test_save_writes_what_svg_gives(fakes, tmp_path):
    figure = plots.steps_figure(fakes.steps())
    plots.save(figure, tmp_path / "steps.svg")
    assert (tmp_path / "steps.svg").read_text(encoding="utf-8") == plots.svg(figure) + "\n"


def test_a_slug_is_never_empty():
    assert slug("潮") == "unnamed"


def test_a_page_is_drawn_without_a_drawing_library():
    """The whole of a review's page needs none: to load one takes longer than to draw it."""
    code = (
        "import sys, filterlib.show.review_page.report, filterlib.show.compare_page.compare, filterlib.show.part_page.part, filterlib.show.recording.recording_page\n"
        "from filterlib.show.figures.figure import Axis, Figure, Plot\n"
        "from filterlib.show.figures.drawing import svg\n"
        "svg(Figure('x', ((Plot(Axis(), Axis(), ()),),)))\n"
        "print([name for name in ('matplotlib', 'PIL') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
