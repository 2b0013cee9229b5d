"""The filter's modal two-port as a figure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.show.style import BLUE, DASHES, GREEN, PURPLE, VERMILION, legend_above, new_figure, prefixed, styled

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
