"""One part as a page: its impedance under several conditions, its two faces, its curves, its values."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from filterlib.analysis.linear.part_curves import WORDS, PartCurve, PartResult
from filterlib.parts.ageing import SEAL_LIFE
from filterlib.parts.constant_phase import LADDER_BAND
from filterlib.parts.curves.measured import MeasuredCapacitor, MeasuredChoke
from filterlib.parts.curves.one_port_fit import FittedCurve
from filterlib.show.figures.figure import Axis, Curve, Figure, Look, Mark, Plot, Span
from filterlib.show.figures.plots import FREQUENCY, MAGNITUDE
from filterlib.show.folder import write_files
from filterlib.show.page import Illustration, illustration, page_files
from filterlib.show.part_page.part_tables import EXACT, FORMAT, part_numbers, part_tables
from filterlib.show.style import BLACK, BLUE, COLOURS, DASHES, VERMILION, slug
from filterlib.show.text import tables_text
from filterlib.words.quantities import number
from filterlib.words.review.rating_sentences import SEAL_DECIDES

PAGE, NUMBERS = "part.html", "part.json"
PHASE = Axis("phase", "°", limits=(-95.0, 95.0))
SMALLEST = 1e-4  # [%] of a difference that is drawn
COLUMNS = 2  # of the curves' figure
ZERO_CELSIUS = 273.15  # [K]
PLAIN = "no bias, no current, 20 °C"


def part_text(result: PartResult) -> str:
    """What a `PartResult` holds, for a terminal."""
    return "\n\n".join([tables_text(part_tables(result)), *_remarks(result)])


def _remarks(result: PartResult) -> list[str]:
    """What the result says of itself, and what a part says is to be known before it is trusted."""
    reserved = getattr(result.part, "caveat", "")
    caveats = (result.remark, f"{result.part.name or 'it'} {reserved}" if reserved else "")
    return [words for words in caveats if words]


def write_part(result: PartResult, folder: str | Path) -> Path:
    """Write part.html, part.json and the figures of a `PartResult` into a folder as `write_files` does; returns the page."""
    write_files(folder, part_files(result), last=NUMBERS)
    return Path(folder) / PAGE


def part_files(result: PartResult) -> dict[str, str]:
    """Every file: name -> text, in which `folder.RUN` stands for the run's identifier."""
    figures, part = tuple(_figures(result)), result.part
    return page_files(
        PAGE, FORMAT, part_numbers(result), figures,
        title=part.name or part.kind,
        kind=part.kind.replace("_", " "),
        note=part.note,
        invented=part.invented,
        described={k: text for k, text in part.describe().items() if k not in ("kind", "note")},
        remarks=_remarks(result),
        figures=figures,
        tables=part_tables(result),
    )  # fmt: skip


def _figures(result: PartResult) -> Iterator[Illustration]:
    if isinstance(result.part, MeasuredCapacitor | MeasuredChoke):
        note = "Dots: the curve that was measured or read off. Below: how far the network is from each of them."
        yield illustration(
            "part-measured", measured_figure(result.part.measurement), f"{result.part.measurement}.".capitalize(), note
        )
    for mode in result.modes:
        plain = next(one for one in result.impedances if one.mode == mode)
        least = int(np.argmin(np.abs(plain.exact)))
        words = (
            f"Least {number(float(np.abs(plain.exact[least])), 'ohm')} at {number(result.frequencies[least], 'Hz')}."
        )
        for condition in _conditions(result, mode):
            name = f"part-impedance{_ending(mode)}{_ending(condition)}"
            yield illustration(name, impedance_figure(result, mode, condition), words)
        largest = result.difference(plain)
        if largest is not None and largest > EXACT:
            low, high = (number(end, "Hz") for end in LADDER_BAND)
            note = f"Shaded: {low} to {high}, where the equivalent circuit is exact enough."
            words = f"They differ by {number(100 * largest, '', 2)} % at most in that band."
            yield illustration(f"part-faces{_ending(mode)}", faces_figure(result, mode), words, note)
    if result.curves:
        words = "; ".join(f"{curve.label} over {curve.against}" for curve in result.curves)
        note = "Dots: points that the table states." if any(curve.stated for curve in result.curves) else ""
        yield illustration("part-curves", curves_figure(result), f"{words}.", note)


def _conditions(result: PartResult, mode: str) -> list[str]:
    """Those that move the impedance of a mode; "" alone where none does."""
    return list(dict.fromkeys(one.condition for one in result.impedances if one.mode == mode and one.condition)) or [""]


