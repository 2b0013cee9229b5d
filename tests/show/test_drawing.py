"""The drawing of figures: places of points to hand values, words as wide as the font says, curves that lose nothing seen."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial import cKDTree

from filterlib.show.figures.drawing import svg
from filterlib.show.figures.figure import Area, Axis, Bars, Curve, Figure, Level, Look, Note, Plot, Span, extent
from filterlib.show.figures.letters import fitted, text_width
from filterlib.show.figures.paths import needed
from filterlib.show.figures.ticks import ticks
from tests.show.words_drawn import boxes, faults, texts, width

X, Y = Axis("time", "s", limits=(0.0, 1.0)), Axis("voltage", "V", limits=(0.0, 1.0))


def one(*marks, x=X, y=Y, **options):
    return Figure("drawn", ((Plot(x, y, marks, **options),),))


def clip(text, number=0):
    """Left, top, width and height of the axes."""
    found = re.search(rf'<clipPath id="drawn-{number}"><rect x="(\S+)" y="(\S+)" width="(\S+)" height="(\S+)"/>', text)
    return tuple(map(float, found.groups()))


def points(text, colour):
    """Points of the path in a colour, run by run."""
    path = re.search(rf'<path d="(M[^"]*)" stroke="{colour}"', text)[1]
    return [np.array(run.split(), float).reshape(-1, 2) for run in path.split("M")[1:]]


@pytest.mark.parametrize(
    "words", ["frequency [Hz]", "≈ 12.5 mΩ", "load's own input", "WWW iii @ %", "AC mains − class B", "é ä"]
)
@pytest.mark.parametrize("bold", [False, True])
def test_words_are_as_wide_as_the_font_says_or_a_little_narrower(words, bold):
    """second method: the advances in DejaVu Sans."""
    real = width(words, 14.0, bold=bold)
    assert real <= text_width(words, 14.0, bold=bold) <= 1.25 * real


def test_long_words_are_cut_to_fit():
    shown = fitted("a name that goes on and on", 12.0, 100.0)
    assert shown.endswith("…")
    assert width(shown, 12.0) <= 100.0
    assert fitted("short", 12.0, 100.0) == "short"


def test_linear_axes_put_points_where_they_belong():
    """hand: of axes from 0 to 1 the corners and the middle."""
    text = svg(one(Curve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 1.0, 0.5]), Look("#123456"))))
    left, top, wide, high = clip(text)
    (run,) = points(text, "#123456")
    expected = [[left, top + high], [left + wide / 2, top], [left + wide, top + high / 2]]
    np.testing.assert_allclose(run, expected, rtol=0, atol=0.11)


def test_logarithmic_and_falling_axes():
    """hand: 10 is a third of the way from 1 to 1000; of a falling axis 0.25 lies a quarter below the top."""
    x, y = Axis("frequency", "Hz", log=True, limits=(1.0, 1e3)), Axis("loss", "dB", limits=(0.0, 1.0), falling=True)
    text = svg(one(Curve(np.array([10.0, 100.0]), np.array([0.25, 1.0]), Look("#123456")), x=x, y=y))
    left, top, wide, high = clip(text)
    (run,) = points(text, "#123456")
    np.testing.assert_allclose(
        run, [[left + wide / 3, top + high / 4], [left + 2 * wide / 3, top + high]], rtol=0, atol=0.11
    )


def test_what_is_not_finite_is_a_gap():
    y = np.array([0.1, np.nan, 0.3, 0.4, np.inf, 0.5])
    runs = points(svg(one(Curve(np.linspace(0, 1, 6), y, Look("#123456")))), "#123456")
    assert [len(run) for run in runs] == [1, 2, 1]
    below = np.array([-1.0, 1.0, 10.0])  # a logarithm has none of the first
    runs = points(
        svg(one(Curve(np.array([0.0, 0.5, 1.0]), below, Look("#123456")), y=Axis("z", "ohm", log=True))), "#123456"
    )
    assert [len(run) for run in runs] == [2]


@pytest.mark.parametrize("count", [500, 20_000])
def test_a_curve_of_many_points_is_drawn_with_few_and_looks_the_same(count):
    """second method: all points; none is further than a third of a pixel from what is drawn, and the peak is as high."""
    x = np.linspace(0, 1, count)
    y = 0.5 + 0.3 * np.sin(5 * x) + 0.15 * np.exp(-(((x - 0.3) / 0.002) ** 2))
    text = svg(one(Curve(x, y, Look("#123456"))))
    left, top, wide, high = clip(text)
    (run,) = points(text, "#123456")
    whole = top + high * (1 - y)
    assert len(run) < count / 2
    steps = [np.linspace(a, b, 2 + int(20 * np.hypot(*(b - a)))) for a, b in pairwise(run)]
    away, _ = cKDTree(np.concatenate(steps)).query(np.column_stack((left + wide * x, whole)))
    assert np.max(away) < 0.3
    assert run[:, 1].min() == pytest.approx(whole.min(), rel=0, abs=0.1)


def test_ringing_keeps_its_extremes_in_every_stretch():
    x = np.linspace(0, 1, 50_000)
    y = 0.5 + 0.4 * np.sin(2 * np.pi * 3000 * x)
    kept = needed(x, y, most=800)
    assert kept.size < 3 * 850
    for part in np.array_split(np.arange(50_000), 100):
        assert y[kept[np.isin(kept, part)]].max() > 0.899
        assert y[kept[np.isin(kept, part)]].min() < 0.101


def test_a_line_a_span_and_an_area_stand_at_their_values():
    """hand: a level at a quarter; a span from 0.5 to 1; an area from 0.2 to 0.8."""
    x = np.array([0.0, 1.0])
    text = svg(one(
        Level(0.25, Look("#111111")), Level(0.5, Look("#222222"), upright=True), Span(0.5, 1.0),
        Area(x, np.full(2, 0.2), np.full(2, 0.8), "#333333"),
    ))  # fmt: skip
    left, top, wide, high = clip(text)
    assert f'd="M{left:.1f} {top + 0.75 * high:.1f}H{left + wide:.1f}" stroke="#111111"' in text
    assert f'd="M{left + wide / 2:.1f} {top + high:.1f}V{top:.1f}" stroke="#222222"' in text
    assert f"M{left:.1f} {top + high / 2:.1f}H{left + wide:.1f}V{top:.1f}H{left:.1f}Z" in text
    area = re.search(r'<path d="M([^Z]*)Z" fill="#333333"', text)[1].split()
    assert sorted(map(float, area[1::2])) == pytest.approx(
        [top + 0.2 * high] * 2 + [top + 0.8 * high] * 2, rel=0, abs=0.11
    )


def test_bars_are_as_long_as_their_values_and_say_them():
    """hand: from 0 to 2 V of axes from -1 to 3, half of their width; a negative one to the left, its words too."""
    bars = Bars(np.array([2.0, -0.5, np.nan]), ("2 V", "-500 mV", "not known"), "alone", "#123456", hatched=True)
    text = svg(one(bars, x=Axis("", "V", limits=(-1.0, 3.0)), y=Axis(names=("a", "b", "c"), falling=True), legend=True))
    left, _, wide, _ = clip(text)
    rows = re.findall(r'<rect x="(\S+)" y="\S+" width="(\S+)" height="\S+" fill="#123456"/>', text)[1:]
    assert [[float(number) for number in row] for row in rows] == [
        pytest.approx([left + wide / 4, wide / 2], rel=0, abs=0.11),
        pytest.approx([left + wide / 8, wide / 8], rel=0, abs=0.11),
        pytest.approx([left + wide / 4, 0.0], rel=0, abs=0.11),
    ]
    shown = {box.words: box for box in boxes(text)}
    assert shown["2 V"].left > left + 3 * wide / 4
    assert shown["-500 mV"].right < left + wide / 8
    assert faults(text) == []


@pytest.mark.parametrize("count", [1, 4, 8])
def test_notes_at_one_place_make_room_for_each_other(count):
    notes = [Note(0.5, 0.5, f"note {number}") for number in range(count)]
    text = svg(one(*notes, Level(0.97, words="a level"), Note(0.99, 0.97, "at the same place", align="end")))
    assert faults(text) == []
    assert len([words for words in texts(text) if words.startswith("note")]) == count


def test_a_note_at_the_edge_stays_on_the_paper():
    assert (
        faults(svg(one(Note(1.0, 1.0, "words that would go beyond", align="start"), Note(0.0, 0.0, "left " * 40))))
        == []
    )


def test_shared_axes_have_common_limits_and_their_words_once():
    """hand: both hold 0 to 10."""
    x, y = Axis("time", "s"), Axis("voltage", "V")
    plots = [Plot(x, y, (Curve(np.array([0.0, end]), np.array([0.0, end]), Look()),)) for end in (1.0, 10.0)]
    apart, shared = Figure("drawn", ((plots[0],), (plots[1],))), Figure("drawn", ((plots[0],), (plots[1],)), share="x")
    assert apart.limits(plots[0], "x")[1] < 1.1
    assert shared.limits(plots[0], "x") == shared.limits(plots[1], "x")
    assert shared.limits(plots[0], "x")[1] == pytest.approx(10.4, rel=1e-9, abs=0)  # 4 % of room
    assert shared.limits(plots[0], "y")[1] < 1.1
    assert [texts(svg(figure)).count("time") for figure in (apart, shared)] == [2, 1]
    beside = Figure("drawn", (tuple(plots),), share="y")
    assert texts(svg(beside)).count("voltage") == 1


def test_the_legend_names_each_once_in_as_many_rows_as_it_needs():
    x = np.array([0.0, 1.0])
    curves = [Curve(x, x, Look(), f"a curve with a rather long name, number {number % 5}") for number in range(7)]
    text = svg(one(*curves, legend=True))
    assert faults(text) == []
    assert len([words for words in texts(text) if words.startswith("a curve")]) == 5
    assert not any(words.startswith("a curve") for words in texts(svg(one(*curves))))


@pytest.mark.parametrize(
    ("axis", "ends", "most", "expected"),
    [  # hand
        (Axis("t", "s"), (0.0, 11.1e-6), 5, ["0 µs", "2.5 µs", "5 µs", "7.5 µs", "10 µs"]),
        (Axis("v", "V"), (27.9, 28.1), 5, ["27.9 V", "27.95 V", "28 V", "28.05 V", "28.1 V"]),
        (Axis("f", "Hz", log=True), (200e3, 30e6), 6, ["1 MHz", "10 MHz"]),
        (Axis("f", "Hz", log=True), (1.1e3, 1.9e3), 4, ["1.2 kHz", "1.4 kHz", "1.6 kHz", "1.8 kHz"]),
        (Axis("f", "Hz", log=True), (150e3, 1.2e6), 8, ["200 kHz", "500 kHz", "1 MHz"]),
        (Axis("z", "ohm", log=True), (1e-3, 1e9), 6, ["1 mΩ", "1 Ω", "1 kΩ", "1 MΩ", "1 GΩ"]),
        (Axis("l", "dB"), (-65.0, 7.0), 5, ["−60", "−40", "−20", "0"]),
        (Axis("p", "°"), (-400.0, 20.0), 6, ["−360", "−270", "−180", "−90", "0"]),
        (Axis("flat", "V"), (5.0, 5.0 + 1e-7), 3, ["5 V", "5.00000005 V", "5.0000001 V"]),
    ],
)  # fmt: skip
def test_ticks_stand_on_round_values(axis, ends, most, expected):
    assert [words for _, words in ticks(axis, *ends, most)] == expected


def test_an_axis_without_limits_holds_what_stands_on_it_and_zero_for_bars():
    """hand: the values' ends, and 4 % of their span on either side."""
    x, free = np.array([1.0, np.nan, 3.0]), Axis("", "V")
    bars = one(Bars(np.array([2.0, np.nan]), ("2 V", "?"), "", "#000"), x=free, y=Axis(names=("a", "b"), falling=True))
    assert bars.limits(bars.plots[0], "x") == pytest.approx((-0.08, 2.08), rel=1e-9, abs=0)
    rest = one(
        Curve(x, x + 1), Area(np.array([0.0, 1.0]), np.zeros(2), np.full(2, 5.0), "#000"), Level(-5.0), x=free, y=free
    )
    assert rest.limits(rest.plots[0], "x") == pytest.approx((-0.12, 3.12), rel=1e-9, abs=0)
    assert rest.limits(rest.plots[0], "y") == pytest.approx((-5.4, 5.4), rel=1e-9, abs=0)


@pytest.mark.parametrize("side", ["x", "y"])
def test_what_has_no_place_on_an_axis_asks_for_none(side):
    upright = side == "y"
    for mark in (Note(5.0, 5.0, "words"), Level(7.0, upright=upright), Span(7.0, 8.0, upright=upright)):
        assert extent(mark, side).size == 0


def test_axes_without_anything_are_drawn():
    for log in (False, True):
        text = svg(Figure("drawn", ((Plot(Axis("f", "Hz", log=log), Axis("z", "ohm", log=log), ()),),), foot="why"))
        assert "why" in texts(text)
        assert faults(text) == []
    assert "why" in texts(svg(Figure("drawn", (), foot="why")))
