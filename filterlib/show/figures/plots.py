"""One figure a result: Bode plot, impedances, waveforms, harmonics, sources, the range and its causes, steps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from filterlib.analysis.linear.linear_result import coinciding
from filterlib.show.figures.drawing import save, svg
from filterlib.show.figures.figure import (
    Align,
    Axis,
    Bars,
    Curve,
    Figure,
    Level,
    Look,
    Mark,
    Note,
    Plot,
    Span,
    Values,
    joint_extent,
)
from filterlib.show.style import (
    AFTER,
    BEFORE,
    BLACK,
    BLUE,
    COLOURS,
    DASHES,
    GUIDE,
    LONG,
    ORANGE,
    SKY,
    VERMILION,
)
from filterlib.units import decibels, format_quantity
from filterlib.words.labels import bandwidth_words, source_words
from filterlib.words.quantities import joined

if TYPE_CHECKING:
    from filterlib.analysis.linear.linear_result import BodeResult, ImpedanceResult, InsertionResult, StepsResult
    from filterlib.analysis.ripple.ripple_result import RippleResult, Sensitivity

__all__ = [
    "band_figure", "bode_figure", "impedance_figure", "insertion_figure", "ripple_figure", "save", "sources_figure",
    "spectrum_figure", "steps_figure", "svg",
]  # fmt: skip

SHOWN = 8  # uncertain parameters that a figure names
VANISHED = 160.0  # [dB] below the largest harmonic, where rounding begins
BINS_PER_DECADE = 40  # of the harmonics' figure; the largest harmonic of each bin is drawn
DEEPEST = 160.0  # [dB] beyond which rounding begins
FREQUENCY = Axis("frequency", "Hz", log=True)
MAGNITUDE = Axis("magnitude", "ohm", log=True)
HARMONICS = "frequency (largest harmonic of each fortieth of a decade)"
ZERO = Look("#aaaaaa", width=1.0)
LIMIT = Look(dash=LONG, width=1.6)
_AT_FREQUENCY = Look("#777777", GUIDE, 1.3)
_SYSTEMS = (  # curves of test systems that coincide lie on one another, the narrow on the wide
    Look(SKY, width=5.8),
    Look(VERMILION, DASHES[1], 3.2),
    Look(BLUE, DASHES[3], 2.1),
)


def bode_figure(bode: BodeResult, *, switching_frequency: float | None = None) -> Figure:
    """Magnitude [dB] and phase [°] of the three ratios of a `BodeResult`, its resonances named.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.bode_figure(filterlib.bode(solution, "modem")))[:4]
    '<svg'
    """
    ratios = {
        "load / ripple source": bode.load_over_source,
        "load / terminals": bode.load_over_terminals,
        "with / without filter": bode.with_over_without,
    }
    levels = _curves(bode.frequencies, {label: decibels(ratio) for label, ratio in ratios.items()})
    phases = _curves(
        bode.frequencies, {label: np.degrees(np.unwrap(np.angle(ratio))) for label, ratio in ratios.items()}
    )
    level = Plot(
        FREQUENCY, Axis("level", "dB", limits=level_limits(levels)),
        (*levels, *at_frequency(switching_frequency), *_resonances(bode.resonances)), legend=True,
    )  # fmt: skip
    return _above_phase(f"Frequency response to {bode.load}", level, phases, switching_frequency)


def impedance_figure(impedance: ImpedanceResult, *, switching_frequency: float | None = None) -> Figure:
    """Magnitude [Ω] and phase [°] of what the load sees, what the converter sees, and the load's own input.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.impedance_figure(filterlib.impedance(solution, "modem")))[:4]
    '<svg'
    """
    curves = {
        "seen by the load": impedance.seen_by_load,
        "seen by the converter": impedance.seen_by_converter,
        "the load's own input": impedance.load_input,
    }
    sizes = _curves(impedance.frequencies, {label: np.abs(values) for label, values in curves.items()})
    phases = _curves(impedance.frequencies, {label: np.degrees(np.angle(values)) for label, values in curves.items()})
    size = Plot(FREQUENCY, MAGNITUDE, (*sizes, *at_frequency(switching_frequency)), legend=True)
    return _above_phase(f"Impedances at {impedance.load}", size, phases, switching_frequency)


def _above_phase(title: str, upper: Plot, phases: Sequence[Curve], switching_frequency: float | None) -> Figure:
    phase = Plot(FREQUENCY, Axis("phase", "°"), (*phases, *at_frequency(switching_frequency, "")))
    return Figure(title, ((upper,), (phase,)), share="x")


def insertion_figure(insertion: InsertionResult, load: str, *, switching_frequency: float | None = None) -> Figure:
    """Insertion loss [dB] in each test system, symmetrical and asymmetrical, with the real effect at a load drawn in.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.insertion_figure(filterlib.insertion(solution), "modem"))[:4]
    '<svg'
    """
    rows: list[tuple[Plot]] = []
    for mode, words in (("symmetrical", "switching"), ("asymmetrical", "")):
        tested = getattr(insertion, mode)
        looks, alike = dict(zip(tested, _SYSTEMS, strict=True)), coinciding(tested)
        curves = [
            Curve(insertion.frequencies, tested[one[0]], looks[one[0]], f"{joined(one).replace('/', ' / ')} Ω")
            for one in alike
        ]
        real = getattr(insertion, f"real_{mode}").get(load)
        if real is not None:
            look = Look(width=2.6, marker="D", every=max(1, len(real) // 14))
            curves.append(Curve(insertion.frequencies, real, look, "in this circuit"))
        marks: tuple[Mark, ...] = (Level(0.0, ZERO), *curves, *at_frequency(switching_frequency, words))
        axis = Axis(mode, "dB", limits=level_limits(curves))
        rows.append((Plot(FREQUENCY, axis, marks, legend=not rows or alike != coinciding(insertion.symmetrical)),))
    return Figure(f"Insertion loss and real effect at {load}", tuple(rows), share="x")


def ripple_figure(ripple: RippleResult, load: str, *, limits: Mapping[str, float] | None = None) -> Figure:
    """Waveforms at a load without and with the filter, two periods, one row a bandwidth.

    ``limits``: the peak-to-peak limit [V] of each bandwidth that has one; drawn about the middle of the waveform.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.ripple_figure(filterlib.ripple(solution), "modem"))[:4]
    '<svg'
    """
    wanted = dict.fromkeys(("20MHz", "full", *(limits or {})))
    rows = tuple(
        (
            _waveform(ripple, (f"{load}_before", label), "without filter", BEFORE, (limits or {}).get(label)),
            _waveform(ripple, (load, label), "with filter", AFTER, (limits or {}).get(label)),
        )
        for label in wanted if (load, label) in ripple.waveforms
    )  # fmt: skip
    return Figure(f"Ripple at {load}", rows, share="x")


def _waveform(ripple: RippleResult, key: tuple[str, str], words: str, colour: str, limit: float | None) -> Plot:
    period = 1 / ripple.switching_frequency
    time, volts = Axis("time", "s", limits=(0.0, 2 * period)), Axis("voltage", "V")
    if key not in ripple.waveforms:
        return Plot(time, volts, (), f"{words}: not computed", 180.0)
    wave, figure = ripple.waveforms[key], ripple.figures[key]
    curve = Curve(np.concatenate((ripple.times, ripple.times + period)), np.tile(wave, 2), Look(colour, width=1.6))
    middle = (wave.max() + wave.min()) / 2
    marks = (*_extremes(middle, figure.low, figure.high), curve, *_limits(middle, limit))
    title = f"{words}, {bandwidth_words(key[1])}: {_volts(figure.peak_to_peak)}"
    return Plot(time, volts, marks, title, 180.0)


def _extremes(middle: float, low: float, high: float) -> Iterator[Mark]:
    """Where the extremes of a wave may be, above and below its middle."""
    if np.isfinite(low) and np.isfinite(high):
        for side in (-0.5, 0.5):
            yield Span(middle + side * low, middle + side * high)
            yield from (Level(middle + side * size) for size in (low, high))


def _limits(middle: float, limit: float | None) -> Iterator[Mark]:
    """Two lines that hold a wave which just meets its limit."""
    if limit is not None:
        yield Level(middle - limit / 2, LIMIT)
        yield Level(middle + limit / 2, LIMIT, limit_words(limit))


def limit_words(limit: float) -> str:
    """What a line says that is half of a peak-to-peak limit [V] above the middle of a wave.

    >>> limit_words(0.015)
    '±7.5 mV: limit of 15 mV peak to peak'
    """
    return f"±{_volts(limit / 2)}: limit of {_volts(limit)} peak to peak"


def spectrum_figure(ripple: RippleResult, load: str) -> Figure:
    """Harmonics at a load without and with the filter [dBµV, rms of each], the untrusted range hatched.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.spectrum_figure(filterlib.ripple(solution), "modem"))[:4]
    '<svg'
    """
    looks = (
        (f"{load}_before", "without filter", Look(BEFORE, width=1.0, marker="o", size=4.8, hollow=True)),
        (load, "with filter", Look(AFTER, width=1.0, marker="s", size=4.8)),
    )
    curves = [
        Curve(*thinned(ripple.frequencies, dbuv(ripple.spectra[place])), look, words)
        for place, words, look in looks if place in ripple.spectra
    ]  # fmt: skip
    right = float(ripple.frequencies[-1]) * 1.2
    marks: tuple[Mark, ...] = (
        *untrusted(ripple.trusted_to, right), *curves, Level(20e6, _AT_FREQUENCY, "20 MHz", upright=True, over="end")
    )  # fmt: skip
    x = Axis(HARMONICS, "Hz", log=True, limits=(float(ripple.frequencies[0]) / 1.2, right))
    y = Axis("level", "dBµV", limits=level_limits(curves, span=140.0, floor=-20.0))
    return Figure(f"Harmonics at {load}", ((Plot(x, y, marks, height=240.0, legend=True),),))


def dbuv(amplitudes: np.ndarray) -> Values:
    """Level of harmonics [dB above 1 µV rms] from their one-sided peak amplitudes [V].

    >>> float(dbuv(np.array([2**0.5]))[0].round(9))
    120.0
    """
    return decibels(np.asarray(amplitudes) / np.sqrt(2) / 1e-6)


def thinned(frequencies: Values, level: Values) -> tuple[Values, Values]:
    """The largest of each narrow bin; a harmonic that is zero but for rounding is left out."""
    present = level > np.max(level, initial=-np.inf) - VANISHED
    frequencies, level = frequencies[present], level[present]
    bins = np.floor(np.log10(frequencies) * BINS_PER_DECADE)
    order = np.lexsort((-level, bins))
    chosen = order[np.unique(bins[order], return_index=True)[1]]
    return frequencies[chosen], level[chosen]


def sources_figure(ripple: RippleResult, load: str) -> Figure:
    """What each source makes at a load: alone, and by how much the whole falls without it [V peak to peak]."""
    bandwidths = [label for label in ("20MHz", "full") if (load, label) in ripple.figures]
    names = list(ripple.figures[load, bandwidths[0]].by_source) if bandwidths else []
    words = [source_words(name) for name in names]
    plots: list[Plot] = []
    for label in bandwidths:
        figure = ripple.figures[load, label]
        series = {
            "alone": [figure.by_source[name] for name in names],
            "the total is lower without it by": [figure.reduction.get(name, np.nan) for name in names],
        }
        title = f"{bandwidth_words(label)}: {_volts(figure.peak_to_peak)} in all"
        plots.append(bars_plot(words, series, title=title, room=0.3, legend=not plots))
    return Figure(f"Sources of the ripple at {load}", (tuple(plots),), share="y")


def bars_plot(
    names: Sequence[str],
    series: Mapping[str, Sequence[float]],
    *,
    title: str = "",
    room: float = 0.14,
    legend: bool = True,
) -> Plot:
    """Pairs of level bars [V], their names at the left; ``room`` for the words behind the longest, as a share of it."""
    marks = tuple(
        Bars(np.array(values), tuple(map(_volts, values)), label, (BLUE, ORANGE)[at], 0.38 * at - 0.19, hatched=at > 0)
        for at, (label, values) in enumerate(series.items())
    )
    every = [value for values in series.values() for value in values if np.isfinite(value)]
    largest, least = max([*every, 1e-9]), min([*every, 0.0])
    x = Axis("peak to peak", "V", limits=(least - room * largest if least < 0 else 0.0, (1 + room) * largest))
    y = Axis(names=tuple(names), falling=True)
    return Plot(x, y, marks, title, 58.0 * len(names) + 12, legend)


def band_figure(ripple: RippleResult, load: str, *, limit: float | None = None) -> Figure:
    """How far each uncertain parameter alone moves the ripple [V peak to peak], the whole range above them, the limit drawn in.

    All in 20 MHz, at the first load; the `SHOWN` that move it most are drawn.
    """
    whole = ripple.figures[load, "20MHz"]
    shown = ripple.uncertain_parameters[:SHOWN]
    labels = ("all uncertain parameters together", *map(_range_words, shown))
    ranges = [(whole.low, whole.high), *((one.pp_at_low, one.pp_at_high) for one in shown)]
    marks: list[Mark] = []
    for row, (low, high) in enumerate(ranges):
        if np.isfinite(low) and np.isfinite(high):
            marks += _range(row, low, high, BLUE if row else BLACK)
    nominal = whole.peak_to_peak
    marks.append(Level(nominal, words=f"nominal {_volts(nominal)}", upright=True, over="end"))
    if limit is not None:
        side: Align = "start" if limit >= nominal else "end"
        marks.append(Level(limit, LIMIT, f"limit {_volts(limit)}", upright=True, over=side))
    x = Axis(f"ripple at {load}, 20 MHz, peak to peak", "V", limits=_around(ranges, nominal, limit))
    plot = Plot(x, Axis(names=labels, falling=True), tuple(marks), height=48.0 * len(labels) + 20)
    return Figure(f"What makes the interval at {load}", ((plot,),))


def _range_words(one: Sensitivity) -> str:
    if not np.isfinite(one.low):
        return one.label
    low, high = (format_quantity(value, one.unit) for value in (one.low, one.high))
    return f"{one.label}\n{low} to {high}"


def _range(row: int, low: float, high: float, colour: str) -> Iterator[Mark]:
    """A bar from the value at the parameter's low end to that at its high end, both in words."""
    ends, rows = np.array([low, high]), np.full(2, float(row))
    yield Curve(ends, rows, Look(colour, width=6.5))
    yield Curve(ends, rows, Look(colour, marker="|", size=17.0), joined=False)
    left, right = sorted((low, high))
    yield Note(left, row, _volts(left), (-10.0, -4.0), "end")
    yield Note(right, row, _volts(right), (10.0, -4.0), "start")


