"""Recordings that a design file names: read, and turned into what the converter's model takes; see `design_file`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from filterlib.bench.bank_fit import BankFit, fit_bank
from filterlib.bench.capture.harmonics import harmonics
from filterlib.bench.capture.measurement import BANDWIDTH, Measurement, measure, over_period, over_the_longer
from filterlib.bench.capture.periods import frequency_near
from filterlib.bench.capture.recording import load_recording
from filterlib.bench.fit import fit_inside, readings_of
from filterlib.bench.inside import FitError, InsideFit
from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.network.spectrum import lowpass_response
from filterlib.parts.reading import Toml
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.recorded import Recorded
from filterlib.system.line.shared_capacitor import as_measured
from filterlib.system.line.stages import ShuntCapacitor
from filterlib.units import format_quantity, quantity

SAME = 0.02
"""Share by which a recording's switching frequency may differ from the one that the design file states."""
ONE_BRANCH = 0.05
"""Misfit of one capacitor with ESR and inductance, from which on a bank of several is sought."""
MOST_OF_A_BANK = 200  # harmonics, of which more branches are told
RINGING = 1.5  # times the stated frequency (but for twice), from which on what repeats is a ring: switches are no faster than they are stated to be; no source
_TIMES = (1.0, 2.0, 0.5)
"""Of the stated frequency, a recording may repeat at: a bridge's ripple at twice its switches' frequency, or half of it."""
_READING = ("channel", "probe_factor", "full_scale", "sample_interval", "bandwidth")
_FIRST, _SECOND = "converter.ripple", "converter.ripple.with_capacitor"
Taken = dict[str, Measurement]
"""What was measured, by the key in the design file of the recording."""


def recorded(measurement: Measurement, file: str, channel: str | int | None = None) -> Recorded:
    """The harmonics of a recording up to its bandwidth, those that are well above its noise.

    Raises FilterlibError where the recording has no single period, or states no bandwidth.
    """
    if measurement.average is None:
        raise FilterlibError(f"no ripple can be taken from it: {measurement.remarks[0]}")
    if measurement.recording.bandwidth is None:
        raise FilterlibError("neither the file nor the design says in which bandwidth it was recorded: state bandwidth")
    lines = harmonics(measurement)
    return Recorded(
        file, 1 / measurement.average.period, tuple(np.where(lines.clear, lines.coefficients, 0).tolist()), channel
    )


def identified(design: Design, taken: Taken, file: str) -> Design:
    """The design with what two recordings say of its converter's inside in place of the file's; with one as it is.

    Raises InputError where they do not determine it, or what they give cannot be.
    """
    if _SECOND not in taken:
        return design
    converter = design.converter
    ripple = converter.ripple
    current = design.full_current if ripple.load_current is None else ripple.load_current
    _refuse_unnamed(design, file)
    try:
        known = design.replace(converter=_fitted(converter, taken, current).inside(converter))
        stages = as_measured(known.converter, known.filter)
        return known if stages is known.filter else known.replace(filter=stages)
    except InputError as error:
        raise InputError(Problem(file, f"converter.{p.key}", p.value, p.why) for p in error.problems) from None
    except FilterlibError as error:
        shown = ripple.with_capacitor.recording.file if ripple.with_capacitor else None
        raise InputError([Problem(file, _SECOND, shown, str(error))]) from None


def _refuse_unnamed(design: Design, file: str) -> None:
    """Raises InputError where the second recording's capacitor is said to be one that the filter does not have."""
    second = design.converter.ripple.with_capacitor
    names = [one.name for one in design.filter if isinstance(one, ShuntCapacitor)]
    if second is not None and second.stage is not None and second.stage not in names:
        why = f"the filter has no such capacitor from line to line; {did_you_mean(second.stage, names)}"
        raise InputError([Problem(file, f"{_SECOND}.stage", second.stage, why)])


