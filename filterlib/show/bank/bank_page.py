"""The bank that bursts ask for, as a page and as text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from filterlib.analysis.hold_up.bank_result import Bank, BankResult, Bursts, Dip, Fittings, Start
from filterlib.analysis.hold_up.fittings import Bleeder, Fuse, Limiter
from filterlib.analysis.hold_up.holding import Demand, held
from filterlib.analysis.hold_up.isolation import Isolation
from filterlib.analysis.hold_up.way import USUAL
from filterlib.show.bank.bank_numbers import bursts_section
from filterlib.show.figures.figure import Axis, Curve, Figure, Level, Look, Mark, Plot
from filterlib.show.folder import write_files
from filterlib.show.page import Illustration, illustration, page_files
from filterlib.show.rule_checks import CHECK_COLUMNS
from filterlib.show.style import BLACK, BLUE, DASHES, GREY, ORANGE, SKY, VERMILION, slug
from filterlib.show.table import Column, Table, column, table
from filterlib.system.design import Design
from filterlib.units import format_hours
from filterlib.words.supply.bank_sentences import bank_cautions, bank_line, bank_sentences
from filterlib.words.supply.start_sentences import PLACES, start_sentences

__all__ = ["BurstChapter", "bank_text", "burst_chapter", "write_bank"]
PAGE, NUMBERS, FORMAT = "bank.html", "bank.json", 2
POINTS = 80  # of a curve
T = TypeVar("T")


def bank_text(found: Bursts) -> str:
    """What the bursts ask for, for a terminal."""
    said = [sentence for result in found.banks for sentence in bank_sentences(result)]
    return "\n".join([*said, *(next(start_sentences(start)) for start in found.starts)])


def write_bank(design: Design, found: Bursts, folder: str | Path) -> Path:
    """Write bank.html, bank.json and the figures into a folder as `write_files` does; returns the path of the page."""
    chapter = burst_chapter(design, found)
    files = page_files(
        PAGE, FORMAT, bursts_section(found), chapter.figures, title=design.name, summary=chapter.sentences[0],
        remarks=[*chapter.sentences[1:], *chapter.cautions], figures=chapter.figures, tables=chapter.tables,
    )  # fmt: skip
    write_files(folder, files, last=NUMBERS)
    return Path(folder) / PAGE


@dataclass(frozen=True)
class BurstChapter:
    """What a page says of bursts: ``title``, ``sentences``, ``cautions``, ``figures`` and ``tables``."""

    title: str
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]
    figures: tuple[Illustration, ...]
    tables: tuple[Table, ...]


def burst_chapter(design: Design, found: Bursts) -> BurstChapter:
    """The chapter of all loads with bursts; where nothing can be said of them, why."""
    if found.reason:
        return BurstChapter("not judged", (f"Nothing can be said of the bursts. {found.reason}.",), (), (), ())
    sentences = [sentence for result in found.banks for sentence in bank_sentences(result)]
    sentences += [sentence for start in found.starts for sentence in start_sentences(start)]
    figures = [bank_figure(design, result) for result in found.banks if not result.carried]
    return BurstChapter(
        "; ".join(bank_line(result) for result in found.banks),
        tuple(sentences),
        tuple(dict.fromkeys(caution for result in found.banks for caution in bank_cautions(result))),
        (*figures, *(start_figure(start) for start in found.starts)),
        (
            table("Whether the design as it is carries its bursts", found.checks, *CHECK_COLUMNS),
            *(one for result in found.banks for one in bank_tables(result)),
            *(start_table(one) for one in found.starts),
        ),
    )


def start_table(start: Start) -> Table:
    """The dip at the load for each place of the bank."""
    return _columns(
        f"The first milliseconds of a burst of {start.load}, by the place of the bank", Dip, start.dips,
        ("Bank", lambda one: PLACES[one.place]), "lowest", "at", "settled", "taken_over", "bank",
    )  # fmt: skip


def start_figure(start: Start) -> Illustration:
    """The voltage at a load over the first milliseconds."""
    looks = (Look(VERMILION), Look(ORANGE, DASHES[1]), Look(SKY, DASHES[2]), Look(BLUE))
    marks: list[Mark] = [Level(start.allowed, words="lowest voltage")]
    marks += [
        Curve(one.times * 1e3, one.volts, look, PLACES[one.place]) for one, look in zip(start.dips, looks, strict=False)
    ]
    plot = Plot(Axis("time in the burst", "ms"), Axis(f"voltage at {start.load}", "V"), tuple(marks), legend=True)
    words = f"The voltage at {start.load} in the first milliseconds of a burst."
    return illustration(f"start-{slug(start.load)}", Figure(words[:-1], ((plot,),)), words)


def bank_tables(result: BankResult) -> Iterator[Table]:
    """The banks, what each part is left with, and what goes with the first of them."""
    load = result.load
    if result.banks:
        yield _columns(
            f"Banks for {load}, as they are cold, old and at the low end of their tolerance", Bank, result.banks,
            ("Bank", lambda one: one.words), "holds", "recharge", "resistance", "rms", "energy", "charge",
        )  # fmt: skip
        yield _columns(
            f"Capacitance of the banks for {load}: as bought, cold, old, and all of it with tolerance", Bank, result.banks,
            ("Bank", lambda one: one.words), "nominal", "cold", "aged", "capacitance", "leakage", "balancing",
            more=(("Life when hot", lambda one: format_hours(one.life)),),
        )  # fmt: skip
    if result.isolations:
        yield _columns(
            f"What keeps the bank of {load} from feeding back", Isolation, result.isolations,
            ("Between converter and bank", lambda one: one.kind), "drop", "needed", "heat", "mean", "leakage", "kept",
        )  # fmt: skip
    if result.fittings is not None:
        yield from _fittings_tables(load, result.fittings)
    if result.refused:
        yield Table(f"Not proposed for {load}", ("Why", "Parts"), tuple(_by_reason(result.refused)))


def _fittings_tables(load: str, fittings: Fittings) -> Iterator[Table]:
    yield _columns(
        f"What charges the first bank for {load}", Limiter, fittings.limiters, ("Through", lambda one: one.kind),
        "resistance", "current", "start", "heat", "peak", "recharge",
        more=(("Full before the next burst", lambda one: "yes" if one.in_time else "no"),),
    )  # fmt: skip
    yield _columns(
        f"The fuse between bank and {load}", Fuse, (fittings.fuse,), ("Fuse", lambda one: "between bank and load"),
        "carried", "rating", "pulse", "first", "melting", "short",
    )  # fmt: skip
    yield _columns(
        f"Bleed resistors for the first bank of {load}", Bleeder, fittings.bleeders,
        ("Safe voltage", lambda one: f"{one.safe:.3g} V"), "seconds", "resistance", "heat", "energy",
    )  # fmt: skip


def _columns(
    title: str, kind: type[T], rows: Iterable[T], first: Column[T], *names: str, more: tuple[Column[T], ...] = ()
) -> Table:
    """A table with a column of words, one for each named number, and ``more`` of words."""
    return table(title, rows, first, *(column(kind, name) for name in names), *more)


def _by_reason(refused: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each reason once, with the parts that it holds for."""
    pairs = [text.partition(": ")[::2] for text in refused]
    for why in dict.fromkeys(why for _, why in pairs):
        yield why, ", ".join(part for part, reason in pairs if reason == why)


