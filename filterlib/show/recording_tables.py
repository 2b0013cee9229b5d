"""What a recording holds, as tables and as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from filterlib.bench.rise_time import rise_time
from filterlib.show.tables import Row, Table
from filterlib.units import format_quantity
from filterlib.words.quantities import interval_text, number

FORMAT = 1  # of recording.json; raised whenever a key changes its name or its meaning
STRONGEST = 8  # harmonics that are listed
BINS = 10  # of the periods' distribution
_PAIR = ("", "")


def recording_tables(found: Any, held: Any) -> tuple[Table, ...]:
    """Tables of a `Measurement` and of its `Harmonics`, which may be None."""
    made = [
        Table("The recording", _PAIR, tuple(_about(found.recording))),
        Table("Periods", _PAIR, tuple(_periods(found))),
        *_distribution(found.periods),
        Table("Levels", _PAIR, tuple(_levels(found))),
        _swings(found),
        *([] if held is None else [_harmonics(held)]),
    ]
    return tuple(made)


def _about(recording: Any) -> Iterator[Row]:
    unsaid = "not stated"
    names = recording.channels
    yield "channel", recording.channel + (f", of {', '.join(names)}" if len(names) > 1 else "")
    duration = format_quantity(recording.duration, "s")
    yield "samples", f"{recording.samples}, one every {format_quantity(recording.sample_interval, 's', 4)}: {duration}"
    yield "coupling", recording.coupling or unsaid
    yield "probe factor", unsaid if recording.probe_factor is None else f"{recording.probe_factor:g}:1"
    for label, value, unit in (("bandwidth", recording.bandwidth, "Hz"), ("full scale", recording.full_scale, "V")):
        yield label, unsaid if value is None else format_quantity(value, unit)
    if recording.bandwidth is not None:
        yield "fastest edge that it can show", format_quantity(rise_time(recording.bandwidth), "s")


def _periods(found: Any) -> Iterator[Row]:
    average, periods = found.average, found.periods
    yield "pattern", f"{periods.pattern}: {periods.why}" if average is None else periods.pattern
    if average is not None:
        yield "switching frequency", format_quantity(found.frequency, "Hz", 5)
        yield "period", f"{format_quantity(found.period, 's', 5)}, mean of {average.periods}"
        small = f"under the {number(average.jitter_resolution, 's', 2)} that noise makes of it"
        yield "jitter", f"{number(found.jitter, 's', 2)} rms" if found.jitter else small
    elif periods.lengths.size:
        low, high = float(periods.lengths.min()), float(periods.lengths.max())
        spread = format_quantity(periods.spread, "s", 2)
        yield (
            "lengths",
            f"{interval_text(low, high, 's')}, median {number(periods.median, 's')}, standard deviation {spread}",
        )


def _distribution(periods: Any) -> Iterator[Table]:
    """How the lengths are distributed, where there is no single one."""
    if periods.period is not None or not periods.lengths.size:
        return
    counts, edges = periods.histogram(BINS)
    rows = tuple(
        (interval_text(float(low), float(high), "s"), f"{count}", "#" * round(40 * count / counts.max()))
        for count, low, high in zip(counts, edges[:-1], edges[1:], strict=True)
    )
    yield Table("How the periods are distributed", ("Length", "How many", ""), rows)


def _levels(found: Any) -> Iterator[Row]:
    yield "mean", format_quantity(found.mean, "V", 4)
    yield "rms", format_quantity(found.rms, "V", 4)
    yield "rms about the mean", format_quantity(found.rms_about_mean, "V", 4)
    yield "noise, rms", f"{number(found.noise, 'V')}, in the recording's whole band"
    ring = "no clear one" if found.raw.spike is not None else "not known: the recording does not reach that far"
    yield "ring of the spikes", ring if found.ring_frequency is None else number(found.ring_frequency, "Hz")


def _swings(found: Any) -> Table:
    border = format_quantity(found.bandwidth, "Hz")
    order = f", order {found.order}" if found.order > 1 else ""
    ways = (
        ("all samples, noise contained", found.raw),
        ("mean of the periods", found.averaged),
        ("mean of the aligned periods", found.aligned),
    )
    rows = tuple(
        (words, number(swing.peak_to_peak, "V"), number(swing.ripple, "V"), number(swing.spike, "V"))
        if swing is not None
        else (words, "no single period", "", "")
        for words, swing in ways
    )
    return Table("Peak to peak", ("Read from", "Whole", f"Ripple, to {border}{order}", "Spike, the rest"), rows)


def _harmonics(held: Any) -> Table:
    clear = held.clear
    rows = tuple(
        (
            f"{held.orders[nth]}",
            format_quantity(float(held.frequencies[nth]), "Hz", 4),
            format_quantity(float(held.amplitudes[nth]), "V"),
            format_quantity(float(2 * held.noise[nth]), "V", 2),
            "yes" if clear[nth] else "no",
        )
        for nth in held.strongest(STRONGEST)
    )
    several = f"{clear.sum()} of {clear.size} harmonics are above the noise"
    head = ("Harmonic", "Frequency", "Amplitude, peak", "Noise under it", "Above the noise")
    return Table(f"Strongest harmonics; {several}", head, rows)


def recording_numbers(found: Any, held: Any) -> dict[str, Any]:
    """The same for other programs: one number a key, the unit at its end; null where the recording does not tell."""
    recording, average = found.recording, found.average
    return {
        "file": recording.file,
        "channel": recording.channel,
        "channels": recording.channels,
        "samples": recording.samples,
        "sample_interval_s": recording.sample_interval,
        "coupling": recording.coupling,
        "probe_factor": recording.probe_factor,
        "bandwidth_Hz": recording.bandwidth,
        "full_scale_V": recording.full_scale,
        "pattern": found.periods.pattern,
        "why": found.periods.why,
        "switching_frequency_Hz": found.frequency,
        "period_s": found.period,
        "periods": None if average is None else average.periods,
        "jitter_s": found.jitter,
        "mean_V": found.mean,
        "rms_V": found.rms,
        "rms_about_mean_V": found.rms_about_mean,
        "noise_rms_V": found.noise,
        "ring_frequency_Hz": found.ring_frequency,
        "border_Hz": found.bandwidth,
        "border_order": found.order,
        "peak_to_peak": {
            "raw": _swing(found.raw),
            "averaged": _swing(found.averaged),
            "aligned": _swing(found.aligned),
        },
        "remarks": found.remarks,
        "assumptions": recording.assumptions,
        "arrays": {"lengths_s": found.periods.lengths} | ({} if held is None else _arrays(held)),
    }


def _swing(swing: Any) -> dict[str, float | None] | None:
    if swing is None:
        return None
    return {"whole_V": swing.peak_to_peak, "ripple_V": swing.ripple, "spike_V": swing.spike}


def _arrays(held: Any) -> dict[str, Any]:
    return {
        "harmonic_order": held.orders,
        "harmonic_Hz": held.frequencies,
        "harmonic_peak_V": held.amplitudes,
        "harmonic_noise_V": 2 * held.noise,
        "harmonic_above_noise": held.clear,
    }
