"""Reasons on a page: the sentences, tables of sources, parasitics, bands and changes, and a figure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.show.figure import Figure
from filterlib.show.page import Illustration, illustration
from filterlib.show.plots import bars_plot
from filterlib.show.tables import Table
from filterlib.words.labels import bandwidth_words, source_phrase
from filterlib.words.quantities import capital, number
from filterlib.words.reason_sentences import high_text, reason_sentences, refusal_text

IMPERFECTIONS, REMEDIES, PAIRS, REFUSED, DRAWN = 8, 10, 5, 8, 6  # rows of the tables, and bars of the figure
NOTE = (
    "Earth leakage: all Y capacitors with the larger of input and output voltage taken as alternating, at 60 Hz, the worst "
    "that can stand there; local codes and a licensed person have the last word. Peak: the greatest response from the "
    "converter's emf to the load, 0 dB being none. Drop and heat are those of direct current."
)


@dataclass(frozen=True)
class ReasonsChapter:
    """What the page says of the reasons: sentences, figures and tables."""

    load: str
    point: str
    sentences: tuple[str, ...]
    figures: tuple[Illustration, ...]
    tables: tuple[Table, ...]
    note: str = NOTE


def reasons_chapter(found: Any) -> ReasonsChapter | None:
    """The chapter of a `ReasonsResult`; None where there is none."""
    if found is None or not found.stable:
        return None
    sentences = tuple(one.text for one in reason_sentences(found))
    first, last = sentences[0], sentences[-1]
    note = "The figures do not add, because the sources' peaks need not fall together; the waveforms do."
    figures = [illustration("reasons-sources", sources_figure(found), first, note)]
    if any(not one.refused for one in found.mitigations):
        note = f"In the order of the figure in {bandwidth_words(found.figure)}; costs in the table."
        figures.append(illustration("reasons-changes", changes_figure(found), last, note))
    return ReasonsChapter(found.load, found.point, sentences, tuple(figures), tuple(_tables(found)))


def _tables(found: Any) -> Iterator[Table]:
    yield sources_table(found)
    yield imperfections_table(found)
    yield bands_table(found)
    yield remedies_table(found)
    refused = [one for one in (*found.mitigations, *found.pairs) if one.refused][:REFUSED]
    if refused:
        rows = tuple((capital(one.words), refusal_text(one.refused), *_volts(one)) for one in refused)
        yield Table("Changes that were refused", ("Change", "Rule", "20 MHz", "Full bandwidth"), rows)


def sources_table(found: Any) -> Table:
    """Every source: alone, and by how much the whole falls without it."""
    rows = tuple(
        (
            capital(source_phrase(one.name)),
            *(number(v, "V") for v in (one.ripple_alone, one.ripple_falls, one.spike_alone, one.spike_falls)),
        )
        for one in found.sources
    )
    head = ("Source", "Alone, 20 MHz", "The whole falls without it by", "Alone, full bandwidth", "The whole falls by")
    return Table(f"What each source makes at {found.load} (peak to peak does not add; waveforms do)", head, rows)


def imperfections_table(found: Any) -> Table:
    """What would be left with one parasitic gone, and with all."""
    rows = [
        (capital(one.words), *(number(v, "V") for v in (one.fundamental, one.ripple, one.spike)))
        for one in found.parasitics[:IMPERFECTIONS]
    ]
    gone, now = (
        (found.fundamental_ideal, found.ripple_ideal, found.spike_ideal),
        (found.fundamental, found.ripple, found.spike),
    )
    rows += [
        (words, *(number(v, "V") for v in values))
        for words, values in (("All of them at once", gone), ("None: as it is", now))
    ]
    head = ("Ideal", "At the ripple's frequency, amplitude", "20 MHz, peak to peak", "Full bandwidth, peak to peak")
    return Table(f"What would be left at {found.load} if this were ideal", head, tuple(rows))


def bands_table(found: Any) -> Table:
    """Band by band, which mode, source and parasitic carry what is left."""
    modes = {"": "nothing lies there", "differential": "between the lines", "common": "common mode, converted"}
    sources = {one.name: source_phrase(one.name) for one in found.sources}
    rows = tuple(
        (
            f"To {number(one.high, 'Hz')}", number(one.rms, "V"), modes[one.mode], sources.get(one.source, ""),
            f"{one.what} of {one.element}" if one.element else "", number(one.without, "V"), number(one.formula, "V"),
        )
        for one in found.bands
    )  # fmt: skip
    head = ("Band", "Rms", "Mode", "Source", "Parasitic", "Rms without it", "Rms of ideal parts")
    return Table(f"What carries the rest at {found.load}, by frequency", head, rows)


def remedies_table(found: Any) -> Table:
    """The best changes, single and two together, with their costs."""
    singles = [one for one in found.mitigations if not one.refused][:REMEDIES]
    pairs = [one for one in found.pairs if not one.refused][:PAIRS]
    rows = tuple((capital(one.words), *_volts(one), *_costs(one), high_text(one)) for one in (*singles, *pairs))
    head = (
        "Change", "20 MHz", "Full bandwidth", "More parts", "Drop", "Heat", "Earth leakage", "Charge", "Peak",
        "Over the uncertainty",
    )  # fmt: skip
    return Table(f"What would change it at {found.load}, the best first; then two together", head, rows)


def _volts(one: Any) -> tuple[str, str]:
    return tuple("" if np.isnan(v) else number(v, "V") for v in (one.ripple, one.spike))  # type: ignore[return-value]


def _costs(one: Any) -> tuple[str, ...]:
    cost = one.costs
    peak = f"{cost.peak:.1f} dB at {number(cost.peak_frequency, 'Hz', 2)}"
    leakage = number(cost.leakage, "A") if cost.leakage else "none"
    return (
        str(cost.parts), _more(cost.drop, "V", 1e-4), _more(cost.heat, "W", 1e-3), leakage, _more(cost.charge, "C", 1e-9), peak
    )  # fmt: skip


def _more(value: float, unit: str, least: float) -> str:
    """A cost, or "none" where nobody would measure it."""
    return number(value, unit, 2) if abs(value) >= least else "none"


def sources_figure(found: Any) -> Figure:
    """Bars: each source alone, and by how much the whole falls without it [V peak to peak], in the band that decides."""
    wide = found.figure == "full"
    series = {
        "alone": [one.spike_alone if wide else one.ripple_alone for one in found.sources],
        "the whole falls without it by": [one.spike_falls if wide else one.ripple_falls for one in found.sources],
    }
    title = f"Where it comes from at {found.load}, {bandwidth_words(found.figure)}"
    return Figure(title, ((bars_plot(_wrapped(source_phrase(one.name) for one in found.sources), series),),))


def changes_figure(found: Any) -> Figure:
    """Bars: what the best changes, and the two best pairs, would leave [V peak to peak], beside what there is."""
    singles, pairs = ([one for one in tried if not one.refused] for tried in (found.mitigations, found.pairs))
    best = [*singles[:DRAWN], *pairs[:2]]
    ripples, spikes = ([getattr(one, name) for one in (found, *best)] for name in ("ripple", "spike"))
    plot = bars_plot(["as it is", *_wrapped(one.words for one in best)], {"20 MHz": ripples, "full bandwidth": spikes})
    return Figure(f"What changes would leave at {found.load}", ((plot,),))


def _wrapped(names: Iterable[str]) -> list[str]:
    return ["\n".join(textwrap.wrap(name, 48)) for name in names]
