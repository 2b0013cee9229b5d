"""Figures and tables as a notebook shows them: a piece of HTML, and the words for who cannot see it."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from filterlib.analysis.bench.bench_result import ClippedResult
from filterlib.analysis.linear.modal_two_port import ModalTwoPort
from filterlib.analysis.uncertainty.tolerance import ToleranceResult
from filterlib.show import panels as ui
from filterlib.show.figures.modal_figures import clip_figure, modes_figure
from filterlib.show.page import illustration
from filterlib.show.panels.marks import Extent
from filterlib.words.quantities import number
from filterlib.words.stability_sentences import clip_sentence

BINS = 40


@dataclass(frozen=True)
class Fragment:
    """A piece of HTML that a notebook shows, and the words for who cannot see it."""

    html: str
    words: str

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return self.words


def svg_fragment(svg: str, words: str, *, width: int = 60) -> Fragment:
    """An SVG element on white ground, at most ``width`` [rem] wide, with the words as its label; where it is too wide, it scrolls."""
    ground = f"background: #ffffff; max-width: {width}rem; overflow-x: auto"
    image = f'<div role="img" aria-label="{escape(words)}">{svg}</div>'
    return Fragment(
        f'<div class="scroll" role="group" tabindex="0" aria-label="figure" style="{ground}">{image}</div>', words
    )


def clip_fragment(reading: ClippedResult) -> Fragment:
    """The figure of a scope's reading with its clip on; it answers a guess, and is folded."""
    words = clip_sentence(reading)
    figure = svg_fragment(illustration("clip", clip_figure(reading), words).svg, words)
    return Fragment(f"<details><summary>After your guess: the screen</summary>{figure.html}</details>", words)


def modes_fragment(two_port: ModalTwoPort) -> Fragment:
    """The figure of a filter's modes."""
    words = "Loss of each mode through the filter, and of the conversion of one into the other, over frequency"
    return svg_fragment(illustration("modes", modes_figure(two_port), words).svg, words)


def histogram(spread: ToleranceResult) -> Extent:
    """Steps that count the boards by their ripple: x [V] and y, from zero to zero."""
    counts, edges = np.histogram(spread.peak_to_peak, BINS)
    return np.repeat(edges, 2), np.concatenate(([0], np.repeat(counts, 2), [0]))


def tolerance_fragment(spread: ToleranceResult, limit: float) -> Fragment:
    """How many of many boards have which ripple, against a limit [V]."""
    plot: ui.Plot[ToleranceResult] = ui.Plot(
        f"{len(spread.peak_to_peak)} boards, each with its own parts",
        ui.Axis("ripple at the modem, peak to peak", "V", zero=True),
        ui.Axis("boards", zero=True),
        (ui.Curve("boards", histogram), ui.Level("limit", lambda r: (limit,), upright=True, counts=True)),
    )
    picture = ui.Picture([plot], name="Ripple over tolerances", size=(720, 280))
    picture.put(spread)
    low, high = (number(spread.quantile(share), "V") for share in (0.01, 0.99))
    words = (
        f"98 of 100 boards have {low} to {high}; {100 * spread.within(limit):.3g} % have at most {number(limit, 'V')}"
    )
    return svg_fragment(picture.svg(), words, width=46)
