"""The tables of a comparison, as text."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.analysis.causes.causes_result import Mitigation, Source
from filterlib.analysis.comparison.comparison_result import LABELS, ComparisonResult, Left, LoadComparison
from filterlib.analysis.described import label
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.review_result import ReviewResult
from filterlib.analysis.stress.stress_check import worst
from filterlib.analysis.verdict import Verdict
from filterlib.show.table import INTERVAL, RANGE, Row, Table, cells, column, heads, table
from filterlib.words.labels import detector_words, source_phrase
from filterlib.words.quantities import both_ranges, capital, interval_text, number
from filterlib.words.review.rating_sentences import stress_interval, stress_value, stress_verdict
from filterlib.words.review.verdict_sentences import verdict_cell

MITIGATIONS = 6  # rows of a table of changes


def differences_table(result: ComparisonResult) -> Table:
    """Every key that the two files state differently."""
    return table(
        "What the two files state differently",
        result.differences,
        ("Key in the design file", lambda one: one.key),
        ("A", lambda one: one.first),
        ("B", lambda one: one.second),
    )


def left_table(result: ComparisonResult) -> Table:
    """The ripple that remains at every load that both have, before and after, with the interval."""
    narrow, wide = ([f"{name}{end}" for end in ("_before", "", "_ratio")] for name in ("ripple", "spike"))
    rows = tuple(
        (one.load, letter, left.point, *_left(left, narrow), *_left(left, wide))
        for one in result.loads
        for letter, left in zip(LABELS, one.lefts, strict=True)
    )
    head = (words for names in (narrow, wide) for words in (*heads(Left, *names[:2]), RANGE, *heads(Left, names[2])))
    return Table("Peak to peak at every load that both have", ("Load", "Design", "Operating point", *head), rows)


def _left(left: Left, names: list[str]) -> Row:
    ends = [getattr(left, f"{names[1]}_{end}") for end in ("low", "high", "probable_low", "probable_high")]
    ranges = both_ranges((ends[0], ends[1]), (ends[2], ends[3]), "V")
    return *cells(left, *names[:2]), ranges, _factor(getattr(left, names[2]))


def _factor(ratio: float) -> str:
    return f"{float(f'{ratio:.3g}'):g}" if ratio == ratio and ratio < 1e6 else ""


def verdicts_table(result: ComparisonResult) -> Table:
    """Every requirement of either design, and every rating that one of them exceeds, with the verdict in each."""
    verdicts = [{verdict.requirement: verdict for verdict in one.verdicts} for one in result.reviews]
    rows = tuple(
        (capital(words), *(cell for one in verdicts for cell in _verdict(one.get(words))))
        for words in dict.fromkeys((*verdicts[0], *verdicts[1]))
    )
    exceeded = dict.fromkeys((check.part, check.what) for one in result.reviews for _, check in one.exceeded)
    rows += tuple(
        (f"{capital(part)}: {what}", *(cell for one in result.reviews for cell in _rating(one, part, what)))
        for part, what in exceeded
    )
    head = (
        "Requirement or rating",
        *(f"{letter}{what}" for letter in LABELS for what in ("", ": nominal", f": {INTERVAL.lower()}")),
    )
    return Table("Requirements and exceeded ratings in each, judged at the worst operating point", head, rows)


def _verdict(verdict: Verdict | None) -> Row:
    if verdict is None:
        return "not asked", "", ""
    whole, probable = (verdict.low, verdict.high), (verdict.probable_low, verdict.probable_high)
    ranges = both_ranges(whole, probable, verdict.unit, verdict.digits)
    return verdict_cell(verdict), *cells(verdict, "value"), ranges


def _rating(review: ReviewResult, part: str, what: str) -> Row:
    """The worst of a stress in one design."""
    stresses = [*worst(point.stress for point in review.points), *(("", life) for life in review.lives)]
    check = next((one for _, one in stresses if (one.part, one.what) == (part, what)), None)
    if check is None:
        return "no such rating", "", ""
    accepted = check.verdict in ("not met", "undecided") and review.judgement.acceptance(check) is not None
    verdict = "⚠ exceeded and accepted" if accepted else stress_verdict(check)
    return verdict, stress_value(check), stress_interval(check)


def emissions_table(result: ComparisonResult) -> Table:
    """Conducted emission of either design, where it is asked for: the least margin of every limit and detector in each."""
    least = [least_margins(review) for review in result.reviews]
    rows = tuple(
        (
            f"{margin.title}, {detector_words(margin.detector)}, at the {side}",
            *(_margin(margins.get(key)) for margins in least),
        )
        for key, (side, margin) in {**least[0], **least[1]}.items()
    )
    return Table("Conducted emission: margin below the limit at the worst operating point", ("Limit", "A", "B"), rows)


def least_margins(review: ReviewResult) -> dict[tuple[str, ...], tuple[str, Margin]]:
    """(side, network, limit, detector) -> side and the margin that may become least, over all operating points."""
    least: dict[tuple[str, ...], tuple[str, Margin]] = {}
    for point in review.points:
        for result in point.emissions:
            for margin in result.margins:
                key = (result.side, result.network, margin.limit, margin.detector)
                if key not in least or margin.low < least[key][1].low:
                    least[key] = result.side, margin
    return least


def _margin(least: tuple[str, Margin] | None) -> str:
    if least is None:
        return "not asked"
    margin = least[1]
    return f"{number(margin.margin, 'dB')} at {number(margin.frequency, 'Hz')} ({interval_text(margin.low, margin.high, 'dB')})"


def sources_table(one: LoadComparison) -> Table:
    """Every source of either design at a load: alone, and by how much the whole falls without it."""
    names = ("ripple_alone", "ripple_falls", "spike_alone", "spike_falls")
    by_name = [{source.name: source for source in reasons.sources} for reasons in one.reasons]
    rows = tuple(
        (capital(source_phrase(name)), *(cell for sources in by_name for cell in _source(sources.get(name), names)))
        for name in dict.fromkeys((*by_name[0], *by_name[1]))
    )
    head = ("Source", *(f"{letter}: {label(Source, name)}" for letter in LABELS for name in names))
    return Table(f"What each source makes at {one.load} (peak to peak does not add; waveforms do)", head, rows)


def _source(source: Source | None, names: tuple[str, ...]) -> Row:
    return ("none", "", "", "") if source is None else cells(source, *names)


def mitigations_tables(one: LoadComparison) -> Iterator[Table]:
    """The best changes for each design, the best first."""
    for letter, reasons in zip(LABELS, one.reasons, strict=True):
        yield table(
            f"{letter}: what changes would leave at {one.load}, at nominal values and not judged, the best first",
            [mitigation for mitigation in reasons.mitigations if not mitigation.refused][:MITIGATIONS],
            ("Change", lambda mitigation: capital(mitigation.words)),
            *(column(Mitigation, name) for name in ("ripple", "spike")),
            ("More parts", lambda mitigation: str(mitigation.costs.parts) if mitigation.costs else ""),
        )
