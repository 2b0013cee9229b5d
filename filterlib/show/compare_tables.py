"""The tables of a comparison, as text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from filterlib.show.tables import Table
from filterlib.words.labels import SYMBOLS, detector_words, source_phrase
from filterlib.words.quantities import capital, interval_text, number
from filterlib.words.reason_sentences import check_text

REMEDIES = 6  # rows of a table of changes
LETTERS = ("A", "B")


def differences_table(result: Any) -> Table:
    """Every key that the two files state differently."""
    rows = tuple((one.key, one.first, one.second) for one in result.differences)
    return Table("What the two files state differently", ("Key in the design file", "A", "B"), rows)


def left_table(result: Any) -> Table:
    """What is left at every load that both have, before and after, with the band."""
    rows = tuple(
        (
            one.load, letter, left.point,
            number(left.ripple_before, "V"), number(left.ripple, "V"), interval_text(left.ripple_low, left.ripple_high, "V"),
            _factor(left.ripple_ratio),
            number(left.spike_before, "V"), number(left.spike, "V"), interval_text(left.spike_low, left.spike_high, "V"),
            _factor(left.spike_ratio),
        )
        for one in result.loads
        for letter, left in zip(LETTERS, one.lefts, strict=True)
    )  # fmt: skip
    head = (
        "Load", "Design", "Operating point",
        "20 MHz, without filter", "With filter", "Range (uncertain parameters)", "Before over after",
        "Full bandwidth, without filter", "With filter", "Range (uncertain parameters)", "Before over after",
    )  # fmt: skip
    return Table("Peak to peak at every load that both have", head, rows)


def _factor(ratio: float) -> str:
    return f"{float(f'{ratio:.3g}'):g}" if ratio == ratio and ratio < 1e6 else ""


def verdicts_table(result: Any) -> Table:
    """Every requirement of either design, with the verdict in each."""
    asked = [{verdict.requirement: verdict for verdict in one.verdicts} for one in result.reviews]
    rows = tuple(
        (capital(words), *(cell for one in asked for cell in _verdict(one.get(words))))
        for words in dict.fromkeys((*asked[0], *asked[1]))
    )
    head = (
        "Requirement",
        "A",
        "A: nominal",
        "A: range (uncertain parameters)",
        "B",
        "B: nominal",
        "B: range (uncertain parameters)",
    )
    return Table("Requirements in each, judged at the worst operating point", head, rows)


def _verdict(verdict: Any) -> tuple[str, str, str]:
    if verdict is None:
        return "not asked", "", ""
    told = f"{SYMBOLS[verdict.verdict]} {verdict.verdict} {verdict.depends_on}".rstrip()
    return told, number(verdict.value, verdict.unit), interval_text(verdict.low, verdict.high, verdict.unit)


def emissions_table(result: Any) -> Table:
    """Conducted emission of either design, where it is asked for: the least margin of every limit and detector in each."""
    held = [least_margins(review) for review in result.reviews]
    rows = tuple(
        (
            f"{margin.title}, {detector_words(margin.detector)}, at the {side}",
            *(_margin(found.get(key)) for found in held),
        )
        for key, (side, margin) in {**held[0], **held[1]}.items()
    )
    return Table("Conducted emission: margin below the limit at the worst operating point", ("Limit", "A", "B"), rows)


def least_margins(review: Any) -> dict[tuple[str, ...], tuple[str, Any]]:
    """(side, network, limit, detector) -> side and the margin that may become least, over all operating points."""
    found: dict[tuple[str, ...], tuple[str, Any]] = {}
    for point in review.points:
        for result in point.emissions:
            for margin in result.margins:
                key = (result.side, result.network, margin.limit, margin.detector)
                if key not in found or margin.low < found[key][1].low:
                    found[key] = result.side, margin
    return found


def _margin(held: Any) -> str:
    if held is None:
        return "not asked"
    margin = held[1]
    return f"{number(margin.margin, 'dB')} at {number(margin.frequency, 'Hz')} ({interval_text(margin.low, margin.high, 'dB')})"


def sources_table(one: Any) -> Table:
    """Every source of either design at a load: alone, and by how much the whole falls without it."""
    held = [{source.name: source for source in reasons.sources} for reasons in one.reasons]
    words = {source.name: source_phrase(source.name) for reasons in one.reasons for source in reasons.sources}
    rows = tuple(
        (capital(told), *(cell for sources in held for cell in _source(sources.get(name))))
        for name, told in words.items()
    )
    head = ["Source"]
    for letter in LETTERS:
        head += [
            f"{letter}: alone, 20 MHz", f"{letter}: the whole falls by",
            f"{letter}: alone, full bandwidth", f"{letter}: the whole falls by",
        ]  # fmt: skip
    return Table(f"What each source makes at {one.load} (peak to peak does not add; waveforms do)", tuple(head), rows)


def _source(source: Any) -> tuple[str, ...]:
    if source is None:
        return ("none", "", "", "")
    values = (source.ripple_alone, source.ripple_falls, source.spike_alone, source.spike_falls)
    return tuple(number(value, "V") for value in values)


def remedies_tables(one: Any) -> Iterator[Table]:
    """The best changes for each design, the best first, and the first that a rule forbids."""
    for letter, reasons in zip(LETTERS, one.reasons, strict=True):
        allowed = [mitigation for mitigation in reasons.mitigations if not mitigation.refused][:REMEDIES]
        rows = tuple(
            (
                capital(mitigation.words),
                number(mitigation.ripple, "V"),
                number(mitigation.spike, "V"),
                str(mitigation.costs.parts),
                check_text(mitigation),
            )
            for mitigation in allowed
        )
        head = ("Change", "20 MHz", "Full bandwidth", "More parts", "Over the uncertainty")
        yield Table(f"{letter}: what would change it at {one.load}, the best first", head, rows)
