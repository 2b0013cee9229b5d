"""The page, the numbers and the figures of a review, written into a folder as one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.analysis.linear.frequency_response import at_frequency
from filterlib.show.bank.bank_page import burst_chapter
from filterlib.show.emission.emission_chapter import emission_chapters
from filterlib.show.figures.plots import (
    band_figure,
    bode_figure,
    impedance_figure,
    insertion_figure,
    ripple_figure,
    sources_figure,
    spectrum_figure,
    steps_figure,
)  # fmt: skip
from filterlib.show.folder import write_files
from filterlib.show.page import Illustration, circuit_diagram, illustration, program_version, render
from filterlib.show.review_page import review_tables as tables
from filterlib.show.review_page.change_files import change_files
from filterlib.show.review_page.first_screens import first_screens
from filterlib.show.review_page.reasons_chapter import ReasonsChapter, reasons_chapter
from filterlib.show.review_page.results import results_text
from filterlib.show.stability.stability_chapter import stability_chapter
from filterlib.show.style import slug
from filterlib.show.supply.supply_chapter import supply_chapters
from filterlib.show.table import Table
from filterlib.system.requirements import OfRipple
from filterlib.words.labels import SYMBOLS, bandwidth_words, source_words
from filterlib.words.quantities import interval_text, loss, number, ohms
from filterlib.words.review.measurement_sentences import (
    interval_now,
    measurement_sentences,
    useless_sentence,
)
from filterlib.words.review.review_sentences import (
    cautions,
    has_hazardous_voltage,
    stability_lines,
    trust,
    turned_by,
)
from filterlib.words.review.verdict_sentences import rating_lines, verdict_sentence
from filterlib.words.stability_sentences import NO_DRIVE, NO_SPIKE, reason_text

if TYPE_CHECKING:
    from filterlib.analysis.linear.linear_result import BodeResult, InsertionResult
    from filterlib.analysis.review_result import PointResult, ReviewResult
    from filterlib.analysis.ripple.ripple_result import RippleResult

PAGE, NUMBERS = "review.html", "results.json"
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class LoadChapter:
    """What the page says of one load: the operating point it shows, its figures and its tables."""

    load: str
    point: str
    reason: str
    remarks: tuple[str, ...]
    figures: tuple[Illustration, ...]
    tables: tuple[Table, ...]
    closing: tuple[str, ...] = ()
    closing_now: str = ""
    useless: str = ""


def write_review(
    result: ReviewResult, folder: str | Path, *, file: str | Path | None = None, progress: Progress | None = None
) -> Path:
    """Write review.html, results.json and the figures of a `ReviewResult` into a folder as `write_files` does.

    Returns the path of the page; ``file``: the design's, into whose text proposed changes are put; ``progress`` is called with the share done (0 to 1) and what is being done.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     filterlib.write_review(filterlib.review(design), folder).name
    'review.html'
    """
    write_files(folder, review_files(result, file=file, progress=progress), last=NUMBERS)
    return Path(folder) / PAGE


def review_files(
    result: ReviewResult, *, file: str | Path | None = None, progress: Progress | None = None
) -> dict[str, str]:
    """Every file of a review: name -> text, in which `folder.RUN` stands for the run's identifier."""
    circuit = circuit_diagram("circuit", "Circuit diagram", result.design)
    chapters = tuple(_chapters(result, progress or (lambda share, text: None)))
    reasons = reasons_chapter(result.reasons, hazardous=has_hazardous_voltage(result.design))
    changes = change_files(result.reasons, file)
    emitted = emission_chapters(result)
    margins = [one for point in result.points for one in point.margins]
    stability = stability_chapter(margins, result.design, result.converter_side, result.part_limits)
    bursts = result.judgement.bursts
    bursting = None if bursts is None else burst_chapter(result.design, bursts)
    supply = supply_chapters(result.judgement.supply, result.design)
    every = [one for one in (reasons, *chapters, stability, *emitted, bursting, *supply) if one is not None]
    first = first_screens(result)
    drawn = [first.before_after, circuit, *(figure for chapter in every for figure in chapter.figures)]
    files = {figure.file: figure.text for figure in drawn if figure is not None}
    files |= {one.file: one.text for one in changes if one.file}
    names = [PAGE, NUMBERS, *files]
    page = _page(
        result,
        list(files),
        reasons,
        first=first,
        circuit=circuit,
        chapters=chapters,
        emitted=emitted,
        stability=stability,
        bursting=bursting,
        supply=supply,
        changes=changes,
        change=next((one for one in changes if one.file), None),
    )
    return files | {PAGE: page, NUMBERS: results_text(result, names, program_version())}


