"""The tables of a review, as text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.analysis.stress.stress import worst
from filterlib.show.results import at_frequency, largest_below, spots
from filterlib.units import format_quantity, format_temperature
from filterlib.words.assumptions import assumptions
from filterlib.words.labels import SYMBOLS, bandwidth_words, place_words, source_words
from filterlib.words.measurement_sentences import measurement_words
from filterlib.words.quantities import capital, interval_text, loss, margin_text, number, ohms, share, stress_number
from filterlib.words.rating_sentences import basis_text, stress_interval, stress_limit, stress_verdict
from filterlib.words.stability_sentences import reason_text, stability_sentence

HARMONICS = 12  # rows of the harmonics' table
UNKNOWNS = 8  # rows of the table of what makes the band
Row = tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A caption, the heads of the columns, and rows whose first cell heads the row."""

    caption: str
    head: Row
    rows: tuple[Row, ...]


def requirements_table(result: Any) -> Table:
    """Every requirement with its verdict in words."""
    rows = (
        (
            capital(verdict.requirement),
            f"{SYMBOLS[verdict.verdict]} {verdict.verdict} {verdict.depends_on}".rstrip(),
            number(verdict.value, verdict.unit),
            interval_text(verdict.low, verdict.high, verdict.unit),
            verdict.point,
        )
        for verdict in result.verdicts
    )
    head = ("Requirement", "Verdict", "Nominal", "Range (uncertain parameters)", "Worst at")
    return Table("What the design has to hold, judged at the worst operating point", head, tuple(rows))


def parts_table(design: Any) -> Table:
    """Converter, stages in their order, and what the loads bring."""
    return Table("Parts, from the converter to the loads", ("Name", "What", "Part", "Values"), tuple(_parts(design)))


def _parts(design: Any) -> Iterator[Row]:
    converter = design.converter
    supply = "" if converter.input_voltage is None else f"{format_quantity(converter.input_voltage, 'V')} to "
    values = (
        f"{supply}{format_quantity(converter.output_voltage, 'V')}",
        format_quantity(converter.switching_frequency, "Hz"),
        f"ripple {format_quantity(converter.ripple.peak_to_peak, 'V')} peak to peak",
        "isolated" if converter.isolated else "not isolated",
    )
    yield "converter", "converter", converter.name, ", ".join(values)
    for stage in design.filter:
        extra = [f"{format_quantity(stage.resistance, 'ohm')} in series"] if stage.kind == "damping" else []
        yield stage.name, _what(stage), stage.part.name, _values(stage.part, extra, getattr(stage, "count", 1))
    for load in design.loads:
        yield load.name, "load", "", f"{_draw(load)} {load.kind.replace('_', ' ')}"
        if load.lead is not None:
            yield f"lead of {load.name}", "wire pair", load.lead.name, _values(load.lead)
        if load.input_capacitor is not None:
            fitted = load.input_capacitor
            yield f"input of {load.name}", "capacitor", fitted.part.name, _values(fitted.part, (), fitted.count)


def _what(stage: Any) -> str:
    words = stage.kind.replace("_", " ")
    line = getattr(stage, "line", None)
    where = {"both": ", each line", "plus": ", plus line", "return": ", return line"}
    return f"{words}{where[line]}" if line else words


def _values(part: Any, extra: Iterable[str] = (), count: int = 1) -> str:
    """The part's own description, and how many of it."""
    many = [f"{count} in parallel"] if count > 1 else []
    described = [f"{label} {text}" for label, text in part.describe().items() if label not in ("name", "kind", "note")]
    return ", ".join([*many, *extra, *described])


def _draw(load: Any) -> str:
    stated = (("resistance", "ohm"), ("current", "A"), ("power", "W"))
    return next(
        format_quantity(getattr(load, name), unit) for name, unit in stated if getattr(load, name, None) is not None
    )