def _around(ranges: Sequence[tuple[float, float]], nominal: float, limit: float | None) -> tuple[float, float]:
    """Wide enough for the words at both ends of a range."""
    values = [value for ends in ranges for value in ends] + [nominal, np.nan if limit is None else limit]
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    room = 0.16 * max(high - low, 0.05 * high)
    return low - room, high + room


def steps_figure(steps: StepsResult) -> Figure:
    """What a step of the regulated voltage and one of the load's current do at the load.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> filterlib.svg(filterlib.steps_figure(filterlib.steps(solution, "modem")))[:4]
    '<svg'
    """
    rise = f"load current rises by {format_quantity(steps.step_current, 'A')}, time constant "
    shown = (
        (steps.converter_step, "regulated voltage rises by 1 V"),
        (steps.load_step, rise + format_quantity(steps.rise_time, "s")),
    )
    x, y = Axis("time", "s", limits=(0.0, steps.times[-1])), Axis("change at the load", "V")
    plots = (Plot(x, y, (Level(values[-1]), Curve(steps.times, values, Look(AFTER))), title) for values, title in shown)
    return Figure(f"Steps at {steps.load}", (tuple(plots),))


def _curves(frequencies: Values, values: Mapping[str, Values]) -> list[Curve]:
    """One curve each, by the order of colours and dashes."""
    looks = map(Look, COLOURS, DASHES)
    return [Curve(frequencies, one, look, label) for (label, one), look in zip(values.items(), looks, strict=False)]


