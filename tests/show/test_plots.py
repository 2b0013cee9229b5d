"""Figures: units on every axis, nothing cut off or told by colour alone, names as text, the same bytes each time."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from filterlib.show import plots
from filterlib.show.style import slug

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
    made = every_figure(fakes)
    for figure in made.values():
        FigureCanvasAgg(figure).draw()
    return made


def texts(svg):
    found = ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
    return ["".join(element.itertext()) for element in found]


NAMES = ("bode", "impedance", "insertion", "ripple", "spectrum", "sources", "band", "steps")


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_has_a_unit(figures, name):
    """A number on an axis stands with a unit, or its axis names one in brackets."""
    with_unit = re.compile(r"(Hz|V|Ω|s)$")
    for axes in figures[name].axes:
        for axis in (axes.xaxis, axes.yaxis):
            labels = [label.get_text() for label in axis.get_ticklabels() if label.get_visible() and label.get_text()]
            numbers = [label for label in labels if label.lstrip("\N{MINUS SIGN}-")[:1].isdigit()]
            named = re.search(r"\[.+\]", axis.get_label_text())
            assert named or all(with_unit.search(label) for label in numbers), (axis.get_label_text(), numbers)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_cut_off(figures, name):
    """Everything that is drawn lies inside the figure."""
    figure = figures[name]
    box = figure.get_tightbbox(figure.canvas.get_renderer())
    width, height = figure.get_size_inches()
    assert box.x0 >= 0
    assert box.y0 >= 0
    assert box.x1 <= width
    assert box.y1 <= height


@pytest.mark.parametrize("name", ["bode", "impedance", "insertion", "spectrum"])
def test_curves_differ_in_more_than_colour(figures, name):
    lines = [line for line in figures[name].axes[0].get_lines() if not line.get_label().startswith("_")]
    looks = {(str(line.get_linestyle()), str(line._dash_pattern), line.get_marker()) for line in lines}
    assert len(lines) >= 2
    assert len(looks) == len(lines)


@pytest.mark.parametrize("name", ["bode", "impedance", "insertion", "spectrum", "sources"])
def test_the_legend_lies_on_no_curve(figures, name):
    figure = figures[name]
    axes = next(axes for axes in figure.axes if axes.get_legend() is not None)
    assert axes.get_legend().get_window_extent().y0 >= axes.get_window_extent().y1 - 1


def test_the_limit_is_drawn_about_the_middle_of_the_wave(fakes):
    """hand: half of 15 mV above and below the middle of the waveform, in both panels of the band that it limits."""
    ripple = fakes.ripple()
    figure = plots.ripple_figure(ripple, "modem", limits={"20MHz": 0.015})
    wave = ripple.waveforms["modem", "20MHz"]
    middle = (wave.max() + wave.min()) / 2
    heights = {float(line.get_ydata()[0]) for line in figure.axes[1].get_lines() if len(line.get_ydata()) == 2}
    assert any(np.isclose(height, middle + 0.0075, rtol=1e-9, atol=0) for height in heights)
    assert any(np.isclose(height, middle - 0.0075, rtol=1e-9, atol=0) for height in heights)
    assert "limit 15 mV" in [text.get_text() for text in figure.axes[0].texts]
    assert not figure.axes[2].texts


def test_the_real_effect_is_drawn_only_where_there_is_one(fakes):
    def labels(insertion, panel):
        return [line.get_label() for line in plots.insertion_figure(insertion, "modem").axes[panel].get_lines()]

    assert "in this circuit" in labels(fakes.insertion(), 1)
    assert "in this circuit" in labels(fakes.insertion(driven=False), 0)
    assert "in this circuit" not in labels(fakes.insertion(driven=False), 1)


def test_two_periods_are_drawn(fakes):
    """hand: two periods of 180 kHz are 11.11 µs."""
    axes = plots.ripple_figure(fakes.ripple(), "modem").axes[0]
    assert axes.get_xlim()[1] == pytest.approx(2 / 180e3, rel=1e-12, abs=0)


def test_the_band_figure_names_unknown_range_and_both_ends(fakes):
    svg = plots.svg(plots.band_figure(fakes.ripple(), "modem", limit=0.015))
    shown = texts(svg)
    for words in ("capacitance inside the converter", "4.7 µF to 220 µF", "6.1 mV", "10.5 mV", "limit 15 mV"):
        assert words in shown
    assert "shape of the switching current" in shown


def test_a_harmonic_reads_as_rms_above_a_microvolt():
    """hand: 10 mV peak is 7.07 mV rms, 20 log10(7071) = 76.99 dB."""
    assert float(plots.dbuv(np.array([0.01]))[0]) == pytest.approx(76.9897, rel=1e-5, abs=0)


def test_the_same_figure_gives_the_same_bytes(fakes):
    one, two = (plots.svg(plots.bode_figure(fakes.bode())) for _ in range(2))
    assert one == two
    assert "<dc:date>" not in one


def test_identifiers_of_two_figures_never_meet(figures):
    found = [re.findall(r' id="([^"]+)"', plots.svg(figure)) for figure in figures.values()]
    together = [identifier for one in found for identifier in one]
    assert len(together) == len(set(together)) > 0


def test_references_inside_a_figure_lead_somewhere(figures):
    for figure in figures.values():
        svg = plots.svg(figure)
        assert set(re.findall(r"url\(#([^)]+)\)", svg)) <= set(re.findall(r' id="([^"]+)"', svg))


def test_a_figure_brings_no_style_for_the_whole_page(figures):
    assert all("<style" not in plots.svg(figure) for figure in figures.values())


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_text_and_never_markup(fakes, name):
    svg = plots.svg(every_figure(fakes, HOSTILE)[name])
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    if name == "band":
        assert any(HOSTILE in text for text in texts(svg))


def test_a_name_in_letters_that_the_font_lacks_is_drawn_without_a_warning(fakes):
    svg = plots.svg(plots.band_figure(fakes.ripple(("潮位計",)), "潮位計"))
    assert any("潮位計" in text for text in texts(svg))


def test_save_writes_what_svg_gives(fakes, tmp_path):
    figure = plots.steps_figure(fakes.steps())
    plots.save(figure, tmp_path / "steps.svg")
    assert (tmp_path / "steps.svg").read_text(encoding="utf-8") == plots.svg(figure) + "\n"


def test_a_slug_is_never_empty():
    assert slug("潮") == "unnamed"