def _ending(mode: str) -> str:
    return f"-{slug(mode)}" if mode else ""


def _titled(start: str, mode: str) -> str:
    return f"{start}, {mode}" if mode else start


def impedance_figure(result: PartResult, mode: str, condition: str) -> Figure:
    """Magnitude and phase over frequency: at nothing, and at several values of one condition."""
    shown = [one for one in result.impedances if one.mode == mode and one.condition in ("", condition)]
    looks = [Look(colour, dash) for colour, dash in zip((BLACK, *COLOURS), DASHES, strict=False)]
    sizes = tuple(
        Curve(result.frequencies, np.abs(one.exact), look, one.words or PLAIN)
        for one, look in zip(shown, looks, strict=False)
    )
    phases = tuple(
        Curve(result.frequencies, np.degrees(np.angle(one.exact)), look)
        for one, look in zip(shown, looks, strict=False)
    )
    words = f"Impedance over {WORDS[condition]}" if condition else "Impedance"
    rows = ((Plot(FREQUENCY, MAGNITUDE, sizes, legend=True),), (Plot(FREQUENCY, PHASE, phases),))
    return Figure(_titled(words, mode), rows, share="x")


def measured_figure(fitted: FittedCurve) -> Figure:
    """The measured curve, the network that stands for it, and the error between them."""
    curve, (low, high) = fitted.curve, fitted.band
    near = np.geomspace(low / 3, high * 3, 400)
    network = np.abs(fitted.one_port.impedance(near))
    band = Span(low, high, upright=True)
    sizes = (
        band,
        Curve(curve.frequencies, curve.magnitude, Look(marker="o", size=4.0), "measured", joined=False),
        Curve(near, network, Look(VERMILION), "network, continued outside the band"),
    )
    errors = (band, Curve(curve.frequencies, fitted.errors, Look(BLUE, width=1.1, marker="o", size=4.0)))
    error = Plot(FREQUENCY, Axis("error", "dB", limits=(0.0, None)), errors)
    return Figure("Measured, and the network", ((Plot(FREQUENCY, MAGNITUDE, sizes, legend=True),), (error,)), share="x")


def faces_figure(result: PartResult, mode: str) -> Figure:
    """The exact impedance and its ladder, and the difference between them, without any condition."""
    plain = next(one for one in result.impedances if one.mode == mode)
    assert plain.ladder is not None  # as its caller has checked
    band = Span(*LADDER_BAND, upright=True)
    sizes = (
        band,
        Curve(result.frequencies, np.abs(plain.exact), Look(), "impedance"),
        Curve(result.frequencies, np.abs(plain.ladder), Look(VERMILION, DASHES[1]), "ladder"),
    )
    apart = (band, Curve(result.frequencies, 100 * np.abs(plain.ladder / plain.exact - 1), Look(BLUE)))
    difference = Plot(FREQUENCY, Axis("difference", "%", log=True, limits=(SMALLEST, None)), apart)
    rows = ((Plot(FREQUENCY, MAGNITUDE, sizes, legend=True),), (difference,))
    return Figure(_titled("Impedance and equivalent circuit", mode), rows, share="x")


def curves_figure(result: PartResult) -> Figure:
    """Every curve of the part, each in a plot of its own."""
    plots = [_curve_plot(curve) for curve in result.curves]
    rows = tuple(tuple(plots[at : at + COLUMNS]) for at in range(0, len(plots), COLUMNS))
    return Figure("Curves", rows)


def _curve_plot(curve: PartCurve) -> Plot:
    shift, unit = (ZERO_CELSIUS, "°C") if curve.x_unit == "K" else (0.0, curve.x_unit)
    hours = curve.unit == "s"
    marks: list[Mark] = [Curve(curve.x - shift, curve.y / (3600 if hours else 1), Look(BLUE))]
    if curve.stated:
        x, y = np.array(curve.stated).T
        marks.append(Curve(x - shift, y, Look(marker="o", size=5.5), joined=False))
    x_axis = Axis("", unit, log=unit == "Hz")
    y_axis = Axis("", "h", log=True) if hours else Axis("", curve.unit)
    seal = f": {SEAL_DECIDES}" if hours and np.max(curve.y) > SEAL_LIFE else ""
    return Plot(x_axis, y_axis, tuple(marks), f"{curve.label} over {curve.against}{seal}", 150.0)
