"""A recording as a page: the samples, one averaged period with its spread, the spectrum with its noise floor."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from filterlib.bench.capture.averaging import Average
from filterlib.bench.capture.harmonics import Harmonics
from filterlib.bench.capture.measurement import Measurement
from filterlib.bench.capture.recording import Recording
from filterlib.show.figures.figure import Area, Axis, Curve, Figure, Level, Look, Mark, Note, Plot
from filterlib.show.figures.plots import FREQUENCY
from filterlib.show.folder import write_files
from filterlib.show.page import Illustration, illustration, page_files
from filterlib.show.recording.recording_tables import FORMAT, recording_numbers, recording_tables
from filterlib.show.style import AFTER, BLACK, BLUE, DASHES, GREY, GUIDE, ORANGE
from filterlib.show.text import tables_text
from filterlib.units import format_quantity
from filterlib.words.quantities import number

PAGE, NUMBERS = "recording.html", "recording.json"
COLUMNS = 1200  # of a curve: of more samples, the lowest and the highest in each column are drawn
CLOSE = 5  # periods of the second row
NAMED = 6  # harmonics whose order is written in the spectrum
FEWEST_LINES = 4  # of a spectrum that is drawn
BINS = 40  # of the periods' histogram


def recording_text(result: Measurement, harmonics: Harmonics | None) -> str:
    """What a `Measurement` says, for a terminal."""
    remarks = [f"- {remark}" for remark in (*result.remarks[1:], *result.recording.assumptions)]
    return "\n".join([tables_text(recording_tables(result, harmonics)), "", *remarks]).rstrip()


def write_recording(result: Measurement, harmonics: Harmonics | None, folder: str | Path) -> Path:
    """Write recording.html, recording.json and the figures of a `Measurement` into a folder as `write_files` does.

    Returns the path of the page; ``harmonics``: its `Harmonics`, or None.
    """
    write_files(folder, recording_files(result, harmonics), last=NUMBERS)
    return Path(folder) / PAGE


def recording_files(result: Measurement, harmonics: Harmonics | None) -> dict[str, str]:
    """Every file: name -> text, in which `folder.RUN` stands for the run's identifier."""
    figures, recording = tuple(_figures(result, harmonics)), result.recording
    return page_files(
        PAGE, FORMAT, recording_numbers(result, harmonics), figures,
        title=f"{Path(recording.file).name or 'Recording'}, {recording.channel}",
        summary=_summary(result),
        figures=figures,
        tables=recording_tables(result, harmonics),
        remarks=[*result.remarks[1:], *recording.assumptions],
    )  # fmt: skip


def _summary(result: Measurement) -> str:
    if result.aligned is None:
        return f"{number(result.peak_to_peak, 'V')} peak to peak; {result.periods.why}"
    spike = "" if result.aligned.spike is None else f", and {number(result.aligned.spike, 'V')} of spikes beyond"
    border = format_quantity(result.bandwidth, "Hz")
    return f"{number(result.aligned.ripple, 'V')} peak to peak to {border}{spike}, " + (
        result.periods.why if result.pulses else f"repeating at {number(result.frequency, 'Hz', 4)}"
    )


def _figures(result: Measurement, harmonics: Harmonics | None) -> Iterator[Illustration]:
    words = f"{number(result.peak_to_peak, 'V')} peak to peak in {format_quantity(result.recording.duration, 's')}."
    yield illustration("recording-time", time_figure(result), words, "Of many samples the extremes are drawn.")
    if result.average is not None:
        words = f"One period of {number(result.period, 's', 4)}, mean of {result.average.periods}."
        note = "Spread: standard deviation over the periods."
        yield illustration("recording-period", period_figure(result.average), words, note)
    elif result.periods.lengths.size:
        words = f"{result.periods.lengths.size} periods. {result.periods.why}."
        yield illustration("recording-lengths", lengths_figure(result), words)
    if result.spectrum.frequencies.size < FEWEST_LINES or not np.any(result.spectrum.amplitude[1:]):
        return
    words = f"Noise floor {number(result.noise, 'V')} rms in all."
    note = "Each line as a sine of that root mean square would show. Of many lines the highest are drawn."
    yield illustration("recording-spectrum", spectrum_figure(result, harmonics), words, note)


def time_figure(result: Measurement) -> Figure:
    """All samples of a recording, and below the first periods."""
    recording, period = result.recording, result.periods.median
    plots = [_samples(recording, recording.samples, "all samples")]
    if period is not None and recording.duration > 2 * CLOSE * period:
        close = int(CLOSE * period / recording.sample_interval) + 1
        plots.append(_samples(recording, close, f"the first {CLOSE} periods"))
    return Figure(f"Samples of {recording.channel}", tuple((plot,) for plot in plots))


