"""The battery's side and the plug on a page: sentences, and tables of what each rule says."""

from __future__ import annotations

from dataclasses import dataclass

from filterlib.analysis.supply.at_the_plug import Fix
from filterlib.analysis.supply.battery_run import PointDraw
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.supply_side import SupplySide
from filterlib.show.review_tables import Table, column, table
from filterlib.system.design import Design
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import capital, number
from filterlib.words.supply_sentences import (
    battery_line,
    battery_sentences,
    fix_words,
    limit_words,
    plug_line,
    plug_sentences,
    supply_cautions,
    value_words,
)


@dataclass(frozen=True)
class SupplyChapter:
    """A folded section: its ``name`` in the page, ``title``, ``sentences``, and ``tables``."""

    name: str
    title: str
    sentences: tuple[str, ...]
    tables: tuple[Table, ...]


def supply_chapters(found: SupplySide | None, design: Design) -> tuple[SupplyChapter, ...]:
    """Both sections; none where the design file says nothing of what feeds the converter."""
    if found is None:
        return ()
    run, plug = found.run, found.plug
    draws = table(
        "What each operating point takes",
        run.draws,
        ("Operating point", lambda one: one.point),
        column(PointDraw, "power"),
        column(PointDraw, "current"),
        column(PointDraw, "most"),
    )
    return (
        SupplyChapter(
            "battery", f"Battery’s side: {battery_line(run)}", tuple(battery_sentences(run, design)),
            (draws, checks_table("Wire, fuse and switch, each with the rule that binds", run.checks)),
        ),
        SupplyChapter(
            "plug", f"At the plug: {plug_line(plug)}", (*plug_sentences(plug), *(f"⚠ {one}." for one in supply_cautions(run, plug))),
            (checks_table("At the plug, against ratings", plug.checks), fixes_table(plug.fixes)),
        ),
    )  # fmt: skip


def checks_table(caption: str, checks: tuple[Check, ...]) -> Table:
    """One rule a row."""
    return table(
        caption, checks,
        ("What", lambda one: f"{capital(one.part)}: {one.what}"), ("Figure", value_words), ("Limit", limit_words),
        ("Verdict", verdict_words), ("Rule", lambda one: one.rule), ("Source", lambda one: one.source),
    )  # fmt: skip


def verdict_words(one: Check) -> str:
    """The verdict with its symbol."""
    return "– no limit stated" if one.verdict == "no limit" else f"{SYMBOLS[one.verdict]} {one.verdict}"


def fixes_table(fixes: tuple[Fix, ...]) -> Table:
    """The fixes, the best first."""
    return table(
        "What helps, the best first: the verdict decides, then the heat that it costs for ever, then the peak", fixes,
        ("Fix", lambda one: capital(fix_words(one))), ("Verdict", lambda one: verdict_words(one.deciding) if one.deciding else "–"),
        ("Peak voltage", lambda one: value_words(one.checks[0])), ("Peak current", lambda one: number(one.plug.peak_current, "A")),
        ("I²t", lambda one: number(one.plug.melting, "A2s")), ("Heat for ever", lambda one: number(one.loss, "W")),
    )  # fmt: skip
