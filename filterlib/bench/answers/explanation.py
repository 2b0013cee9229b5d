"""What explains readings that do not agree: every fault tried on the real model, ranked by how likely it makes all readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from filterlib.bench.answers.answers_result import BenchResult, Fault
from filterlib.bench.answers.differing import differences, priors
from filterlib.bench.answers.explained import ALIKE, Explained, Explanation, NextReading, Trial
from filterlib.bench.answers.trials import stations, trials
from filterlib.errors import FilterlibError

SIMPLER, UNSEEN = 10.0, 100.0
"""Times less likely, up to which the board as designed is taken before a fault: where a reading does not agree, and where all do."""
RULED_OUT = 1000.0  # times less likely than the first, from which on no reading is asked for to rule it out
_RIVALS = 5  # explanations behind the first, among which one is sought that another reading tells from it
_APART = 1.2  # ratio of what two explanations make of a reading, from which on it tells them apart


def explain(result: BenchResult, tried: Sequence[Trial] | None = None) -> Explained:
    """Every fault of `faults` on the model, in the plausible cases of the review, beside all readings.

    ``tried``: the `trials` of another result of the same design and stations, where there are some.
    Validity: one fault at a time; faults of other kinds are not known to it.
    Raises: FilterlibError where there is no reading behind the converter.
    """
    if not result.behind:
        raise FilterlibError("no reading behind the filter: nothing to explain")
    known = trials(result) if tried is None else tried
    found = [explained_by(result, one) for one in known]
    logs = np.log(priors(known)) + [one.likely for one in found]
    shares = np.exp(logs - logsumexp(logs))
    weighed = (replace(one, likely=float(share)) for one, share in zip(found, shares, strict=True))
    agree = all(one.outcome != "does not agree" for one in result.behind)
    ranked = _simplest_first(_merged(sorted(weighed, key=lambda one: -one.likely)), agree)
    return Explained(tuple(ranked), agree, *_next(result, ranked, {one.fault: one for one in known}))


def _merged(ranked: Sequence[Explanation]) -> list[Explanation]:
    """Faults that ask for the same of a person in one explanation, where the readings do not tell them apart; the likeliest first."""
    found: list[Explanation] = []
    for one in ranked:
        with_it = next((k for k, other in enumerate(found) if _one_for_both(other, one)), None)
        if with_it is None:
            found.append(one)
        else:
            first = found[with_it]
            found[with_it] = replace(first, likely=first.likely + one.likely, others=(*first.others, one.fault))
    return sorted(found, key=lambda one: -one.likely)


def _one_for_both(one: Explanation, other: Explanation) -> bool:
    """Whether two ask for the same of a person, and neither is much likelier."""
    return one.fault.act == other.fault.act and one.likely <= ALIKE * other.likely * len(one.faults)


def _simplest_first(ranked: list[Explanation], agree: bool) -> list[Explanation]:
    """The board as designed ahead of all others, where it explains all readings or all ``agree``, and is not much less likely."""
    sound = next((one for one in ranked if one.fault.none), None)
    times = UNSEEN if agree else SIMPLER
    if sound is None or not (sound.explains or agree) or sound.likely * times < ranked[0].likely:
        return ranked
    return [sound, *(one for one in ranked if one is not sound)]


def explained_by(result: BenchResult, tried: Trial) -> Explanation:
    """How well one trial makes all readings behind the converter; ``likely`` is the logarithm of that, of no prior."""
    found = differences(result, tried, result.behind)
    figures = tuple(float(np.median(tried.figures.get(one.station.name, np.nan))) for one in result.behind)
    return Explanation(tried.fault, found.together, found.misfit, figures)


def _next(
    result: BenchResult, ranked: Sequence[Explanation], known: Mapping[Fault, Trial]
) -> tuple[NextReading | None, tuple[Explanation, Explanation] | None]:
    """Of all places, bands and points that were not read: where the first and its next rival differ most."""
    done = {one.station.name for one in result.answers}
    for rival in ranked[1 : 1 + _RIVALS]:
        if rival.likely * RULED_OUT < ranked[0].likely:
            break
        pairs = _pairs(result, known[ranked[0].fault], known[rival.fault])
        best = max((one for one in pairs if one.station.name not in done), key=lambda one: one.apart, default=None)
        if best is not None and best.ratio > _APART:
            return best, (ranked[0], rival)
    return None, None


def _pairs(result: BenchResult, one: Trial, other: Trial) -> Iterator[NextReading]:
    """What two faults would make of every reading that can be taken, in their median cases."""
    for point in result.ripples:
        for station in stations(result.design, point):
            if station.name in one.figures and station.name in other.figures:
                both = [each.figures[station.name] for each in (one, other)]
                low, middle, high = np.transpose([np.quantile(each, (0.05, 0.5, 0.95)) for each in both])
                ends = ((float(low[k]), float(high[k])) for k in (0, 1))
                yield NextReading(station, float(middle[0]), float(middle[1]), *ends)
