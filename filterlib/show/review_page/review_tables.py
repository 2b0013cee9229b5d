"""The tables of a review, as text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from filterlib.analysis.described import label
from filterlib.analysis.linear.frequency_response import at_frequency, largest_below
from filterlib.analysis.linear.insertion_loss import spots
from filterlib.analysis.linear.linear_result import InsertionResult, StepsResult, coinciding
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.analysis.ripple.ripple_result import BEFORE, Figure, RippleResult, Sensitivity
from filterlib.analysis.stability.stability_result import OperatingResult
from filterlib.analysis.stress.stress_check import Heat, worst
from filterlib.analysis.verdict import Verdict
from filterlib.parts.base import Part
from filterlib.show.table import INTERVAL, RANGE, Row, Table, cells, column, heads, table
from filterlib.system.design import Design
from filterlib.system.inside.converter import Arrangement
from filterlib.system.line.clip import TERMINALS
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AnyStage, Damping
from filterlib.units import format_quantity, format_temperature
from filterlib.words.bench.reading_sentences import as_stated, measured_words, why_not_as_stated
from filterlib.words.labels import bandwidth_words, place_words, source_words
from filterlib.words.quantities import capital, interval_text, loss, margin_text, number, ohms, stress_number
from filterlib.words.review.assumptions import assumptions
from filterlib.words.review.measurement_sentences import measurement_words
from filterlib.words.review.rating_sentences import (
    basis_text,
    stress_interval,
    stress_limit,
    stress_value,
    stress_verdict,
)
from filterlib.words.review.verdict_sentences import verdict_cell
from filterlib.words.stability_sentences import NOTHING_TURNS, over_sentence, reason_text, stability_sentence

HARMONICS = 12  # rows of the harmonics' table
PARAMETERS = 8  # rows of the table of what makes the interval
PROBABLE = "Probably (9 cases in 10)"


def requirements_table(result: ReviewResult) -> Table:
    """Every requirement with its verdict in words."""
    return table(
        "Requirements, judged at the worst operating point",
        result.verdicts,
        ("Requirement", lambda verdict: capital(verdict.requirement)),
        ("Verdict", verdict_cell),
        column(Verdict, "value"),
        (
            PROBABLE,
            lambda verdict: interval_text(verdict.probable_low, verdict.probable_high, verdict.unit, verdict.digits),
        ),
        (INTERVAL, lambda verdict: interval_text(verdict.low, verdict.high, verdict.unit, verdict.digits)),
        ("Worst at", lambda verdict: verdict.point),
    )


def parts_table(design: Design) -> Table:
    """Converter, stages in their order, and what the loads bring."""
    return Table("Parts, from the converter to the loads", ("Name", "What", "Part", "Values"), tuple(_parts(design)))


def _parts(design: Design) -> Iterator[Row]:
    converter = design.converter
    supply = "" if converter.input_voltage is None else f"{format_quantity(converter.input_voltage, 'V')} to "
    values = (
        f"{supply}{format_quantity(converter.output_voltage, 'V')}",
        format_quantity(converter.switching_frequency, "Hz"),
        f"ripple {format_quantity(float(converter.ripple.peak_to_peak), 'V')} peak to peak",
        "isolated" if converter.isolated else "not isolated",
    )
    yield "converter", "converter", converter.name, ", ".join(values)
    for stage in design.filter:
        extra = [f"{number(float(stage.resistance), 'ohm')} in series"] if isinstance(stage, Damping) else []
        yield stage.name, _what(stage), stage.part.name, _values(stage.part, extra, getattr(stage, "count", 1))
        if (beside := getattr(stage, "damping", None)) is not None:
            ohms = f"{number(float(beside.resistance), 'ohm')} across {stage.name}"
            second = ("", ohms) if beside.part is None else (beside.part.name, _values(beside.part, [ohms]))
            yield f"damping of {stage.name}", "resistor", *second
    for load in design.loads:
        yield load.name, "load", "", f"{_draw(load)} {load.kind.replace('_', ' ')}"
        if load.lead is not None:
            yield f"lead of {load.name}", "wire pair", load.lead.name, _values(load.lead)
        if load.input_capacitor is not None:
            fitted = load.input_capacitor
            yield f"input of {load.name}", "capacitor", fitted.part.name, _values(fitted.part, (), fitted.count)


def _what(stage: AnyStage) -> str:
    words = stage.kind.replace("_", " ")
    line = getattr(stage, "line", None)
    where = {"both": ", each line", "plus": ", plus line", "return": ", return line"}
    return f"{words}{where[line]}" if line else words


def _values(part: Part, extra: Iterable[str] = (), count: int = 1) -> str:
    """The part's own description, and how many of it."""
    many = [f"{count} in parallel"] if count > 1 else []
    described = [f"{label} {text}" for label, text in part.describe().items() if label not in ("name", "kind", "note")]
    return ", ".join([*many, *extra, *described])


