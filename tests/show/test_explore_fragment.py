"""Figures of notebooks without a panel: their words are the result's, their markup is safe, the histogram counts every board."""

import re
from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.bench.clipped import clipped
from filterlib.analysis.linear.modal_two_port import modal_two_port
from filterlib.analysis.uncertainty.tolerance import ToleranceResult
from filterlib.show.explore.fragment import (
    clip_fragment,
    histogram,
    modes_fragment,
    svg_fragment,
    tolerance_fragment,
)
from filterlib.system.solution import solve
from filterlib.words.stability_sentences import clip_sentence
from tests.designs import common_mode, converter, design, shunt

DRIVE = {"swing": "28 V", "coupling": "100 pF", "resistance": "15 ohm"}
BOARD = design(shunt(), common_mode(), shunt(), source=converter(bond={}, common_mode=DRIVE))


def spread(volts):
    return ToleranceResult("full", "modem", "20MHz", {}, np.asarray(volts, float))


def test_a_scopes_reading_is_shown_with_its_sentence():
    reading = clipped(BOARD, "modem")
    shown = clip_fragment(reading)
    assert repr(shown) == clip_sentence(reading)
    assert shown._repr_html_().count("<svg") == 1
    assert "tip on its own clip" in shown.html
    assert "unstable" in clip_fragment(replace(reading, stable=False)).words


def test_the_modes_are_shown():
    shown = modes_fragment(modal_two_port(solve(BOARD)))
    assert shown.html.count("<svg") == 1
    assert "Loss of each mode" in shown.words


def test_words_are_text_and_never_markup():
    shown = svg_fragment("<svg></svg>", 'a "b" <script>')
    assert "<script>" not in shown.html
    assert re.findall(r'aria-label="([^"]*)"', shown.html) == ["figure", "a &quot;b&quot; &lt;script&gt;"]


def test_the_histogram_holds_every_board():
    """hand: 30 at 10 mV and 10 at 18 mV; the area under the steps over the width of a bin is 40."""
    x, y = histogram(spread([10e-3] * 30 + [18e-3] * 10))
    widths = np.diff(x)
    assert (widths * y[1:]).sum() / widths.max() == pytest.approx(40, rel=1e-9, abs=0)
    assert (y[0], y[-1], y.max()) == (0, 0, 30)
    assert (x[0], x[-1]) == (10e-3, 18e-3)


def test_the_share_within_the_limit_is_said():
    """hand: 30 of 40 lie below 15 mV."""
    shown = tolerance_fragment(spread([10e-3] * 30 + [18e-3] * 10), 15e-3)
    assert "75 % have at most 15 mV" in shown.words
    assert "10 mV to 18 mV" in shown.words
    assert shown.html.count("<svg") == 1
