"""Panel of the notebook on two converters: which change brings the brick's board within its limits, and at what price."""

from __future__ import annotations

from typing import Literal

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, candidates, to_chassis
from filterlib.analysis.causes.one_change import (
    NARROW,
    WIDE,
    ChangeResult,
    Figures,
    OneChange,
    Place,
    one_change,
    over_the_uncertainty,
)
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import standard_tables
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import ONE_PART
from filterlib.show.explore.tide_gauge import EDGES, LOAD, demo, demo_text
from filterlib.show.style import AFTER, BEFORE
from filterlib.system.design import Design
from filterlib.system.ranges.changes import changed, value
from filterlib.units import decibels
from filterlib.words.quantities import number
from filterlib.words.review.reason_sentences import refusal_text

NOTHING = "nothing: as it is"
_CIRCUIT = (
    ui.Drawn("source", "brick", ("converter.common_mode.coupling", "converter.bond.inductance")),
    ui.Drawn("capacitor", "C1", value="2.2 µF"),
    ui.Drawn("common-mode choke", "L1", value="1 mH"),
    ui.Drawn("capacitor", "C2", value="2.2 µF"),
    ui.Drawn("load", "logger", ("load.logger.stray_capacitance",)),
    ui.Drawn("load", "modem", ("load.modem.bond.inductance",)),
)
OTHER = "logger"
LINES: tuple[Literal["return", "plus"], ...] = ("return", "plus")
WANTED: tuple[Place, ...] = ((LOAD, NARROW), (OTHER, NARROW), (OTHER, WIDE))
_NAMES = ("modem\n20 MHz", "logger\n20 MHz", "logger, full\nbandwidth")
_FROM_TABLE = {  # words of the choice: what a candidate is called
    "shorten the modem's lead to 20 cm": "shorten modem's lead to 200 mm",
    "remove the modem's bond": "remove modem's bond to the chassis",
    "bond the modem by 20 nH": "move modem's bond to where a strap of 20 nH reaches the chassis",
    "larger choke, cm-2m2-5A": "take cm-2m2-5A for L1",
    "film 1 µF parallel to C2": "fit film-1u0-63V beside C2",
    "choke 10 µH in the plus line": "fit dm-10u-6A in the plus line before L1",
    "choke 100 µH in the plus line": "fit dm-100u-3A in the plus line before L1",
    "polymer 330 µF across the load": "fit polymer-330u-16V across the load's end as damping",
    "Y pair 10 nF, load's end": "fit film-10n-Y2 from each line to the chassis at the load's end",
    "Y pair 10 nF, before the choke": "fit film-10n-Y2 from each line to the chassis before L1",
}


def changes(design: Design) -> dict[str, Candidate | None]:
    """The options of the panel: some of the candidates of the tables, and single Y capacitors."""
    bought = {name: part for table in standard_tables() for name, part in table.items()}
    known = {one.name: one for one in candidates(design, LOAD, bought)}
    y, large = ui.parts(Capacitor)["film-10n-Y2"], ui.parts(Capacitor)["film-470n-X2"]
    singles = [
        to_chassis(f"one Y 10 nF, {line} line, {words}", y, line=line, before=before)
        for line in LINES
        for words, before in (("load's end", ""), ("before the choke", "L1"))
    ]
    singles.append(to_chassis("pair of 470 nF to the chassis", large))
    from_tables = {words: known[name] for words, name in _FROM_TABLE.items()}
    return {NOTHING: None, **from_tables, **{one.name: one for one in singles}}


def _changed(change: OneChange, values: ui.Values) -> OneChange:
    keys = {key: value for key, value in values.items() if key != "tried"}
    return OneChange(changed(change.base, keys), values.get("tried", change.tried))


# ---- the panel ------------------------------------------------------------------------------------------------------


_UNSURE = "How sure is it? Nobody measured these"
_SLIDERS = (
    ("converter.common_mode.coupling", "switching node to chassis", "F", "10 pF", "1 nF"),
    ("load.modem.bond.inductance", "coax to the mast", "H", "20 nH", "2 µH"),
    ("converter.bond.inductance", "battery's pole to the cabinet", "H", "20 nH", "5 µH"),
    ("load.logger.stray_capacitance", "logger to the cabinet", "F", "1 pF", "1 nF"),
)