def points_table(result: Any) -> Table:
    """The operating points and whether they are stable."""
    rows = (
        (
            found.point,
            format_temperature(found.temperature),
            number(found.terminal_voltage, "V", 4),
            number(found.converter_current, "A"),
            "✓ stable" if found.stable else "✗ unstable",
            capital(stability_sentence(found.stability)),
        )
        for found in (point.operating for point in result.points)
    )
    head = ("Operating point", "Temperature", "Terminals", "Converter", "Stability", "Why")
    return Table("Operating points", head, tuple(rows))


def loads_table(result: Any) -> Table:
    """Direct voltage and current of every load at every operating point."""
    rows = tuple(
        (
            found.point,
            load.name,
            share(found.load_scale.get(load.name, 1.0)),
            number(found.load_voltages.get(load.name), "V", 4),
            number(found.drops.get(load.name), "V"),
            number(found.load_currents.get(load.name), "A"),
            number(found.load_powers.get(load.name), "W"),
        )
        for found in (point.operating for point in result.points)
        for load in result.design.loads
    )
    head = ("Operating point", "Load", "Share of full draw", "Voltage", "Drop", "Current", "Power")
    return Table("Loads at the operating points", head, rows)


def stress_table(result: Any) -> Table:
    """Every stress of every part against its rating, at the operating point where it has least margin; the least first."""
    found = [*worst(point.stress for point in result.points), *(("all", life) for life in result.lives)]
    found.sort(key=lambda pair: np.inf if np.isnan(pair[1].margin) else pair[1].margin)
    rows = tuple(
        (
            capital(check.part),
            capital(check.what),
            stress_verdict(check),
            stress_number(check.value, check.unit),
            stress_interval(check),
            "" if np.isnan(check.limit) else stress_limit(check),
            margin_text(check.margin),
            point,
            capital(basis_text(check.basis)),
        )
        for point, check in found
    )
    head = ("Part", "Stress", "Verdict", "Value", "Range (uncertain parameters)", "Limit", "Margin", "Worst at", "Note")
    return Table("Stress of the parts, with margins", head, rows)


def heat_table(result: Any) -> Table:
    """Heat of every part at the operating point where it is warmest."""
    hottest: dict[str, tuple[str, Any]] = {}
    for stressed in (point.stress for point in result.points):
        for heat in stressed.heats:
            if heat.name not in hottest or _warmth(heat) > _warmth(hottest[heat.name][1]):
                hottest[heat.name] = stressed.point, heat
    rows = tuple(
        (
            capital(heat.part) + (f", each of {heat.count}" if heat.count > 1 else ""),
            number(heat.direct, "W"),
            number(heat.ripple, "W"),
            "" if np.isnan(heat.core) else number(heat.core, "W"),
            stress_number(heat.rise, "K"),
            point,
        )
        for point, heat in hottest.values()
    )
    head = ("Part", "Of direct current", "Of ripple", "Core, by its Steinmetz data", "Temperature rise", "Warmest at")
    return Table("Heat in the parts", head, rows)


def _warmth(heat: Any) -> float:
    return float(heat.direct + heat.ripple)


def ripple_table(point: Any) -> Table:
    """Peak to peak and rms at every place in every band; before the filter and after."""
    ripple = point.ripple
    labels = list(dict.fromkeys(label for _, label in ripple.figures))
    head = ["Place"]
    for label in labels:
        words = capital(bandwidth_words(label))
        head += [f"{words}, peak to peak", "Range (uncertain parameters)", f"{words}, rms"]
    rows = []
    for place in ripple.places:
        cells = [capital(place_words(place))]
        for label in labels:
            figure = ripple.figures[place, label]
            cells += [
                number(figure.peak_to_peak, "V"),
                interval_text(figure.low, figure.high, "V"),
                number(figure.rms, "V"),
            ]
        rows.append(tuple(cells))
    return Table(f"Ripple at {point.operating.point}", tuple(head), tuple(rows))


