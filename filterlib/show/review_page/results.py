"""The numbers of a review for other programs: one a key, bandwidth in the key, unit at its end."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TypeVar

import numpy as np

from filterlib.analysis.causes.causes_result import Mitigation
from filterlib.analysis.described import described
from filterlib.analysis.judged import Proposal
from filterlib.analysis.linear.frequency_response import at_frequency, largest_below
from filterlib.analysis.linear.insertion_loss import spots
from filterlib.analysis.linear.linear_result import BodeResult, ImpedanceResult, InsertionResult
from filterlib.analysis.review_result import PointResult, ReasonsResult, ReviewResult
from filterlib.analysis.ripple.ripple_result import Figure, RippleResult, Sensitivity
from filterlib.analysis.stability.stability_result import OverUncertainty, Turn
from filterlib.analysis.stress.stress_check import StressCheck, StressResult
from filterlib.analysis.uncertainty.measurement_result import MeasurementValues
from filterlib.analysis.verdict import Verdict
from filterlib.show.bank.bank_numbers import bursts_section
from filterlib.show.emission.emission_numbers import emission_arrays_section, emission_section
from filterlib.show.folder import RUN
from filterlib.show.numbers import NO_DRAWS, NOT_COMPUTED, Section, arrays, number_or_null, numbers, put, texts
from filterlib.show.stability.margin_numbers import converter_side_section, margins_section, part_limits_section
from filterlib.show.supply.supply_numbers import supply_section
from filterlib.system.file.accepted import AcceptedRating
from filterlib.units import decibels
from filterlib.words.facts import Sentence
from filterlib.words.labels import source_phrase
from filterlib.words.review.assumptions import assumptions
from filterlib.words.review.measurement_sentences import (
    measurement_sentences,
    measurement_words,
    useless_sentence,
    what_to_measure,
)
from filterlib.words.review.rating_sentences import basis_text, failing_text, stress_sentence
from filterlib.words.review.reason_sentences import reason_sentences, refusal_text
from filterlib.words.review.review_sentences import broken_ratings, headline, summary, trust
from filterlib.words.review.verdict_sentences import verdict_sentence
from filterlib.words.stability_sentences import (
    NO_DRIVE,
    NO_SPIKE,
    NOTHING_TURNS,
    UNSTABLE,
    over_sentence,
    part_note,
    reason_text,
    stability_sentence,
)
from filterlib.words.supply.light_load_sentences import discontinuous_sentence, light_load_sentence

T = TypeVar("T")
FORMAT = 4  # raised whenever a key changes its name or its meaning
NO_INTERVAL_BEFORE = "no interval is sought for figures without the filter"
_OF_DRAWS = ("probable_low", "probable_high", "plausible")
NOTHING_OPEN = "no uncertain parameter moves the figure, so there is no interval"
NO_CORE = "the part has no core, or states no core loss"
_NO_FIGURE = Figure(np.nan, np.nan, np.nan, np.nan, {}, {})


def results_text(result: ReviewResult, files: Sequence[str], version: str) -> str:
    """The whole of results.json; never NaN or infinity in it, but null with "KEY_reason" beside.

    ``files``: names of all files of the run; ``version`` of the program that wrote them.
    """
    keys, switching = _load_keys(load.name for load in result.design.loads), result.design.converter.switching_frequency
    points = {point.operating.point: _point(point, switching, keys) for point in result.points}
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
        "accept": result.accept,
        "requirements": [_requirement(verdict, result.closing) for verdict in result.verdicts],
        "operating_point": decisive,
        "ripple": points[decisive]["ripple"],
        "closing": _closing(result.closing),
        "reasons": reasons_section(result.reasons),
        "converter_side": converter_side_section(result.converter_side, result.design),
        "part_limits": part_limits_section(result.part_limits),
        "bursts": bursts_section(result.judgement.bursts),
        "operating_points": points,
        "lives": {life.name: _stressed(life) for life in result.lives},
        "broken_ratings": broken_ratings(result),
        **supply_section(result.judgement.supply),
        "accepted_ratings": [_accepted(one, result) for one in result.design.accepted],
        "assumptions": [asdict(assumption) for assumption in assumptions(result)],
        "trust": list(trust(result)),
        "arrays": {point.operating.point: _arrays(point, keys) for point in result.points},
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _load_keys(names: Iterable[str]) -> dict[str, str]:
    """A key for each load: its name with underscores, distinct where two would agree."""
    keys: dict[str, str] = {}
    for name in names:
        key = start = re.sub(r"\W+", "_", name)
        count = 1
        while key in {"terminals", "load", *keys.values()}:
            count += 1
            key = f"{start}_{count}"
        keys[name] = key
    return keys


def _requirement(verdict: Verdict, closing: MeasurementValues | None) -> Section:
    sentence = verdict_sentence(verdict, closing)
    words = texts(verdict, "requirement", "kind", "load", "verdict", "depends_on", "point")
    return words | {"sentence": sentence} | numbers(verdict, sentence, whys=dict.fromkeys(_OF_DRAWS, NO_DRAWS))


def _accepted(one: AcceptedRating, result: ReviewResult) -> Section:
    """What the design accepts, and what is exceeded of it."""
    exceeded = [pair for pair in result.exceeded if result.judgement.acceptance(pair[1]) == one]
    told = [stress_sentence(check, point) for point, check in exceeded]
    return {"part": one.part, "rating": one.rating, "reason": one.reason, "exceeded": told}


def _parameter(parameter: Sensitivity) -> Section:
    """What one uncertain parameter does; its own values, in its unit, are null where they are no number (such as a shape)."""
    section = texts(parameter, "key", "label", "unit") | {"measurement": measurement_words(parameter.measurement)}
    for name in ("nominal", "low", "high"):
        put(section, name, getattr(parameter, name), "not a number")
    return section | numbers(parameter, whys={"share": "not a number"})


def _closing(values: MeasurementValues | None) -> Section:
    """What would narrow the interval of the ripple that decides, the measurement that narrows it most first."""
    if values is None:
        return {"measurements": [], "reason": "there is no steady ripple where it decides"}
    section = {
        "point": values.point,
        "load": values.load,
        "band": values.label,
        "words": [*measurement_sentences(values), *filter(None, [useless_sentence(values)])],
        **numbers(values, NOT_COMPUTED if values.measurements else NOTHING_OPEN),
        "measurements": [
            {"measure": what_to_measure(one), "uncertain_parameters": list(one.keys)} | numbers(one)
            for one in values.measurements
        ],
    }
    if values.capacitor is not None:
        figures = numbers(values.capacitor, "every value shows what is inside")
        section["capacitor"] = {"harmonics": list(values.capacitor.orders)} | figures
    return section | ({} if values.measurements else {"reason": NOTHING_OPEN})


def _point(point: PointResult, switching: float, keys: Mapping[str, str]) -> Section:
    return {
        "stable": bool(point.operating.stable),
        "stability": stability_sentence(point.operating.stability),
        "stability_over": _over(point.over, bool(point.operating.stable)),
        "margins": margins_section(point.margins),
        "notes": [part_note(note) for note in point.operating.notes],
        "operating": numbers(point.operating, names=keys),
        **_light_load(point),
        **_discontinuous(point),
        "ripple": _ripple(point.ripple, keys),
        "bode": _by_load(point.bode, keys, lambda result, key: _at_switching(result, key, switching)),
        "impedance": _by_load(point.impedance, keys, lambda result, key: _impedance(result, key, switching)),
        "insertion": _insertion(point.insertion, switching, keys),
        "steps": _by_load(
            point.steps,
            keys,
            lambda result, key: numbers(result, reason_text(result.reason) or NOT_COMPUTED, start=key),
        ),
        "stress": _stress(point.stress),
        "emissions": emission_section(point.emissions),
    }


def _discontinuous(point: PointResult) -> Section:
    """Where an output inductor's current falls to zero in each period; nothing elsewhere."""
    found = point.operating.discontinuous
    if found is None:
        return {}
    return {"discontinuous": {"shape_taken": found.known, "words": discontinuous_sentence(point)} | numbers(found, "")}


