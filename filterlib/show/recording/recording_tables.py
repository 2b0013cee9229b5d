"""What a recording holds, as tables and as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.bench.capture.harmonics import Harmonics
from filterlib.bench.capture.measurement import Measurement
from filterlib.bench.capture.periods import Periods
from filterlib.bench.capture.recording import Recording
from filterlib.bench.capture.rise_time import rise_time
from filterlib.show.numbers import Section, arrays, numbers, texts
from filterlib.show.table import Row, Table, cells, table
from filterlib.units import format_quantity
from filterlib.words.quantities import interval_text, number

FORMAT = 1  # of recording.json; raised whenever a key changes its name or its meaning
STRONGEST = 8  # harmonics that are listed
BINS = 10  # of the periods' distribution
_PAIR = ("", "")


def recording_tables(result: Measurement, harmonics: Harmonics | None) -> tuple[Table, ...]:
    """Tables of a `Measurement` and of its `Harmonics`, which may be None."""
    tables = [
        Table("The recording", _PAIR, tuple(_about(result.recording))),
        Table("Periods", _PAIR, tuple(_periods(result))),
        *_distribution(result.periods),
        Table("Levels", _PAIR, tuple(_levels(result))),
        _swings(result),
        *([] if harmonics is None else [_harmonics(harmonics)]),
    ]
    return tuple(tables)


def _about(recording: Recording) -> Iterator[Row]:
    unsaid = "not stated"
    names = recording.channels
    yield "channel", recording.channel + (f", of {', '.join(names)}" if len(names) > 1 else "")
    duration = format_quantity(recording.duration, "s")
    yield "samples", f"{recording.samples}, one every {format_quantity(recording.sample_interval, 's', 4)}: {duration}"
    yield "coupling", recording.coupling or unsaid
    yield "probe factor", unsaid if recording.probe_factor is None else f"{recording.probe_factor:g}:1"
    for label, value, unit in (("bandwidth", recording.bandwidth, "Hz"), ("full scale", recording.full_scale, "V")):
        yield label, unsaid if value is None else format_quantity(value, unit)
    for label, value, unit in (
        ("load current", recording.load_current, "A"),
        ("input voltage", recording.input_voltage, "V"),
    ):
        if value is not None:
            yield label, format_quantity(value, unit)
    if recording.bandwidth is not None:
        yield "fastest edge that it can show", format_quantity(rise_time(recording.bandwidth), "s")


def _periods(result: Measurement) -> Iterator[Row]:
    average, periods = result.average, result.periods
    yield "pattern", f"{periods.pattern}: {periods.why}" if average is None or result.pulses else periods.pattern
    if average is not None:
        yield "switching frequency", number(result.switching_frequency, "Hz", 5)
        yield "period", f"{number(result.period, 's', 5)}, mean of {average.periods}"
        small = f"below {number(average.jitter_resolution, 's', 2)}, which noise alone would show"
        yield "jitter", f"{number(result.jitter, 's', 2)} rms" if result.jitter else small
    elif periods.lengths.size:
        low, high = float(periods.lengths.min()), float(periods.lengths.max())
        spread = number(periods.spread, "s", 2)
        yield (
            "lengths",
            f"{interval_text(low, high, 's')}, median {number(periods.median, 's')}, standard deviation {spread}",
        )


def _distribution(periods: Periods) -> Iterator[Table]:
    """How the lengths are distributed, where there is no single one."""
    if periods.period is not None or not periods.lengths.size:
        return
    counts, edges = periods.histogram(BINS)
    rows = tuple(
        (interval_text(float(low), float(high), "s"), f"{count}", "#" * round(40 * count / counts.max()))
        for count, low, high in zip(counts, edges[:-1], edges[1:], strict=True)
    )
    yield Table("How the periods are distributed", ("Length", "How many", ""), rows)


def _levels(result: Measurement) -> Iterator[Row]:
    yield "mean", format_quantity(result.mean, "V", 4)
    yield "rms", format_quantity(result.rms, "V", 4)
    yield "rms about the mean", format_quantity(result.rms_about_mean, "V", 4)
    yield "noise, rms", f"{number(result.noise, 'V')}, in the recording's whole band"
    ring = "no clear one" if result.raw.spike is not None else "not known: the recording does not reach that far"
    yield "ring of the spikes", ring if result.ring_frequency is None else number(result.ring_frequency, "Hz")


def _swings(result: Measurement) -> Table:
    border = format_quantity(result.bandwidth, "Hz")
    order = f", order {result.order}" if result.order > 1 else ""
    ways = (
        ("all samples, noise included", result.raw),
        ("mean of the periods", result.averaged),
        ("mean of the aligned periods", result.aligned),
    )
    names = ("peak_to_peak", "ripple", "spike")
    rows = tuple((words, *(cells(swing, *names) if swing else ("no single period", "", ""))) for words, swing in ways)
    return Table("Peak to peak", ("Read from", "Whole", f"Ripple, to {border}{order}", "Spike, the rest"), rows)


def _harmonics(harmonics: Harmonics) -> Table:
    several = f"{harmonics.clear.sum()} of {harmonics.clear.size} harmonics are above the noise"
    return table(
        f"Strongest harmonics; {several}",
        [int(nth) for nth in harmonics.strongest(STRONGEST)],
        ("Harmonic", lambda nth: f"{harmonics.orders[nth]}"),
        ("Frequency", lambda nth: format_quantity(float(harmonics.frequencies[nth]), "Hz", 4)),
        ("Amplitude, peak", lambda nth: format_quantity(float(harmonics.amplitudes[nth]), "V")),
        ("Noise under it", lambda nth: format_quantity(float(2 * harmonics.noise[nth]), "V", 2)),
        ("Above the noise", lambda nth: "yes" if harmonics.clear[nth] else "no"),
    )


def recording_numbers(result: Measurement, harmonics: Harmonics | None) -> Section:
    """The same for other programs: one number a key, the unit at its end; null where the recording does not tell."""
    recording, average = result.recording, result.average
    return {
        **texts(recording, "file", "channel", "channels", "samples", "coupling"),
        **numbers(recording, ""),
        **texts(result.periods, "pattern", "why"),
        **numbers(result, ""),
        "periods": None if average is None else average.periods,
        "pulses_in_a_burst": None if result.pulses is None else result.pulses.count,
        "border_order": result.order,
        "peak_to_peak": {
            name: None if swing is None else numbers(swing, "")
            for name, swing in (("raw", result.raw), ("averaged", result.averaged), ("aligned", result.aligned))
        },
        "remarks": result.remarks,
        "assumptions": recording.assumptions,
        "arrays": {"lengths_s": result.periods.lengths} | ({} if harmonics is None else _arrays(harmonics)),
    }


def _arrays(harmonics: Harmonics) -> Section:
    keys = ("harmonic_order", "harmonic_noise_V", "harmonic_above_noise")
    return arrays(harmonics) | dict(zip(keys, (harmonics.orders, 2 * harmonics.noise, harmonics.clear), strict=True))
