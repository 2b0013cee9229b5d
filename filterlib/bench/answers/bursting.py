"""Captures of a converter that switches in bursts: where they show it, what its design makes of them, and what the bare burst should read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from filterlib.bench.answers.answers_result import BARE, BurstAnswer, Station
from filterlib.bench.answers.same_converter import bursts_behind
from filterlib.bench.capture.measurement import Measurement
from filterlib.errors import FilterlibError
from filterlib.system.design import Design, with_values
from filterlib.system.inside.burst import Burst, LoadThreshold, PulseTrain
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.light_load import full_load, light_load, pulse_charge
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve
from filterlib.system.sources.burst_spectra import burst_spectra
from filterlib.system.sources.source_spectra import reading, source_spectra
from filterlib.units import format_quantity

_MORE = 1.01  # times what is drawn where bursts were captured, below which the converter is then taken to burst
_OFF = 0.1  # share by which pulses in a burst may come slower or faster than the file says it switches: common practice, no source
_CASES = 200
_ENDS = (0.05, 0.95)
Captures = Iterable[tuple[Station, Sequence[Measurement]]]


def bursting_there(design: Design, before: Measurement | None, captures: Captures) -> Design:
    """The design whose converter bursts wherever a capture shows it: a capture knows better than a threshold that is stated or assumed."""
    points = {
        station.point
        for station, several in captures
        if station.point != BARE and any(bursts_behind(before, one) for one in several)
    }
    if design.converter.burst is None or not points:
        return design
    return _with_burst(design, design.converter.burst, max(solve(design, point).drawn for point in points))


def as_captured(solution: Solution, captures: Captures) -> Solution | None:
    """The same with the bursts that a capture at its operating point shows, or else with those that have to be suspected; None where there are none."""
    seen = next(
        (one for station, several in captures if station.point == solution.point for one in several if one.pulses), None
    )
    if seen is None or seen.pulses is None or solution.burst is not None:
        return solution.supposed
    burst = Burst(pulses=seen.pulses.count, period=seen.period)
    return Solution(_with_burst(solution.design, burst, solution.drawn), solution.state)


def _with_burst(design: Design, burst: Burst, drawn: float) -> Design:
    """With a burst at every load up to what is ``drawn`` [A], or up to the stated threshold where that is more."""
    converter, full = design.converter, full_load(design.converter, design.full_current)
    stated = converter.burst_below.of(full) if converter.burst_below else 0.0
    below = max(stated, _MORE * drawn)
    more = {"burst": burst, "burst_below": LoadThreshold(format_quantity(below, "A"), current=below)}
    return design.model_copy(update={"converter": converter.model_copy(update=more)})


def refuse_another(design: Design, measured: Measurement) -> None:
    """Raises FilterlibError for bursts whose pulses do not come as often as the converter switches."""
    found, own = measured.switching_frequency, design.converter.switching_frequency
    if found is not None and abs(found / own - 1) > _OFF:
        raise FilterlibError(
            f"{measured.recording.file}: {measured.periods.why}, and the file's converter switches at "
            f"{format_quantity(own, 'Hz', 4)}: captures of one converter are needed"
        )


def bare_burst(stated: Design, measured: Measurement, amps: float) -> BurstAnswer:
    """A capture of the bare terminals in even bursts while ``amps`` [A] were drawn, beside the prediction of `burst_spectra`.

    Raises: FilterlibError where no such burst can be: its pulses do not fit into its period.
    """
    assert measured.pulses is not None  # it was asked for
    assert measured.period is not None
    converter, found = stated.converter, Burst(pulses=measured.pulses.count, period=measured.period)
    own = converter.burst if converter.burst is not None and converter.burst.recording is None else None
    drawn = LoadThreshold("", current=_MORE * amps)
    light = light_load(converter.model_copy(update={"burst": own or found, "burst_below": drawn}), amps, amps)
    if light is None or light.train is None:
        raise FilterlibError(f"{measured.recording.file}: bursts carry a current, and none is stated of it")
    peak = amps * measured.period / (measured.pulses.count * float(np.mean(pulse_charge(converter))))
    nominal = float(np.mean(_reads(stated, converter, light.train)))
    low, high = _ends(stated, light.train)
    return BurstAnswer(
        measured.pulses.count, 1 / measured.pulses.interval, measured.period, amps, peak, own is not None, nominal,
        min(low, nominal), max(high, nominal),
    )  # fmt: skip


def _reads(design: Design, converter: Converter, train: PulseTrain) -> np.ndarray:
    """Peak to peak [V] in the arrangement of the stated ripple, one number or (designs, 1)."""
    sources = burst_spectra(converter, train, source_spectra(converter, design.full_current))
    seen = converter.ripple.model_copy(update={"load_current": float(np.mean(train.delivered))})
    return np.asarray(reading(converter.idle, seen, sources, design.full_current))


def _ends(design: Design, train: PulseTrain) -> tuple[float, float]:
    """Of the converter's uncertain values, each evenly likely; the train as it is."""
    random = np.random.default_rng(1)
    box = [one for one in uncertain_parameters(design) if one.key.startswith("converter.")]
    values: Mapping[str, np.ndarray] = {one.key: one.at(random.uniform(size=_CASES))[:, None] for one in box}
    many = with_values(design, values)
    low, high = np.nanquantile(_reads(many, many.converter, train), _ENDS)
    return float(low), float(high)
