"""A recording as a page: the samples, one averaged period with its spread, the spectrum with its noise floor."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.show.numbers import json_text
from filterlib.show.page import Illustration, illustration, program_version, render
from filterlib.show.recording_tables import FORMAT, recording_numbers, recording_tables
from filterlib.show.style import AFTER, BLACK, BLUE, ORANGE, legend_above, new_figure, prefixed, styled
from filterlib.show.text import tables_text
from filterlib.show.writing import RUN, write_files
from filterlib.units import format_quantity
from filterlib.words.quantities import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE, NUMBERS = "recording.html", "recording.json"
COLUMNS = 1200  # of a curve: of more samples, the lowest and the highest in each column are drawn
CLOSE = 5  # periods of the second row
NAMED = 6  # harmonics whose order stands in the spectrum
FEWEST_LINES = 4  # of a spectrum that is drawn
BINS = 40  # of the periods' histogram


def recording_text(found: Any, held: Any) -> str:
    """What a `Measurement` says, for a terminal."""
    remarks = [f"- {remark}" for remark in (*found.remarks[1:], *found.recording.assumptions)]
    return "\n".join([tables_text(recording_tables(found, held)), "", *remarks]).rstrip()


def write_recording(found: Any, held: Any, folder: str | Path) -> Path:
    """Write recording.html, recording.json and the figures of a `Measurement` into a folder.

    Parameters: ``found``; ``held``: its `Harmonics` or None; ``folder``: made where there is none; files in it that
    this command did not write stay as they are.
    Returns: the path of the page. Raises: OutputError with path and reason; the folder is then as it was.
    """
    write_files(folder, recording_files(found, held), last=NUMBERS)
    return Path(folder) / PAGE


def recording_files(found: Any, held: Any) -> dict[str, str]:
    """Every file: name -> text, in which `writing.RUN` stands for the run's identifier."""
    figures = tuple(_figures(found, held))
    files = {figure.file: figure.text for figure in figures}
    recording = found.recording
    page = render(
        "recording.html.j2",
        title=f"{Path(recording.file).name or 'Recording'}, {recording.channel}",
        summary=_summary(found),
        figures=figures,
        tables=recording_tables(found, held),
        remarks=[*found.remarks[1:], *recording.assumptions],
        files=[NUMBERS, *files],
    )
    head = {"format": FORMAT, "run": RUN, "generator": f"filterlib {program_version()}"}
    numbers = head | {"files": sorted([PAGE, NUMBERS, *files])} | recording_numbers(found, held)
    return files | {PAGE: page, NUMBERS: json_text(numbers)}


def _summary(found: Any) -> str:
    if found.aligned is None:
        return f"{number(found.peak_to_peak, 'V')} peak to peak; {found.periods.why}"
    spike = "" if found.aligned.spike is None else f", and {number(found.aligned.spike, 'V')} of spikes beyond"
    border = format_quantity(found.bandwidth, "Hz")
    return (
        f"{number(found.aligned.ripple, 'V')} peak to peak to {border}{spike}, "
        f"repeating at {format_quantity(found.frequency, 'Hz', 4)}"
    )


def _figures(found: Any, held: Any) -> Iterator[Illustration]:
    words = f"{number(found.peak_to_peak, 'V')} peak to peak in {format_quantity(found.recording.duration, 's')}."
    yield illustration("recording-time", time_figure(found), words, "Of many samples the extremes are drawn.")
    if found.average is not None:
        words = f"One period of {format_quantity(found.period, 's', 4)}, mean of {found.average.periods}."
        yield illustration(
            "recording-period", period_figure(found), words, "Spread: standard deviation over the periods."
        )
    elif found.periods.lengths.size:
        words = f"{found.periods.lengths.size} periods. {found.periods.why}."
        yield illustration("recording-lengths", lengths_figure(found), words)
    if found.spectrum.frequencies.size < FEWEST_LINES or not np.any(found.spectrum.amplitude[1:]):
        return
    words = f"Noise floor {number(found.noise, 'V')} rms in all."
    note = "Each line as a sine of that root mean square would show. Of many lines the highest are drawn."
    yield illustration("recording-spectrum", spectrum_figure(found, held), words, note)


@styled
def time_figure(found: Any) -> Figure:
    """All samples of a recording, and below the first periods."""
    recording, period = found.recording, found.periods.median
    close = period is not None and recording.duration > 2 * CLOSE * period
    rows = 2 if close else 1
    figure, panels = new_figure(f"Samples of {recording.channel}", rows, height=0.9 + 2.2 * rows, gap=0.5)
    _draw_samples(panels[0], recording, recording.samples)
    panels[0].set_title("all samples")
    if close:
        _draw_samples(panels[1], recording, int(CLOSE * period / recording.sample_interval) + 1)
        panels[1].set_title(f"the first {CLOSE} periods")
    for axes in panels:
        prefixed(axes, "y", "V", "voltage")
        prefixed(axes, "x", "s", "time" if axes is panels[-1] else "")
    return figure


