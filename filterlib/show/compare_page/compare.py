"""The page, the numbers and the figures of a comparison of two designs, written into a folder as one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from filterlib.analysis.causes.causes_result import Mitigation, Source
from filterlib.analysis.comparison.comparison_result import LABELS, ComparisonResult, Left, LoadComparison
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.review_result import ReasonsResult, ReviewResult
from filterlib.show.compare_page import compare_tables as tables
from filterlib.show.compare_page.compare_plots import effect_figure, spectra_figure, waveforms_figure
from filterlib.show.folder import write_files
from filterlib.show.numbers import NOT_COMPUTED, Section, numbers, put, texts
from filterlib.show.page import Illustration, circuit_diagram, illustration, page_files
from filterlib.show.review_page.review_tables import parts_table
from filterlib.show.style import slug
from filterlib.show.table import Table
from filterlib.words.emission_sentences import ESTIMATE, margin_sentence
from filterlib.words.labels import source_phrase
from filterlib.words.quantities import capital, number
from filterlib.words.review.comparison_sentences import comparison_sentences, in_short, opening, what_is_left
from filterlib.words.review.findings import outcome_words
from filterlib.words.review.reason_sentences import reason_sentences, refusal_text
from filterlib.words.review.review_sentences import cautions, headline, review_notes, summary, trust
from filterlib.words.review.verdict_sentences import rating_lines, verdict_sentence
from filterlib.words.stability_sentences import UNSTABLE, reason_text

PAGE, NUMBERS = "compare.html", "compare.json"
FORMAT = 1  # of compare.json; raised whenever a key changes its name or its meaning
LEGEND = 60  # characters of a design's name in a legend
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class LoadChapter:
    """What the page says of one load: why in each design, figures of both, and tables."""

    load: str
    reasons: tuple[tuple[str, ...], tuple[str, ...]]
    figures: tuple[Illustration, ...]
    sources: Table
    mitigations: tuple[Table, ...]


def write_comparison(result: ComparisonResult, folder: str | Path, *, progress: Progress | None = None) -> Path:
    """Write compare.html, compare.json and the figures of a `ComparisonResult` into a folder as `write_files` does.

    Returns the path of the page; ``progress`` is called with the share done (0 to 1) and what is being done.
    """
    write_files(folder, comparison_files(result, progress=progress), last=NUMBERS)
    return Path(folder) / PAGE


def comparison_files(result: ComparisonResult, *, progress: Progress | None = None) -> dict[str, str]:
    """Every file: name -> text, in which `folder.RUN` stands for the run's identifier."""
    tell = progress or (lambda share, text: None)
    circuits = tuple(
        circuit_diagram(f"compare-circuit-{letter.lower()}", f"{letter}: circuit", design)
        for letter, design in zip(LABELS, result.designs, strict=True)
    )
    chapters = []
    for place, one in enumerate(result.loads):
        tell(place / len(result.loads), f"figures of {one.load}")
        chapters.append(_chapter(result, one, place + 1))
    drawn = [*circuits, *(figure for chapter in chapters for figure in chapter.figures)]
    return page_files(
        PAGE, FORMAT, comparison_numbers(result), drawn,
        result=result,
        short=in_short(result),
        outcomes=[(symbol, capital(word)) for symbol, word in map(outcome_words, result.reviews)],
        look="good" if result.exit_code == 0 else "bad",
        designs=list(zip(LABELS, result.designs, result.reviews, map(summary, result.reviews), strict=True)),
        aside=[
            (letter, note) for letter, one in zip(LABELS, result.reviews, strict=True) for note in review_notes(one)
        ],
        opening=[
            " ".join(sentences) for sentences in (opening(result), *(what_is_left(result, one) for one in result.loads))
        ],
        circuits=list(zip(circuits, (_parts(result, n) for n in (0, 1)), strict=True)),
        chapters=chapters,
        left=tables.left_table(result),
        verdicts=tables.verdicts_table(result),
        emissions=tables.emissions_table(result),
        estimate=ESTIMATE,
        differences=tables.differences_table(result),
        trust=[(letter, tuple(trust(review))) for letter, review in zip(LABELS, result.reviews, strict=True)],
        cautions=tuple(dict.fromkeys(one for review in result.reviews for one in cautions(review))),
    )  # fmt: skip


def _parts(result: ComparisonResult, place: int) -> Table:
    parts = parts_table(result.designs[place])
    return Table(f"{LABELS[place]}: parts, from the converter to the loads", parts.head, parts.rows)