def _chapters(result: ReviewResult, progress: Progress) -> Iterator[LoadChapter]:
    slugs: set[str] = set()
    for number_, load in enumerate(result.design.loads):
        progress(number_ / len(result.design.loads), f"figures of {load.name}")
        own = slug(load.name)
        while own in slugs:
            own += "-2"
        slugs.add(own)
        point = result.point_to_show(load.name)
        yield LoadChapter(
            load=load.name,
            point=point.operating.point,
            reason=reason_text(point.ripple.reason),
            remarks=_remarks(point.ripple, load.name),
            figures=tuple(_figures(result, point, load.name, own)),
            tables=tuple(_load_tables(result, point, load.name)),
            **_closing(result, load.name),
        )


def _closing(result: ReviewResult, load: str) -> dict[str, Any]:
    """What to measure next, in the chapter of the load that decides."""
    values = result.closing
    if values is None or values.load != load:
        return {}
    return {
        "closing": tuple(measurement_sentences(values)),
        "closing_now": f"{bandwidth_words(values.label)}, at “{values.point}”: {interval_now(values)}"
        if values.measurements
        else "",
        "useless": useless_sentence(values, set(turned_by(result))),
    }


def _remarks(ripple: RippleResult, load: str) -> tuple[str, ...]:
    return (NO_SPIKE,) if any(place == load for place, _ in ripple.without_spike) else ()


def _load_tables(result: ReviewResult, point: PointResult, load: str) -> Iterator[Table]:
    yield tables.insertion_table(point.insertion, load, result.design.converter.switching_frequency)
    if point.ripple.reason is None:
        yield tables.sources_table(point.ripple, load)
        if point.ripple.uncertain_parameters and load == result.design.loads[0].name:
            yield tables.uncertain_parameters_table(point.ripple, load)


def _figures(result: ReviewResult, point: PointResult, load: str, own: str) -> Iterator[Illustration]:
    if point.ripple.reason is None:
        yield from _ripple_figures(result, point.ripple, load, own)
    at = result.design.converter.switching_frequency
    bode, impedance, steps = point.bode[load], point.impedance[load], point.steps[load]
    figure = bode_figure(bode, switching_frequency=at)
    yield illustration(f"bode-{own}", figure, _bode_words(bode), "Triangles mark resonances.")
    figure = impedance_figure(impedance, switching_frequency=at)
    yield illustration(f"impedance-{own}", figure, f"Magnitude and phase of the impedances at {load}.")
    figure = insertion_figure(point.insertion, load, switching_frequency=at)
    yield illustration(f"insertion-{own}", figure, *_insertion_words(point.insertion, load, at))
    if steps.reason is None:
        dip, settled = number(steps.load_dip, "V"), number(steps.settling_time, "s")
        words = f"After the load's step its voltage dips by {dip} and settles in {settled}."
        yield illustration(f"steps-{own}", steps_figure(steps), words, "Linear: small steps about this point.")


def _ripple_figures(result: ReviewResult, ripple: RippleResult, load: str, own: str) -> Iterator[Illustration]:
    limits = _limits(result, load)
    figure = ripple_figure(ripple, load, limits=limits)
    note = "Dashed: the limit. Shaded: where the extremes may lie over the uncertainty. Scales differ."
    yield illustration(f"ripple-{own}", figure, _ripple_words(ripple, load), note)
    words = f"Harmonics at {load} without and with the filter."
    yield illustration(f"spectrum-{own}", spectrum_figure(ripple, load), words)
    if len(ripple.figures[load, "20MHz"].by_source) > 1:
        note = "The figures do not add, because the sources' peaks need not fall together."
        yield illustration(f"sources-{own}", sources_figure(ripple, load), _source_words(ripple, load), note)
    if ripple.uncertain_parameters and load == result.design.loads[0].name:
        first = ripple.uncertain_parameters[0]
        words = f"{first.label} alone moves the ripple: {interval_text(first.pp_at_low, first.pp_at_high, 'V')}."
        figure = band_figure(ripple, load, limit=limits.get("20MHz"))
        yield illustration(
            f"band-{own}", figure, words, "Each bar: one uncertain parameter moved alone through its range."
        )


