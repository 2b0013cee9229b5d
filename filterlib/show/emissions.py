"""Conducted emission as a figure, and as numbers for other programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.show.plots import thinned
from filterlib.show.style import BLACK, BLUE, DASHES, PURPLE, VERMILION, legend_above, new_figure, prefixed, styled
from filterlib.units import format_quantity
from filterlib.words.emission_sentences import ESTIMATE
from filterlib.words.labels import detector_words
from filterlib.words.stability_sentences import reason_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BELOW_LIMIT = 60.0  # [dB] below the lowest limit at which the figure ends
_ROWS = (  # title, (place, words) drawn in it, unit
    ("each line to chassis", (("plus", "plus line"), ("return", "return line")), "dBuV"),
    ("modes", (("differential", "differential, v+ − v−"), ("common", "common, (v+ + v−)/2")), "dBuV"),
    ("common-mode current", (("common_current", "i+ + i−"),), "dBuA"),
)
_LOOKS: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "marker": "o", "markerfacecolor": BLUE, "markersize": 3.5},
    {"color": VERMILION, "marker": "s", "markerfacecolor": "none", "markersize": 6.5},
)
_DETECTORS = {"peak": "-", "quasi_peak": DASHES[1], "average": DASHES[3]}
_NAMED_AT = (0.96, 0.6, 0.3)  # of the axis, where the name of each limit ends
_PAPER = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5}
_LIMITS = (BLACK, PURPLE, "#777777")


@styled
def emissions_figure(result: Any) -> Figure:
    """Levels of an `EmissionResult` over the logarithm of the frequency, lines and modes, with its limits drawn in.

    The peak detector is drawn; the worst distance to a limit stands beside its harmonic. A row of current is there only
    where a limit of current is. Raises FilterlibError where there is nothing to draw, with the reason.
    """
    if result.reason:
        raise FilterlibError(reason_text(result.reason))
    currents = any(one.limit.unit == "dBuA" for one in result.limits)
    rows = _ROWS if currents else _ROWS[:2]
    title = f"Conducted emission at the {result.side}, {result.network}"
    height = 1.3 + 2.7 * len(rows)
    figure, panels = new_figure(title, len(rows), height=height, share="x", gap=0.6)
    figure.subplots_adjust(bottom=0.8 / height)
    for axes, (words, places, unit) in zip(panels, rows, strict=True):
        drawn = [
            _draw_levels(axes, result, place, label, look) for (place, label), look in zip(places, _LOOKS, strict=False)
        ]
        names = {place for place, _ in places}
        _draw_highest(axes, result, names)
        limits = [one for one in result.limits if _belongs(one.limit, words)]
        _frame(axes, result, drawn, limits)
        _draw_limits(axes, limits)
        _mark_worst(axes, [margin for margin in result.margins if margin.place in names])
        axes.set_ylabel(f"{words}\npeak level [{unit.replace('u', 'µ')}]")
        legend_above(axes, columns=3)
    axis = "frequency (largest harmonic of each fortieth of a decade)"
    prefixed(panels[-1], "x", "Hz", f"{axis}\n{ESTIMATE}")
    return figure


def _belongs(limit: Any, words: str) -> bool:
    row = 0 if limit.of == "line" else 2 if limit.unit == "dBuA" else 1
    return _ROWS[row][0] == words


def _draw_levels(axes: Axes, result: Any, place: str, label: str, look: dict[str, Any]) -> np.ndarray:
    frequencies, level = thinned(result.frequencies, result.levels[place, "peak"])
    axes.semilogx(frequencies, level, label=label, linewidth=0.7, **look)
    return level


def _draw_highest(axes: Axes, result: Any, places: set[str]) -> None:
    """What the highest of these places may reach over the uncertainty."""
    if not result.high:
        return
    highest = np.max([result.high[place] for place in places], axis=0)
    look: dict[str, Any] = {"color": "#555555", "linewidth": 0.9, "linestyle": (0, (1, 2))}
    axes.semilogx(*thinned(result.frequencies, highest), label="highest over the uncertainty", **look)


def _draw_limits(axes: Axes, limits: list[Any]) -> None:
    """Every piece, and its name on it; the names of several limits stand at different frequencies."""
    left, right = np.log(axes.get_xlim())
    for number, one in enumerate(limits):
        at = np.exp(left + _NAMED_AT[number % len(_NAMED_AT)] * (right - left))
        for detector in one.limit.detectors:
            pieces = [piece for piece in one.limit.pieces if piece.detector == detector]
            gaps = [(*zip(piece.frequencies, piece.levels, strict=True), (np.nan, np.nan)) for piece in pieces]
            look: dict[str, Any] = {"color": _LIMITS[number % len(_LIMITS)], "linestyle": _DETECTORS[detector]}
            axes.semilogx(*np.concatenate(gaps).T, linewidth=1.8, **look)
            level = float(one.limit.at(at, detector))
            if np.isfinite(level):
                words = f"{one.limit.title}, {detector_words(detector)}" + " (from memory)" * one.limit.from_memory
                axes.annotate(
                    words, (at, level), xytext=(0, 3), textcoords="offset points", ha="right", va="bottom", fontsize=8.5,
                    bbox=_PAPER,
                )  # fmt: skip


def _frame(axes: Axes, result: Any, drawn: list[np.ndarray], limits: list[Any]) -> None:
    """The axes hold every limit, and of what is drawn no more than `BELOW_LIMIT` below the lowest of them."""
    right = float(result.frequencies[-1]) * 1.15
    if result.trusted_to < right / 1.2:
        axes.axvspan(result.trusted_to, right, facecolor="none", edgecolor="#bbbbbb", hatch="//", linewidth=0)
        axes.text(result.trusted_to, 0.03, " model not trusted", transform=axes.get_xaxis_transform(), fontsize=9)
    axes.set_xlim(float(result.frequencies[0]) / 1.15, right)
    levels = [level for one in limits for piece in one.limit.pieces for level in piece.levels]
    top = max([axes.dataLim.y1, *levels])
    bottom = max(min(float(level.min()) for level in drawn), min(levels, default=top - 40) - BELOW_LIMIT)
    axes.set_ylim(min([bottom, *levels]) - 5, top + 9)


def _mark_worst(axes: Axes, margins: list[Any]) -> None:
    """The harmonic that comes nearest to a limit, or lies above one, with its distance in words."""
    if not margins:
        return
    worst = min(margins, key=lambda margin: margin.margin)
    above = worst.margin < 0
    axes.plot(
        worst.frequency, worst.level, "o", markersize=11, markerfacecolor="none", color=BLACK, markeredgewidth=1.4
    )
    left = np.log(worst.frequency) > np.mean(np.log(axes.get_xlim()))
    axes.annotate(
        f"{abs(worst.margin):.1f} dB {'ABOVE' if above else 'below'} the limit at {format_quantity(worst.frequency, 'Hz')}",
        (worst.frequency, worst.level), xytext=(-10 if left else 10, 10), textcoords="offset points",
        ha="right" if left else "left", va="bottom", fontsize=9.5, fontweight="bold" if above else "normal",
        bbox=_PAPER,
    )  # fmt: skip