def _samples(recording: Recording, count: int, title: str) -> Plot:
    times, low, high = extremes(recording.volts[:count], recording.sample_interval)
    times = times + recording.start
    thin = Look(AFTER, width=1.3)
    marks: list[Mark] = [Curve(times, low, thin)]
    if low is not high:
        marks = [Area(times, low, high, AFTER), Curve(times, low, thin), Curve(times, high, thin)]
    ends = recording.start, recording.start + count * recording.sample_interval
    return Plot(Axis("time", "s", limits=ends), Axis("voltage", "V"), tuple(marks), title, 180.0)


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


def period_figure(average: Average) -> Figure:
    """Mean of all periods with the spread about it, and the mean of the aligned ones; below, the spread alone."""
    scatter, count = average.scatter, average.scatter.size
    times, mean = average.period * np.arange(count) / count, average.plain.samples(count)
    marks = (
        Area(times, mean - scatter, mean + scatter, "#9a9a9a", label="spread of the periods"),
        Curve(times, mean, Look(BLUE), f"mean of {average.periods}"),
        Curve(times, average.aligned.samples(count), Look(BLACK, DASHES[1], 1.3), "mean of the aligned periods"),
    )
    time = Axis("time", "s", limits=(0.0, average.period))
    upper = Plot(time, Axis("voltage", "V"), marks, legend=True)
    lower = Plot(time, Axis("spread", "V", limits=(0.0, None)), (Curve(times, scatter, Look(GREY, width=1.3)),))
    return Figure("One period", ((upper,), (lower,)), share="x")


def lengths_figure(result: Measurement) -> Figure:
    """How the periods are distributed, where there is no single one."""
    counts, edges = result.periods.histogram(BINS)
    x, y = np.repeat(edges, 2)[1:-1], np.repeat(counts, 2).astype(float)
    plot = Plot(Axis("from one event to the next", "s"), Axis("how many"), (Area(x, np.zeros(x.size), y, BLUE),))
    return Figure("Lengths of the periods", ((plot,),))


def spectrum_figure(result: Measurement, harmonics: Harmonics | None) -> Figure:
    """Amplitude of each line and the noise floor under it, the strongest harmonics by their order."""
    spectrum = result.spectrum
    chosen = _highest_lines(spectrum.frequencies, spectrum.amplitude)
    frequencies, shown, floor = (
        values[chosen] for values in (spectrum.frequencies, spectrum.amplitude, spectrum.amplitude_floor)
    )
    marks: list[Mark] = [
        Curve(frequencies, shown, Look(BLUE, width=1.2), "recording"),
        Curve(frequencies, floor, Look(ORANGE, DASHES[1]), "noise floor"),
    ]
    if harmonics is not None and np.any(harmonics.clear):
        marks += _named_harmonics(harmonics)
    if result.recording.bandwidth is not None:
        look = Look("#777777", GUIDE, 1.3)
        marks.append(Level(result.recording.bandwidth, look, upright=True, label="bandwidth"))
    highest = float(np.max(shown))
    bottom = max(float(np.min(floor)) / 5, highest * 1e-6)
    y = Axis("rms of a line", "V", log=True, limits=(bottom, highest * 3))
    return Figure("Spectrum of the recording", ((Plot(FREQUENCY, y, tuple(marks), height=240.0, legend=True),),))


def _named_harmonics(harmonics: Harmonics) -> Iterator[Mark]:
    clear = [nth for nth in harmonics.strongest(NAMED) if harmonics.clear[nth]]
    levels = harmonics.amplitudes[clear] / np.sqrt(2)
    look = Look(BLACK, marker="v", size=7.0)
    yield Curve(harmonics.frequencies[clear], levels, look, "strongest harmonics, by order", joined=False)
    for nth, level in zip(clear, levels, strict=True):
        yield Note(float(harmonics.frequencies[nth]), float(level), f"{harmonics.orders[nth]}")


def _highest_lines(frequencies: np.ndarray, amplitude: np.ndarray) -> np.ndarray:
    """Indices of the highest line in each of `COLUMNS` columns of a logarithmic axis, the constant left out."""
    column = np.floor(COLUMNS * np.log(frequencies[1:] / frequencies[1]) / np.log(frequencies[-1] / frequencies[1]))
    order = np.lexsort((amplitude[1:], column))
    last = np.flatnonzero(np.diff(column[order], append=np.inf))
    return np.sort(order[last]) + 1
