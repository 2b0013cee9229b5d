"""Panel of the notebook on two converters: which change brings the brick's board within its limits, and at what price."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np

from filterlib.analysis.causes.candidates import Candidate, candidates
from filterlib.analysis.causes.mitigations import Mitigation, Trial, baseline, check, try_all
from filterlib.analysis.ripple.at_load import Seen, narrow_and_wide
from filterlib.parts.base import Part
from filterlib.parts.tables import standard_tables
from filterlib.show.explore.pi_filter import LOAD, demo
from filterlib.show.explore.two_converters import EDGES, see, stretched
from filterlib.show.panels import (
    Axis,
    Calculation,
    Choice,
    Control,
    Curve,
    Display,
    Level,
    Panel,
    Picture,
    Plot,
    Reading,
)
from filterlib.show.style import AFTER, BEFORE
from filterlib.system.changes import changed, value
from filterlib.system.design import Design
from filterlib.system.stages import ChassisCapacitor
from filterlib.units import decibels
from filterlib.words.quantities import capital, number
from filterlib.words.reason_sentences import refusal_text

NOTHING = "nothing: as it is"
OTHER = "logger"
WIDE, NARROW = "full", "20MHz"
WANTED = ((LOAD, NARROW), (OTHER, NARROW), (OTHER, WIDE))
_NAMES = ("modem\n20 MHz", "logger\n20 MHz", "logger, full\nbandwidth")
_FROM_TABLE = {  # words of the choice: what a candidate is called
    "shorten the modem's lead to 20 cm": "shorten modem's lead to 200 mm",
    "take the modem's bond off": "take modem's bond to the chassis off",
    "bond the modem by 20 nH": "move modem's bond to where a strap of 20 nH reaches the chassis",
    "larger choke, cm-2m2-5A": "take cm-2m2-5A for L1",
    "film 1 µF beside C2": "fit film-1u0-63V beside C2",
    "choke 10 µH in the plus line": "fit dm-10u-6A in the plus line before L1",
    "choke 100 µH in the plus line": "fit dm-100u-3A in the plus line before L1",
    "polymer 330 µF across the load": "fit polymer-330u-16V across the load's end as damping",
    "Y pair 10 nF, load's end": "fit film-10n-Y2 from each line to the chassis at the load's end",
    "Y pair 10 nF, before the choke": "fit film-10n-Y2 from each line to the chassis before L1",
}


@dataclass(frozen=True)
class Board:
    """A board, and a change that is tried on it, or None."""

    base: Design
    tried: Candidate | None = None

    @property
    def design(self) -> Design:
        """The board with the change."""
        return self.base if self.tried is None else self.tried.change(self.base)


@dataclass(frozen=True)
class Tried:
    """What a change does; [V] peak to peak by (load, label), at the first operating point.

    ``limits`` of the design's own requirements; ``before``, ``after``; ``highest``: the greatest with each unknown alone at
    its ends, of `WANTED`, once that is known; ``mitigation``: costs and the rule that is broken, or None where nothing is
    changed. ``times``, ``wave_before``, ``wave`` (n,): the modem over one period, full bandwidth [s, V].
    """

    limits: Mapping[tuple[str, str], float]
    before: Mapping[tuple[str, str], float]
    after: Mapping[tuple[str, str], float]
    mitigation: Mitigation | None
    times: np.ndarray
    wave_before: np.ndarray
    wave: np.ndarray
    highest: Mapping[tuple[str, str], float] = field(default_factory=dict)

    @property
    def within(self) -> bool:
        """Whether every nominal figure is within its limit."""
        return all(self.after[one] <= limit for one, limit in self.limits.items())

    @property
    def refused(self) -> str:
        """The rule that is broken, or ""."""
        return refusal_text(self.mitigation.refused) if self.mitigation else ""


def budget(board: Board) -> Tried:
    """What a change does to the modem and the logger."""
    trials = _trials(_Base(board.base))
    design = board.design
    before = {load: trial.now for load, trial in trials.items()}
    after = {load: see(design, load) for load in trials} if board.tried else before
    _, wide = narrow_and_wide(design)
    then, now = (stretched(found[LOAD].spectra.waveform(LOAD, wide)) for found in (before, after))
    return Tried(
        _limits(design), _figures(before), _figures(after),
        try_all(trials[LOAD], [board.tried])[0] if board.tried else None,
        np.arange(len(now)) * design.converter.period / len(now), then, now,
    )  # fmt: skip


@dataclass(frozen=True)
class _Base:
    """A design as the key of what is kept: equal where it is, told apart first by its converter."""

    design: Design

    def __hash__(self) -> int:
        return hash(self.design.converter)


@lru_cache(maxsize=4)
def _trials(of: _Base) -> dict[str, Trial]:
    """Of each load: the board as it is, kept while only the change is another."""
    base, state = of.design, of.design.state()
    return {
        load: Trial(base, state, load, label, see(base, load)) for load, label in {LOAD: NARROW, OTHER: WIDE}.items()
    }


def _figures(found: Mapping[str, Seen]) -> dict[tuple[str, str], float]:
    return {
        (load, label): float(found[load].ripple if label == NARROW else found[load].spike) for load, label in WANTED
    }


def _limits(design: Design) -> dict[tuple[str, str], float]:
    return {(one.load, one.label): one.limit for one in design.requirements if one.kind in ("ripple", "spike")}


def over_the_unknown(board: Board, shown: Tried, tick: Callable[[float], None]) -> Tried:
    """The same with the greatest figures over what is not known; nothing where the change is refused."""
    if shown.mitigation is None or board.tried is None or shown.refused:
        return shown
    trials = _trials(_Base(board.base))
    highest: dict[tuple[str, str], float] = {}
    for at, (load, trial) in enumerate(trials.items()):
        tick(at / len(trials))
        found = check(trial, try_all(trial, [board.tried])[0], [board.tried], baseline(trial))
        highest |= {(load, NARROW): found.ripple_high, (load, WIDE): found.spike_high}
    return replace(shown, highest={one: highest[one] for one in WANTED if np.isfinite(highest[one])})


# ---- what may be tried ----------------------------------------------------------------------------------------------


def changes(design: Design) -> dict[str, Candidate | None]:
    """What the panel offers: some of the candidates of the tables, and single Y capacitors."""
    bought = {name: part for table in standard_tables() for name, part in table.items()}
    known = {one.name: one for one in candidates(design, LOAD, bought)}
    found: dict[str, Candidate | None] = {NOTHING: None}
    found |= {words: known[name] for words, name in _FROM_TABLE.items()}
    y, large = bought["film-10n-Y2"], bought["film-470n-X2"]
    for line in ("return", "plus"):
        for where, at in (("load's end", len(design.filter)), ("before the choke", 1)):
            words = f"one Y 10 nF, {line} line, {where}"
            found[words] = _to_chassis(words, y, line, at, 1)
    words = "pair of 470 nF to the chassis"
    found[words] = _to_chassis(words, large, "both", len(design.filter), 2)
    return found


def _to_chassis(words: str, part: Part, line: str, at: int, count: int) -> Candidate:
    stage: Any = ChassisCapacitor(kind="capacitor_to_chassis", name="Y1", part=part, line=line)
    return Candidate(words, "Y capacitors", "Y", count, partial(_fitted, stage=stage, at=at))


def _fitted(design: Design, *, stage: Any, at: int) -> Design:
    return design.replace(filter=(*design.filter[:at], stage, *design.filter[at:]))


def _moved(board: Board, values: Mapping[str, Any]) -> Board:
    keys = {key: given for key, given in values.items() if key != "tried"}
    return Board(changed(board.base, keys), values.get("tried", board.tried))


# ---- the panel ------------------------------------------------------------------------------------------------------


_UNSURE = "How sure is it? Things that nobody measured"
_SLIDERS = (
    ("converter.common_mode.coupling", "switching node to chassis", "F", "10 pF", "1 nF"),
    ("load.modem.bond.inductance", "coax to the mast", "H", "20 nH", "2 µH"),
    ("converter.bond.inductance", "battery's pole to the cabinet", "H", "20 nH", "5 µH"),
    ("load.logger.stray_capacitance", "logger to the cabinet", "F", "1 pF", "1 nF"),
)


def budget_panel() -> Panel:
    """The brick's board, one change at a time."""
    base = demo("brick").replace(name="Tide gauge, one part more", note="Saved from a notebook")
    controls: list[Control | Choice] = [
        Choice("tried", "change", changes(base), NOTHING, group="Try one change"),
        *(
            Control(key, label, unit, low, high, value(base, key), group=_UNSURE)
            for key, label, unit, low, high in _SLIDERS
        ),
    ]
    calculation = Calculation(Board(base), budget, over_the_unknown, _moved)
    return Panel("One part more", calculation, controls, Display(_picture(), _readings, _sentence))


