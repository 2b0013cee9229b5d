"""Conducted emission as numbers for other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionResult
from filterlib.analysis.emission.margin import Margin
from filterlib.parts.artificial_network import NETWORKS
from filterlib.show.numbers import NO_DRAWS, NOT_COMPUTED, Section, arrays, numbers
from filterlib.words.emission_sentences import ESTIMATE, agreement, margin_sentence
from filterlib.words.stability_sentences import reason_text

_NO_MARGIN = Margin("", "", "", "", np.nan, np.nan, {}, np.nan, np.nan, "", *(np.nan,) * 7, "", False)


def emission_section(results: Iterable[EmissionResult]) -> Section:
    """Numbers of all estimates at an operating point, for the section "emissions" of results.json."""
    return {key: value for start, result in _starts(results) for key, value in emission_keys(result, start).items()}


def emission_arrays_section(results: Iterable[EmissionResult]) -> Section:
    """Levels of every harmonic of all estimates at an operating point, by side."""
    return {start: arrays(result) for start, result in _starts(results)}


def _starts(results: Iterable[EmissionResult]) -> Iterator[tuple[str, EmissionResult]]:
    """What the keys of each begin with: its side, and the network where a side has several."""
    results = tuple(results)
    sides = [result.side for result in results]
    names = {network.title: name.replace("+", "_") for name, network in NETWORKS.items()}
    for result in results:
        alone = sides.count(result.side) == 1
        yield result.side if alone else f"{result.side}_{names.get(result.network, result.network)}", result


def emission_keys(result: EmissionResult, start: str = "") -> Section:
    """Numbers of one estimate: ``SIDE_LIMIT_DETECTOR_margin_dB`` is negative where it lies above the limit.

    ``start`` stands for another beginning of the keys than the side.
    """
    start, why = start or result.side, reason_text(result.reason)
    section = {
        f"{start}_network": result.network,
        f"{start}_statement": ESTIMATE,
        f"{start}_detectors": agreement(result),
    }
    section |= numbers(result, why or NOT_COMPUTED, start=start)
    margins = {(margin.limit, margin.detector): margin for margin in result.margins}
    for one in result.limits:
        for detector in one.limit.detectors:
            key, margin = f"{start}_{one.name.replace('-', '_')}_{detector}", margins.get((one.name, detector))
            missing = why or "no harmonic is where this detector has a limit"
            whys = dict.fromkeys(("probable_low", "probable_high"), NO_DRAWS if margin else missing)
            section |= numbers(margin or replace(_NO_MARGIN, unit=one.limit.unit), missing, start=key, whys=whys)
            if margin is not None:
                words = {"place": margin.place, "verdict": margin.verdict, "sentence": margin_sentence(margin)}
                section |= {f"{key}_{word}": text for word, text in words.items()}
    return section
