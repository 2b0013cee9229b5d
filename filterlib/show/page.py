"""A page from its template, and its figures."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from filterlib.show.figures.drawing import svg
from filterlib.show.figures.figure import Figure
from filterlib.show.figures.schematic import schematic_svg
from filterlib.show.folder import RUN
from filterlib.show.numbers import Section, json_text
from filterlib.system.design import Design
from filterlib.words.quantities import unbroken

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


_NUMBER = re.compile(r"(below )?[+\N{MINUS SIGN}]?\d[\d.]*( [^\W\d]{1,4}| [%°Ω]\w?)?")
_NO_NUMBER = ("", "none", "not known", "infinite", "nothing passes", "not computed", "\N{EN DASH}")


@dataclass(frozen=True)
class Illustration:
    """One figure: its file ``name``, the ``title`` above it, ``words`` that stand for it, a ``note``, and the SVG."""

    name: str
    title: str
    words: str
    note: str
    svg: str

    @property
    def file(self) -> str:
        """Name of the figure's own file."""
        return f"{self.name}.svg"

    @property
    def text(self) -> str:
        """Contents of the figure's own file."""
        return f"<!-- {RUN} -->\n{self.svg}\n"

    @property
    def inline(self) -> str:
        """The SVG element as the page has it, as wide as its box lets it be. Raises ValueError where it has no size."""
        size = re.search(r' width="([\d.]+)" height="[\d.]+"', self.svg)
        if size is None:
            raise ValueError(f"{self.name}: an SVG element without width and height")
        most = f"max-width: {max(float(size[1]) * 1.15, 300):.0f}px"
        sized = self.svg[: size.start()] + self.svg[size.end() :]
        return themed(sized.replace("<svg", f'<svg aria-hidden="true" style="{most}"', 1))


def themed(drawing: str) -> str:
    """An SVG element whose colours a page's style may change, for a dark ground.

    >>> themed('<path stroke="#0072B2"/>')
    '<path stroke="var(--fig-0072b2, #0072B2)"/>'
    """
    return re.sub(r'(fill|stroke)="(#(\w+))"', lambda m: f'{m[1]}="var(--fig-{m[3].lower()}, {m[2]})"', drawing)


def illustration(name: str, figure: Figure, words: str, note: str = "") -> Illustration:
    """A drawn figure; its title stands before the ``words``."""
    return Illustration(name, figure.title, f"{figure.title}. {words}", note, svg(figure))


def linked(text: str, parts: Iterable[str]) -> Markup:
    """A text in which every name of a part leads to the circuit diagram, and marks the part there; markup in it is text.

    >>> print(linked("L1 of <b>", ["L1"]))
    <a href="#circuit" data-part="L1">L1</a> of &lt;b&gt;
    """
    from markupsafe import Markup, escape

    names = "|".join(re.escape(name) for name in sorted(parts, key=len, reverse=True))
    pieces = re.split(rf"(?<![\w-])({names})(?![\w-])", text) if names else [text]
    link = Markup('<a href="#circuit" data-part="{0}">{0}</a>')
    return Markup("").join(link.format(one) if at % 2 else escape(one) for at, one in enumerate(pieces))


def numeric_columns(rows: Sequence[Sequence[str]]) -> dict[int, tuple[int, int]]:
    """Which columns behind the first hold nothing but single numbers with their units, and so are set to the right, and for how many
    letters of a fraction and of a unit each needs room.

    >>> numeric_columns([("C1", "12.5 mV", "at 3 kHz", "none"), ("C2", "\N{MINUS SIGN}4 %", "none", "none")])
    {1: (2, 3)}
    """
    return {
        place: (max(len(_split(one)[1]) for one in cells), max(len(_split(one)[2]) for one in cells))
        for place, cells in enumerate(zip_longest(*rows, fillvalue=""))
        if place
        and any(map(_NUMBER.fullmatch, cells))
        and all(_NUMBER.fullmatch(one) or one in _NO_NUMBER for one in cells)
    }


def _split(text: str) -> tuple[str, str, str]:
    """A number before its point, its fraction with the point, and its unit with the space; what is none, as it is."""
    found = _NUMBER.fullmatch(text)
    if not found:
        return text, "", ""
    value = text.removesuffix(found[2] or "")
    whole, point, fraction = value.partition(".")
    return whole, point + fraction, found[2] or ""


def at_point(text: str, room: tuple[int, int]) -> Markup:
    """A number of a column with its point where those of the others are: ``room`` for letters of a fraction and of a unit.

    >>> print(at_point("4 V", (2, 3)))
    <span class="point">4<i style="width:2ch"></i><i style="width:3.3ch">\xa0V</i></span>
    """
    from markupsafe import Markup

    if not _NUMBER.fullmatch(text):
        return Markup("{}").format(text)
    whole, *rest = (piece.replace(" ", "\N{NO-BREAK SPACE}") for piece in _split(text))
    boxes = (
        Markup('<i style="width:{:g}ch">{}</i>').format(letters * wide, piece)
        for letters, wide, piece in zip(room, (1.0, 1.1), rest, strict=True)
        if letters
    )
    return Markup('<span class="point">{}{}</span>').format(whole, Markup("").join(boxes))


def circuit_diagram(name: str, title: str, design: Design) -> Illustration:
    """The circuit of a design, its chain in words."""
    chain = ", then ".join([design.converter.name, *(stage.name for stage in design.filter)])
    words = f"Circuit diagram: {chain}, then {' and '.join(load.name for load in design.loads)}."
    return Illustration(name, title, words, "≈: known within a range only. Thick lines: wires.", schematic_svg(design))


def program_version() -> str:
    """Of the installed distribution."""
    try:
        return version("filterlib-notebooks")
    except PackageNotFoundError:  # run from a folder that was not installed
        return "unknown"


def render(template: str, **values: object) -> str:
    """The page of a template beside this module, its values escaped; ``files`` are linked at its foot."""
    head = {"run": RUN, "version": program_version(), "script": _script(), "script_hash": _hash(_script())}
    return str(_environment().get_template(template).render(**head, **values))


@cache
def _script() -> str:
    """The one script of every page, which makes its figures answer."""
    return (Path(__file__).parent / "review_page" / "page.js").read_text(encoding="utf-8")


def _hash(script: str) -> str:
    """By which a page allows this script, and no other."""
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def with_head(numbers: Section, form: int, files: Iterable[str]) -> str:
    """The text of a file for other programs: its format, the run, who wrote it, all files of the run, then its numbers."""
    head = {"format": form, "run": RUN, "generator": f"filterlib {program_version()}", "files": sorted(files)}
    return json_text(head | numbers)


def page_files(
    name: str, form: int, numbers: Section, drawn: Iterable[Illustration], **values: object
) -> dict[str, str]:
    """A page ``name`` of its template, its ``numbers`` as JSON in format ``form``, and its figures: name -> text."""
    files = {figure.file: figure.text for figure in drawn}
    data = f"{Path(name).stem}.json"
    page = render(f"{name}.j2", files=[data, *files], **values)
    return files | {name: page, data: with_head(numbers, form, [name, data, *files])}


def fragment(macro: str, data: object) -> str:
    """What one of the pages' macros ("table", "figure") makes of its data, to stand elsewhere."""
    return str(getattr(_environment().get_template("macros.html.j2").module, macro)(data))


def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["unbroken"] = unbroken
    environment.filters["numeric_columns"] = numeric_columns
    environment.filters["at_point"] = at_point
    environment.filters["themed"] = themed
    environment.filters["linked"] = linked
    return environment
