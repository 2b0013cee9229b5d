"""One part as a page: its impedance under several conditions, its equivalent circuit, its curves, its values."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from filterlib.analysis.linear.part_curves import WORDS
from filterlib.parts.constant_phase import LADDER_BAND
from filterlib.show.numbers import json_text
from filterlib.show.page import Illustration, illustration, program_version, render
from filterlib.show.part_tables import EXACT, FORMAT, part_numbers, part_tables
from filterlib.show.style import (
    BLACK,
    BLUE,
    COLOURS,
    DASHES,
    VERMILION,
    legend_above,
    new_figure,
    prefixed,
    slug,
    styled,
)
from filterlib.show.text import tables_text
from filterlib.show.writing import RUN, write_files
from filterlib.words.quantities import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE, NUMBERS = "part.html", "part.json"
SMALLEST = 1e-4  # [%] of a difference that is drawn
COLUMNS = 2  # of the curves' figure
ZERO_CELSIUS = 273.15  # [K]
PLAIN = "no bias, no current, 20 °C"


def part_text(found: Any) -> str:
    """What a `PartResult` holds, for a terminal."""
    return "\n\n".join([tables_text(part_tables(found)), *_remarks(found)])


def _remarks(found: Any) -> list[str]:
    """What the result says of itself, and what a part says is to be known before it is trusted."""
    reserved = getattr(found.part, "caveat", "")
    said = (found.remark, f"{found.part.name or 'it'} {reserved}" if reserved else "")
    return [words for words in said if words]


def write_part(found: Any, folder: str | Path) -> Path:
    """Write part.html, part.json and the figures of a `PartResult` into a folder.

    Parameters: ``found``; ``folder``: made where there is none; files in it that this command did not write stay.
    Returns: the path of the page. Raises: OutputError with path and reason; the folder is then as it was.
    """
    write_files(folder, part_files(found), last=NUMBERS)
    return Path(folder) / PAGE


def part_files(found: Any) -> dict[str, str]:
    """Every file: name -> text, in which `writing.RUN` stands for the run's identifier."""
    figures = tuple(_figures(found))
    files = {figure.file: figure.text for figure in figures}
    part = found.part
    page = render(
        "part.html.j2",
        title=part.name or part.kind,
        kind=part.kind.replace("_", " "),
        note=part.note,
        invented=part.invented,
        described={k: text for k, text in part.describe().items() if k not in ("kind", "note")},
        remarks=_remarks(found),
        figures=figures,
        tables=part_tables(found),
        files=[NUMBERS, *files],
    )
    head = {"format": FORMAT, "run": RUN, "generator": f"filterlib {program_version()}"}
    numbers = head | {"files": sorted([PAGE, NUMBERS, *files])} | part_numbers(found)
    return files | {PAGE: page, NUMBERS: json_text(numbers)}


def _figures(found: Any) -> Iterator[Illustration]:
    if hasattr(found.part, "measurement"):
        note = "Dots: the curve that was measured or read off. Below: how far the network is from each of them."
        yield illustration("part-measured", measured_figure(found), f"{found.part.measurement}.".capitalize(), note)
    for mode in found.modes:
        plain = next(one for one in found.impedances if one.mode == mode)
        least = int(np.argmin(np.abs(plain.exact)))
        words = f"Least {number(float(np.abs(plain.exact[least])), 'ohm')} at {number(found.frequencies[least], 'Hz')}."
        for condition in _conditions(found, mode):
            name = f"part-impedance{_ending(mode)}{_ending(condition)}"
            yield illustration(name, impedance_figure(found, mode, condition), words)
        largest = found.difference(plain)
        if largest is not None and largest > EXACT:
            low, high = (number(end, "Hz") for end in LADDER_BAND)
            note = f"Shaded: {low} to {high}, where the equivalent circuit is exact enough."
            words = f"They differ by {number(100 * largest, '', 2)} % at most in that band."
            yield illustration(f"part-faces{_ending(mode)}", faces_figure(found, mode), words, note)
    if found.curves:
        words = "; ".join(f"{curve.label} over {curve.against}" for curve in found.curves)
        note = "Dots: points that the table states." if any(curve.stated for curve in found.curves) else ""
        yield illustration("part-curves", curves_figure(found), f"{words}.", note)


def _conditions(found: Any, mode: str) -> list[str]:
    """Those that move the impedance of a mode; "" alone where none does."""
    return list(dict.fromkeys(one.condition for one in found.impedances if one.mode == mode and one.condition)) or [""]


def _ending(mode: str) -> str:
    return f"-{slug(mode)}" if mode else ""


def _titled(start: str, mode: str) -> str:
    return f"{start}, {mode}" if mode else start


