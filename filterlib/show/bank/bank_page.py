"""The bank that bursts ask for, as a page, as numbers for other programs and as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from filterlib.analysis.hold_up.burst_bank import Bank, BankResult
from filterlib.analysis.hold_up.holding import Demand, held
from filterlib.show.figure import Axis, Curve, Figure, Level, Look, Mark, Plot
from filterlib.show.folder import write_files
from filterlib.show.numbers import Section, numbers, texts
from filterlib.show.page import Illustration, illustration, page_files
from filterlib.show.review_tables import Table, column, table
from filterlib.show.style import BLUE, DASHES, GREY, ORANGE
from filterlib.system.design import Design
from filterlib.words.bank_sentences import bank_cautions, bank_sentences

__all__ = ["bank_text", "write_bank"]
PAGE, NUMBERS, FORMAT = "bank.html", "bank.json", 1
POINTS = 80  # of a curve


def bank_text(results: Sequence[BankResult]) -> str:
    """What the bursts ask for, for a terminal."""
    return "\n".join(sentence for result in results for sentence in bank_sentences(result))


def write_bank(design: Design, results: Sequence[BankResult], folder: str | Path) -> Path:
    """Write bank.html, bank.json and the figures into a folder as `write_files` does; returns the path of the page."""
    figures = tuple(_figure(design, result) for result in results if not result.carried)
    sentences = [sentence for result in results for sentence in bank_sentences(result)]
    files = page_files(
        PAGE, FORMAT, {"loads": [_numbers(result) for result in results]}, figures,
        title=design.name, summary=sentences[0],
        remarks=[*sentences[1:], *(caution for result in results for caution in bank_cautions(result))],
        figures=figures, tables=[one for result in results for one in _tables(result)],
    )  # fmt: skip
    write_files(folder, files, last=NUMBERS)
    return Path(folder) / PAGE


def _numbers(result: BankResult) -> Section:
    return {
        **texts(result, "load", "refused"),
        **numbers(result, "not computed"),
        "banks": [
            {**texts(one, "part", "kind", "count"), **numbers(one, "no service life, or too many bursts")}
            for one in result.banks
        ],
    }


def _tables(result: BankResult) -> Iterator[Table]:
    if result.banks:
        names = ("capacitance", "resistance", "holds", "recharge", "energy", "charge")
        yield table(
            f"Banks for {result.load}, as they are cold, old and at the low end of their tolerance",
            result.banks,
            ("Bank", lambda one: f"{one.count} x {one.part}"),
            *(column(Bank, name) for name in names),
        )
    if result.refused:
        yield Table(f"Not proposed for {result.load}", ("Why", "Parts"), tuple(_by_reason(result.refused)))


def _by_reason(refused: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each reason once, with the parts that it holds for."""
    pairs = [text.partition(": ")[::2] for text in refused]
    for why in dict.fromkeys(why for _, why in pairs):
        yield why, ", ".join(part for part, reason in pairs if reason == why)


def _figure(design: Design, result: BankResult) -> Illustration:
    load = next(one for one in design.loads if one.name == result.load)
    burst = Demand(load, 1.0, result.supply)
    marks: list[Mark] = [
        Level(result.lowest, words="lowest voltage"),
        Level(result.length, Look(GREY, DASHES[1], 1.2), "end of the burst", upright=True),
    ]
    shown = [(one.capacitance, one.resistance, f"{one.count} x {one.part}") for one in result.banks[:2]]
    for (farads, ohms, name), look in zip(
        shown or [(30e-3, 0.0, "30 mF")], (Look(BLUE), Look(ORANGE, DASHES[1])), strict=False
    ):
        start = burst.begins(result.voltage, ohms)
        volts = np.linspace(start, result.lowest, POINTS)[1:]
        times = [held(farads, ohms, result.voltage, float(v), burst) for v in volts]
        marks.append(Curve(np.array([0.0, 0.0, *times]), np.array([result.voltage, start, *volts]), look, name))
    last = max([result.length, *(float(mark.x[-1]) for mark in marks if isinstance(mark, Curve))])
    plot = Plot(
        Axis("time in the burst", "s", limits=(0.0, 1.2 * last)),
        Axis(f"voltage at {result.load}", "V"),
        tuple(marks),
        legend=True,
    )
    words = f"The voltage at {result.load} in a burst, from a full bank."
    return illustration(f"bank-{result.load.replace(' ', '-')}", Figure(words[:-1], ((plot,),)), words)