def _limits(result: ReviewResult, load: str) -> dict[str, float]:
    """The lowest limit [V] of each bandwidth in which the ripple at a load has one."""
    limits: dict[str, float] = {}
    for wanted in result.design.requirements:
        if isinstance(wanted, OfRipple) and wanted.load == load:
            limits[wanted.label] = min(wanted.limit, limits.get(wanted.label, wanted.limit))
    return limits


def _ripple_words(ripple: RippleResult, load: str) -> str:
    before, after = ripple.figures[f"{load}_before", "20MHz"], ripple.figures[load, "20MHz"]
    without, left = number(before.peak_to_peak, "V"), number(after.peak_to_peak, "V")
    return f"In 20 MHz {without} peak to peak without and {left} with the filter."


def _source_words(ripple: RippleResult, load: str) -> str:
    alone = ripple.figures[load, "20MHz"].by_source.items()
    return "Alone, in 20 MHz: " + ", ".join(f"{source_words(name)} {number(value, 'V')}" for name, value in alone) + "."


def _bode_words(bode: BodeResult) -> str:
    peaks = ", ".join(f"{number(peak, 'dB')} at {number(frequency, 'Hz')}" for frequency, peak, _ in bode.resonances)
    return f"Resonances: {peaks}." if peaks else "No clear resonance."


def _insertion_words(insertion: InsertionResult, load: str, switching: float) -> tuple[str, str]:
    """What the figure shows, and why its curves lie apart."""
    levels = [insertion.symmetrical["50/50"], insertion.real_symmetrical[load]]
    test, real = (loss(at_frequency(insertion.frequencies, level, switching)) for level in levels)
    ends = (insertion.converter_impedance, insertion.load_impedance)
    source, fed = (ohms(at_frequency(insertion.frequencies, np.abs(z), switching)) for z in ends)
    at = number(switching, "Hz")
    words = f"At {at} {test} between 50 Ω and 50 Ω, symmetrical, and {real} in this circuit."
    note = f"The curves differ because at {at} the converter's side is {source} and the load's {fed}, not 50 Ω."
    return words, note if insertion.real_asymmetrical else f"{note} Asymmetrical: {NO_DRIVE}."


def _page(result: ReviewResult, drawn: list[str], reasons: ReasonsChapter | None, **pieces: object) -> str:
    shown = result.point_to_show()
    stable = [point for point in result.points if point.ripple.reason is None]
    loads = [load.name for load in result.design.loads]
    return render(
        "review.html.j2",
        advice=reasons.sentences[-1] if reasons and reasons.sentences else "",
        reasons=reasons,
        design=result.design,
        names=[*(stage.name for stage in result.design.filter), *loads],
        trust=tuple(trust(result)),
        without_stress=[
            f"At {p.stress.point} there is none: {reason_text(p.stress.reason)}."
            for p in result.points
            if p.stress.reason
        ],
        open_verdicts=[
            *(
                f"{SYMBOLS[v.verdict]} {verdict_sentence(v, result.closing)}"
                for v in result.verdicts
                if v.verdict != "met"
            ),
            *stability_lines(result),
            *rating_lines(result.judgement),
        ],
        requirements=tables.requirements_table(result),
        parts=tables.parts_table(result.design),
        points=[tables.points_table(result), tables.loads_table(result)],
        cautions=tuple(cautions(result)),
        stress=[tables.stress_table(result), tables.heat_table(result)],
        ripple=[tables.ripple_table(point) for point in stable],
        harmonics=[tables.harmonics_table(shown.ripple, loads)] if shown in stable else [],
        impedances=[tables.impedance_table(p, result.design.converter.switching_frequency) for p in result.points],
        steps=tables.steps_table(result),
        assumptions=tables.assumptions_table(result),
        files=[NUMBERS, *drawn],
        **pieces,
    )