def _fitted(converter: Converter, taken: Taken, current: float) -> InsideFit | BankFit:
    """One capacitor where that explains both recordings, else a bank of several.

    A bank too where the filter's own capacitor was across: it says how the inside moves with what is uncertain of that.
    """
    ripple, second = converter.ripple, converter.ripple.with_capacitor
    assert second is not None
    both = taken[_FIRST], taken[_SECOND], second, converter, current
    one = None
    try:
        if (one := fit_inside(*both, arrangement=ripple)).misfit < ONE_BRANCH and second.stage is None:
            return one
    except FitError:
        pass  # the bank's own refusal says more
    try:
        return fit_bank(readings_of(*both, arrangement=ripple, fewest=1, most=MOST_OF_A_BANK))
    except FitError:
        if one is None:
            raise
        return one


def read_recordings(raw: Toml, path: Path, taken: Taken) -> list[Problem]:
    """Every recording under ``converter.ripple``, put in place of its name and into ``taken``; what is wrong with them.

    That of bursts under ``converter.burst`` too.
    """
    ripple, burst = raw["converter"].get("ripple"), raw["converter"].get("burst")
    ripple = ripple if isinstance(ripple, dict) else {}
    second = ripple.get("with_capacitor")
    places = {_FIRST: ripple} if "recording" in ripple else {}
    if isinstance(second, dict) and "recording" in second:
        places[_SECOND] = second
    problems: list[Problem] = []
    if isinstance(burst, dict) and "recording" in burst:
        problems += _read_burst(raw["converter"], ripple, path)
    for key, holder in places.items():
        try:
            taken[key] = _at_the_stated(_measured(holder, ripple, path), raw["converter"], taken.get(_FIRST))
        except InputError as error:
            problems += error.problems
        except FilterlibError as error:
            problems.append(Problem(str(path), f"{key}.recording", holder["recording"], str(error)))
    if len(taken) == len(places) > 1:
        taken.update(zip(taken, over_the_longer(*taken.values()), strict=True))
    for key, measurement in taken.items():
        holder = places[key]
        try:
            holder["recording"] = recorded(measurement, *_named(holder["recording"]))
        except InputError as error:
            problems += error.problems
        except FilterlibError as error:
            problems.append(Problem(str(path), f"{key}.recording", holder["recording"], str(error)))
        else:
            if holder is ripple:
                problems += _in_place_of_figures(raw, measurement, str(path))
    return problems


def _at_the_stated(measured: Measurement, converter: Toml, other: Measurement | None) -> Measurement:
    """Averaged over the period that the file states, where the recording's own is hidden by noise or a ring and there is a line at that frequency.

    By an even clock: single periods that noise hides cannot be aligned. Pulses that are missing, or periods unlike each other, are a ring's where the ``other`` recording has one period,
    and where they come far faster than the switches: `RINGING`.
    """
    try:
        stated = quantity(converter.get("switching_frequency"), "Hz", above=0)
    except FilterlibError:
        return measured  # refused with the rest, by the model
    if (times := _times_of(measured, stated)) and measured.pulses:  # of a ring: bursts are slower than the switches
        return replace(measured, periods=replace(measured.periods, pattern="steady", pulses=None))
    alone = other is None or other.average is None
    hidden = ("none", "steady") if alone else ("none", "steady", "dither", "skipped pulses", "bursts")
    lengths = measured.periods.lengths
    rings = lengths.size > 0 and RINGING * stated * float(np.median(lengths)) < 1
    if times or measured.pulses or not (rings or measured.periods.pattern in hidden):
        return measured
    again = over_period(measured, 1 / frequency_near(measured.recording, stated, SAME))
    if again.average is None:  # no two periods of it
        return measured
    plain = replace(again.average, aligned=again.average.plain, jitter=0.0)
    again = replace(again, average=plain, aligned=again.averaged)
    return again if _times_of(again, stated) and harmonics(again).clear[0] else measured


def _times_of(measured: Measurement, stated: float) -> float | None:
    """What the recording's frequency is of the stated one, among `_TIMES`; None where it is none of them."""
    found = measured.frequency or 0.0
    return next((times for times in _TIMES if abs(found / stated / times - 1) <= SAME), None)