def legend(result: ComparisonResult) -> tuple[str, str]:
    """Both designs as a legend names them."""
    names = (f"{letter}: {design.name}" for letter, design in zip(LABELS, result.designs, strict=True))
    first, second = (name if len(name) <= LEGEND else f"{name[: LEGEND - 1]}…" for name in names)
    return first, second


def _chapter(result: ComparisonResult, one: LoadComparison, place: int) -> LoadChapter:
    sentences = tuple(
        tuple(sentence.text for sentence in reason_sentences(reasons))
        or (f"There is nothing to say: {UNSTABLE}, so no ripple and no reasons.",)
        for reasons in one.reasons
    )
    return LoadChapter(
        one.load, sentences, tuple(_figures(result, one, f"{place}-{slug(one.load)}")), tables.sources_table(one),  # type: ignore[arg-type]
        tuple(tables.mitigations_tables(one)),
    )  # fmt: skip


def _figures(result: ComparisonResult, one: LoadComparison, own: str) -> Iterator[Illustration]:
    points = [
        next(point for point in review.points if point.operating.point == left.point)
        for review, left in zip(result.reviews, one.lefts, strict=True)
    ]
    names, ripples = legend(result), [point.ripple for point in points]
    if all(ripple.reason is None for ripple in ripples):
        sizes = ", ".join(f"{letter} {number(left.ripple, 'V')}" for letter, left in zip("AB", one.lefts, strict=True))
        yield illustration(
            f"compare-waveforms-{own}", waveforms_figure(ripples, one.load, names), f"In 20 MHz, peak to peak: {sizes}.",
            "Both on one scale. Their periods may differ.",
        )  # fmt: skip
        words = f"Harmonics at {one.load} in both designs, with the filter."
        yield illustration(f"compare-spectra-{own}", spectra_figure(ripples, one.load, names), words)
    switching = [design.converter.switching_frequency for design in result.designs]
    figure = effect_figure([point.bode[one.load] for point in points], names, switching)
    note = "Of the ripple's source alone, between each filter's own converter and loads; what comes by the chassis is not in it."
    yield illustration(f"compare-effect-{own}", figure, f"What each filter does at {one.load}.", note)


def comparison_numbers(result: ComparisonResult) -> Section:
    """The comparison for other programs: one number a key, bandwidth in the key, unit at its end."""
    keys = dict(zip(LABELS, result.reviews, strict=True))
    return {
        "exit_code": result.exit_code,
        "sentences": list(comparison_sentences(result)),
        "designs": {letter: _design(review) for letter, review in keys.items()},
        "differences": [{"key": one.key, "A": one.first, "B": one.second} for one in result.differences],
        "only": [{"design": letter, "load": load} for letter, load in result.only],
        "loads": {one.load: dict(zip(keys, map(_at, one.lefts, one.reasons), strict=True)) for one in result.loads},
    }


def _design(review: ReviewResult) -> Section:
    words = ("requirement", "kind", "load", "verdict", "depends_on")
    return {
        "name": review.design.name,
        "converter": review.design.converter.name,
        "exit_code": review.exit_code,
        "summary": summary(review),
        "headline": headline(review),
        "emissions": [_emission(*margin) for margin in tables.least_margins(review).values()],
        "requirements": [
            texts(one, *words) | {"sentence": verdict_sentence(one, review.closing)} for one in review.verdicts
        ],
        "ratings": list(rating_lines(review.judgement)),
    }


def _emission(side: str, margin: Margin) -> Section:
    return {"side": side} | texts(margin, "limit", "detector") | {"sentence": margin_sentence(margin)} | numbers(margin)


def _at(left: Left, reasons: ReasonsResult) -> Section:
    """The ripple that remains at a load, and why."""
    return {
        "operating_point": left.point,
        **numbers(left, reason_text(left.reason) or "no uncertain parameter, or nothing is left"),
        "reasons": [sentence.text for sentence in reason_sentences(reasons)],
        "sources": {one.name: _source(one) for one in reasons.sources},
        "mitigations": [_mitigation(one) for one in reasons.mitigations],
    }


def _source(one: Source) -> Section:
    section: Section = {"words": source_phrase(one.name)}
    for name, label in (("ripple", "20MHz"), ("spike", "full")):
        put(section, f"{label}_alone_pp_V", getattr(one, f"{name}_alone"), NOT_COMPUTED)
        put(section, f"{label}_falls_V", getattr(one, f"{name}_falls"), NOT_COMPUTED)
    return section


def _mitigation(one: Mitigation) -> Section:
    refused = refusal_text(one.refused)
    section = {"change": one.words, "refused": refused}
    put(section, "20MHz_pp_V", one.ripple, refused or NOT_COMPUTED)
    put(section, "full_pp_V", one.spike, refused or NOT_COMPUTED)
    return section