def sources_table(ripple: Any, load: str) -> Table:
    """What each source makes at a load, alone and as a share of the whole."""
    labels = [label for label in ("20MHz", "full") if (load, label) in ripple.figures]
    head = ["Source"]
    for label in labels:
        head += [f"Alone, {bandwidth_words(label)}", "The whole falls without it by"]
    rows = []
    for source in ripple.figures[load, labels[0]].by_source if labels else ():
        figures = [ripple.figures[load, label] for label in labels]
        cells = [(number(f.by_source[source], "V"), number(f.reduction.get(source), "V")) for f in figures]
        rows.append((capital(source_words(source)), *(cell for pair in cells for cell in pair)))
    return Table(f"Sources of the ripple at {load} (they do not add)", tuple(head), tuple(rows))


def unknowns_table(ripple: Any, load: str) -> Table:
    """What makes the interval at the first load, the greatest first, and what would settle it."""
    rows = tuple(
        (
            capital(unknown.label),
            interval_text(unknown.low, unknown.high, unknown.unit) if np.isfinite(unknown.low) else "either shape",
            interval_text(unknown.pp_at_low, unknown.pp_at_high, "V"),
            share(unknown.share),
            capital(measurement_words(unknown.measurement)),
        )
        for unknown in ripple.uncertain_parameters[:UNKNOWNS]
    )
    head = (
        "Uncertain parameter",
        "Its range",
        "Alone it moves the ripple",
        "Share of the interval",
        "What would decide it: measure",
    )
    return Table(f"What makes the interval at {load}, 20 MHz", head, rows)


def harmonics_table(ripple: Any, loads: Sequence[str]) -> Table:
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


def impedance_table(point: Any, switching: float) -> Table:
    """Impedances at the switching frequency and where they are largest or smallest."""
    rows = []
    for load, found in point.impedance.items():
        back, into, own = (np.abs(v) for v in (found.seen_by_load, found.seen_by_converter, found.load_input))
        (peak_at, peak), smallest = largest_below(found.frequencies, back, switching), int(np.argmin(into))
        rows.append((
            load,
            f"{number(peak, 'ohm')} at {number(peak_at, 'Hz')}",
            *(ohms(at_frequency(found.frequencies, size, switching)) for size in (back, into, own)),
            f"{number(float(into[smallest]), 'ohm')} at {number(float(found.frequencies[smallest]), 'Hz')}",
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


def insertion_table(insertion: Any, load: str, switching: float) -> Table:
    """Insertion loss in each test system, and what the filter does between its own converter and load."""
    rows = []
    for mode in ("symmetrical", "asymmetrical"):
        curves = {f"{name.replace('/', ' Ω and ')} Ω": curve for name, curve in getattr(insertion, mode).items()}
        real = getattr(insertion, f"real_{mode}").get(load)
        curves |= {} if real is None else {f"this converter and {load}": real}
        for name, curve in curves.items():
            levels = (at_frequency(insertion.frequencies, curve, spot) for spot in spots(switching).values())
            rows.append((f"{capital(mode)}, between {name}", *map(loss, levels)))
    head = ("Test, or real circuit", *(f"At {format_quantity(spot, 'Hz')}" for spot in spots(switching).values()))
    return Table(f"Insertion loss as in CISPR 17, and the real effect at {load}", head, tuple(rows))


def steps_table(result: Any) -> Table:
    """Steps at every load and operating point."""
    rows = tuple(
        (
            point.operating.point,
            load,
            share(found.overshoot),
            number(found.step_current, "A"),
            number(found.load_dip, "V"),
            number(found.settling_time, "s") if found.reason is None else f"not known: {reason_text(found.reason)}",
        )
        for point in result.points
        for load, found in point.steps.items()
    )
    head = (
        "Operating point",
        "Load",
        "Overshoot of a voltage step",
        "Step of the load's current",
        "Dip",
        "Settled after",
    )
    return Table("Steps", head, rows)


def assumptions_table(result: Any) -> Table:
    """What the design left to defaults."""
    rows = tuple(
        (
            capital(one.label),
            one.value,
            f"{one.low} to {one.high}" if one.low != one.high else "",
            capital(one.why),
            one.key,
        )
        for one in assumptions(result)
    )
    return Table("Assumptions", ("What", "Taken as", "Plausible range", "Why", "Key in the design file"), rows)
