"""The keys of a design file as a page: the same tables as HTML, and as Markdown for the folder docs."""

from __future__ import annotations

import re
from dataclasses import replace

from markupsafe import Markup, escape

from filterlib.show.folder import RUN
from filterlib.show.keys.key_rows import NEEDED, rows
from filterlib.show.keys.key_sections import key_sections
from filterlib.show.page import render

PAGE = "design-keys.html"
HEADS = ("key", "what it is", "unit or kind", "default", "range or choice", "example")
INTRO = (
    f'"{NEEDED}": the file is refused without it. A dash: there is none, or nothing to say. A default with a range in brackets is taken at '
    "its value, and searched over its range for the interval. A quantity is text with its unit, or a bare number in SI units; where "
    'the default is a range, the value may have one too: "22 µF ± 20 %".'
)


def key_markdown() -> str:
    """Every section with its table, as Markdown."""
    lines = ["# The keys of a design file", "", INTRO, "", "(Made from the models by docs/make_keys.py.)"]
    for section in key_sections():
        lines += ["", f"## {section.title}", *(["", section.about] if section.about else []), ""]
        lines += [f"| {' | '.join(HEADS)} |", f"|{'---|' * len(HEADS)}"]
        for row in rows(section.model):
            shown = "-" if row.example == "-" else f"`{row.example}`"
            lines.append(f"| `{row.key}` | {row.words} | {row.unit} | {row.default} | {row.limits} | {shown} |")
        lines += ["", section.more] if section.more else []
    return "\n".join(lines) + "\n"


def key_html() -> str:
    """The page: no script, no network."""
    sections = [
        {
            "title": _code(one.title),
            "about": _code(one.about),
            "more": _code(one.more),
            "rows": [replace(row, words=_code(row.words)) for row in rows(one.model)],
        }
        for one in key_sections()
    ]
    page = render("keys.html.j2", files=(), intro=INTRO, heads=HEADS, sections=sections)
    return page.replace(RUN, "made from the models")


def _code(text: str) -> Markup:
    """Text whose keys stand between backticks, as HTML; links of the Markdown become their words."""
    plain = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text)
    return Markup(re.sub(r"`([^`]+)`", r"<code>\1</code>", str(escape(plain))))