def _light_load(point: PointResult) -> Section:
    """What the converter does where the load is light; nothing elsewhere."""
    light, words = point.operating.light_load, light_load_sentence(point)
    if light is None:
        return {}
    figures = {f"{place}_{label}_estimated_pp_V": volts for (place, label), volts in point.ripple.estimated.items()}
    known = {"stated": light.stated, "burst_stated": light.certain, "words": words}
    return {"light_load": known | numbers(light, "the loads draw nothing") | figures}


def _by_load(results: Mapping[str, T], keys: Mapping[str, str], section: Callable[[T, str], Section]) -> Section:
    return {name: value for load, key in keys.items() for name, value in section(results[load], key).items()}


def _places(ripple: RippleResult, keys: Mapping[str, str]) -> dict[str, str]:
    """The places of a ripple by their keys, those of a scope's clip where one is on."""
    scope = [name for name in ("measured", "tip_on_clip") if name in ripple.places]
    names = {"terminals": "terminals"} | dict(keys) | {name: name for name in scope}
    return {f"{name}{end}": f"{key}{end}" for name, key in names.items() for end in ("", "_before")}


def _ripple(ripple: RippleResult, keys: Mapping[str, str]) -> Section:
    """The figures by place and bandwidth; those of the first load also under "load"."""
    section: Section = {}
    labels = list(dict.fromkeys(["20MHz", "full", *(label for _, label in ripple.figures)]))
    for place, key in _places(ripple, keys).items():
        for label in labels:
            section |= _figure(f"{key}_{label}", ripple, (place, label))
    first = next(iter(keys.values()))
    of_first = {key: value for key, value in section.items() if key.startswith(f"{first}_")}
    section = {f"load_{key.removeprefix(f'{first}_')}": value for key, value in of_first.items()} | section
    why = reason_text(ripple.reason) or NOT_COMPUTED
    section |= numbers(ripple, why, whys={} if ripple.reason else {"spike_as_measured": NO_SPIKE})
    return section | {"uncertain_parameters": [*map(_parameter, ripple.uncertain_parameters)]}


