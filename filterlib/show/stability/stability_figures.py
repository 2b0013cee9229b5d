"""Stability as figures: the impedance that feeds a load beside the load's own, and their ratio in the complex plane."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.minor_loop import ANGLE, GAIN
from filterlib.analysis.stability.stability_result import Margin
from filterlib.show.figures.figure import Axis, Curve, Figure, Level, Look, Note, Plot
from filterlib.show.figures.plots import FREQUENCY, MAGNITUDE
from filterlib.show.style import BLACK, BLUE, DASHES, GREY, LONG, VERMILION
from filterlib.units import format_quantity

WINDOW, HIGH = (
    (-1.7, 1.1),
    0.82,
)  # of the complex plane: real part, and the imaginary part to either side, a circle being one
_CIRCLE = np.linspace(0, 2 * np.pi, 361)


def ratio_figure(one: Margin) -> Figure:
    """Source impedance back from the load, and the load's own with half of it: where a magnitude rule would draw its line."""
    f = one.frequencies
    own = np.abs(one.load_impedance)
    marks = (
        Curve(f, np.abs(one.source_impedance), Look(BLUE, width=2.4), "seen by the load"),
        Curve(f, own, Look(VERMILION, LONG, 2.0), "the load's own: 0 dB rule"),
        Curve(f, own / GAIN, Look(VERMILION, DASHES[3], 1.6), "half of it: 6 dB rule"),
    )
    rings = one.critical_frequency
    level = (Level(rings, words=format_quantity(rings, "Hz", 3), upright=True),) if rings and np.isfinite(rings) else ()
    limits = (float(np.abs(one.source_impedance).min()) / 2, float(10 * np.median(own[: len(own) // 3])))
    axis = Axis(MAGNITUDE.label, MAGNITUDE.unit, log=True, limits=limits)
    return Figure(
        f"Impedances at {one.load}, {one.point}",
        ((Plot(FREQUENCY, axis, (*marks, *level), legend=True, height=260),),),
    )


def nyquist_figure(one: Margin) -> Figure:
    """The ratio of the impedances in the complex plane, as it is and at the critical power, with the rules' borders."""
    scale = 10 ** (one.gain_margin / 20) if np.isfinite(one.gain_margin) else 1.0
    marks = [Curve(*_both(one.loop), Look(BLUE, width=2.4), "at the power drawn")]
    if scale != 1.0:
        marks.append(Curve(*_both(scale * one.loop), Look(BLUE, DASHES[1], 1.4), "at the critical power"))
    edge, turn = 1 / GAIN, np.radians(ANGLE)
    arc = edge * np.exp(1j * np.linspace(np.pi - turn, np.pi + turn, 61))
    ray = np.array([edge, 4.0]) * np.exp(1j * (np.pi - turn))
    region = np.concatenate([ray[::-1], arc, ray.conj()])
    marks.append(Curve(region.real, region.imag, Look(VERMILION, LONG, 1.6), "forbidden region, 6 dB and 60°"))
    marks.append(Curve(np.cos(_CIRCLE), np.sin(_CIRCLE), Look(GREY, DASHES[3], 1.2), "0 dB rule"))
    marks.append(Curve(np.array([-edge, -edge]), np.array([-3.0, 3.0]), Look(GREY, LONG, 1.2), "opposing argument"))
    marks.append(
        Curve(np.array([-1.0]), np.array([0.0]), Look(BLACK, marker="D", size=9.0), "\N{MINUS SIGN}1", joined=False)
    )
    axes = Axis("real part", "", limits=WINDOW), Axis("imaginary part", "", limits=(-HIGH, HIGH))
    note = Note(-1.0, 0.0, "\N{MINUS SIGN}1", (0.0, 10.0))
    return Figure(
        f"Impedance ratio at {one.load}, {one.point}", ((Plot(*axes, (*marks, note), legend=True, height=485),),)
    )


def _both(loop: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Real and imaginary part for frequencies of both signs; what is far outside the window is a gap."""
    whole = np.concatenate([loop, [np.nan], loop.conj()])
    whole = np.where(np.abs(whole) < 3 * abs(WINDOW[0]), whole, np.nan)
    return whole.real, whole.imag