def _draw(load: Load) -> str:
    value, unit = load.full_draw
    return format_quantity(float(value), unit)


def points_table(result: ReviewResult) -> Table:
    """The operating points and whether they are stable, at nominal values and over the range."""
    electrical = ("terminal_voltage", "converter_current")
    rows = tuple(
        (
            point.operating.point,
            format_temperature(point.operating.temperature),
            *cells(point.operating, *electrical),
            _stable(point),
            capital(stability_sentence(point.operating.stability)),
            capital(over_sentence(point.over, point.operating.stable) or NOTHING_TURNS),
        )
        for point in result.points
    )
    head = (
        "Operating point",
        "Temperature",
        *heads(OperatingResult, *electrical),
        "Stability",
        "At nominal values",
        RANGE,
    )
    return Table("Operating points", head, rows)


def _stable(point: PointResult) -> str:
    if not point.operating.stable:
        return "✗ unstable"
    return "◐ unstable in a part of the range" if point.turned else "✓ stable"


def loads_table(result: ReviewResult) -> Table:
    """Direct voltage and current of every load at every operating point."""
    names = ("load_scale", "load_voltages", "drops", "load_currents", "load_powers")
    rows = tuple(
        (operating.point, load.name, *cells(operating, *names, at=load.name))
        for operating in (point.operating for point in result.points)
        for load in result.design.loads
    )
    return Table("Loads at the operating points", ("Operating point", "Load", *heads(OperatingResult, *names)), rows)


def stress_table(result: ReviewResult) -> Table:
    """Every stress of every part against its rating, at the operating point where it has least margin; the least first."""
    checks = [*worst(point.stress for point in result.points), *(("all", life) for life in result.lives)]
    checks.sort(key=lambda pair: np.inf if np.isnan(pair[1].margin) else pair[1].margin)
    return table(
        "Stress of the parts, with margins",
        checks,
        ("Part", lambda pair: capital(pair[1].part)),
        ("Stress", lambda pair: capital(pair[1].what)),
        ("Verdict", lambda pair: stress_verdict(pair[1])),
        ("Value", lambda pair: stress_value(pair[1])),
        (INTERVAL, lambda pair: stress_interval(pair[1])),
        ("Limit", lambda pair: "" if np.isnan(pair[1].limit) else stress_limit(pair[1])),
        ("Margin", lambda pair: margin_text(pair[1].margin)),
        ("Worst at", lambda pair: pair[0]),
        ("Note", lambda pair: capital(basis_text(pair[1].basis))),
    )


def heat_table(result: ReviewResult) -> Table:
    """Heat of every part at the operating point where it is warmest."""
    hottest: dict[str, tuple[str, Heat]] = {}
    for stressed in (point.stress for point in result.points):
        for heat in stressed.heats:
            if heat.name not in hottest or _warmth(heat) > _warmth(hottest[heat.name][1]):
                hottest[heat.name] = stressed.point, heat
    rows = tuple(
        (
            capital(heat.part) + (f", each of {heat.count}" if heat.count > 1 else ""),
            *cells(heat, "direct", "ripple"),
            "" if np.isnan(heat.core) else number(heat.core, "W"),
            stress_number(heat.rise, "K"),
            point,
        )
        for point, heat in hottest.values()
    )
    head = ("Part", *heads(Heat, "direct", "ripple", "core", "rise"), "Warmest at")
    return Table("Heat in the parts", head, rows)