def _picture() -> Picture:
    modem = Plot(
        "Modem, full bandwidth, both edges",
        Axis("time", "s", limits=(0, EDGES)),
        Axis("ripple and spikes", "V"),
        (
            Curve("as it is", lambda r: (r.times, r.wave_before), BEFORE, (0, (5, 2))),
            Curve("with the change", lambda r: (r.times, r.wave), AFTER, "-"),
        ),
    )
    shares = Plot(
        "Against the limits",
        Axis("left over limit", "dB", limits=(-40, 20)),
        Axis("", names=_NAMES, limits=(2.6, -0.6)),
        (
            Curve("board as it is", lambda r: _share(r, r.before), BEFORE, marker="s"),
            Curve("board with the change", lambda r: _share(r, r.after), AFTER, marker="o", kept=True),
            Curve(
                "greatest, one unknown at its end", lambda r: _share(r, r.highest) if r.highest else None, marker=">"
            ),
            Level("limit", lambda r: (0.0,), upright=True),
        ),
    )
    return Picture([modem, shares], name="One part more", size=(924, 320), widths=(5, 4))


def _share(r: Tried, figures: Mapping[tuple[str, str], float]) -> tuple[np.ndarray, np.ndarray]:
    held = [
        (float(decibels(figures[one] / r.limits[one])), place) for place, one in enumerate(WANTED) if one in figures
    ]
    x, y = np.array(held, float).T
    return x, y


