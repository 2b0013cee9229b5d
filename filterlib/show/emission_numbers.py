"""Conducted emission as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from filterlib.parts.artificial_network import NETWORKS
from filterlib.show.numbers import Section, numbers_or_null, put
from filterlib.words.emission_sentences import ESTIMATE, agreement, margin_sentence
from filterlib.words.stability_sentences import reason_text


def emission_section(results: Iterable[Any]) -> Section:
    """Numbers of all estimates at an operating point, for the section "emissions" of results.json."""
    return {key: value for start, result in _starts(results) for key, value in emission_keys(result, start).items()}


def emission_arrays_section(results: Iterable[Any]) -> Section:
    """Spectra of all estimates at an operating point, by side."""
    return {start: emission_arrays(result) for start, result in _starts(results)}


def _starts(results: Iterable[Any]) -> Iterator[tuple[str, Any]]:
    """What the keys of each begin with: its side, and the network where a side has several."""
    results = tuple(results)
    sides = [result.side for result in results]
    names = {network.title: name.replace("+", "_") for name, network in NETWORKS.items()}
    for result in results:
        alone = sides.count(result.side) == 1
        yield result.side if alone else f"{result.side}_{names.get(result.network, result.network)}", result


def emission_keys(result: Any, start: str = "") -> Section:
    """Numbers of an `EmissionResult` for the section "emissions" of results.json: one a key, unit at its end.

    ``SIDE_LIMIT_DETECTOR_margin_dB`` is negative where the estimate lies above the limit. ``start`` stands for another
    beginning of the keys than the side.
    """
    start = start or result.side
    section: Section = {f"{start}_network": result.network, f"{start}_statement": ESTIMATE}
    section[f"{start}_detectors"] = agreement(result)
    put(section, f"{start}_trusted_to_Hz", result.trusted_to, reason_text(result.reason) or "not computed")
    found = {(margin.limit, margin.detector): margin for margin in result.margins}
    for one in result.limits:
        for detector in one.limit.detectors:
            key = f"{start}_{one.name.replace('-', '_')}_{detector}"
            _put_margin(section, key, one.limit.unit, found.get((one.name, detector)), reason_text(result.reason))
    return section


def _put_margin(section: Section, key: str, unit: str, margin: Any, reason: str) -> None:
    why = reason or "no harmonic is where this detector has a limit"
    fields = ("margin_dB", "margin"), ("margin_low_dB", "low"), ("margin_high_dB", "high"), ("at_Hz", "frequency")
    for end, name in (*fields, (f"level_{unit}", "level"), (f"limit_{unit}", "limit_level")):
        put(section, f"{key}_{end}", getattr(margin, name, None), why)
    if margin is not None:
        section |= {
            f"{key}_place": margin.place,
            f"{key}_verdict": margin.verdict,
            f"{key}_sentence": margin_sentence(margin),
        }


def emission_arrays(result: Any) -> Section:
    """Levels of every harmonic for the arrays of results.json: (place, detector), and the peak detector's range."""
    section: Section = {"frequency_Hz": numbers_or_null(result.frequencies)}
    for (place, detector), level in result.levels.items():
        section[f"{place}_{detector}_{_unit(place)}"] = numbers_or_null(level)
    for end in ("low", "high"):
        for place, level in getattr(result, end).items():
            section[f"{place}_peak_{end}_{_unit(place)}"] = numbers_or_null(level)
    return section


def _unit(place: str) -> str:
    return "dBuA" if place == "common_current" else "dBuV"
