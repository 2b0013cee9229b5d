"""Figures of the three conductors: the filter's modal two-port; what a clipped scope shows beside what is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from filterlib.show.figures.figure import Axis, Curve, Figure, Look, Plot
from filterlib.show.figures.plots import DEEPEST, FREQUENCY
from filterlib.show.style import BLACK, BLUE, DASHES, GREEN, PURPLE, VERMILION
from filterlib.units import format_quantity
from filterlib.words.stability_sentences import clip_sentence

if TYPE_CHECKING:
    from filterlib.analysis.bench.bench_result import ClippedResult
    from filterlib.analysis.linear.modal_two_port import ModalTwoPort

_CURVES = (
    ("differential", "differential", Look(BLUE)),
    ("common", "common", Look(VERMILION, DASHES[1])),
    # wide: the other conversion may lie on it
    ("common_to_differential", "common becomes differential", Look(GREEN, DASHES[2], 4.8)),
    ("differential_to_common", "differential becomes common", Look(PURPLE, DASHES[3])),
)


def modes_figure(two_port: ModalTwoPort) -> Figure:
    """Loss [dB] from the converter's end to the load's of a `ModalTwoPort`: each mode, and what becomes the other.

    A conversion beyond `DEEPEST` is not drawn: it is none but for rounding.
    """
    curves = []
    for name, words, look in _CURVES:
        loss = two_port.losses[name]
        drawn = np.where(loss < DEEPEST, loss, np.nan)
        label = words if np.any(np.isfinite(drawn)) else f"{words}: none"
        curves.append(Curve(two_port.frequencies, drawn, look, label))
    y = Axis(f"loss in {two_port.reference:g} Ω", "dB", falling=True)
    plot = Plot(FREQUENCY, y, tuple(curves), height=270.0, legend=True)
    title = f"Modes of the filter, {two_port.reference:g} Ω from each line to chassis"
    return Figure(title, ((plot,),), foot=two_port.convention)


_WAVES = (  # in the row that each belongs to: what, words, look
    (0, "shown", "the scope shows", Look(VERMILION, DASHES[1], 1.6)),
    (0, "seen", "there without the clip", Look(BLUE)),
    (1, "difference", "shown less what is there", Look(PURPLE)),
    (1, "own_clip", "tip on its own clip", Look(BLACK, DASHES[3])),
)


def clip_figure(result: ClippedResult) -> Figure:
    """A `ClippedResult` in full bandwidth over one period: what is shown and what is there, and what lies between them."""
    title = f"{result.place} with an earthed scope's clip on"
    if not result.stable:
        return Figure(title, (), foot=clip_sentence(result))
    at, count = result.figures["full"], len(result.times)
    close = int(np.argmax(np.abs(result.waveforms["shown", "full"]))) + np.arange(-count // 200, count // 20)
    parts = (  # times, which samples, words
        (result.times, np.arange(count), "one period"),
        ((close - close[0]) * result.times[1], close % count, "around the highest peak"),
    )
    rows = []
    for row in (0, 1):
        plots: list[Plot] = []
        for times, chosen, words in parts:
            curves = tuple(
                Curve(times, result.waveforms[what, "full"][chosen], look, _labelled(named, getattr(at, what)))
                for place, what, named, look in _WAVES if place == row
            )  # fmt: skip
            x = Axis(words if row else "", "s", limits=(0.0, float(times[-1])))
            plots.append(Plot(x, Axis("full bandwidth", "V"), curves, legend=not plots))
        rows.append(tuple(plots))
    through = f"Through the clip's lead: {format_quantity(result.current, 'A', 3)} peak to peak."
    return Figure(title, tuple(rows), share="y", foot=f"{through}\n{result.convention}")


def _labelled(words: str, size: float) -> str:
    return f"{words}, {format_quantity(size, 'V', 3)} peak to peak"
