"""Reasons on a page: the sentences, tables of sources, parasitics, bands and changes, and a figure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.causes.causes_result import BandReason, Cause, Costs, Mitigation, Parasitic, Source
from filterlib.analysis.review_result import ReasonsResult
from filterlib.show.figures.figure import Figure
from filterlib.show.figures.plots import bars_plot
from filterlib.show.page import Illustration, illustration
from filterlib.show.table import Row, Table, cells, column, heads, table
from filterlib.words.labels import bandwidth_words, source_phrase
from filterlib.words.quantities import capital, number
from filterlib.words.review.proposal_sentences import proposal_row
from filterlib.words.review.reason_sentences import cause_words, left_sentence, reason_sentences, refusal_text

PARASITICS, MITIGATIONS, PAIRS, REFUSED, DRAWN = 8, 10, 5, 8, 6  # rows of the tables, and bars of the figure
COSTS = ("drop", "heat", "leakage", "charge", "peak")
LEAKAGE_NOTE = (
    "Earth leakage is that of all Y capacitors if the larger of input and output voltage alternated at 60 Hz, the worst "
    "case; local codes and a licensed person have the last word. "
)
NOTE = "Peak: the greatest response from the converter's emf to the load; 0 dB is no peak. Drop and heat are from direct current."


@dataclass(frozen=True)
class ReasonsChapter:
    """What the page says of the reasons: sentences, figures and tables."""

    load: str
    point: str
    sentences: tuple[str, ...]
    figures: tuple[Illustration, ...]
    tables: tuple[Table, ...]
    note: str = NOTE


def reasons_chapter(reasons: ReasonsResult | None, *, hazardous: bool = True) -> ReasonsChapter | None:
    """The chapter of a `ReasonsResult`; None where there is none.

    ``hazardous``: whether leakage to earth can hurt, and is shown.
    """
    if reasons is None or not (reasons.stable or reasons.proposals):
        return None
    sentences = tuple(one.text for one in reason_sentences(reasons))
    if not reasons.stable:
        tables = (*causes_table(reasons), proposals_table(reasons))
        return ReasonsChapter(reasons.load, reasons.point, sentences, (), tables)
    first, last = next(left_sentence(reasons)).text, sentences[-1]
    note = "The figures do not add, because the sources' peaks need not fall together; the waveforms do."
    figures = [illustration("reasons-sources", sources_figure(reasons), first, note)]
    if any(not one.refused for one in reasons.mitigations):
        note = f"In the order of the figure in {bandwidth_words(reasons.figure)}; costs in the table."
        figures.append(illustration("reasons-changes", changes_figure(reasons), last, note))
    return ReasonsChapter(
        reasons.load, reasons.point, sentences, tuple(figures), tuple(_tables(reasons, hazardous)),
        f"{LEAKAGE_NOTE}{NOTE}" if hazardous else NOTE,
    )  # fmt: skip


def _tables(reasons: ReasonsResult, hazardous: bool) -> Iterator[Table]:
    yield from causes_table(reasons)
    yield sources_table(reasons)
    yield parasitics_table(reasons)
    yield bands_table(reasons)
    if reasons.proposals:
        yield proposals_table(reasons)
    yield mitigations_table(reasons, hazardous=hazardous)
    refused = [one for one in (*reasons.mitigations, *reasons.pairs) if one.refused][:REFUSED]
    if refused:
        rows = tuple((capital(one.words), refusal_text(one.refused), *_volts(one)) for one in refused)
        yield Table("Changes that were refused", ("Change", "Rule", *heads(Mitigation, "ripple", "spike")), rows)


def causes_table(reasons: ReasonsResult) -> Iterator[Table]:
    """The causes of what fails worst, where that is no ripple: what would be left without each."""
    if reasons.worst is not None and reasons.causes:
        yield table(
            f"Causes of what fails worst, at the nominal values ({reasons.worst.point})",
            reasons.causes[:PARASITICS],
            ("Without", lambda one: capital(cause_words(one))),
            *(column(Cause, name) for name in ("left", "falls")),
        )


def proposals_table(reasons: ReasonsResult) -> Table:
    """The changes that were judged: what each comes to, what it breaks, and what stays open."""
    head = ("Change", "Outcome", "What it breaks", "What else stays open")
    rows: tuple[Row, ...] = tuple(proposal_row(one) for one in reasons.proposals)
    title = "Changes judged as the design is: all requirements and ratings, every operating point, whole range"
    return Table(title, head, rows)


def sources_table(reasons: ReasonsResult) -> Table:
    """Every source: alone, and by how much the whole falls without it."""
    return table(
        f"What each source makes at {reasons.load} (peak to peak does not add; waveforms do)",
        reasons.sources,
        ("Source", lambda one: capital(source_phrase(one.name))),
        *(column(Source, name) for name in ("ripple_alone", "ripple_falls", "spike_alone", "spike_falls")),
    )


def parasitics_table(reasons: ReasonsResult) -> Table:
    """What would be left with one parasitic gone, and with all."""
    names = ("fundamental", "ripple", "spike")
    rows = [(capital(one.words), *cells(one, *names)) for one in reasons.parasitics[:PARASITICS]]
    rows.append(("All of them at once", *cells(reasons, *(f"{name}_ideal" for name in names))))
    rows.append(("None: as it is", *cells(reasons, *names)))
    head = ("Ideal", *heads(Parasitic, *names))
    return Table(f"What would be left at {reasons.load} if this were ideal", head, tuple(rows))


def bands_table(reasons: ReasonsResult) -> Table:
    """Band by band, which mode, source and parasitic carry what is left."""
    modes = {"": "nothing there", "differential": "between the lines", "common": "common mode, converted"}
    return table(
        f"Where the remaining ripple comes from at {reasons.load}, by frequency",
        reasons.bands,
        ("Band", lambda one: f"To {cells(one, 'high')[0]}"),
        column(BandReason, "rms"),
        ("Mode", lambda one: modes[one.mode]),
        ("Source", lambda one: source_phrase(one.source) if one.source else ""),
        ("Parasitic", lambda one: f"{one.what} of {one.element}" if one.element else ""),
        *(column(BandReason, name) for name in ("without", "formula")),
    )


def mitigations_table(reasons: ReasonsResult, *, hazardous: bool = True) -> Table:
    """The best changes, single and two together, with their costs; leakage to earth where a voltage is ``hazardous``."""
    singles = [one for one in reasons.mitigations if not one.refused][:MITIGATIONS]
    pairs = [one for one in reasons.pairs if not one.refused][:PAIRS]
    names = [name for name in COSTS if hazardous or name != "leakage"]
    rows = tuple((capital(one.words), *_volts(one), *_costs(one.costs, names)) for one in (*singles, *pairs))
    head = ("Change", *heads(Mitigation, "ripple", "spike"), "More parts", *heads(Costs, *names))
    return Table(
        f"What changes would leave at {reasons.load}, at nominal values and not judged, the best first; then two together",
        head,
        rows,
    )


def _volts(one: Mitigation) -> Row:
    return cells(one, "ripple", "spike") if np.isfinite(one.ripple) else ("", "")


def _costs(cost: Costs | None, names: Sequence[str]) -> Row:
    if cost is None:
        return ("",) * (1 + len(names))
    words = {
        "drop": _more(cost.drop, "V", 1e-4),
        "heat": _more(cost.heat, "W", 1e-3),
        "leakage": number(cost.leakage, "A") if cost.leakage else "none",
        "charge": _more(cost.charge, "C", 1e-9),
        "peak": f"{number(cost.peak, 'dB')} at {number(cost.peak_frequency, 'Hz', 2)}",
    }
    return str(cost.parts), *(words[name] for name in names)


def _more(value: float, unit: str, least: float) -> str:
    """A cost, or "none" where nobody would measure it."""
    return number(value, unit, 2) if abs(value) >= least else "none"


def sources_figure(reasons: ReasonsResult) -> Figure:
    """Bars: each source alone, and by how much the whole falls without it [V peak to peak], in the band that decides."""
    wide = reasons.figure == "full"
    series = {
        "alone": [one.spike_alone if wide else one.ripple_alone for one in reasons.sources],
        "the total is lower without it by": [one.spike_falls if wide else one.ripple_falls for one in reasons.sources],
    }
    title = f"Where it comes from at {reasons.load}, {bandwidth_words(reasons.figure)}"
    return Figure(title, ((bars_plot(_wrapped(source_phrase(one.name) for one in reasons.sources), series),),))


def changes_figure(reasons: ReasonsResult) -> Figure:
    """Bars: what the best changes, and the two best pairs, would leave [V peak to peak], beside what there is."""
    singles, pairs = ([one for one in tried if not one.refused] for tried in (reasons.mitigations, reasons.pairs))
    best = [*singles[:DRAWN], *pairs[:2]]
    ripples, spikes = ([getattr(one, name) for one in (reasons, *best)] for name in ("ripple", "spike"))
    plot = bars_plot(["as it is", *_wrapped(one.words for one in best)], {"20 MHz": ripples, "full bandwidth": spikes})
    return Figure(f"What changes would leave at {reasons.load}", ((plot,),))


def _wrapped(names: Iterable[str]) -> list[str]:
    return ["\n".join(textwrap.wrap(name, 48)) for name in names]
