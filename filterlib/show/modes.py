"""Figures of the three conductors: the filter's modal two-port; what a clipped scope shows beside what is there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.show.style import (
    BLACK,
    BLUE,
    DASHES,
    GREEN,
    PURPLE,
    VERMILION,
    legend_above,
    new_figure,
    prefixed,
    styled,
)
from filterlib.units import format_quantity
from filterlib.words.stability_sentences import clip_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DEEPEST = 160.0  # [dB] beyond which rounding begins
_CURVES = (
    ("differential", "differential", BLUE, DASHES[0], 1.6),
    ("common", "common", VERMILION, DASHES[1], 1.6),
    (
        "common_to_differential",
        "common becomes differential",
        GREEN,
        DASHES[2],
        3.6,
    ),  # wide: the other conversion may lie on it
    ("differential_to_common", "differential becomes common", PURPLE, DASHES[3], 1.6),
)


@styled
def modes_figure(two_port: Any) -> Figure:
    """Loss [dB] from the converter's end to the load's of a `ModalTwoPort`: each mode, and what becomes the other.

    A conversion beyond `DEEPEST` is not drawn: it is none but for rounding.
    """
    title = f"Modes of the filter, {two_port.reference:g} Ω from each line to chassis"
    figure, (axes,) = new_figure(title, height=4.3)
    for name, words, colour, dash, width in _CURVES:
        loss = two_port.losses[name]
        drawn = np.where(loss < DEEPEST, loss, np.nan)
        label = words if np.any(np.isfinite(drawn)) else f"{words}: none"
        axes.semilogx(two_port.frequencies, drawn, label=label, color=colour, linestyle=dash, linewidth=width)
    axes.invert_yaxis()
    figure.subplots_adjust(bottom=0.8 / 4.3, top=1 - 0.62 / 4.3)
    prefixed(axes, "x", "Hz", f"frequency\n{two_port.convention}")
    axes.set_ylabel(f"loss in {two_port.reference:g} Ω [dB]")
    legend_above(axes, columns=2)
    return figure


_WAVES = (  # in the panel that each belongs to: what, words, colour, dash, width
    (0, "shown", "the scope shows", VERMILION, DASHES[1], 1.2),
    (0, "seen", "there without the clip", BLUE, DASHES[0], 1.6),
    (1, "difference", "shown less what is there", PURPLE, DASHES[0], 1.6),
    (1, "own_clip", "tip on its own clip", BLACK, DASHES[3], 1.6),
)


@styled
def clip_figure(found: Any) -> Figure:
    """A `ClippedResult` in full bandwidth over one period: what is shown and what is there, and what lies between them."""
    title = f"{found.place} with an earthed scope's clip on"
    if not found.stable:
        figure, (axes,) = new_figure(title, height=2.0)
        axes.set_axis_off()
        axes.text(0.5, 0.5, clip_sentence(found), ha="center", va="center", wrap=True)
        return figure
    figure, panels = new_figure(title, 2, 2, height=5.8, share="y", gap=0.55)
    figure.subplots_adjust(bottom=1.05 / 5.8, hspace=0.42)
    at, count = found.figures["full"], len(found.times)
    close = int(np.argmax(np.abs(found.waveforms["shown", "full"]))) + np.arange(-count // 200, count // 20)
    for row, what, words, colour, dash, width in _WAVES:
        label = f"{words}, {format_quantity(getattr(at, what), 'V', 3)} peak to peak"
        wave = found.waveforms[what, "full"]
        for axes, times, part in (
            (panels[2 * row], found.times, wave),
            (panels[2 * row + 1], (close - close[0]) * found.times[1], wave[close % count]),
        ):
            axes.plot(times, part, label=label, color=colour, linestyle=dash, linewidth=width)
            axes.set_xlim(0, times[-1])
    for axes in panels[::2]:
        prefixed(axes, "y", "V", "full bandwidth")
        legend_above(axes, columns=2)
    prefixed(panels[0], "x", "s", "")
    prefixed(panels[1], "x", "s", "")
    prefixed(panels[2], "x", "s", "one period")
    prefixed(panels[3], "x", "s", "around the highest peak")
    through = f"Through the clip's lead: {format_quantity(found.current, 'A', 3)} peak to peak."
    figure.text(0.11, 0.02, f"{through}\n{found.convention}", fontsize="small")
    return figure
