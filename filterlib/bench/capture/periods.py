"""When a recording repeats: the switching period, or why there is no single one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.bench.capture.bursts import Pulses, even_groups
from filterlib.bench.capture.recording import Recording
from filterlib.network.spectrum import fast_length
from filterlib.units import format_quantity

SLOWEST, FASTEST = 5e3, 5e6
"""Switching frequencies that are looked for [Hz]; common practice, no source."""
STEADY = 0.01
"""Periods that spread by less than this share are one period, whatever the reason of the spread."""
FEWEST_PERIODS = 4

_RATE = 8 * FASTEST  # samples a second, of the slowed-down copy in which the repetition is looked for
_LONGEST = 2**20  # samples of that copy in which the repetition is looked for
_PEAK = 0.85  # share of the highest peak of the autocorrelation, which the first one must reach
_RISE = 0.15  # share of the highest rise of the autocorrelation, which the first peak of pulses in bursts must reach
_KEPT = 0.7  # share of the first pulse's height that the last one of a burst has at least
_HYSTERESIS = 0.2  # share of the swing, above and below the middle
_SURE = 4  # times the noise, the hysteresis is wide enough
_MIDDLE_STEP = 0.954  # middle size of the step from one sample of noise to the next, over the noise's deviation
_LINES = 5  # harmonics that tell the frequency near a known one
_FINER = 4  # times as fine as its samples a recording's spectrum is looked at
_LONG, _WHOLE = 1.5, 0.1  # a period from this ratio on is a long one; this far from a whole number it counts as one
_UNEVEN = 1.75  # longest over shortest lengths that are one period; where lower pulses count now and then, 2


@dataclass(frozen=True, eq=False)
class Periods:
    """How a recording repeats.

    Attributes
    ----------
    pattern : str
        "steady", "dither", "skipped pulses", "bursts", or "none" where nothing repeats.
    lengths : array (periods,)
        From each event to the next, as the slow part of the wave crosses its middle upwards [s].
    period : float or None
        The single period [s], of bursts that of the bursts where they come evenly; None where there is none.
    first : float
        Time of the first event after the first sample [s].
    why : str
        What was found, in words.
    pulses : Pulses or None
        Within each period, where bursts come evenly.
    """

    pattern: str
    lengths: np.ndarray
    period: float | None
    first: float
    why: str
    pulses: Pulses | None = None

    @property
    def median(self) -> float | None:
        """Middle one of the lengths [s]; None without any."""
        return float(np.median(self.lengths)) if self.lengths.size else None

    @property
    def spread(self) -> float | None:
        """Standard deviation of the lengths [s]; None without any."""
        return float(np.std(self.lengths)) if self.lengths.size else None

    def histogram(self, bins: int = 40) -> tuple[np.ndarray, np.ndarray]:
        """How the lengths are distributed: counts (bins,) and edges (bins + 1,) [s]."""
        return np.histogram(self.lengths, bins)


def find_periods(recording: Recording) -> Periods:
    """The switching period of a recording, or how its periods are distributed.

    The wave is slowed down to means over up to 25 ns, so that rings do not count; the first high peak of its
    autocorrelation gives a first guess; each crossing of the middle is then an event.

    Valid for switching between `SLOWEST` and `FASTEST`.

    Examples
    --------
    >>> import numpy as np
    >>> times = 20e-9 * np.arange(20_000)
    >>> periods = find_periods(Recording(np.sin(2 * np.pi * 180e3 * times), 20e-9))
    >>> periods.pattern, round(1 / periods.period, -2)
    ('steady', 180000.0)
    """
    slow, interval = _slowed(recording)
    repetitions = _repetitions(slow, interval) if slow.size > FEWEST_PERIODS else None
    if repetitions is None:
        return _none("nothing repeats above the noise")
    coarse, fine = repetitions
    if (copies := _copies(slow, coarse)) > 1:
        return _through_noise(slow, coarse, copies, interval)
    events, pulses = _events(slow, fine)
    if fine < 0.7 * coarse and not _grouped(np.diff(events), pulses):
        whole, _ = _events(slow, coarse)
        alternate = abs(coarse / fine - 2) < _WHOLE and _even(np.diff(events)) and not _even(np.diff(whole))
        events = events if alternate else whole
    if events.size <= FEWEST_PERIODS:
        return _none(f"{events.size} events only: at least {FEWEST_PERIODS} whole periods are needed")
    return _judged(events * interval)


def frequency_near(recording: Recording, known: float, share: float) -> float:
    """The frequency [Hz] within a ``share`` of a ``known`` one whose first `_LINES` harmonics hold the most power.

    For a recording whose period noise or a ring hides, and which is of a converter that one knows.

    >>> times = 20e-9 * np.arange(20_000)
    >>> noisy = 1e-3 * np.sin(2 * np.pi * 180.72e3 * times) + np.random.default_rng(1).normal(0, 1e-3, times.size)
    >>> round(frequency_near(Recording(noisy, 20e-9), 180e3, 0.02), -3)
    181000.0
    """
    volts = recording.volts[:_LONGEST] - recording.mean
    length = fast_length(_FINER * volts.size)
    window = 1 - np.cos(2 * np.pi * np.arange(volts.size) / volts.size)
    power = np.abs(np.fft.rfft(volts * window, length)) ** 2
    line = 1 / (length * recording.sample_interval)
    tried = np.arange(known * (1 - share), known * (1 + share), line / _LINES)
    lines = line * np.arange(power.size)
    held = sum(np.interp(order * tried, lines, power, right=0.0) for order in range(1, _LINES + 1))
    return float(tried[np.argmax(held)])


def _copies(slow: np.ndarray, period: float) -> int:
    """Of how many periods a mean must be taken until the noise makes no events of its own."""
    wave = _smoothed(slow, int(period / 4))
    noise = np.median(np.abs(np.diff(slow))) / (_MIDDLE_STEP * np.sqrt(max(period / 4, 1)))
    margin = _HYSTERESIS * np.ptp(np.percentile(wave, [1, 99]))
    return int(np.ceil((_SURE * noise / margin) ** 2)) if margin else 1


def _through_noise(slow: np.ndarray, period: float, copies: int, interval: float) -> Periods:
    """One period, if means of several show one. Single ones are hidden, so that other patterns cannot be recognised."""
    shown = f"about {format_quantity(1 / (period * interval), 'Hz', 3)}"
    left = slow.size - int((copies - 1) * period + 1)
    mean = np.mean([slow[int(n * period + 0.5) :][: max(left, 0)] for n in range(copies)], axis=0)
    events = _events(mean, period)[0] if left > 0 else np.empty(0)
    periods = _judged(events * interval, copies) if events.size > FEWEST_PERIODS else None
    if periods is None or periods.period is None:
        return _none(f"something repeats at {shown}, and the noise hides whether with a single period")
    why = f"one period, {shown}: in means of {copies} periods, as noise hides single ones"
    return Periods("steady", periods.lengths, periods.period, periods.first, why)


def _none(why: str) -> Periods:
    return Periods("none", np.empty(0), None, 0.0, why)


def _slowed(recording: Recording) -> tuple[np.ndarray, float]:
    """Means over short blocks, less what is slower than `SLOWEST`, and their interval [s]."""
    width = max(int(1 / (_RATE * recording.sample_interval)), 1)
    whole = recording.samples // width * width
    slow = recording.volts[:whole].reshape(-1, width).mean(axis=1)
    interval = width * recording.sample_interval
    return slow - _drift(slow, int(1 / (SLOWEST * interval))) if slow.size else slow, interval


def _drift(values: np.ndarray, width: int) -> np.ndarray:
    """Mean over a window around each sample; at the ends the values go on in the straight line of the last window.

    Of a recording that is no longer than two windows, its straight line.
    """
    if values.size <= 2 * width:
        return _line(values, np.arange(values.size))
    half = width // 2
    before, after = _line(values[:width], np.arange(-half, 0)), _line(values[-width:], width + np.arange(half))
    return _smoothed(np.concatenate([before, values, after]), width)[half : half + values.size]


def _line(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    line: np.ndarray = np.polyval(np.polyfit(np.arange(values.size), values, min(1, values.size - 1)), at)
    return line


def _smoothed(values: np.ndarray, width: int) -> np.ndarray:
    """Mean over a window around each sample, shorter at the ends."""
    half = max(width // 2, 0)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.size)
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    means: np.ndarray = (sums[high] - sums[low]) / (high - low)
    return means


def _repetitions(slow: np.ndarray, interval: float) -> tuple[float, float] | None:
    """The period by the autocorrelation, and the shortest that is worth a try, in samples; None in mere noise.

    The first is a high peak behind the first change of sign. The pulses of a burst make a lower one before, on the
    slope of the burst itself: it rises by a share of the highest rise.
    """
    part = slow[:_LONGEST]
    count = part.size
    longest = min(count // 2, int(1 / (SLOWEST * interval)) + 1)
    shortest = max(int(1 / (FASTEST * interval)), 2)
    if longest <= shortest + 1 or not np.any(part):
        return None
    power = np.abs(np.fft.rfft(part, fast_length(2 * count))) ** 2
    alike = np.fft.irfft(power)[: longest + 1] / (count - np.arange(longest + 1))
    alike = alike / alike[0]
    lags = np.arange(shortest, longest)
    tops = lags[(alike[lags] >= alike[lags - 1]) & (alike[lags] > alike[lags + 1])]
    later = tops[tops > np.argmax(alike < 0)] if np.any(alike < 0) else tops[:0]
    if not later.size or alike[later].max() < max(0.05, 6 / np.sqrt(count)):
        return None
    rises = alike[tops] - np.minimum.accumulate(alike)[tops]
    high = later[alike[later] >= _PEAK * alike[later].max()]
    return _first(alike, high), _first(alike, tops[rises >= _RISE * rises.max()])


def _first(alike: np.ndarray, tops: np.ndarray) -> float:
    """The first peak, or the highest one within a third of its lag; to a fraction of a sample."""
    near = tops[tops <= 1.3 * tops[0]]
    at = int(near[np.argmax(alike[near])])
    before, here, after = alike[at - 1 : at + 2]
    return at + 0.5 * float((before - after) / (before - 2 * here + after))


def _events(slow: np.ndarray, period: float) -> tuple[np.ndarray, np.ndarray]:
    """Where the slow part of the wave crosses its middle upwards [samples], and how far it then rises above it [V].

    The mean over a quarter of the period takes rings and narrow spikes away; a crossing counts once the wave was
    `_HYSTERESIS` of its swing below and then above the middle.
    """
    wave = _smoothed(slow, int(period / 4))
    low, high = np.percentile(wave, [1, 99])
    wave = wave - (low + high) / 2
    margin = _HYSTERESIS * (high - low)
    state = np.where(wave > margin, 1, np.where(wave < -margin, -1, 0)).astype(np.int8)
    sure = np.flatnonzero(state)
    rises = sure[1:][(state[sure[1:]] == 1) & (state[sure[:-1]] == -1)]
    crossings = np.flatnonzero((wave[:-1] <= 0) & (wave[1:] > 0))
    last = crossings[np.searchsorted(crossings, rises) - 1]
    heights = np.maximum.reduceat(wave, last) if last.size else np.empty(0)
    return last - wave[last] / (wave[last + 1] - wave[last]), heights


def _grouped(lengths: np.ndarray, pulses: np.ndarray) -> bool:
    """Whether the events come in groups of three and more pulses that keep their height: bursts, and no dying ring."""
    ends = np.flatnonzero(lengths > _LONG * np.median(lengths)) if lengths.size else np.empty(0, int)
    if not 0 < 3 * ends.size <= pulses.size:
        return False
    return bool(np.median(pulses[ends]) > _KEPT * np.median(pulses[ends + 1]))


def _even(lengths: np.ndarray) -> bool:
    """Whether lengths, but for a tenth at either end, are of one size: of pulses that alternate, a mean over both may count the lower ones now and then."""
    low, high = np.percentile(lengths, [10, 90]) if lengths.size else (0.0, 0.0)
    return bool(high < _UNEVEN * low)


def _whole(events: np.ndarray) -> np.ndarray:
    """Without those that cut a period in two, as a ring does that crosses the middle once more now and then."""
    lengths = np.diff(events)
    usual = np.median(lengths)
    cut = (lengths[:-1] < usual * (1 - STEADY)) & (np.abs(lengths[:-1] + lengths[1:] - usual) < STEADY * usual)
    return np.delete(events, np.flatnonzero(cut) + 1)


def _judged(events: np.ndarray, copies: int = 1) -> Periods:
    """Whether the events belong to one period. Errors of time that do not add up are no change of the period.

    Such errors, alike and independent, spread the lengths by the root of two times as much; means of several periods
    share errors, and their lengths spread less.
    """
    events = _whole(events)
    lengths = np.diff(events)
    usual = float(np.median(lengths))
    ratios = lengths / usual
    long = ratios > _LONG
    shown = format_quantity(1 / usual, "Hz", 4)
    if np.any(long):
        return _interrupted(events, lengths, ratios, shown)
    slope, start = np.polyfit(np.arange(events.size), events, 1)
    stray = float(np.std(events - np.polyval([slope, start], np.arange(events.size))))
    spread = float(np.std(ratios))
    if spread < STEADY or (_even(lengths) and stray < np.sqrt(copies) * spread * usual):
        return Periods("steady", lengths, float(slope), float(start), f"one period, {shown}")
    low, high = np.percentile(lengths, [5, 95])
    band = f"{format_quantity(1 / high, 'Hz', 4)} to {format_quantity(1 / low, 'Hz', 4)}"
    why = f"no single period: dither, nine periods in ten between {band}"
    return Periods("dither", lengths, None, float(events[0]), why)


def _interrupted(events: np.ndarray, lengths: np.ndarray, ratios: np.ndarray, shown: str) -> Periods:
    """Pulses are missing: single ones, or in groups with a pause between."""
    long = ratios > _LONG
    pauses = ratios[long]
    whole = float(np.mean(np.abs(pauses - np.round(pauses)) < _WHOLE))
    share = (
        f"{np.count_nonzero(long)} of {long.size} periods are longer, {pauses.min():.3g} to {pauses.max():.3g} times"
    )
    if whole > 0.9 and np.median(pauses) < 3.5:
        why = f"no single period: pulses are skipped at {shown}; {share}"
        return Periods("skipped pulses", lengths, None, float(events[0]), why)
    if (even := even_groups(events, long)) is not None:
        return in_bursts(lengths, *even)
    group = (np.count_nonzero(~long) + np.count_nonzero(long)) / np.count_nonzero(long)
    why = f"no single period: bursts of about {group:.3g} pulses at {shown}; {share}"
    return Periods("bursts", lengths, None, float(events[0]), why)


def in_bursts(lengths: np.ndarray, period: float, first: float, pulses: Pulses) -> Periods:
    """Periods of bursts that come evenly."""
    rate, each = format_quantity(1 / pulses.interval, "Hz", 4), format_quantity(period, "s", 4)
    why = f"bursts of {pulses.count} pulses at {rate}, one burst each {each}"
    return Periods("bursts", lengths, period, first, why, pulses)
