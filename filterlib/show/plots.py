"""One figure a result: Bode plot, impedances, waveforms, harmonics, sources, the band and its causes, steps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.show.style import (
    AFTER,
    BEFORE,
    BLACK,
    BLUE,
    COLOURS,
    DASHES,
    HATCHES,
    ORANGE,
    SKY,
    VERMILION,
    legend_above,
    new_figure,
    prefixed,
    save,
    styled,
    svg,
)  # fmt: skip
from filterlib.units import decibels, format_quantity
from filterlib.words.labels import bandwidth_words, source_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "band_figure", "bode_figure", "impedance_figure", "insertion_figure", "ripple_figure", "save", "sources_figure",
    "spectrum_figure", "steps_figure", "svg",
]  # fmt: skip

_PAPER = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1}  # behind words that cross a curve
SHOWN = 8  # uncertain_parameters that a figure names
VANISHED = 160.0  # [dB] below the largest harmonic, where rounding begins
_SYSTEMS: tuple[
    dict[str, Any], ...
] = (  # curves of test systems that coincide lie on one another, the narrow on the wide
    {"color": SKY, "linewidth": 4.4},
    {"color": VERMILION, "linewidth": 2.4, "linestyle": DASHES[1]},
    {"color": BLUE, "linewidth": 1.6, "linestyle": DASHES[3]},
)
BINS_PER_DECADE = 40  # of the harmonics' figure; the largest harmonic of each bin is drawn


@styled
def bode_figure(bode: Any, *, switching_frequency: float | None = None) -> Figure:
    """Magnitude [dB] and phase [°] of the three ratios of a `BodeResult`, its resonances named."""
    figure, (level, phase) = new_figure(f"Frequency response to {bode.load}", 2, height=5.6, share="x")
    curves = (
        ("load / ripple source", bode.load_over_source),
        ("load / terminals", bode.load_over_terminals),
        ("with / without filter", bode.with_over_without),
    )
    for index, (label, ratio) in enumerate(curves):
        look: dict[str, Any] = {"color": COLOURS[index], "linestyle": DASHES[index]}
        level.semilogx(bode.frequencies, decibels(ratio), label=label, **look)
        phase.semilogx(bode.frequencies, np.degrees(np.unwrap(np.angle(ratio))), **look)
    _mark_resonances(level, bode.resonances)
    _mark_frequency(level, switching_frequency)
    _mark_frequency(phase, switching_frequency, text="")
    _level_limits(level)
    _degrees(phase)
    prefixed(phase, "x", "Hz", "frequency")
    level.set_ylabel("level [dB]")
    legend_above(level)
    return figure


@styled
def impedance_figure(impedance: Any, *, switching_frequency: float | None = None) -> Figure:
    """Magnitude [Ω] and phase [°] of what the load sees, what the converter sees, and the load's own input."""
    figure, (size, phase) = new_figure(f"Impedances at {impedance.load}", 2, height=5.6, share="x")
    curves = (
        ("seen by the load", impedance.seen_by_load),
        ("seen by the converter", impedance.seen_by_converter),
        ("the load's own input", impedance.load_input),
    )
    for index, (label, values) in enumerate(curves):
        look: dict[str, Any] = {"color": COLOURS[index], "linestyle": DASHES[index]}
        size.loglog(impedance.frequencies, _finite(np.abs(values)), label=label, **look)
        phase.semilogx(impedance.frequencies, _finite(np.degrees(np.angle(values))), **look)
    _mark_frequency(size, switching_frequency)
    _mark_frequency(phase, switching_frequency, text="")
    _degrees(phase)
    prefixed(phase, "x", "Hz", "frequency")
    prefixed(size, "y", "Ω", "magnitude")
    legend_above(size)
    return figure


@styled
def insertion_figure(insertion: Any, load: str, *, switching_frequency: float | None = None) -> Figure:
    """Insertion loss [dB] in each test system, symmetrical and asymmetrical, with the real effect at a load drawn in."""
    figure, panels = new_figure(f"Insertion loss and real effect at {load}", 2, height=5.8, share="x")
    for axes, mode in zip(panels, ("symmetrical", "asymmetrical"), strict=True):
        for (system, loss), look in zip(getattr(insertion, mode).items(), _SYSTEMS, strict=True):
            axes.semilogx(insertion.frequencies, _finite(loss), label=f"{system.replace('/', ' / ')} Ω", **look)
        real = getattr(insertion, f"real_{mode}").get(load)
        if real is not None:
            look = {"color": BLACK, "linewidth": 2, "marker": "D", "markersize": 5, "markevery": 0.07}
            axes.semilogx(insertion.frequencies, _finite(real), label="in this circuit", **look)
        axes.axhline(0, color="#aaaaaa", linewidth=0.8, zorder=1)
        _level_limits(axes)
        _mark_frequency(axes, switching_frequency, text="switching" if mode == "symmetrical" else "")
        axes.set_ylabel(f"{mode} [dB]")
    prefixed(panels[1], "x", "Hz", "frequency")
    legend_above(panels[0])
    return figure