def _draw_samples(axes: Axes, recording: Any, count: int) -> None:
    times, low, high = extremes(recording.volts[:count], recording.sample_interval)
    if low is high:
        axes.plot(times + recording.start, low, color=AFTER, linewidth=1.0)
    else:
        axes.fill_between(times + recording.start, low, high, color=AFTER, linewidth=0.6)
    axes.set_xlim(recording.start, recording.start + count * recording.sample_interval)


def extremes(values: np.ndarray, interval: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times [s], lowest and highest value of each of `COLUMNS` columns; the values themselves where there are few.

    >>> _, low, high = extremes(np.arange(12000.0), 1.0)
    >>> len(low), float(low[1]), float(high[1])
    (1200, 10.0, 19.0)
    """
    if values.size <= 2 * COLUMNS:
        return interval * np.arange(values.size), values, values
    starts = np.linspace(0, values.size, COLUMNS, endpoint=False).astype(int)
    return interval * starts, np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)


@styled
def period_figure(found: Any) -> Figure:
    """Mean of all periods with the spread about it, and the mean of the aligned ones; below, the spread alone."""
    average = found.average
    figure, (axes, below) = new_figure("One period", 2, height=5.0, share="x", gap=0.25)
    count = average.scatter.size
    times, mean = average.period * np.arange(count) / count, average.plain.samples(count)
    scatter = average.scatter
    axes.fill_between(
        times, mean - scatter, mean + scatter, color="#9a9a9a", linewidth=0, label="spread of the periods"
    )
    axes.plot(times, mean, color=BLUE, label=f"mean of {average.periods}")
    aligned = average.aligned.samples(count)
    axes.plot(times, aligned, color=BLACK, linewidth=1.0, linestyle=(0, (5, 2)), label="mean, each moved to fit")
    below.plot(times, scatter, color="#555555", linewidth=1.0)
    axes.set_xlim(0, average.period)
    below.set_ylim(0, None)
    prefixed(below, "x", "s", "time")
    prefixed(axes, "y", "V", "voltage")
    prefixed(below, "y", "V", "spread")
    legend_above(axes)
    return figure


@styled
def lengths_figure(found: Any) -> Figure:
    """How the periods are distributed, where there is no single one."""
    counts, edges = found.periods.histogram(BINS)
    figure, (axes,) = new_figure("Lengths of the periods", height=3.0)
    axes.stairs(counts, edges, fill=True, color=BLUE)
    prefixed(axes, "x", "s", "from one event to the next")
    axes.set_ylabel("how many")
    return figure


@styled
def spectrum_figure(found: Any, held: Any) -> Figure:
    """Amplitude of each line and the noise floor under it, the strongest harmonics by their order."""
    spectrum = found.spectrum
    figure, (axes,) = new_figure("Spectrum of the recording", height=3.9)
    chosen = _highest_lines(spectrum.frequencies, spectrum.amplitude)
    axes.loglog(spectrum.frequencies[chosen], spectrum.amplitude[chosen], color=BLUE, linewidth=0.9, label="recording")
    floor = spectrum.amplitude_floor
    axes.loglog(spectrum.frequencies[chosen], floor[chosen], color=ORANGE, linestyle=(0, (5, 2)), label="noise floor")
    if held is not None and np.any(held.clear):
        _name_harmonics(axes, held)
    shown = spectrum.amplitude[chosen]
    bottom = max(float(np.min(floor[chosen])) / 5, float(np.max(shown)) * 1e-6)
    axes.set_ylim(bottom, float(np.max(shown)) * 3)
    if found.recording.bandwidth is not None:
        axes.axvline(found.recording.bandwidth, color="#777777", linewidth=1, linestyle=(0, (2, 2)), label="bandwidth")
    prefixed(axes, "x", "Hz", "frequency")
    prefixed(axes, "y", "V", "rms of a line")
    legend_above(axes)
    return figure


def _name_harmonics(axes: Axes, held: Any) -> None:
    clear = [nth for nth in held.strongest(NAMED) if held.clear[nth]]
    levels = held.amplitudes[clear] / np.sqrt(2)
    axes.plot(held.frequencies[clear], levels, "v", color=BLACK, markersize=5, label="strongest harmonics, by order")
    for nth, level in zip(clear, levels, strict=True):
        axes.annotate(
            f"{held.orders[nth]}", (held.frequencies[nth], level), xytext=(0, 5), textcoords="offset points",
            ha="center", fontsize=9,
        )  # fmt: skip


def _highest_lines(frequencies: np.ndarray, amplitude: np.ndarray) -> np.ndarray:
    """Indices of the highest line in each of `COLUMNS` columns of a logarithmic axis, the constant left out."""
    column = np.floor(COLUMNS * np.log(frequencies[1:] / frequencies[1]) / np.log(frequencies[-1] / frequencies[1]))
    order = np.lexsort((amplitude[1:], column))
    last = np.flatnonzero(np.diff(column[order], append=np.inf))
    return np.sort(order[last]) + 1