def _warmth(heat: Heat) -> float:
    return heat.direct + heat.ripple


def ripple_table(point: PointResult) -> Table:
    """Peak to peak and rms at every place in every band; before the filter and after."""
    ripple = point.ripple
    labels = list(dict.fromkeys(band for _, band in ripple.figures))
    size, rms = (label(Figure, name) for name in ("peak_to_peak", "rms"))
    words = [capital(bandwidth_words(band)) for band in labels]
    head = ("Place", *(part for band in words for part in (f"{band}, {size}", PROBABLE, INTERVAL, f"{band}, {rms}")))
    rows = tuple(
        (capital(_place(point, place)), *(cell for band in labels for cell in _figure(ripple.figures[place, band])))
        for place in ripple.places
    )
    return Table(f"Ripple at {point.operating.point}", head, (_measured(point, labels), *rows))


def _place(point: PointResult, place: str) -> str:
    """A place, and for the unfiltered terminals why they do not read what was stated."""
    differs = why_not_as_stated(point.solution) if place == TERMINALS + BEFORE else ""
    return place_words(place) + (f" ({differs})" if differs else "")


def _measured(point: PointResult, labels: Sequence[str]) -> Row:
    """What the stated arrangements read on the model, of all sources: the ripple's to 20 MHz, the spike's in full bandwidth."""
    converter, ripple = point.solution.design.converter, point.ripple
    read: dict[str, tuple[Arrangement, float]] = {"20MHz": (converter.ripple, ripple.ripple_as_measured)}
    if converter.spike is not None:
        read["full"] = converter.spike, ripple.spike_as_measured
    cells: list[str] = []
    for band in labels:
        known = read.get(band)
        cells += (number(known[1], "V"), as_stated(known[0], band), "") if known else ("", "", "")
    return (capital(measured_words(point.solution.design)), *cells)


def _figure(figure: Figure) -> Row:
    size, rms = cells(figure, "peak_to_peak", "rms")
    probable = interval_text(figure.probable_low, figure.probable_high, "V", 2 if figure.wide else 3)
    return size, probable, interval_text(figure.low, figure.high, "V"), rms


def sources_table(ripple: RippleResult, load: str) -> Table:
    """What each source makes at a load, alone and as a share of the whole."""
    labels = [band for band in ("20MHz", "full") if (load, band) in ripple.figures]
    figures, names = [ripple.figures[load, band] for band in labels], ("by_source", "reduction")
    alone, falls = heads(Figure, *names)
    head = ("Source", *(words for band in labels for words in (f"{alone}, {bandwidth_words(band)}", falls)))
    rows = tuple(
        (capital(source_words(source)), *(cell for figure in figures for cell in cells(figure, *names, at=source)))
        for source in (figures[0].by_source if figures else ())
    )
    return Table(f"Sources of the ripple at {load} (they do not add)", head, rows)


def uncertain_parameters_table(ripple: RippleResult, load: str) -> Table:
    """What makes the interval at the first load, the greatest first, and what would settle it."""
    return table(
        f"What makes the interval at {load}, 20 MHz",
        ripple.uncertain_parameters[:PARAMETERS],
        ("Uncertain parameter", lambda one: capital(one.label)),
        ("Its range", _range),
        ("Alone it moves the ripple", lambda one: interval_text(one.pp_at_low, one.pp_at_high, "V")),
        column(Sensitivity, "share"),
        ("What would decide it: measure", lambda one: capital(measurement_words(one.measurement))),
    )


def _range(one: Sensitivity) -> str:
    return interval_text(one.low, one.high, one.unit) if np.isfinite(one.low) else "either shape"