@styled
def impedance_figure(found: Any, mode: str, condition: str) -> Figure:
    """Magnitude and phase over frequency: at nothing, and at several values of one condition."""
    words = f"Impedance over {WORDS[condition]}" if condition else "Impedance"
    figure, (size, phase) = new_figure(_titled(words, mode), 2, height=5.2, share="x")
    shown = [one for one in found.impedances if one.mode == mode and one.condition in ("", condition)]
    for index, one in enumerate(shown):
        look: dict[str, Any] = {"color": (BLACK, *COLOURS)[index], "linestyle": DASHES[index]}
        size.loglog(found.frequencies, np.abs(one.exact), label=one.words or PLAIN, **look)
        phase.semilogx(found.frequencies, np.degrees(np.angle(one.exact)), **look)
    prefixed(phase, "x", "Hz", "frequency")
    prefixed(size, "y", "Ω", "magnitude")
    phase.set_ylabel("phase [°]")
    phase.set_yticks(range(-90, 91, 45))
    legend_above(size)
    return figure


@styled
def measured_figure(found: Any) -> Figure:
    """The measured curve, the network that stands for it, and the error between them."""
    fitted = found.part.measurement
    curve, (low, high) = fitted.curve, fitted.band
    figure, (size, error) = new_figure("Measured, and the network", 2, height=5.2, share="x", gap=0.25)
    near = np.geomspace(low / 3, high * 3, 400)
    size.loglog(curve.frequencies, curve.magnitude, ".", color=BLACK, label="measured")
    size.loglog(
        near, np.abs(fitted.one_port.impedance(near)), color=VERMILION, label="network, continued outside the band"
    )
    error.semilogx(curve.frequencies, fitted.errors, ".-", color=BLUE, linewidth=0.8)
    for axes in (size, error):
        axes.axvspan(low, high, color="#000000", alpha=0.06, linewidth=0)
    prefixed(error, "x", "Hz", "frequency")
    prefixed(size, "y", "Ω", "magnitude")
    error.set_ylim(0, None)
    error.set_ylabel("error [dB]")
    legend_above(size)
    return figure


@styled
def faces_figure(found: Any, mode: str) -> Figure:
    """The exact impedance and its ladder, and the difference between them, without any condition."""
    plain = next(one for one in found.impedances if one.mode == mode)
    figure, (size, error) = new_figure(
        _titled("Impedance and equivalent circuit", mode), 2, height=5.2, share="x", gap=0.25
    )
    size.loglog(found.frequencies, np.abs(plain.exact), color=BLACK, label="impedance")
    size.loglog(found.frequencies, np.abs(plain.ladder), color=VERMILION, linestyle=DASHES[1], label="ladder")
    error.loglog(found.frequencies, 100 * np.abs(plain.ladder / plain.exact - 1), color=BLUE)
    for axes in (size, error):
        axes.axvspan(*LADDER_BAND, color="#000000", alpha=0.06, linewidth=0)
    prefixed(error, "x", "Hz", "frequency")
    prefixed(size, "y", "Ω", "magnitude")
    error.yaxis.set_major_formatter("{x:g} %")
    error.set_ylim(SMALLEST, None)
    error.set_ylabel("difference")
    legend_above(size)
    return figure


@styled
def curves_figure(found: Any) -> Figure:
    """Every curve of the part, each in a panel of its own."""
    rows = -(-len(found.curves) // COLUMNS)
    figure, panels = new_figure("Curves", rows, COLUMNS, height=0.9 + 2.3 * rows, gap=0.75)
    for axes, curve in zip(panels, found.curves, strict=False):
        _draw_curve(axes, curve)
    for axes in panels[len(found.curves) :]:
        axes.set_axis_off()
    return figure


def _draw_curve(axes: Axes, curve: Any) -> None:
    celsius = curve.x_unit == "K"
    shift, unit = (ZERO_CELSIUS, "°C") if celsius else (0.0, curve.x_unit)
    hours = curve.unit == "s"
    axes.plot(curve.x - shift, curve.y / (3600 if hours else 1), color=BLUE)
    if curve.stated:
        x, y = np.array(curve.stated).T
        axes.plot(x - shift, y, "o", color=BLACK, markersize=4, linestyle="none")
    if curve.x_unit == "Hz":
        axes.set_xscale("log")
    axes.set_title(f"{curve.label} over {curve.against}")
    prefixed(axes, "x", unit, "")
    prefixed(axes, "y", curve.unit.replace("ohm", "Ω"), "")
    if hours:
        axes.set_yscale("log")
        axes.yaxis.set_major_formatter("{x:,.0f} h")