def _figure(key: str, ripple: RippleResult, place: tuple[str, str]) -> Section:
    figure, why = ripple.figures.get(place), reason_text(ripple.reason) or NOT_COMPUTED
    no_interval = why if figure is None else NO_INTERVAL_BEFORE if place[0].endswith("_before") else NOTHING_OPEN
    no_draws = NO_DRAWS if no_interval == NOTHING_OPEN and place in ripple.extents else no_interval
    whys = {"low": no_interval, "high": no_interval, "probable_low": no_draws, "probable_high": no_draws}
    section = numbers(figure or _NO_FIGURE, why, start=key, whys=whys)
    return section | ({f"{key}_remark": NO_SPIKE} if figure and place in ripple.without_spike else {})


def _at_switching(result: BodeResult | ImpedanceResult, key: str, switching: float, why: str = NOT_COMPUTED) -> Section:
    """Every curve at the switching frequency: the size of an impedance, a ratio in decibels."""
    section: Section = {}
    for name, mark in described(result).items():
        if name != "frequencies":
            size = np.abs(getattr(result, name))
            level, unit = (size, mark.unit) if mark.unit else (decibels(size), "dB")
            put(section, f"{key}_{name}_at_switching_{unit}", at_frequency(result.frequencies, level, switching), why)
    return section


def _impedance(impedance: ImpedanceResult, key: str, switching: float) -> Section:
    section = _at_switching(impedance, key, switching, "infinite: the load draws a constant current")
    frequency, size = largest_below(impedance.frequencies, impedance.seen_by_load, switching)
    put(section, f"{key}_seen_by_load_largest_below_switching_ohm", size, NOT_COMPUTED)
    put(section, f"{key}_seen_by_load_largest_below_switching_at_Hz", frequency, NOT_COMPUTED)
    return section


def _over(over: OverUncertainty | None, stable: bool) -> Section:
    """Stability over the uncertainty, or why there is nothing to say."""
    if over is None:
        return {"reason": NOTHING_TURNS}
    turns = {name: [_turn(turn) for turn in getattr(over, name)] for name in ("alone", "together")}
    why = "no case rings with a Q above 2" if over.stable else "the least damped case grows"
    return texts(over, "stable", "cases") | {"sentence": over_sentence(over, stable)} | numbers(over, why) | turns


def _turn(turn: Turn) -> Section:
    return texts(turn, "key", "label", "above") | numbers(turn)


def _insertion(insertion: InsertionResult, switching: float, keys: Mapping[str, str]) -> Section:
    """Test systems by their resistances, the point written p; "real" is the same filter in its own circuit."""
    section: Section = {}
    for mode in ("symmetrical", "asymmetrical"):
        curves = {name.replace("/", "_").replace(".", "p"): loss for name, loss in getattr(insertion, mode).items()}
        real = getattr(insertion, f"real_{mode}")
        curves |= {f"real_{key}": real.get(load) for load, key in keys.items()}
        for name, loss in curves.items():
            for spot, frequency in spots(switching).items():
                level = None if loss is None else at_frequency(insertion.frequencies, loss, frequency)
                put(section, f"{mode}_{name}_at_{spot}_dB", level, "nothing reaches the load" if real else NO_DRIVE)
    return section