def budget_panel() -> ui.Panel[OneChange, ChangeResult]:
    """The brick's board, one change at a time."""
    base = demo("brick").replace(name="Tide gauge, one part more", note="Saved from a notebook")
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("tried", "change", changes(base), NOTHING, group="Try one change"),
        *(
            ui.Control(key, label, unit, low, high, value(base, key), group=_UNSURE)
            for key, label, unit, low, high in _SLIDERS
        ),
    ]
    calculation = ui.Calculation(OneChange(base), one_change, over_the_uncertainty, _changed, demo_text("brick"))
    every = ui.in_front(controls, ("tried", *(key for key, *_ in _SLIDERS[:3])))
    display = ui.Display(_picture(), _readings, _sentence, circuit=_CIRCUIT, lesson=ONE_PART)
    return ui.Panel("One part more", calculation, every, display)


def _picture() -> ui.Picture[ChangeResult]:
    modem: ui.Plot[ChangeResult] = ui.Plot(
        "Modem, full bandwidth, both edges",
        ui.Axis("time", "s", limits=(0, EDGES)),
        ui.Axis("ripple and spikes", "V"),
        (
            ui.Curve("as it is", lambda r: ui.envelope(r.times, r.wave_before), BEFORE, (0, (5, 2))),
            ui.Curve("with the change", lambda r: ui.envelope(r.times, r.wave), AFTER, "-"),
        ),
    )
    shares: ui.Plot[ChangeResult] = ui.Plot(
        "Against the limits",
        ui.Axis("left over limit", "dB", limits=(-40, 20)),
        ui.Axis("", names=_NAMES, limits=(2.6, -0.6)),
        (
            ui.Curve("board as it is", lambda r: _share(r, r.before), BEFORE, marker="s"),
            ui.Curve("board with the change", lambda r: _share(r, r.after), AFTER, marker="o", kept=True),
            ui.Curve(
                "greatest, one uncertain parameter at its end",
                lambda r: _share(r, r.highest) if r.highest else None,
                marker=">",
            ),
            ui.Level("limit", lambda r: (0.0,), upright=True),
        ),
    )
    return ui.Picture([modem, shares], name="One part more", size=ui.HIGH, widths=(5, 4))


def _share(r: ChangeResult, figures: Figures) -> tuple[np.ndarray, np.ndarray]:
    rows = [(decibels(figures[one] / r.limits[one]), row) for row, one in enumerate(WANTED) if one in figures]
    x, y = np.array(rows, float).T
    return x, y


def _readings(r: ChangeResult) -> tuple[ui.Reading, ...]:
    words = ("modem, 20 MHz", "logger, 20 MHz", "logger, full bandwidth")
    rows = [
        ui.Reading(label, r.after[one], "V", _verdict(r, one), f"at most {number(r.limits[one], 'V')}")
        for label, one in zip(words, WANTED, strict=True)
    ]
    costs = r.mitigation.costs if r.mitigation else None
    price = "none" if r.mitigation is None else str(costs.parts) if costs else "not fitted"
    note = f"leaks {number(costs.leakage, 'A')} at 60 Hz" if costs and costs.leakage else ""
    rule = ui.Reading("rules", "refused" if r.refused else "none broken", note=refusal_text(r.refused))
    return (*rows, ui.Reading("parts more", price, note=note), rule)


def _verdict(r: ChangeResult, one: Place) -> str:
    if r.after[one] > r.limits[one]:
        return "not met"
    if one not in r.highest:
        return ""
    return "met" if r.highest[one] <= r.limits[one] else "undecided"


def _sentence(r: ChangeResult) -> str:
    if r.refused:
        return f"Refused: {refusal_text(r.refused)}."
    left = f"{number(r.after[LOAD, NARROW], 'V')} are left at the modem in 20 MHz"
    if r.mitigation is None:
        return f"As it is, {left}, above the {number(r.limits[LOAD, NARROW], 'V')} allowed."
    kept = "every limit is kept" if r.within else "a limit is exceeded"
    return f"{r.mitigation.words[0].upper()}{r.mitigation.words[1:]}: {left}, and {kept}."