def _resonances(resonances: Sequence[tuple[float, float, str]]) -> Iterator[Mark]:
    for frequency, peak, _ in resonances:
        yield Curve(np.array([frequency]), np.array([peak]), Look(marker="v", size=8.0), joined=False)
        yield Note(frequency, peak, format_quantity(frequency, "Hz"))


def at_frequency(frequency: float | None, words: str = "switching") -> Iterator[Level]:
    """A line at a frequency, where there is one."""
    if frequency is not None:
        yield Level(frequency, _AT_FREQUENCY, words, upright=True)


def untrusted(trusted_to: float, right: float) -> Iterator[Span]:
    """What is hatched, up to the right end of the axes, where the model is not trusted so far."""
    if trusted_to < right:
        yield Span(trusted_to, right, upright=True, hatched=True, words="model not trusted")


def level_limits(curves: Sequence[Curve], span: float = 160.0, floor: float = -np.inf) -> tuple[float, float]:
    """The part that matters: at most ``span`` decibels below the top, and nothing below ``floor``, with a little room."""
    low, high = joint_extent(curves, "y")
    low = max(low, high - span, min(floor, high - 20))
    room = 0.06 * max(high - low, 1.0)
    return low - room * (low > floor), high + room


def _volts(value: float) -> str:
    return format_quantity(float(value), "V") if np.isfinite(value) else "not known"