def _stress(stress: StressResult) -> Section:
    """By part: every stress with its limit, and the heat."""
    if stress.reason is not None:
        return {"reason": reason_text(stress.reason)}
    section: dict[str, Section] = {heat.name: {} for heat in stress.heats}
    for check in stress.checks:
        section.setdefault(check.name, {}).update(_stressed(check))
    for heat in stress.heats:
        section[heat.name] |= numbers(heat, whys={"core": NO_CORE})
    return section


def _stressed(check: StressCheck) -> Section:
    key = check.what.replace(" ", "_")
    verdict = {
        f"{key}_verdict": f"{check.verdict}: depends on {check.depends_on}" if check.depends_on else check.verdict
    }
    return numbers(check, basis_text(check.basis), start=key) | verdict


def _arrays(point: PointResult, keys: Mapping[str, str]) -> Section:
    """Poles as pairs of real and imaginary part; harmonics as peak amplitudes, phases left out."""
    poles, ripple = point.operating.poles, point.ripple
    section: Section = {"poles_per_s": None, "poles_per_s_reason": "a part has no ladder, so there are no poles"}
    if poles is not None:
        section = {"poles_per_s": [[number_or_null(p.real), number_or_null(p.imag)] for p in poles.tolist()]}
    section |= {"harmonics": arrays(ripple, _places(ripple, keys))}
    section |= {"emissions": emission_arrays_section(point.emissions)}
    return section | ({"harmonics_reason": reason_text(ripple.reason)} if ripple.reason else {})


def reasons_section(reasons: ReasonsResult | None) -> Section:
    """Reasons for results.json; why there are none where there are none."""
    if reasons is None or not reasons.stable:
        found = () if reasons is None else reasons.proposals
        return {
            "reason": "no steady ripple" if reasons is None else UNSTABLE,
            "proposals": [_proposal(one) for one in found],
            **({} if reasons is None else _worst(reasons)),
        }
    return {
        "load": reasons.load,
        "operating_point": reasons.point,
        "figure": reasons.figure,
        **numbers(reasons),
        "sentences": [{"text": one.text, "facts": _facts(one)} for one in reason_sentences(reasons)],
        "sources": {one.name: {"words": source_phrase(one.name)} | numbers(one) for one in reasons.sources},
        "parasitics": [texts(one, "name", "what", "element") | numbers(one) for one in reasons.parasitics],
        "bands": [texts(one, "mode", "source", "element", "what") | numbers(one) for one in reasons.bands],
        **numbers(reasons.deviation, "the filter never does worse than its formula"),
        "resonances": [texts(one, "inductive", "capacitive") | numbers(one) for one in reasons.resonances],
        "mitigations": [_mitigation(one) for one in reasons.mitigations],
        "pairs": [_mitigation(one) for one in reasons.pairs],
        "proposals": [_proposal(one) for one in reasons.proposals],
        **_worst(reasons),
    }


def _worst(reasons: ReasonsResult) -> Section:
    """What fails worst, its causes, and what an instability comes from; null where nothing fails."""
    clash = reasons.clash
    return {
        "worst": None if reasons.worst is None else failing_text(reasons.worst),
        "causes": [texts(one, "kind", "name", "what") | numbers(one) for one in reasons.causes],
        "clash": None if clash is None else texts(clash, "load") | numbers(clash),
    }


def _facts(sentence: Sentence) -> Section:
    facts: Section = {}
    for one in sentence.facts:
        put(facts, f"{one.path.replace('.', '_')}_{one.unit}", one.value, NOT_COMPUTED)
    return facts


def _proposal(one: Proposal) -> Section:
    """A judged change: what it comes to, and every requirement with it."""
    return {
        "change": one.words,
        "robust": one.robust,
        "judged": "whole" if one.whole else "first look",
        "parts": one.parts,
        "breaks": [failing_text(failing) for failing in one.broken],
        "open": [failing_text(failing) for failing in one.open],
        "requirements": [
            texts(each, "requirement", "verdict", "point") | numbers(each, "not known")
            for each in one.judgement.verdicts
        ],
    }


def _mitigation(one: Mitigation) -> Section:
    refused = refusal_text(one.refused)
    section = {"change": one.words, "kinds": list(one.kinds), "refused": refused}
    section |= numbers(one, refused or NOT_COMPUTED)
    return section if one.costs is None else section | {"parts": one.costs.parts} | numbers(one.costs)
