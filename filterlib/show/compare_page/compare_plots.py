"""Figures of two designs laid over each other: A solid with full marks, B dashed with hollow ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from filterlib.show.figures.figure import Axis, Curve, Figure, Level, Look, Mark, Plot, joint_extent
from filterlib.show.figures.plots import DEEPEST, FREQUENCY, HARMONICS, ZERO, dbuv, thinned, untrusted
from filterlib.show.style import BLUE, DASHES, VERMILION
from filterlib.units import decibels
from filterlib.words.labels import bandwidth_words
from filterlib.words.quantities import number

if TYPE_CHECKING:
    from filterlib.analysis.linear.linear_result import BodeResult
    from filterlib.analysis.ripple.ripple_result import RippleResult

LOOKS = (Look(BLUE, width=2.4), Look(VERMILION, DASHES[1], 2.1))
_MARKED = (
    Look(BLUE, width=1.2, marker="o", size=4.8),
    Look(VERMILION, DASHES[1], 1.2, marker="s", size=8.0, hollow=True),
)
SHOWN = 80.0  # [dB] below the highest harmonic at which the figure ends
HEIGHT, LOW = 230.0, 120.0  # [px] of a plot alone, and of each of two below each other
WIDE = 620.0  # [px] of each figure, two of which stand side by side


def effect_figure(bodes: Sequence[BodeResult], names: Sequence[str], switching: Sequence[float]) -> Figure:
    """What each filter does to its own converter's ripple at a load [dB], with each switching frequency marked.

    ``bodes``: of both designs, at that load; ``names``: for the legend; ``switching`` [Hz].
    """
    curves = []
    for bode, name, look in zip(bodes, names, LOOKS, strict=True):
        level = decibels(bode.with_over_without)
        curves.append(Curve(bode.frequencies, np.where(level > -DEEPEST, level, np.nan), look, name))
    lines = [
        Level(frequency, replace(look, width=1.2), f"{letter} switches", upright=True)
        for letter, frequency, look in zip("AB", switching, LOOKS, strict=True)
    ]
    y = Axis("load with over without the filter", "dB")
    plot = Plot(FREQUENCY, y, (Level(0.0, ZERO), *lines, *curves), height=HEIGHT, legend=True)
    return Figure(f"Effect of each filter at {bodes[0].load}", ((plot,),), width=WIDE)


def waveforms_figure(ripples: Sequence[RippleResult], load: str, names: Sequence[str]) -> Figure:
    """Waveforms at a load behind both filters [V], two of the longer periods, one row a bandwidth, on one scale."""
    longest = 2 / min(ripple.switching_frequency for ripple in ripples)
    rows = []
    for label in ("20MHz", "full"):
        curves = tuple(
            _wave(ripple, (load, label), longest, look, name)
            for ripple, name, look in zip(ripples, names, LOOKS, strict=True)
        )
        sizes = ", ".join(
            f"{letter} {number(ripple.figures[load, label].peak_to_peak, 'V')}"
            for letter, ripple in zip("AB", ripples, strict=True)
        )
        title = f"{bandwidth_words(label)}: {sizes} peak to peak"
        x = Axis("time", "s", limits=(0.0, longest))
        rows.append((Plot(x, Axis("voltage", "V"), curves, title, height=LOW, legend=label == "20MHz"),))
    return Figure(f"Waveforms at {load}, with the filter", tuple(rows), share="x", width=WIDE)


def _wave(ripple: RippleResult, key: tuple[str, str], longest: float, look: Look, name: str) -> Curve:
    """As many periods as fit."""
    period, wave = 1 / ripple.switching_frequency, ripple.waveforms[key]
    count = int(np.ceil(longest / period))
    times = np.concatenate([ripple.times + turn * period for turn in range(count)])
    return Curve(times, np.tile(wave - wave.mean(), count), look, name)


def spectra_figure(ripples: Sequence[RippleResult], load: str, names: Sequence[str]) -> Figure:
    """Harmonics at a load behind both filters [dBµV, rms of each]."""
    curves = [
        Curve(*thinned(ripple.frequencies, dbuv(ripple.spectra[load])), look, name)
        for ripple, name, look in zip(ripples, names, _MARKED, strict=True)
    ]
    low, high = joint_extent(curves, "y")
    left, right = joint_extent(curves, "x")
    x = Axis(HARMONICS, "Hz", log=True, limits=(left / 1.2, right * 1.2) if right else (None, None))
    y = Axis("level", "dBµV", limits=(max(low, high - SHOWN) - 3, high + 5))
    marks: tuple[Mark, ...] = (*untrusted(min(ripple.trusted_to for ripple in ripples), right * 1.2), *curves)
    return Figure(
        f"Harmonics at {load}, with the filter", ((Plot(x, y, marks, height=HEIGHT, legend=True),),), width=WIDE
    )