def _readings(r: Tried) -> tuple[Reading, ...]:
    words = ("modem, 20 MHz", "logger, 20 MHz", "logger, full bandwidth")
    rows = [
        Reading(label, r.after[one], "V", _verdict(r, one), f"at most {number(r.limits[one], 'V')}")
        for label, one in zip(words, WANTED, strict=True)
    ]
    costs = r.mitigation.costs if r.mitigation else None
    price = "none" if r.mitigation is None else str(costs.parts) if costs else "not fitted"
    note = f"leaks {number(costs.leakage, 'A')} at 60 Hz" if costs and costs.leakage else ""
    held = Reading("rule", "refused" if r.refused else "none broken", note=r.refused)
    return (*rows, Reading("parts more", price, note=note), held)


def _verdict(r: Tried, one: tuple[str, str]) -> str:
    if r.after[one] > r.limits[one]:
        return "not met"
    if one not in r.highest:
        return ""
    return "met throughout" if r.highest[one] <= r.limits[one] else "depends on"


def _sentence(r: Tried) -> str:
    if r.refused:
        return f"Refused: {r.refused}."
    left = f"{number(r.after[LOAD, NARROW], 'V')} are left at the modem in 20 MHz"
    if r.mitigation is None:
        return f"As it is, {left}, above the {number(r.limits[LOAD, NARROW], 'V')} allowed."
    kept = "every limit is kept" if r.within else "a limit is exceeded"
    return f"{capital(r.mitigation.words)}: {left}, and {kept}."