def bank_figure(design: Design, result: BankResult) -> Illustration:
    """The voltage at a load in a burst, from two banks and from the usual one."""
    load = next(one for one in design.loads if one.name == result.load)
    burst = Demand(load, 1.0, result.supply)
    marks: list[Mark] = [
        Level(result.lowest, words="lowest voltage"),
        Level(result.length, Look(GREY, DASHES[1], 1.2), "end of the burst", upright=True),
    ]
    shown = [(one.capacitance, one.resistance, one.words) for one in result.banks[:2]] + [(USUAL, 0.0, "30 mF")]
    looks = (Look(BLUE), Look(ORANGE, DASHES[1]), Look(GREY, DASHES[2]))[3 - len(shown) :]
    for (farads, ohms, name), look in zip(shown, looks, strict=True):
        start = burst.begins(result.voltage, ohms)
        volts = np.linspace(start, result.lowest, POINTS)[1:]
        times = [held(farads, ohms, result.voltage, float(v), burst) for v in volts]
        marks.append(Curve(np.array([0.0, 0.0, *times]), np.array([result.voltage, start, *volts]), look, name))
    if result.fittings is not None:
        found, dots = result.fittings.in_time, Look(BLACK, marker="o", size=3.5)
        marks.append(Curve(found.times[::4], found.volts[::4], dots, "the same in time", joined=False))
    last = 1.3 * max(result.length, *(one.holds for one in result.banks[:1]), 0.0)
    plot = Plot(
        Axis("time in the burst", "s", limits=(0.0, last)),
        Axis(f"voltage at {result.load}", "V"),
        tuple(marks),
        legend=True,
    )
    words = f"The voltage at {result.load} in a burst, from a full bank."
    return illustration(f"bank-{slug(result.load)}", Figure(words[:-1], ((plot,),)), words)