def _read_burst(converter: Toml, ripple: Toml, path: Path) -> list[Problem]:
    """A recording of bursts in place of its name, with its pulses and its period; what is wrong with it."""
    burst = converter["burst"]
    named, stated = burst["recording"], [key for key in ("pulses", "period", "peak") if key in burst]
    if stated:
        why = "the recording says it: leave this key out, or the recording"
        return [Problem(str(path), f"converter.burst.{key}", burst[key], why) for key in stated]
    try:
        measurement = _measured(burst, ripple, path)
        if measurement.pulses is None:
            raise FilterlibError(f"no evenly spaced bursts are in it: {measurement.periods.why}")
        burst["recording"] = _in_the_ripples_band(recorded(measurement, *_named(named)), measurement, ripple)
    except InputError as error:
        return list(error.problems)
    except FilterlibError as error:
        return [Problem(str(path), "converter.burst.recording", named, str(error))]
    burst |= {"pulses": measurement.pulses.count, "period": measurement.period}
    return []


def _in_the_ripples_band(taken: Recorded, measurement: Measurement, ripple: Toml) -> Recorded:
    """As the arrangement of the ripple's figure would have shown it: the model takes that one's low-pass away again."""
    text, order = ripple.get("bandwidth", BANDWIDTH), ripple.get("order", 1)
    limit = None if text == "full" else quantity(text, "Hz", above=0)
    frequencies = taken.frequency * np.arange(1, len(taken.harmonics) + 1)
    low, own = (lowpass_response(frequencies, one, order) for one in (limit, measurement.recording.bandwidth))
    return replace(taken, harmonics=tuple((np.array(taken.harmonics) * low / own).tolist()))


def _measured(holder: Toml, ripple: Toml, path: Path) -> Measurement:
    """The recording of one place, read as its entry says, in the bandwidth and order of the ripple's entry."""
    entry = holder["recording"]
    options: Any = {"file": entry} if isinstance(entry, str) else entry
    if not isinstance(options, Mapping) or not isinstance(options.get("file"), str):
        raise FilterlibError("the name of a CSV file is needed here, or a table with its file")
    for key in options:
        if key not in ("file", *_READING):
            raise FilterlibError(f'no key "{key}" here; {did_you_mean(key, ["file", *_READING])}')
    settings: Toml = {key: value for key, value in options.items() if key != "file"}
    if isinstance(ripple.get("bandwidth"), int | float | str) and ripple["bandwidth"] != "full":
        settings.setdefault("bandwidth", ripple["bandwidth"])
    taken = load_recording(path.parent / options["file"], settings.pop("channel", None), **settings)
    return measure(taken)


def _named(entry: Any) -> tuple[str, Any]:
    return (entry, None) if isinstance(entry, str) else (entry["file"], entry.get("channel"))


def _in_place_of_figures(raw: Toml, measurement: Measurement, file: str) -> list[Problem]:
    """What the recording says that the file would state otherwise: peak to peak, bandwidth, switching frequency."""
    converter, ripple = raw["converter"], raw["converter"]["ripple"]
    if "peak_to_peak" in ripple:
        why = "the recording says it: leave this key out, or the recording"
        return [Problem(file, "converter.ripple.peak_to_peak", ripple["peak_to_peak"], why)]
    assert measurement.aligned is not None and measurement.frequency is not None  # noqa: PT018  or it was refused
    ripple["peak_to_peak"] = measurement.aligned.peak_to_peak
    ripple.setdefault("bandwidth", measurement.recording.bandwidth)
    try:
        stated = quantity(converter.get("switching_frequency"), "Hz", above=0)
    except FilterlibError:
        return []  # refused with the rest, by the model
    if measurement.pulses is not None:
        why = f"{measurement.periods.why}: no ripple at full load. Name it under [converter.burst], and state the ripple at full load here"
        return [Problem(file, f"{_FIRST}.recording", ripple["recording"].file, why)]
    times = _times_of(measurement, stated)
    if times is None:
        why = f"the recording has {format_quantity(measurement.frequency, 'Hz', 4)}: another converter, or one that shares its work"
        return [Problem(file, "converter.switching_frequency", converter["switching_frequency"], why)]
    if times != 1:
        ripple["recording"] = replace(ripple["recording"], stated=stated)
    converter["switching_frequency"] = measurement.frequency
    return []