@styled
def ripple_figure(ripple: Any, load: str, *, limits: Mapping[str, float] | None = None) -> Figure:
    """Waveforms at a load without and with the filter, two periods, one row a bandwidth.

    ``limits``: the peak-to-peak limit [V] of each bandwidth that has one; drawn about the middle of the waveform.
    """
    wanted = dict.fromkeys(("20MHz", "full", *(limits or {})))
    bandwidths = [label for label in wanted if (load, label) in ripple.waveforms]
    rows = len(bandwidths)
    figure, panels = new_figure(f"Ripple at {load}", rows, 2, height=0.9 + 2.4 * rows, share="x", gap=0.4)
    for row, label in enumerate(bandwidths):
        for column, (place, words) in enumerate(((f"{load}_before", "without filter"), (load, "with filter"))):
            axes = panels[2 * row + column]
            if (place, label) not in ripple.waveforms:
                axes.set_title(f"{words}: not computed")
                continue
            _draw_waveform(axes, ripple, (place, label), BEFORE if column == 0 else AFTER)
            _draw_limit(axes, ripple.waveforms[place, label], (limits or {}).get(label))
            axes.set_title(f"{words}, {bandwidth_words(label)}: {_volts(ripple.figures[place, label].peak_to_peak)}")
            prefixed(axes, "y", "V", "voltage")
            prefixed(axes, "x", "s", "time" if row == rows - 1 else "")
    return figure


def _draw_waveform(axes: Axes, ripple: Any, key: tuple[str, str], colour: str) -> None:
    period = 1 / ripple.switching_frequency
    wave = ripple.waveforms[key]
    axes.plot(np.concatenate((ripple.times, ripple.times + period)), np.tile(wave, 2), color=colour, linewidth=1.2)
    axes.set_xlim(0, 2 * period)
    figure = ripple.figures[key]
    if np.isfinite(figure.low) and np.isfinite(figure.high):
        middle = (wave.max() + wave.min()) / 2
        for size in (figure.low, figure.high):
            for side in (-0.5, 0.5):
                axes.axhline(middle + side * size, color="#555555", linewidth=0.9, linestyle=(0, (1, 2)))
        for side in (-0.5, 0.5):
            axes.axhspan(middle + side * figure.low, middle + side * figure.high, color="#000000", alpha=0.08, lw=0)


def _draw_limit(axes: Axes, wave: np.ndarray, limit: float | None) -> None:
    """Two lines that hold a wave which just meets its limit, with a word beside them."""
    if limit is None:
        return
    middle = (wave.max() + wave.min()) / 2
    for side in (-0.5, 0.5):
        axes.axhline(middle + side * limit, color=BLACK, linewidth=1.2, linestyle=(0, (8, 3)))
    axes.annotate(
        f"limit {format_quantity(limit, 'V')}", (1, middle + limit / 2), xycoords=("axes fraction", "data"),
        xytext=(-4, 3), textcoords="offset points", ha="right", va="bottom", fontsize=9, bbox=_PAPER,
    )  # fmt: skip


@styled
def spectrum_figure(ripple: Any, load: str) -> Figure:
    """Harmonics at a load without and with the filter [dBµV, rms of each], the untrusted range hatched."""
    figure, (axes,) = new_figure(f"Harmonics at {load}", height=3.9)
    places = ((f"{load}_before", "without filter", BEFORE, "o", "none"), (load, "with filter", AFTER, "s", AFTER))
    for place, words, colour, marker, fill in places:
        if place in ripple.spectra:
            frequencies, level = thinned(ripple.frequencies, dbuv(ripple.spectra[place]))
            look: dict[str, Any] = {"color": colour, "marker": marker, "markerfacecolor": fill, "markersize": 3.5}
            axes.semilogx(frequencies, level, label=words, linewidth=0.7, **look)
    axes.axvline(20e6, color="#777777", linewidth=1, linestyle=(0, (2, 2)))
    _annotate_top(axes, 20e6, "20 MHz", "right")
    right = float(ripple.frequencies[-1]) * 1.2
    if ripple.trusted_to < right:
        axes.axvspan(ripple.trusted_to, right, facecolor="none", edgecolor="#bbbbbb", hatch="//", linewidth=0)
        axes.text(ripple.trusted_to, 0.02, " model not trusted", transform=axes.get_xaxis_transform(), fontsize=9)
    axes.set_xlim(float(ripple.frequencies[0]) / 1.2, right)
    _level_limits(axes, span=140.0, floor=-20.0)
    prefixed(axes, "x", "Hz", "frequency (largest harmonic of each fortieth of a decade)")
    axes.set_ylabel("level [dBµV]")
    legend_above(axes)
    return figure


