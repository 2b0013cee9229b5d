"""The battery's side, the plug and the switch-on on a page: sentences, and tables of what each rule says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.supply.supply_result import Fix, LoadStart, PointDraw, Starting, SupplySide, SwitchOn
from filterlib.show.figures.figure import Axis, Curve, Figure, Level, Look, Plot
from filterlib.show.page import Illustration, illustration
from filterlib.show.rule_checks import CHECK_COLUMNS, verdict_words
from filterlib.show.style import BLUE, DASHES, GREY, VERMILION
from filterlib.show.table import Table, column, table
from filterlib.system.design import Design
from filterlib.words.quantities import capital, number
from filterlib.words.supply.supply_sentences import (
    battery_line,
    battery_sentences,
    fix_words,
    plug_line,
    plug_sentences,
    supply_cautions,
    value_words,
)
from filterlib.words.supply.switch_on_sentences import load_words, switch_on_line, switch_on_sentences

LITTLE = 0.02  # of the highest voltage: what counts as moving


@dataclass(frozen=True)
class SupplyChapter:
    """A folded section: its ``name`` in the page, ``title``, ``sentences``, ``tables`` and ``figures``."""

    name: str
    title: str
    sentences: tuple[str, ...]
    tables: tuple[Table, ...]
    figures: tuple[Illustration, ...] = ()


def supply_chapters(found: SupplySide | None, design: Design) -> tuple[SupplyChapter, ...]:
    """A section each; none where the design file says nothing of it."""
    if found is None:
        return ()
    return (*_fed(found, design), *_switched_on(found, design))


def _switched_on(found: SupplySide, design: Design) -> Iterator[SupplyChapter]:
    start = found.switch_on
    if start is None:
        if found.why_no_start:
            yield SupplyChapter("switch-on", "Switch-on: not judged", (f"{capital(found.why_no_start)}.",), ())
        return
    loads = table(
        "When each load runs, nominal", start.nominal.loads, ("Load", lambda one: one.load), ("Runs", load_words), column(LoadStart, "voltage"),
    )  # fmt: skip
    yield SupplyChapter(
        "switch-on", f"Switch-on: {switch_on_line(start)}", tuple(switch_on_sentences(start, design)),
        (loads, table("After switch-on", start.checks, *CHECK_COLUMNS)), (start_up_figure(start, design),),
    )  # fmt: skip


def start_up_figure(found: SwitchOn, design: Design) -> Illustration:
    """The output's voltage after switch-on."""
    looks, cases = (Look(BLUE), Look(VERMILION, DASHES[1]), Look(GREY, DASHES[2])), ("nominal", "hard", "usual")
    names = ("nominal", "least current, loads that draw early", "with 30 mF")
    shown = [getattr(found, name) for name in cases]
    last = 1.2 * max(_interesting(one) for one in shown)
    curves = [
        Curve(1e3 * np.append(one.times, last), np.append(one.volts, one.volts[-1]), look, name)
        for one, look, name in zip(shown, looks, names, strict=True)
    ]
    level = Level(design.converter.output_voltage, Look(GREY, DASHES[1], 1.2), words="nominal voltage")
    plot = Plot(
        Axis("time after switch-on", "ms", limits=(0.0, 1e3 * last)), Axis("output", "V"), (level, *curves), legend=True
    )
    words = f"The converter's output after switch-on: {switch_on_line(found)}."
    return illustration("switch-on", Figure(words[:-1], ((plot,),)), words)


def _interesting(one: Starting) -> float:
    """The time [s] until which something happens."""
    moving = np.flatnonzero(abs(one.volts - one.volts[-1]) > LITTLE * abs(one.volts).max())
    return float(one.times[min(moving[-1] + 1, len(one.times) - 1)]) if len(moving) else float(one.times[-1])


def _fed(found: SupplySide, design: Design) -> tuple[SupplyChapter, ...]:
    """The battery's side and the plug."""
    run, plug = found.run, found.plug
    if run is None or plug is None:
        return ()
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
            (draws, table("Wire, fuse and switch, each with the rule that binds", run.checks, *CHECK_COLUMNS)),
        ),
        SupplyChapter(
            "plug", f"At the plug: {plug_line(plug)}", (*plug_sentences(plug), *(f"⚠ {one}." for one in supply_cautions(found))),
            (table("At the plug, against ratings", plug.checks, *CHECK_COLUMNS), fixes_table(plug.fixes)),
        ),
    )  # fmt: skip


def fixes_table(fixes: tuple[Fix, ...]) -> Table:
    """The fixes, the best first."""
    return table(
        "What helps, the best first: the verdict decides, then the heat that it costs for ever, then the peak", fixes,
        ("Fix", lambda one: capital(fix_words(one))), ("Verdict", lambda one: verdict_words(one.deciding) if one.deciding else "–"),
        ("Peak voltage", lambda one: value_words(one.checks[0])), ("Peak current", lambda one: number(one.plug.peak_current, "A")),
        ("I²t", lambda one: number(one.plug.melting, "A2s")), ("Heat for ever", lambda one: number(one.loss, "W")),
    )  # fmt: skip
