"""The reasons in three to six plain sentences, each with the numbers that it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.units import format_quantity

NEAR = 4.0  # ratio of frequencies within which a resonance is said to be near
SHOWN_DROP = 1e-4  # [V] of drop from which it is told
LITTLE = 0.05  # share of a figure by which a change must lower it to be worth a sentence


@dataclass(frozen=True)
class Sentence:
    """``text``, and the ``facts`` in it: for each its path in the result, such as "sources.0.ripple_alone", and unit."""

    text: str
    facts: tuple[tuple[str, str], ...]


def fact(result: Any, path: str) -> float:
    """The number that stands under a path of a `ReasonsResult`."""
    held = result
    for name in path.split("."):
        held = held[int(name)] if name.isdigit() else getattr(held, name)
    return float(held)


def sentences(result: Any) -> tuple[Sentence, ...]:
    """What the reasons come to, in words: what is left and from where, why, and what to do next."""
    steps = (_left, _spike, _imperfect, _parted, _best, _pair)
    return tuple(one for step in steps for one in step(result))


class _Teller:
    """Writes numbers of a result and remembers which."""

    def __init__(self, result: Any) -> None:
        self.result = result
        self.facts: list[tuple[str, str]] = []

    def __call__(self, path: str, unit: str = "V") -> str:
        self.facts.append((path, unit))
        return format_quantity(fact(self.result, path), unit, 3)

    def sentence(self, text: str) -> Sentence:
        return Sentence(text, tuple(self.facts))


def _left(result: Any) -> Iterator[Sentence]:
    tell, first = _Teller(result), result.sources[0]
    more = ", for others take some of it away" if first.ripple_alone > (1 + LITTLE) * result.ripple else ""
    yield tell.sentence(
        f"At {result.load} {tell('ripple')} peak to peak is left in 20 MHz{_limit(tell, '20MHz')}, of {tell('ripple_before')} "
        f"without the filter, most of it from {first.words}: alone it makes {tell('sources.0.ripple_alone')}{more}."
    )


def _limit(tell: _Teller, label: str) -> str:
    """The limit of the figure that decides, behind that figure."""
    known = tell.result.figure == label and np.isfinite(tell.result.limit)
    return f" (limit {tell('limit')})" if known else ""


def _within(result: Any, volts: float) -> bool:
    """Whether that much is allowed; False where no limit is stated."""
    return bool(volts <= result.limit)


def _spike(result: Any) -> Iterator[Sentence]:
    at = max(range(len(result.sources)), key=lambda n: result.sources[n].spike_alone)
    if result.sources[at].name == result.sources[0].name and result.spike < 1.5 * result.ripple:
        return
    tell, one = _Teller(result), result.sources[at]
    yield tell.sentence(
        f"In full bandwidth it is {tell('spike')}{_limit(tell, 'full')} of {tell('spike_before')}, most of it from {one.words}: without that source "
        f"the whole would fall by {tell(f'sources.{at}.spike_falls')}."
    )


def _imperfect(result: Any) -> Iterator[Sentence]:
    wide = result.figure == "full"
    falls = [one.spike_falls if wide else one.ripple_falls for one in result.parasitics]
    if not falls:
        return
    at, tell = int(np.argmax(falls)), _Teller(result)
    one = result.parasitics[at]
    now, left, ideal = ("spike", "spike", "spike_ideal") if wide else ("ripple", "ripple", "ripple_ideal")
    if falls[at] < LITTLE * getattr(result, now):
        yield tell.sentence(
            f"No single parasitic decides: with all of them gone {tell(ideal)} of {tell(now)} would be left, so better parts "
            "of the same values do not help; other values do."
        )
        return
    text = f"The parasitic that costs most is the {one.words}: were it ideal, {tell(now)} would become "
    text += tell(f"parasitics.{at}.{left}")
    if getattr(result, ideal) < getattr(one, left):
        text += f", and with every part ideal {tell(ideal)}"
    yield tell.sentence(f"{text}.")


def _parted(result: Any) -> Iterator[Sentence]:
    parted, tell = result.deviation, _Teller(result)
    if np.isnan(parted.frequency) or result.sources[0].name == "common_mode":  # which goes another way
        return
    text = f"From {tell('deviation.frequency', 'Hz')} on the filter does worse than one of ideal parts would"
    if parted.element:
        text += f", mostly through the {parted.what} of {parted.element}"
    near = parted.resonance
    if near is not None and 1 / NEAR < near.frequency / parted.frequency < NEAR:
        text += f"; the nearest resonance, at {tell('deviation.resonance.frequency', 'Hz')}, is that of {near.words}"
    yield tell.sentence(f"{text}.")


def _best(result: Any) -> Iterator[Sentence]:
    at, tell = _chosen(result.mitigations), _Teller(result)
    if at is None or result.mitigations[at].figure(result.figure) > (1 - LITTLE) * result.now:
        yield tell.sentence(
            f"No single change that was tried takes {tell('now')} down by more than {LITTLE:.0%}; look at the converter."
        )
        return
    one, path = result.mitigations[at], f"mitigations.{at}"
    begin = "The nominal figure needs no change; for more margin" if _within(result, result.now) else "Next"
    yield tell.sentence(
        f"{begin}, {one.words}: {tell(f'{path}.ripple')} in 20 MHz and {tell(f'{path}.spike')} in full bandwidth would be left, for "
        f"{_parts(one.costs.parts)}{_drop(tell, one, path)}{_holds(tell, one, path)}."
    )


def _pair(result: Any) -> Iterator[Sentence]:
    """Two changes, where one is not enough."""
    at, best = _chosen(result.pairs), _chosen(result.mitigations)
    single = result.now if best is None else min(result.now, result.mitigations[best].figure(result.figure))
    if at is None or _within(result, single) or result.pairs[at].figure(result.figure) > (1 - LITTLE) * single:
        return
    tell, one, path = _Teller(result), result.pairs[at], f"pairs.{at}"
    yield tell.sentence(
        f"If that is not enough, {one.words}: {tell(f'{path}.ripple')} in 20 MHz and {tell(f'{path}.spike')} in full bandwidth"
        f"{_holds(tell, one, path)}."
    )


def _chosen(tried: Any) -> int | None:
    """The best of those that were tried over the band and hold; else the best that is not refused."""
    allowed = [n for n, one in enumerate(tried) if not one.refused]
    return next((n for n in allowed if tried[n].holds), allowed[0] if allowed else None)


def _drop(tell: _Teller, one: Any, path: str) -> str:
    """The direct voltage that a change costs, where it costs any that a meter would show."""
    return f" and {tell(f'{path}.costs.drop')} more drop" if one.costs.drop > SHOWN_DROP else ""


def _parts(count: int) -> str:
    return "no more parts" if not count else f"{count} more part{'s' * (count > 1)}"


def _holds(tell: _Teller, one: Any, path: str) -> str:
    if not one.checked:
        return ""
    if one.holds:
        high = "ripple_high" if tell.result.figure == "20MHz" else "spike_high"
        return f"; at most {tell(f'{path}.{high}')} with each unknown, one at a time, at its worst, and it helps at every operating point"
    return f"; but it works at the nominal values only: it fails for {one.fails_at}"