def harmonics_table(ripple: RippleResult, loads: Sequence[str]) -> Table:
    """The first harmonics as peak amplitudes, before and after, at the terminals and every load."""
    places = [place for name in ("terminals", *loads) for place in (f"{name}_before", name) if place in ripple.spectra]
    rows = []
    for index, frequency in enumerate(ripple.frequencies[:HARMONICS]):
        sizes = (_harmonic(float(abs(ripple.spectra[place][index]))) for place in places)
        order = round(frequency / ripple.switching_frequency)
        rows.append((f"{order}", format_quantity(float(frequency), "Hz", 4), *sizes))
    head = ("Harmonic", "Frequency", *(capital(place_words(place)) for place in places))
    return Table(f"First harmonics at {ripple.point}, peak amplitudes", head, tuple(rows))


def _harmonic(size: float) -> str:
    return number(size, "V") if size >= 1e-9 else "below 1 nV"


def impedance_table(point: PointResult, switching: float) -> Table:
    """Impedances at the switching frequency and where they are largest or smallest."""
    rows = []
    for load, result in point.impedance.items():
        back, into, own = (np.abs(v) for v in (result.seen_by_load, result.seen_by_converter, result.load_input))
        (peak_at, peak), smallest = largest_below(result.frequencies, back, switching), int(np.argmin(into))
        rows.append((
            load,
            f"{number(peak, 'ohm')} at {number(peak_at, 'Hz')}",
            *(ohms(at_frequency(result.frequencies, size, switching)) for size in (back, into, own)),
            f"{number(float(into[smallest]), 'ohm')} at {number(float(result.frequencies[smallest]), 'Hz')}",
        ))  # fmt: skip
    at = format_quantity(switching, "Hz")
    head = (
        "Load",
        f"Seen by the load, largest below {at}",
        f"Seen by the load at {at}",
        f"Seen by the converter at {at}",
        f"The load's own input at {at}",
        "Seen by the converter, smallest",
    )
    return Table(f"Impedances at {point.operating.point}", head, tuple(rows))


def insertion_table(insertion: InsertionResult, load: str, switching: float) -> Table:
    """Insertion loss in each test system, and what the filter does between its own converter and load."""
    rows = []
    for mode in ("symmetrical", "asymmetrical"):
        tested = getattr(insertion, mode)
        curves = {
            " or ".join(f"{name.replace('/', ' Ω and ')} Ω" for name in names): tested[names[0]]
            for names in coinciding(tested)
        }
        real = getattr(insertion, f"real_{mode}").get(load)
        curves |= {} if real is None else {f"this converter and {load}": real}
        for name, curve in curves.items():
            levels = (at_frequency(insertion.frequencies, curve, spot) for spot in spots(switching).values())
            rows.append((f"{capital(mode)}, between {name}", *map(loss, levels)))
    head = ("Test, or real circuit", *(f"At {format_quantity(spot, 'Hz')}" for spot in spots(switching).values()))
    return Table(f"Insertion loss as in CISPR 17, and the real effect at {load}", head, tuple(rows))


def steps_table(result: ReviewResult) -> Table:
    """Steps at every load and operating point."""
    return table(
        "Steps",
        [steps for point in result.points for steps in point.steps.values()],
        ("Operating point", lambda steps: steps.point),
        ("Load", lambda steps: steps.load),
        *(column(StepsResult, name) for name in ("overshoot", "step_current", "load_dip")),
        (heads(StepsResult, "settling_time")[0], _settled),
    )


def _settled(steps: StepsResult) -> str:
    return cells(steps, "settling_time")[0] if steps.reason is None else f"not known: {reason_text(steps.reason)}"


def assumptions_table(result: ReviewResult) -> Table:
    """What the design left to defaults."""
    return table(
        "Assumptions",
        assumptions(result),
        ("What", lambda one: capital(one.label)),
        ("Taken as", lambda one: one.value),
        ("Plausible range", lambda one: f"{one.low} to {one.high}" if one.low != one.high else ""),
        ("Why", lambda one: capital(one.why)),
        ("Key in the design file", lambda one: one.key),
    )
