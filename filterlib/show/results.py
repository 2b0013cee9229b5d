"""The numbers of a review for other programs: one a key, bandwidth in the key, unit at its end."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from filterlib.show.emission_numbers import emission_arrays_section, emission_section
from filterlib.show.numbers import Section
from filterlib.show.numbers import number_or_null as _number
from filterlib.show.numbers import numbers_or_null as _numbers
from filterlib.show.numbers import put as _put
from filterlib.show.reasons_numbers import reasons_section
from filterlib.show.writing import RUN
from filterlib.units import decibels
from filterlib.words.assumptions import assumptions
from filterlib.words.measurement_sentences import (
    measurement_sentences,
    measurement_words,
    useless_sentence,
    what_to_measure,
)
from filterlib.words.rating_sentences import basis_text
from filterlib.words.review_sentences import broken_ratings, headline, summary, trust, verdict_sentence
from filterlib.words.stability_sentences import NO_DRIVE, NO_SPIKE, part_note, reason_text, stability_sentence

FORMAT = 1  # raised whenever a key changes its name or its meaning
NO_INTERVAL_BEFORE = "no interval is sought for figures without the filter"
NOTHING_OPEN = "no uncertain parameter moves the figure, so there is no interval"


def results_text(result: Any, files: Sequence[str], version: str) -> str:
    """The whole of results.json; never NaN or infinity in it, but null with "KEY_reason" beside.

    ``files``: names of all files of the run; ``version`` of the program that wrote them.
    """
    keys = _load_keys([load.name for load in result.design.loads])
    points = {point.operating.point: _point(point, result.design, keys) for point in result.points}
    decisive = result.point_to_show().operating.point
    whole = {
        "format": FORMAT,
        "run": RUN,
        "generator": f"filterlib {version}",
        "files": sorted(files),
        "design": result.design.name,
        "summary": summary(result),
        "headline": headline(result),
        "exit_code": result.exit_code,
        "requirements": [_requirement(verdict) for verdict in result.verdicts],
        "operating_point": decisive,
        "ripple": points[decisive]["ripple"],
        "closing": _closing(result.closing),
        "reasons": reasons_section(result.reasons),
        "operating_points": points,
        "lives": {life.name: _stressed(life) for life in result.lives},
        "broken_ratings": broken_ratings(result),
        "assumptions": [asdict(assumption) for assumption in assumptions(result)],
        "trust": list(trust(result)),
        "arrays": {point.operating.point: _arrays(point, keys) for point in result.points},
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _load_keys(names: Iterable[str]) -> dict[str, str]:
    """A key for each load: its name with underscores, made different where two would agree."""
    keys: dict[str, str] = {}
    for name in names:
        key = start = re.sub(r"\W+", "_", name)
        count = 1
        while key in {"terminals", "load", *keys.values()}:
            count += 1
            key = f"{start}_{count}"
        keys[name] = key
    return keys


def _requirement(verdict: Any) -> Section:
    words, sentence = ("requirement", "kind", "load", "verdict", "depends_on", "point"), verdict_sentence(verdict)
    section: Section = {name: getattr(verdict, name) for name in words} | {"sentence": sentence}
    for name in ("limit", "value", "low", "high"):
        _put(section, f"{name}_{verdict.unit}", getattr(verdict, name), sentence)
    _put(section, "margin", verdict.margin, sentence)
    return section


def _unknown(unknown: Any) -> Section:
    """What one unknown does; its own values are null where they are no number (such as a shape)."""
    section: Section = {name: getattr(unknown, name) for name in ("key", "label", "unit")}
    section["measurement"] = measurement_words(unknown.measurement)
    for name in ("nominal", "low", "high", "share"):
        _put(section, name, getattr(unknown, name), "not a number")
    _put(section, "pp_at_low_V", unknown.pp_at_low, "not computed")
    _put(section, "pp_at_high_V", unknown.pp_at_high, "not computed")
    return section


def _closing(found: Any) -> Section:
    """What would narrow the band of the ripple that decides, the measurement that narrows it most first."""
    if found is None:
        return {"measurements": [], "reason": "there is no steady ripple where it decides"}
    section: Section = {
        "point": found.point,
        "load": found.load,
        "band": found.label,
        "words": [*measurement_sentences(found), *filter(None, [useless_sentence(found)])],
    }
    for name in ("low", "high"):
        _put(section, f"pp_{name}_V", getattr(found, name), "not computed" if found.measurements else NOTHING_OPEN)
    section["measurements"] = [
        {
            "measure": what_to_measure(one),
            "uncertain_parameters": list(one.keys),
            "pp_low_V": _number(one.low),
            "pp_high_V": _number(one.high),
        }
        | {"narrows_ratio": _number(one.narrows)}
        for one in found.measurements
    ]
    if found.capacitor is not None:
        added = found.capacitor
        why = "every value tells"
        section["capacitor"] = of_it = {"harmonics": list(added.orders)}
        _put(of_it, "capacitance_F", added.capacitance, why)
        _put(of_it, "bare_pp_V", added.bare, why)
        _put(of_it, "loaded_pp_V", added.loaded, why)
        _put(of_it, "loaded_pp_low_V", added.low, why)
        _put(of_it, "loaded_pp_high_V", added.high, why)
        _put(of_it, "too_small_F", added.too_small, why)
        _put(of_it, "too_small_moves_ratio", added.too_small_moves, why)
    return section | ({} if found.measurements else {"reason": NOTHING_OPEN})


def _point(point: Any, design: Any, keys: Mapping[str, str]) -> Section:
    return {
        "stable": bool(point.operating.stable),
        "stability": stability_sentence(point.operating.stability),
        "notes": [part_note(note) for note in point.operating.notes],
        "operating": _operating(point.operating, keys),
        "ripple": _ripple(point.ripple, keys),
        "bode": _bode(point, design.converter.switching_frequency, keys),
        "impedance": _impedance(point, design.converter.switching_frequency, keys),
        "insertion": _insertion(point.insertion, design.converter.switching_frequency, keys),
        "steps": _steps(point.steps, keys),
        "stress": _stress(point.stress),
        "emissions": emission_section(point.emissions),
    }


def _operating(found: Any, keys: Mapping[str, str]) -> Section:
    section: Section = {}
    why = "not computed"
    _put(section, "temperature_K", found.temperature, why)
    _put(section, "terminals_V", found.terminal_voltage, why)
    _put(section, "converter_A", found.converter_current, why)
    for name, key in keys.items():
        _put(section, f"{key}_V", found.load_voltages.get(name), why)
        _put(section, f"{key}_A", found.load_currents.get(name), why)
        _put(section, f"{key}_W", found.load_powers.get(name), why)
        _put(section, f"{key}_drop_V", found.drops.get(name), why)
    for suffix, values in (("A", found.currents), ("unbalance_A", found.unbalances), ("bias_V", found.biases)):
        for name, value in values.items():
            _put(section, f"{name}_{suffix}", value, why)
    return section


def _ripple(ripple: Any, keys: Mapping[str, str]) -> Section:
    """The figures by place and bandwidth; those of the first load also under "load"."""
    section: Section = {}
    labels = list(dict.fromkeys(["20MHz", "full", *(label for _, label in ripple.figures)]))
    places = {"terminals": "terminals", "terminals_before": "terminals_before"}
    for name, key in keys.items():
        places |= {name: key, f"{name}_before": f"{key}_before"}
    scope = [name for name in ("measured", "tip_on_clip") if name in ripple.places]  # where a clip is on
    places |= {place: place for name in scope for place in (name, f"{name}_before")}
    for place, key in places.items():
        for label in labels:
            _figure(section, f"{key}_{label}", ripple, (place, label))
    first = next(iter(keys.values()))
    of_first = {key: value for key, value in section.items() if key.startswith(f"{first}_")}
    section = {f"load_{key.removeprefix(f'{first}_')}": value for key, value in of_first.items()} | section
    why = reason_text(ripple.reason) or "not computed"
    _put(section, "trusted_to_Hz", ripple.trusted_to, why)
    _put(section, "largest_factor", ripple.largest_factor, why)
    _put(section, "largest_factor_Hz", ripple.largest_factor_frequency, why)
    section["uncertain_parameters"] = [_unknown(unknown) for unknown in ripple.uncertain_parameters]
    return section


def _figure(section: Section, key: str, ripple: Any, place: tuple[str, str]) -> None:
    figure, remark = ripple.figures.get(place), NO_SPIKE if place in ripple.without_spike else ""
    why = reason_text(ripple.reason) or "not computed"
    no_interval = why if figure is None else NO_INTERVAL_BEFORE if place[0].endswith("_before") else NOTHING_OPEN
    _put(section, f"{key}_pp_V", getattr(figure, "peak_to_peak", None), why)
    _put(section, f"{key}_pp_low_V", getattr(figure, "low", None), no_interval)
    _put(section, f"{key}_pp_high_V", getattr(figure, "high", None), no_interval)
    _put(section, f"{key}_rms_V", getattr(figure, "rms", None), why)
    if figure is not None:
        for source, alone in figure.by_source.items():
            _put(section, f"{key}_{source}_alone_pp_V", alone, why)
            _put(section, f"{key}_{source}_reduction_V", figure.reduction.get(source), why)
        if remark:
            section[f"{key}_remark"] = remark


def _bode(point: Any, switching: float, keys: Mapping[str, str]) -> Section:
    section: Section = {}
    for load, key in keys.items():
        bode = point.bode[load]
        for ratio in ("load_over_source", "load_over_terminals", "with_over_without"):
            level = at_frequency(bode.frequencies, decibels(getattr(bode, ratio)), switching)
            _put(section, f"{key}_{ratio}_at_switching_dB", level, "not computed")
    return section


def _impedance(point: Any, switching: float, keys: Mapping[str, str]) -> Section:
    section: Section = {}
    for load, key in keys.items():
        found = point.impedance[load]
        for which in ("seen_by_load", "seen_by_converter", "load_input"):
            size = np.abs(getattr(found, which))
            at = at_frequency(found.frequencies, size, switching)
            _put(section, f"{key}_{which}_at_switching_ohm", at, "infinite: the load draws a constant current")
        frequency, size = largest_below(found.frequencies, found.seen_by_load, switching)
        _put(section, f"{key}_seen_by_load_largest_below_switching_ohm", size, "not computed")
        _put(section, f"{key}_seen_by_load_largest_below_switching_at_Hz", frequency, "not computed")
    return section


def _insertion(found: Any, switching: float, keys: Mapping[str, str]) -> Section:
    """Test systems by their resistances, the point written p; "real" is the same filter in its own circuit."""
    section: Section = {}
    for mode in ("symmetrical", "asymmetrical"):
        curves = {name.replace("/", "_").replace(".", "p"): loss for name, loss in getattr(found, mode).items()}
        real = getattr(found, f"real_{mode}")
        curves |= {f"real_{key}": real.get(load) for load, key in keys.items()}
        for name, loss in curves.items():
            for spot, frequency in spots(switching).items():
                level = None if loss is None else at_frequency(found.frequencies, loss, frequency)
                _put(section, f"{mode}_{name}_at_{spot}_dB", level, "nothing reaches the load" if real else NO_DRIVE)
    return section


def spots(switching: float) -> dict[str, float]:
    """The frequencies [Hz] at which insertion loss is told, by their words in keys.

    >>> spots(180e3)
    {'switching': 180000.0, '1MHz': 1000000.0, '10MHz': 10000000.0}
    """
    return {"switching": switching, "1MHz": 1e6, "10MHz": 1e7}


def at_frequency(frequencies: np.ndarray, values: np.ndarray, frequency: float) -> float:
    """A value between the points of a curve, on a logarithmic frequency axis.

    >>> at_frequency(np.array([10.0, 1000.0]), np.array([1.0, 3.0]), 100.0)
    2.0
    """
    return float(np.interp(np.log10(frequency), np.log10(frequencies), values))


def largest_below(frequencies: np.ndarray, values: np.ndarray, frequency: float) -> tuple[float, float]:
    """Where, up to a frequency, a magnitude is largest [Hz], and how large.

    >>> largest_below(np.array([1.0, 2.0, 4.0]), np.array([3.0, -5.0, 9.0]), 2.5)
    (2.0, 5.0)
    """
    index = int(np.argmax(np.where(frequencies <= frequency, np.abs(values), -np.inf)))
    return float(frequencies[index]), float(np.abs(values[index]))


def _steps(steps: Mapping[str, Any], keys: Mapping[str, str]) -> Section:
    section: Section = {}
    for load, key in keys.items():
        found = steps[load]
        why = reason_text(found.reason) or "not computed"
        _put(section, f"{key}_step_current_A", found.step_current, why)
        _put(section, f"{key}_step_rise_s", found.rise_time, why)
        _put(section, f"{key}_dip_V", found.load_dip, why)
        _put(section, f"{key}_settling_s", found.settling_time, why)
        _put(section, f"{key}_overshoot_ratio", found.overshoot, why)
    return section


def _stress(found: Any) -> Section:
    """By part: every stress with its limit, and the heat."""
    if found.reason is not None:
        return {"reason": reason_text(found.reason)}
    section: Section = {heat.name: {} for heat in found.heats}
    for check in found.checks:
        section[check.name] |= _stressed(check)
    for heat in found.heats:
        own = section[heat.name]
        _put(own, "direct_heat_W", heat.direct, "not computed")
        _put(own, "ripple_heat_W", heat.ripple, "not computed")
        _put(own, "core_heat_W", heat.core, "the part has no core, or states no core loss")
    return section


def _stressed(check: Any) -> Section:
    section: Section = {}
    key, why = check.what.replace(" ", "_"), basis_text(check.basis)
    for suffix, value in (("", check.value), ("_low", check.low), ("_high", check.high), ("_limit", check.limit)):
        _put(section, f"{key}{suffix}_{check.unit}", value, why)
    _put(section, f"{key}_margin_ratio", check.margin, why)
    section[f"{key}_verdict"] = f"{check.verdict} {check.depends_on}".rstrip()
    return section


def _arrays(point: Any, keys: Mapping[str, str]) -> Section:
    """Poles as pairs of real and imaginary part; harmonics as peak amplitudes, phases left out."""
    poles, ripple = point.operating.poles, point.ripple
    section: Section = {"poles_per_s": None, "poles_per_s_reason": "a part has no ladder, so there are no poles"}
    if poles is not None:
        section = {"poles_per_s": [[_number(pole.real), _number(pole.imag)] for pole in np.asarray(poles).tolist()]}
    harmonics: Section = {"frequency_Hz": _numbers(ripple.frequencies)}
    for place, amplitudes in ripple.spectra.items():
        name = place.removesuffix("_before")
        harmonics[f"{keys.get(name, name)}{place[len(name) :]}_peak_V"] = _numbers(np.abs(amplitudes))
    section |= {"harmonics": harmonics, "emissions": emission_arrays_section(point.emissions)}
    return section | ({"harmonics_reason": reason_text(ripple.reason)} if ripple.reason else {})