def dbuv(amplitudes: np.ndarray) -> np.ndarray:
    """Level of harmonics [dB above 1 µV rms] from their one-sided peak amplitudes [V].

    >>> float(dbuv(np.array([2**0.5]))[0].round(9))
    120.0
    """
    return decibels(np.asarray(amplitudes) / np.sqrt(2) / 1e-6)


def thinned(frequencies: np.ndarray, level: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The largest of each narrow bin; a harmonic that is zero but for rounding is left out."""
    present = level > np.max(level, initial=-np.inf) - VANISHED
    frequencies, level = frequencies[present], level[present]
    bins = np.floor(np.log10(frequencies) * BINS_PER_DECADE)
    order = np.lexsort((-level, bins))
    chosen = order[np.unique(bins[order], return_index=True)[1]]
    return frequencies[chosen], level[chosen]


@styled
def sources_figure(ripple: Any, load: str) -> Figure:
    """What each source makes at a load: alone, and by how much the whole falls without it [V peak to peak]."""
    bandwidths = [label for label in ("20MHz", "full") if (load, label) in ripple.figures]
    names = list(ripple.figures[load, bandwidths[0]].by_source) if bandwidths else []
    title, columns, height = f"Sources of the ripple at {load}", max(len(bandwidths), 1), 1.3 + 0.62 * len(names)
    figure, panels = new_figure(title, 1, columns, height=height, share="y", wide=True)
    for axes, label in zip(panels, bandwidths, strict=False):
        result = ripple.figures[load, label]
        alone = [result.by_source[name] for name in names]
        falls = [result.reduction.get(name, np.nan) for name in names]
        _bars(axes, alone, -0.19, "alone", BLUE, 0)
        _bars(axes, falls, 0.19, "the whole falls without it by", ORANGE, 1)
        axes.set_title(f"{bandwidth_words(label)}: {_volts(result.peak_to_peak)} in all", pad=24)
        largest = np.nanmax([*alone, *falls, 1e-9])
        axes.set_xlim(-0.25 * largest if np.nanmin(falls) < 0 else 0.0, 1.3 * largest)
        prefixed(axes, "x", "V", "peak to peak")
        axes.grid(visible=False, axis="y")
    if bandwidths:
        panels[0].set_yticks(range(len(names)), [source_words(name) for name in names])
        panels[0].invert_yaxis()
        legend_above(panels[0])
    return figure


def _bars(axes: Axes, values: list[float], shift: float, label: str, colour: str, hatch: int) -> None:
    rows = np.arange(len(values)) + shift
    bars = axes.barh(rows, values, 0.36, label=label, color=colour, hatch=HATCHES[hatch], ec="white", linewidth=0)
    axes.bar_label(bars, [_volts(value) for value in values], padding=3, fontsize=9)


@styled
def band_figure(ripple: Any, load: str, *, bandwidth: str = "20MHz", limit: float | None = None) -> Figure:
    """How far each unknown alone moves the ripple [V peak to peak], the whole band above them, the limit drawn in.

    The uncertain_parameters' ranges are of the first load in 20 MHz; the `SHOWN` that move it most are drawn.
    """
    whole = ripple.figures[load, bandwidth]
    uncertain_parameters = ripple.uncertain_parameters[:SHOWN]
    figure, (axes,) = new_figure(
        f"What makes the band at {load}", height=1.4 + 0.5 * (len(uncertain_parameters) + 1), wide=True
    )
    labels = ["all uncertain_parameters together", *map(_range_words, uncertain_parameters)]
    if np.isfinite(whole.low) and np.isfinite(whole.high):
        _draw_range(axes, 0, whole.low, whole.high, BLACK)
    for row, unknown in enumerate(uncertain_parameters, 1):
        _draw_range(axes, row, unknown.pp_at_low, unknown.pp_at_high, BLUE)
    axes.axvline(whole.peak_to_peak, color="#555555", linewidth=1, linestyle=(0, (1, 2)))
    _annotate_top(axes, whole.peak_to_peak, f"nominal {_volts(whole.peak_to_peak)}", "right")
    if limit is not None:
        axes.axvline(limit, color=BLACK, linewidth=1.2, linestyle=(0, (8, 3)))
        _annotate_top(axes, limit, f"limit {_volts(limit)}", "left" if limit >= whole.peak_to_peak else "right")
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.4, -0.6)
    _room_for_texts(axes, ripple, whole, limit)
    axes.grid(visible=False, axis="y")
    prefixed(axes, "x", "V", f"ripple at {load}, {bandwidth_words(bandwidth)}, peak to peak")
    return figure


def _range_words(unknown: Any) -> str:
    if not np.isfinite(unknown.low):
        return str(unknown.label)
    low, high = (format_quantity(value, unknown.unit) for value in (unknown.low, unknown.high))
    return f"{unknown.label}\n{low} to {high}"


def _draw_range(axes: Axes, row: int, low: float, high: float, colour: str) -> None:
    axes.plot([low, high], [row, row], color=colour, linewidth=5, solid_capstyle="butt")
    axes.plot([low, high], [row, row], color=colour, linestyle="none", marker="|", markersize=13, markeredgewidth=1.6)
    for value, side, align in ((low, -8, "right"), (high, 8, "left")):
        axes.annotate(
            _volts(value), (value, row), xytext=(side, 0), textcoords="offset points", ha=align, va="center", fontsize=9
        )


def _room_for_texts(axes: Axes, ripple: Any, whole: Any, limit: float | None) -> None:
    """Widen the axis so that the words at both ends of a range stand inside it."""
    values = [whole.low, whole.high, whole.peak_to_peak, np.nan if limit is None else limit]
    values += [
        end for unknown in ripple.uncertain_parameters[:SHOWN] for end in (unknown.pp_at_low, unknown.pp_at_high)
    ]
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    room = 0.16 * max(high - low, 0.05 * high)
    axes.set_xlim(low - room, high + room)


@styled
def steps_figure(steps: Any) -> Figure:
    """What a step of the regulated voltage and one of the load's current do at the load."""
    figure, (first, second) = new_figure(f"Steps at {steps.load}", 1, 2, height=3.2)
    rise = f"load current rises by {format_quantity(steps.step_current, 'A')}, time constant "
    panels = (
        (first, steps.converter_step, "regulated voltage rises by 1 V"),
        (second, steps.load_step, rise + format_quantity(steps.rise_time, "s")),
    )
    for axes, values, title in panels:
        axes.plot(steps.times, values, color=AFTER)
        axes.axhline(values[-1], color="#555555", linewidth=1, linestyle=(0, (1, 2)))
        axes.set_title(title)
        axes.set_xlim(0, steps.times[-1])
        prefixed(axes, "x", "s", "time")
        prefixed(axes, "y", "V", "change of the load's voltage")
    return figure


def _mark_resonances(axes: Axes, resonances: Any) -> None:
    for frequency, peak, _ in resonances:
        axes.plot(frequency, peak, marker="v", color=BLACK, markersize=6, linestyle="none")
        axes.annotate(
            format_quantity(frequency, "Hz"),
            (frequency, peak),
            xytext=(0, 6),
            textcoords="offset points",
            ha="center",
            fontsize=9,
        )


def _mark_frequency(axes: Axes, frequency: float | None, *, text: str = "switching") -> None:
    if frequency is None:
        return
    axes.axvline(frequency, color="#777777", linewidth=1, linestyle=(0, (2, 2)))
    if text:
        axes.annotate(
            text, (frequency, 0), xycoords=("data", "axes fraction"), xytext=(3, 4), textcoords="offset points",
            fontsize=9, va="bottom",
        )  # fmt: skip


def _annotate_top(axes: Axes, value: float, text: str, side: str) -> None:
    shift, align = (4, "left") if side == "left" else (-4, "right")
    axes.annotate(
        text, (value, 1), xycoords=("data", "axes fraction"), xytext=(shift, 3), textcoords="offset points",
        fontsize=9, ha=align, va="bottom",
    )  # fmt: skip


def _level_limits(axes: Axes, span: float = 160.0, floor: float = -np.inf) -> None:
    """Keep the part that matters: at most ``span`` decibels below the top, and nothing below ``floor``."""
    low, high = axes.get_ylim()
    axes.set_ylim(max(low, high - span, min(floor, high - 20)), high + 0.06 * min(span, high - low))


def _degrees(axes: Axes) -> None:
    from matplotlib.ticker import MultipleLocator

    low, high = axes.get_ylim()
    axes.set_ylabel("phase [°]")
    axes.yaxis.set_major_locator(MultipleLocator(next(s for s in (15, 45, 90, 180, 360, 1e4) if high - low < 6 * s)))


def _finite(values: np.ndarray) -> np.ndarray:
    return np.where(np.isfinite(values), values, np.nan)


def _volts(value: float) -> str:
    return format_quantity(float(value), "V") if np.isfinite(value) else "not known"
