"""Figures of two designs laid over each other: A solid with full marks, B dashed with hollow ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.show.plots import dbuv, thinned
from filterlib.show.style import BLUE, DASHES, VERMILION, legend_above, new_figure, prefixed, styled
from filterlib.units import decibels
from filterlib.words.labels import bandwidth_words
from filterlib.words.quantities import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOOKS: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linestyle": DASHES[0], "linewidth": 1.8},
    {"color": VERMILION, "linestyle": DASHES[1], "linewidth": 1.6},
)
_MARKS: tuple[dict[str, Any], ...] = (
    {"marker": "o", "markersize": 3.5, "markerfacecolor": BLUE},
    {"marker": "s", "markersize": 6, "markerfacecolor": "none"},
)
DEEPEST = 160.0  # [dB] beyond which rounding begins
SHOWN = 80.0  # [dB] below the highest harmonic at which the figure ends


@styled
def effect_figure(bodes: Sequence[Any], names: Sequence[str], switching: Sequence[float]) -> Figure:
    """What each filter does to its own converter's ripple at a load [dB], with each switching frequency marked.

    ``bodes``: of both designs, at that load; ``names``: for the legend; ``switching`` [Hz].
    """
    figure, (axes,) = new_figure(f"Effect of each filter at {bodes[0].load}", height=4.2)
    for bode, name, look in zip(bodes, names, LOOKS, strict=True):
        level = decibels(bode.with_over_without)
        axes.semilogx(bode.frequencies, np.where(level > -DEEPEST, level, np.nan), label=name, **look)
    axes.axhline(0, color="#999999", linewidth=0.9)
    for number_, (frequency, look) in enumerate(zip(switching, LOOKS, strict=True)):
        axes.axvline(frequency, color=look["color"], linestyle=look["linestyle"], linewidth=0.9)
        axes.annotate(
            f"{'AB'[number_]} switches", (frequency, 0.03 + 0.07 * number_), xycoords=("data", "axes fraction"), xytext=(4, 0),
            textcoords="offset points", fontsize=9, color=look["color"],
        )  # fmt: skip
    prefixed(axes, "x", "Hz", "frequency")
    axes.set_ylabel("load with over without the filter [dB]")
    legend_above(axes, columns=1)
    _room_for(figure, 2)
    return figure


@styled
def waveforms_figure(ripples: Sequence[Any], load: str, names: Sequence[str]) -> Figure:
    """Waveforms at a load behind both filters [V], two of the longer periods, one row a bandwidth, on one scale."""
    labels = ("20MHz", "full")
    figure, panels = new_figure(f"Waveforms at {load}, with the filter", len(labels), height=5.4, share="x", gap=0.4)
    longest = 2 / min(ripple.switching_frequency for ripple in ripples)
    for axes, label in zip(panels, labels, strict=True):
        for ripple, name, look in zip(ripples, names, LOOKS, strict=True):
            _draw_wave(axes, ripple, (load, label), longest, {**look, "label": name})
        told = ", ".join(
            f"{letter} {number(ripple.figures[load, label].peak_to_peak, 'V')}"
            for letter, ripple in zip("AB", ripples, strict=True)
        )
        axes.set_xlim(0, longest)
        axes.set_ylabel("voltage")
        prefixed(axes, "y", "V", "voltage")
        axes.annotate(
            f"{bandwidth_words(label)}: {told} peak to peak", (1, 1), xycoords="axes fraction", xytext=(0, 3),
            textcoords="offset points", ha="right", va="bottom",
        )  # fmt: skip
    prefixed(panels[-1], "x", "s", "time")
    legend_above(panels[0], columns=1)
    _room_for(figure, 2)
    return figure


def _draw_wave(axes: Axes, ripple: Any, key: tuple[str, str], longest: float, look: dict[str, Any]) -> None:
    """As many periods as fit."""
    period, wave = 1 / ripple.switching_frequency, ripple.waveforms[key]
    count = int(np.ceil(longest / period))
    times = np.concatenate([ripple.times + turn * period for turn in range(count)])
    axes.plot(times, np.tile(wave - wave.mean(), count), **look)


@styled
def spectra_figure(ripples: Sequence[Any], load: str, names: Sequence[str]) -> Figure:
    """Harmonics at a load behind both filters [dBµV, rms of each]."""
    figure, (axes,) = new_figure(f"Harmonics at {load}, with the filter", height=4.2)
    tops = []
    for ripple, name, look, mark in zip(ripples, names, LOOKS, _MARKS, strict=True):
        frequencies, level = thinned(ripple.frequencies, dbuv(ripple.spectra[load]))
        if level.size:
            axes.semilogx(frequencies, level, label=name, **{**look, "linewidth": 0.9}, **mark)
            tops.append(float(level.max()))
    if tops:
        low, high = axes.get_ylim()
        axes.set_ylim(max(low, max(tops) - SHOWN), high)
    trusted = min(ripple.trusted_to for ripple in ripples)
    right = axes.get_xlim()[1]
    if trusted < right:
        axes.axvspan(trusted, right, facecolor="none", edgecolor="#bbbbbb", hatch="//", linewidth=0)
        axes.text(trusted, 0.03, " model not trusted", transform=axes.get_xaxis_transform(), fontsize=9)
        axes.set_xlim(right=right)
    prefixed(axes, "x", "Hz", "frequency (largest harmonic of each fortieth of a decade)")
    axes.set_ylabel("level [dBµV]")
    legend_above(axes, columns=1)
    _room_for(figure, 2)
    return figure


def _room_for(figure: Figure, lines: int) -> None:
    """A legend of several lines above the plot."""
    height = float(figure.get_size_inches()[1])
    figure.subplots_adjust(top=1 - (0.2 + 0.23 * lines) / height)
